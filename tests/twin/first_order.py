"""The simplest house, of one store and one loss, for which there are closed forms; and lengths of a step."""

from overwinter.twin.parameters import HouseParameters

# Two halves of air so well mixed that they are one, nothing else coupled: C dT/dt = UA (To - T) + P.
FIRST_ORDER = HouseParameters(
    heater_w=1000.0,
    heater_lag_s=1.0,
    heater_to_air_share=1.0,
    upper_j_k=200_000.0,
    lower_j_k=200_000.0,
    mixing_w_k=1e5,
    upper_outdoor_w_k=10.0,
    lower_outdoor_w_k=10.0,
    upper_envelope_w_k=0.0,
    lower_envelope_w_k=0.0,
    envelope_j_k=1e5,
    envelope_outdoor_w_k=0.0,
    contents_j_k=1e5,
    contents_air_w_k=0.0,
    contents_ground_w_k=0.0,
    ground_c=0.0,
    pipe_water_kg=1.0,
    pipe_metal_j_k=0.0,
    pipe_air_w_k=0.0,
    gust_share=0.0,
    spread_share=0.0,
)

STEPS_S = (1.0, 10.0, 60.0)

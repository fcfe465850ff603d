"""Seven pump houses, one a way of building, to rehearse with.

All numbers are invented within common practice (U-values, air changes and masses as a builder would guess
them, from memory): none is a measured house. They span what an owner may have, from a box one can carry to
a block house that no reasonable heater keeps warm in the worst cold.
"""

import math

from overwinter.twin.parameters import HouseParameters

AIR_J_M3K = 1300.0
"""Air at 0 °C: 1.2931 kg/m3 times 1005.7 J/(kg·K) (CoolProp)."""

LIGHT_THINGS = 6.0
"""Shelves, boards and the skin of the lining move with the air and multiply its heat (a guess)."""

FILM_W_M2K = 7.7
"""Air to wall inside: 1 / 0.13 m2·K/W, ISO 6946, horizontal flow."""

BARE_PIPE_W_M2K = 9.4
"""Convection 5.95 and radiation 3.50 on a 22 mm pipe at 0 °C in air of -10 °C (computed with ht)."""


def built(
    *,
    volume_m3: float,
    area_m2: float,
    u_w_m2k: float,
    lining_j_m2k: float,
    air_changes_h: float,
    heater_w: float,
    heater_lag_s: float,
    heater_to_air_share: float,
    mixing_w_k: float,
    contents_j_k: float,
    ground_w_k: float,
    ground_c: float,
    pipe_m: float = 3.0,
    pipe_on_wall_share: float = 0.0,
) -> HouseParameters:
    """A house from a builder's words.

    Parameters
    ----------
    volume_m3, area_m2, u_w_m2k : float
        Inside volume [m3], walls and roof [m2], and their U-value [W/(m2·K)], below 1 / 0.13.
    lining_j_m2k : float
        Heat held by the part of the wall that follows the inside [J/(m2·K)]: 4000 for sheet metal, 12 000
        for a lined frame, 90 000 for concrete blocks.
    air_changes_h : float
        Draught [1/h], 0.2 tight, 4 leaky.
    heater_w, heater_lag_s, heater_to_air_share : float
        As in `HouseParameters`.
    mixing_w_k : float
        Between upper and lower air [W/K]: 5 in a box, 40 by convection in a shed, 300 with a fan.
    contents_j_k, ground_w_k, ground_c : float
        Pump, tank and floor [J/K], and how they hang on the ground [W/K, °C].
    pipe_m : float
        Bare copper pipe [m], 22 mm outside, 20 mm bore.
    pipe_on_wall_share : float
        0: the pipe hangs in the room; 1: it is fastened to the outer wall all along.
    """
    air_j_k = LIGHT_THINGS * AIR_J_M3K * volume_m3
    draught_w_k = AIR_J_M3K * volume_m3 * air_changes_h / 3600.0
    film_w_k = FILM_W_M2K * area_m2
    outside_w_k = 1.0 / (1.0 / (u_w_m2k * area_m2) - 1.0 / film_w_k)
    pipe_w_k = BARE_PIPE_W_M2K * math.pi * 0.022 * pipe_m
    return HouseParameters(
        heater_w=heater_w,
        heater_lag_s=heater_lag_s,
        heater_to_air_share=heater_to_air_share,
        upper_j_k=air_j_k / 2,
        lower_j_k=air_j_k / 2,
        mixing_w_k=mixing_w_k,
        # Cold air comes in low and leaves high, so most of the draught chills the lower half.
        upper_outdoor_w_k=0.3 * draught_w_k,
        lower_outdoor_w_k=0.7 * draught_w_k,
        upper_envelope_w_k=film_w_k / 2,
        lower_envelope_w_k=film_w_k / 2,
        envelope_j_k=lining_j_m2k * area_m2,
        envelope_outdoor_w_k=outside_w_k,
        contents_j_k=contents_j_k,
        contents_air_w_k=contents_j_k / 15_000.0,  # they follow the air within some hours
        contents_ground_w_k=ground_w_k,
        ground_c=ground_c,
        pipe_water_kg=1000.0 * math.pi * 0.010**2 * pipe_m,
        pipe_metal_j_k=230.0 * pipe_m,  # 0.6 kg/m of copper at 385 J/(kg·K)
        pipe_air_w_k=(1.0 - pipe_on_wall_share) * pipe_w_k,
        pipe_envelope_w_k=pipe_on_wall_share * pipe_w_k,
        air_changes_h=air_changes_h,
    )


HOUSES: dict[str, HouseParameters] = {
    "insulated box": built(
        volume_m3=1.0,
        area_m2=6.0,
        u_w_m2k=0.7,
        lining_j_m2k=10_000.0,
        air_changes_h=0.5,
        heater_w=250.0,
        heater_lag_s=15.0,
        heater_to_air_share=0.4,
        mixing_w_k=15.0,
        contents_j_k=150_000.0,
        ground_w_k=1.0,
        ground_c=3.0,
        pipe_m=1.5,
    ),
    "insulated shed": built(
        volume_m3=13.8,
        area_m2=33.0,
        u_w_m2k=0.4,
        lining_j_m2k=12_000.0,
        air_changes_h=0.5,
        heater_w=250.0,
        heater_lag_s=15.0,
        heater_to_air_share=0.4,
        mixing_w_k=60.0,
        contents_j_k=900_000.0,
        ground_w_k=5.0,
        ground_c=3.0,
    ),
    "timber shed": built(
        volume_m3=15.0,
        area_m2=36.0,
        u_w_m2k=0.9,
        lining_j_m2k=12_000.0,
        air_changes_h=1.5,
        heater_w=750.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.95,
        mixing_w_k=200.0,
        contents_j_k=700_000.0,
        ground_w_k=5.0,
        ground_c=3.0,
    ),
    "leaky metal shed": built(
        volume_m3=12.0,
        area_m2=32.0,
        u_w_m2k=2.0,
        lining_j_m2k=8_000.0,
        air_changes_h=4.0,
        heater_w=1500.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.95,
        mixing_w_k=300.0,
        contents_j_k=500_000.0,
        ground_w_k=5.0,
        ground_c=2.0,
    ),
    "uninsulated block house": built(
        volume_m3=18.0,
        area_m2=42.0,
        u_w_m2k=2.0,
        lining_j_m2k=90_000.0,
        air_changes_h=1.0,
        heater_w=1500.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.95,
        mixing_w_k=300.0,
        contents_j_k=1_000_000.0,
        ground_w_k=8.0,
        ground_c=3.0,
    ),
    "brick house with oil heater": built(
        volume_m3=20.0,
        area_m2=45.0,
        u_w_m2k=0.9,
        lining_j_m2k=80_000.0,
        air_changes_h=0.7,
        heater_w=1000.0,
        heater_lag_s=900.0,
        heater_to_air_share=0.7,
        mixing_w_k=80.0,
        contents_j_k=1_200_000.0,
        ground_w_k=8.0,
        ground_c=4.0,
    ),
    "underground vault": built(
        volume_m3=8.0,
        area_m2=7.0,  # only the lid and the neck see the sky; the rest hangs on the ground
        u_w_m2k=1.5,
        lining_j_m2k=60_000.0,
        air_changes_h=0.5,
        heater_w=400.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.8,
        mixing_w_k=40.0,
        contents_j_k=4_000_000.0,
        ground_w_k=12.0,
        ground_c=2.0,
    ),
}
"""By the way they are built; heaters from a 250 W lamp to 1500 W."""

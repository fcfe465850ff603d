"""What a simulated pump house is made of: its drawing, checked once, and the constants of water.

All in SI, so that a drawing can be derived from a builder's words (`houses.py`) or set for a closed form.
"""

from dataclasses import dataclass

from overwinter.core.nouns import Problem, Refused

FUSION_J_KG = 333_430.0
"""Heat of fusion at 0 °C and 101.325 kPa: 333.43 kJ/kg from IAPWS-95 and IAPWS R10-06 (computed with
iapws 1.5.5), and from ASHRAE Handbook - Fundamentals 2021, ch. 1, table 3 (-0.04 less -333.47)."""

WATER_J_KGK = 4210.0
"""Mean of water from 0 to 5 °C: 21.05 kJ/kg in 5 K, IAPWS-95."""

ICE_J_KGK = 2096.7
"""Ice at 0 °C, IAPWS R10-06, table 6."""

STEP_S_MAX = 60.0
"""Longest step: within it outdoors, heat and the pipe count as constant."""

PIPE_S_MIN = 2 * STEP_S_MAX
"""A pipe must answer slower than this: it is held constant for a step."""

_RANGES: dict[str, tuple[float, float]] = {
    "heater_w": (0.0, 5000.0),
    "heater_lag_s": (1.0, 3600.0),
    "heater_to_air_share": (0.0, 1.0),
    "upper_j_k": (500.0, 1e8),
    "lower_j_k": (500.0, 1e8),
    "mixing_w_k": (0.0, 1e5),
    "upper_outdoor_w_k": (0.0, 1e3),
    "lower_outdoor_w_k": (0.0, 1e3),
    "upper_envelope_w_k": (0.0, 1e4),
    "lower_envelope_w_k": (0.0, 1e4),
    "envelope_j_k": (1e3, 1e9),
    "envelope_outdoor_w_k": (0.0, 1e3),
    "contents_j_k": (1e3, 1e9),
    "contents_air_w_k": (0.0, 1e3),
    "contents_ground_w_k": (0.0, 1e3),
    "ground_c": (-20.0, 30.0),
    "pipe_water_kg": (0.05, 1e3),
    "pipe_metal_j_k": (0.0, 1e6),
    "pipe_air_w_k": (0.0, 1e3),
    "pipe_envelope_w_k": (0.0, 1e3),
    "sensor_height_share": (0.0, 1.0),
    "air_changes_h": (0.0, 60.0),
    "outdoor_humidity_pct": (1.0, 100.0),
    "damp_pa": (0.0, 2000.0),
    "gust_share": (0.0, 1.0),
    "spread_share": (0.0, 0.5),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseParameters:
    """What a pump house is made of, as a network of heat stores [J/K] and conductances [W/K].

    Attributes
    ----------
    heater_w : float
        Electric power while on [W], 0 to 5000.
    heater_lag_s : float
        Time constant from power to warmth [s], 1 to 3600: lamp 15, fan heater 60, oil radiator 900.
    heater_to_air_share : float
        Part that goes into the upper air, 0 to 1; the rest shines on the contents.
    upper_j_k, lower_j_k : float
        Each half of the air with the light things in it [J/K], 500 to 1e8.
    mixing_w_k : float
        Between the two halves [W/K], 0 to 1e5; a fan makes it large.
    upper_outdoor_w_k, lower_outdoor_w_k : float
        Straight from air to outdoors [W/K], 0 to 1000: draughts and whatever has no mass.
    upper_envelope_w_k, lower_envelope_w_k : float
        Air to the inside of walls and roof [W/K], 0 to 1e4.
    envelope_j_k : float
        The part of walls and roof that follows the inside [J/K], 1e3 to 1e9.
    envelope_outdoor_w_k : float
        From there to outdoors [W/K], 0 to 1000.
    contents_j_k, contents_air_w_k : float
        Pump, tank and floor [J/K], 1e3 to 1e9, and from the lower air to them [W/K], 0 to 1000.
    contents_ground_w_k, ground_c : float
        From the contents into the ground [W/K], 0 to 1000, and its temperature [°C], -20 to 30.
    pipe_water_kg, pipe_metal_j_k : float
        Still water in the pipe [kg], 0.05 to 1000, and its wall [J/K], 0 to 1e6.
    pipe_air_w_k, pipe_envelope_w_k : float
        Pipe to the lower air, and to the outer wall it is fastened to [W/K], each 0 to 1000.
    sensor_height_share : float
        Where `air_c` is measured: 0 by the pipe, 1 under the ceiling.
    air_changes_h, outdoor_humidity_pct, damp_pa : float
        How fast moisture follows outdoors [1/h], 0 to 60, its humidity over water [%], 1 to 100, and what
        the damp floor adds to the vapour pressure [Pa], 0 to 2000.
    gust_share : float
        Standard deviation of the draught about its mean, 0 to 1; 0 is a still day.
    spread_share : float
        How far stores and conductances of one seed's house may lie from these, 0 to 0.5; 0 is exactly these.

    Raises
    ------
    Refused
        Every value out of range or not a number; a pipe that answers faster than two longest steps.
    """

    heater_w: float
    heater_lag_s: float
    heater_to_air_share: float
    upper_j_k: float
    lower_j_k: float
    mixing_w_k: float
    upper_outdoor_w_k: float
    lower_outdoor_w_k: float
    upper_envelope_w_k: float
    lower_envelope_w_k: float
    envelope_j_k: float
    envelope_outdoor_w_k: float
    contents_j_k: float
    contents_air_w_k: float
    contents_ground_w_k: float
    ground_c: float
    pipe_water_kg: float
    pipe_metal_j_k: float
    pipe_air_w_k: float
    pipe_envelope_w_k: float = 0.0
    sensor_height_share: float = 0.3
    air_changes_h: float = 1.0
    outdoor_humidity_pct: float = 85.0
    damp_pa: float = 60.0
    gust_share: float = 0.3
    spread_share: float = 0.05

    def __post_init__(self) -> None:
        """Refuse what no pump house is, all of it at once."""
        problems = []
        for key, (low, high) in _RANGES.items():
            value = getattr(self, key)
            if not low <= value <= high:  # refuses NaN too
                allowed = f"{low:g} to {high:g}"
                problems.append(Problem(key, value, allowed, f"{key} = {value}: must be {allowed}"))
        # Frozen solid it answers fastest, ice holding half the heat of water.
        frozen_j_k = self.pipe_water_kg * ICE_J_KGK + self.pipe_metal_j_k
        fastest_w_k = frozen_j_k / PIPE_S_MIN
        if not problems and self.pipe_air_w_k + self.pipe_envelope_w_k > fastest_w_k:
            allowed = f"with pipe_envelope_w_k at most {fastest_w_k:.3g} for that little water"
            text = f"pipe_air_w_k = {self.pipe_air_w_k}: must be {allowed}"
            problems.append(Problem("pipe_air_w_k", self.pipe_air_w_k, allowed, text))
        if problems:
            raise Refused(problems)

"""Which weather a scenario lives through: a formula by name, or recorded hours."""

import math
from collections.abc import Mapping, Sequence

from overwinter.rehearse.nouns import Scenario
from overwinter.twin.weather import Sunshine, Weather, coldest_stretch, hourly, sunshine
from overwinter.twin.weather import cold_night as _cold_night
from overwinter.twin.weather import cold_snap as _cold_snap
from overwinter.twin.weather import cold_winter as _cold_winter
from overwinter.twin.weather import design_day as _design_day

_C, _K, _S = (-60.0, 45.0), (0.0, 30.0), (0.0, 4e7)

OPTIONS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "cold-night": {"evening_c": _C, "dawn_c": _C, "wobble_k": _K},
    "cold-snap": {
        "mild_c": _C,
        "cold_c": _C,
        "begins_s": _S,
        "front_s": (60.0, 4e7),
        "lasts_s": _S,
        "swing_k": _K,
        "wobble_k": _K,
    },
    "cold-winter": {"mean_c": _C, "season_k": _K, "fronts_k": _K, "swing_k": _K, "wobble_k": _K},
    "design-day": {"design_c": _C, "swing_k": _K},
}
"""By weather: what of its formula may be set, and how far; the formulas are in `twin/weather.py`."""

DESIGN_C = -18.0
"""The design day of a scenario that names none: about 0 F."""

DAY_H = 24.0


def weather_of(
    scenario: Scenario, *, seed: int, recorded: Sequence[float] | None = None, step_h: float = 1.0
) -> Weather:
    """The weather of a scenario.

    Parameters
    ----------
    scenario : Scenario
        Names a formula.
    seed : int
        Draws its chance.
    recorded : sequence of float, optional
        Outdoor temperatures of a file [°C], evenly spaced, which go before the formula. Of weather longer
        than the scenario the coldest stretch is lived through, from a midnight of the file on.
    step_h : float
        Their distance [h].
    """
    options = scenario.weather_options
    if recorded is not None:
        return hourly(recorded, step_h=step_h, begins=_begins(scenario, recorded, step_h))
    if scenario.weather == "cold-night":
        night = _cold_night(seed=seed, **options)
        return lambda now_s: night(now_s + 6 * 3600.0)  # its time begins at six in the evening
    if scenario.weather == "cold-winter":
        return _cold_winter(seed=seed, days=scenario.days, **options)
    if scenario.weather == "design-day":
        return _design_day(**{"design_c": DESIGN_C, **options})
    return _cold_snap(seed=seed, **options)


def sun_of(
    scenario: Scenario,
    *,
    seed: int,
    recorded: Sequence[float] | None = None,
    radiation_w_m2: Sequence[float] | None = None,
    step_h: float = 1.0,
) -> Sunshine | None:
    """The sun over a scenario; None: there is none.

    Parameters
    ----------
    scenario : Scenario
        Says how bright a noon is.
    seed : int
        Draws the clouds.
    recorded, step_h
        As for `weather_of`: they say which stretch of the file is lived through.
    radiation_w_m2 : sequence of float, optional
        The file's radiation on level ground [W/m2], as many values as `recorded`; it goes before the formula.
    """
    if recorded is not None and radiation_w_m2 is not None:
        return hourly(radiation_w_m2, step_h=step_h, begins=_begins(scenario, recorded, step_h))
    if scenario.sun_w_m2:
        return sunshine(seed=seed, noon_w_m2=scenario.sun_w_m2)
    return None


def _begins(scenario: Scenario, recorded: Sequence[float], step_h: float) -> int:
    """Where the coldest stretch begins, from a midnight of the file on."""
    count = math.ceil(scenario.days * DAY_H / step_h)
    a_day = max(round(DAY_H / step_h), 1)
    return coldest_stretch(recorded, count) // a_day * a_day

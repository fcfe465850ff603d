"""A house that is switched on and off between the ends of its band: times, duty, cycles, and cooling down.

One store of heat behind one conductance (first order), on/off with hysteresis. Closed forms from the
textbook, derived here and checked against a solver of differential equations. A real house has several
stores, so its air moves faster than this at first and slower later: these figures compare, they do not
predict minutes.
"""

import math
from dataclasses import dataclass

from overwinter.physics.bounds import check, check_above


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One turn of on and off in steady weather."""

    on_s: float
    off_s: float
    duty: float
    mean_c: float  # over the whole turn

    @property
    def cycles_h(self) -> float:
        """How often an hour the relay switches on [1/h]."""
        return 3600.0 / (self.on_s + self.off_s)


def cycle(
    *, ua_w_k: float, heat_j_k: float, watts: float, outdoor_c: float, low_c: float, high_c: float
) -> Cycle | None:
    """How a heater keeps a band in steady weather.

    Parameters
    ----------
    ua_w_k : float
        Conductance to outdoors [W/K], above 0 to 100 000.
    heat_j_k : float
        Heat that the house stores [J/K], above 0 to 1e10.
    watts : float
        The heater [W], above 0 to 100 000.
    outdoor_c : float
        Outdoors [°C], -90 to 60.
    low_c, high_c : float
        Where heat goes on and off [°C]; high above low.

    Returns
    -------
    Cycle or None
        None where nothing cycles: it stays warm by itself, or the heater cannot reach the high end.

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Sampling adds up to one sample period to each half of a cycle.
    """
    _check_house(ua_w_k=ua_w_k, heat_j_k=heat_j_k, outdoor_c=outdoor_c)
    check_above("watts", watts, 0.0, 100_000.0, "W")
    check("low_c", low_c, -90.0, 100.0, "°C")
    check_above("high_c", high_c, low_c, 100.0, "°C")
    full_c = outdoor_c + watts / ua_w_k  # where it would end up with heat always on
    if not (outdoor_c < low_c and full_c > high_c):
        return None
    time_constant_s = heat_j_k / ua_w_k
    on_s = time_constant_s * math.log((full_c - low_c) / (full_c - high_c))
    off_s = time_constant_s * math.log((high_c - outdoor_c) / (low_c - outdoor_c))
    duty = on_s / (on_s + off_s)
    # Exact: over a whole cycle nothing is stored, so the mean heat meets the mean loss.
    return Cycle(on_s=on_s, off_s=off_s, duty=duty, mean_c=outdoor_c + duty * watts / ua_w_k)


def fastest_cycles_h(*, heat_j_k: float, watts: float, width_k: float) -> float:
    """The most cycles an hour that a band can come to: in weather that asks for half of the heater.

    Parameters
    ----------
    heat_j_k : float
        Heat that moves with the air [J/K], above 0 to 1e10.
    watts : float
        The heater [W], above 0 to 100 000.
    width_k : float
        From the low to the high end [K], above 0 to 100.

    Returns
    -------
    float
        Cycles an hour [1/h], by the narrow-band form: 0.05 % too high for 2 K where the heater raises 50 K.

    Raises
    ------
    ValueError
        Out of range.
    """
    check_above("heat_j_k", heat_j_k, 0.0, 1e10, "J/K")
    check_above("watts", watts, 0.0, 100_000.0, "W")
    check_above("width_k", width_k, 0.0, 100.0, "K")
    return 3600.0 * watts / (4.0 * heat_j_k * width_k)


def cooling_s(*, ua_w_k: float, heat_j_k: float, outdoor_c: float, from_c: float, to_c: float) -> float:
    """Time from one temperature down to another when the heater has failed.

    Parameters
    ----------
    ua_w_k, heat_j_k, outdoor_c : float
        As in `cycle`.
    from_c, to_c : float
        From where and to where [°C], -90 to 100; `to_c` at most `from_c`.

    Returns
    -------
    float
        Seconds; infinite where outdoors is not below `to_c`.

    Raises
    ------
    ValueError
        Out of range.
    """
    _check_house(ua_w_k=ua_w_k, heat_j_k=heat_j_k, outdoor_c=outdoor_c)
    check("from_c", from_c, -90.0, 100.0, "°C")
    check("to_c", to_c, -90.0, from_c, "°C")
    if outdoor_c >= to_c:
        return math.inf
    return heat_j_k / ua_w_k * math.log((from_c - outdoor_c) / (to_c - outdoor_c))


def _check_house(*, ua_w_k: float, heat_j_k: float, outdoor_c: float) -> None:
    check_above("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
    check_above("heat_j_k", heat_j_k, 0.0, 1e10, "J/K")
    check("outdoor_c", outdoor_c, -90.0, 60.0, "°C")

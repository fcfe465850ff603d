"""What a winter asks for: degree hours, energy and cost of a band, and what holding 60 F would have cost.

Every hour is taken as steady: the house stores little against a winter. Sun, people and the pump's own warmth
are left out, so the energy errs to the high side.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from overwinter.core.units import c_from_f
from overwinter.physics.bounds import check, check_above
from overwinter.physics.envelope import heater_limit_c

COMPARED_C = c_from_f(60.0)
"""What an unoccupied house is often left at, to compare with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """What one span of weather asks of a heater."""

    kwh: float
    heating_h: float  # hours that ask for heat at all
    short_h: float  # hours in which the heater cannot hold it; 0 for one without limit
    short_kh: float  # by how much, in kelvin times hours
    coldest_c: float  # outdoors
    hours: float  # of weather in all


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """A band against a house that is held at another temperature through the same weather."""

    band: Season
    held: Season
    band_cost: float | None  # None: no tariff
    held_cost: float | None

    @property
    def saved_kwh(self) -> float:
        """Energy that the band saves [kWh]."""
        return self.held.kwh - self.band.kwh

    @property
    def saved_cost(self) -> float | None:
        """Money that the band saves, in the tariff's currency."""
        if self.band_cost is None or self.held_cost is None:
            return None
        return self.held_cost - self.band_cost


def degree_hours_kh(outdoor_c: Sequence[float], base_c: float, *, step_h: float = 1.0) -> float:
    """Sum of how far it was colder than a base.

    Parameters
    ----------
    outdoor_c : sequence of float
        Outdoor temperatures [°C], -90 to 60, evenly spaced.
    base_c : float
        The base [°C], -90 to 60.
    step_h : float
        Time that each stands for [h], above 0 to 8784; 24 for daily means.

    Returns
    -------
    float
        Degree hours [K h]; a 24th of it are degree days.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("base_c", base_c, -90.0, 60.0, "°C")
    check_above("step_h", step_h, 0.0, 8784.0, "h")
    return step_h * sum(max(0.0, base_c - _outdoor(at_c)) for at_c in outdoor_c)


def degree_days_kwh(*, degree_days_kd: float, ua_w_k: float, efficiency: float = 1.0) -> float:
    """Energy of a season from its degree days.

    Parameters
    ----------
    degree_days_kd : float
        Heating degree days [K d], 0 to 20 000, to the base of the temperature that is held.
    ua_w_k : float
        Conductance of the building [W/K], 0 to 100 000.
    efficiency : float
        Of the heating [1], above 0 to 10; 1 for electric heat.

    Returns
    -------
    float
        Energy [kWh].

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 19, example 1.
    """
    check("degree_days_kd", degree_days_kd, 0.0, 20_000.0, "K d")
    check("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
    check_above("efficiency", efficiency, 0.0, 10.0)
    return degree_days_kd * 24.0 * ua_w_k / 1000.0 / efficiency


def season(
    outdoor_c: Sequence[float],
    *,
    ua_w_k: float,
    inside_c: float,
    watts: float | None = None,
    step_h: float = 1.0,
) -> Season:
    """Energy that holds a temperature through a span of weather.

    Parameters
    ----------
    outdoor_c : sequence of float
        Outdoor temperatures [°C], -90 to 60, evenly spaced, at least one.
    ua_w_k : float
        Conductance of the building [W/K], above 0 to 100 000.
    inside_c : float
        What is held [°C], -40 to 60; for a band its middle.
    watts : float, optional
        The heater [W], above 0 to 100 000; without, as much as it takes.
    step_h : float
        Time that each temperature stands for [h], above 0 to 8784.

    Returns
    -------
    Season
        Where the heater cannot hold it, it counts as always on, and `short_h` says for how long.

    Raises
    ------
    ValueError
        Out of range, or no weather at all.
    """
    if not outdoor_c:
        raise ValueError("outdoor_c: must be at least one temperature")
    check_above("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
    check("inside_c", inside_c, -40.0, 60.0, "°C")
    if watts is not None:
        check_above("watts", watts, 0.0, 100_000.0, "W")
    asked_kh = degree_hours_kh(outdoor_c, inside_c, step_h=step_h)
    limit_c = None if watts is None else heater_limit_c(ua_w_k=ua_w_k, inside_c=inside_c, watts=watts)
    short_kh = 0.0 if limit_c is None else step_h * sum(max(0.0, limit_c - at_c) for at_c in outdoor_c)
    return Season(
        kwh=(asked_kh - short_kh) * ua_w_k / 1000.0,
        heating_h=step_h * sum(at_c < inside_c for at_c in outdoor_c),
        short_h=0.0 if limit_c is None else step_h * sum(at_c < limit_c for at_c in outdoor_c),
        short_kh=short_kh,
        coldest_c=min(outdoor_c),
        hours=step_h * len(outdoor_c),
    )


def compare(
    outdoor_c: Sequence[float],
    *,
    ua_w_k: float,
    low_c: float,
    high_c: float,
    watts: float | None = None,
    per_kwh: float | None = None,
    held_c: float = COMPARED_C,
    step_h: float = 1.0,
) -> Comparison:
    """A band against a house that is held at 60 F through the same weather.

    Parameters
    ----------
    outdoor_c, ua_w_k, watts, step_h
        As in `season`. The heater's limit counts for the band only: to hold more one would have bought more.
    low_c, high_c : float
        The band [°C], -40 to 60, high above low; its middle is held.
    per_kwh : float, optional
        Price of a kilowatt hour, 0 or more.
    held_c : float
        What to compare with [°C], -40 to 60.

    Returns
    -------
    Comparison
        Energy and cost of both.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("low_c", low_c, -40.0, 60.0, "°C")
    check_above("high_c", high_c, low_c, 60.0, "°C")
    if per_kwh is not None:
        check("per_kwh", per_kwh, 0.0, 1e6)
    band = season(outdoor_c, ua_w_k=ua_w_k, inside_c=(low_c + high_c) / 2.0, watts=watts, step_h=step_h)
    held = season(outdoor_c, ua_w_k=ua_w_k, inside_c=held_c, step_h=step_h)
    return Comparison(
        band=band,
        held=held,
        band_cost=None if per_kwh is None else band.kwh * per_kwh,
        held_cost=None if per_kwh is None else held.kwh * per_kwh,
    )


def _outdoor(at_c: float) -> float:
    check("outdoor_c", at_c, -90.0, 60.0, "°C")
    return at_c

"""Which band protects the pipes for the least electricity: why 36 to 40 F, and when it must be another.

The low end is a sum of what can go wrong between the sensor's figure and the coldest pipe: the sensor's
error, half of its resolution, the sag before the heater bites, and how much colder the pipe is than the
sensor. The width is what keeps relay and lamp from being switched to death. Both are rounded up, never down.

What is assumed rather than known has a named constant that says so.
"""

import math
from dataclasses import dataclass

from overwinter.core.nouns import Building, Role, Site
from overwinter.core.units import K_PER_F, Unit, from_c, say, to_c
from overwinter.physics.bounds import check, check_above
from overwinter.physics.constants import AIR_J_M3K
from overwinter.physics.envelope import ua_w_k

FREEZE_LOW_C = 1.0
"""No advice is below this: in mode freeze a lower low end is refused."""

SAG_K = 0.6
"""How far the air falls below the low end where the house is not described: 0.3 K in an insulated shed, 0.6
in a small box, 1.4 in a leaky metal shed (simulated, controlled once a minute)."""

SPREAD_K = 1.0
"""How much colder the coldest pipe may be than a sensor in the air of the same room: an assumption."""

DELAY_S = 60.0
"""From passing the low end to warmth in the air: reading, filtering, and a lamp or fan heater getting hot."""

LIGHT_THINGS = 6.0
"""Shelves and the skin of the walls move with the air and multiply its heat: a guess of common practice."""

LINING_J_M2K = 8000.0
"""What the inside of walls and roof holds over half an hour: sheet metal, a guess; other walls more."""

WALL_FILM_M2K_W = 0.13
"""Between the room's air and a pipe on the outer wall [ISO 6946, level heat flow]."""

U_MAX_W_M2K = 7.0
"""Nothing is left of the wall itself beyond 1 / 0.13 = 7.7."""

WIDTH_K = 4.0 * K_PER_F
"""The least width that is advised, 4 F: narrower saves nothing and switches more."""

WIDTH_K_MAX = 10.0
"""No band is advised wider than this: then the relay or the heater is the wrong one, and not the band."""

ON_WALL_LOW_C_MAX = 15.0
"""Nobody heats an empty house to more than this for one pipe: then the pipe is in the wrong place."""

CYCLES_H_MAX = 6.0
"""A lamp or heater that is switched more often wears out: common practice, from memory."""

WINTERS = 5.0
"""A relay should last so many, and so many hours of each with heat in use."""

HEATED_H = 4000.0

SENSORS: dict[str, tuple[float, float]] = {
    "dht22": (0.5, 0.1),
    "dht11": (2.0, 1.0),
    "w1": (0.5, 0.0625),
}
"""Error and resolution [K] by kind: data sheets of AM2302, DHT11 and DS18B20 (the last from -10 to 85 °C)."""

SENSOR_UNKNOWN: tuple[float, float] = (0.5, 0.1)
"""Any other: taken to be as good as a dht22."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BandAdvice:
    """A band, and the sentences that add up to it; what is to be heeded is in `cautions`."""

    low_c: float
    high_c: float
    why: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    on_wall_low_c: float | None = None  # the low end if a pipe is fastened to the outer wall; None: not known


def sag_k(*, loss_w: float, heat_j_k: float, delay_s: float = DELAY_S) -> float:
    """How far the air falls below the low end before the heater bites.

    Parameters
    ----------
    loss_w : float
        Heat that the house loses [W], 0 to 1e12.
    heat_j_k : float
        Heat that moves with the air [J/K], above 0 to 1e10.
    delay_s : float
        From passing the low end to warmth in the air [s], 0 to 3600.

    Returns
    -------
    float
        Sag [K]; a first-order guess, good for a factor of two.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("loss_w", loss_w, 0.0, 1e12, "W")
    check_above("heat_j_k", heat_j_k, 0.0, 1e10, "J/K")
    check("delay_s", delay_s, 0.0, 3600.0, "s")
    return loss_w / heat_j_k * delay_s


def air_heat_j_k(volume_m3: float) -> float:
    """Heat that moves with the air within a minute [J/K], light things included; `volume_m3` 0.1 to 1e5."""
    check("volume_m3", volume_m3, 0.1, 100_000.0, "m3")
    return LIGHT_THINGS * AIR_J_M3K * volume_m3


def cycle_heat_j_k(volume_m3: float) -> float:
    """Heat that goes along with a cycle of the heater [J/K]: the air's, and the lining of a room like a cube.

    A guess of common practice: the cycles an hour that follow from it are right within a factor of two in
    simulated sheds and in a small box.
    """
    return air_heat_j_k(volume_m3) + LINING_J_M2K * 6.0 * math.pow(volume_m3, 2 / 3)


def low_end_c(*, error_k: float, resolution_k: float, sag_k: float, spread_k: float) -> float:
    """The lowest low end that keeps the coldest pipe at or above 0 °C, before rounding.

    Parameters
    ----------
    error_k : float
        Accuracy of the sensor [K], 0 to 20.
    resolution_k : float
        Its smallest step [K], 0 to 5; half of it counts.
    sag_k : float
        How far the air falls below the low end [K], 0 to 20.
    spread_k : float
        How much colder the coldest pipe is than the sensor [K], 0 to 20; 0 for a sensor at that pipe.

    Returns
    -------
    float
        Low end [°C], at least 1.0.

    Raises
    ------
    ValueError
        Out of range.
    """
    for name, value in (("error_k", error_k), ("sag_k", sag_k), ("spread_k", spread_k)):
        check(name, value, 0.0, 20.0, "K")
    check("resolution_k", resolution_k, 0.0, 5.0, "K")
    return max(FREEZE_LOW_C, error_k + resolution_k / 2.0 + sag_k + spread_k)


def on_wall_low_end_c(*, low_c: float, u_w_m2k: float, outdoor_c: float) -> float:
    """The low end that a pipe on the inside of an outer wall asks for, before rounding.

    Parameters
    ----------
    low_c : float
        What the sensor must not fall below where it is strapped to that pipe: `low_end_c` without spread
        [°C], 0 to 40.
    u_w_m2k : float
        U-value of the wall [W/(m2 K)], above 0 to 7.
    outdoor_c : float
        The coldest outdoors [°C], -90 to 20.

    Returns
    -------
    float
        Low end of the air [°C]: the wall's inside is colder than the air by U x 0.13 of the whole drop.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("low_c", low_c, 0.0, 40.0, "°C")
    check_above("u_w_m2k", u_w_m2k, 0.0, U_MAX_W_M2K, "W/(m2 K)")
    check("outdoor_c", outdoor_c, -90.0, 20.0, "°C")
    share = u_w_m2k * WALL_FILM_M2K_W
    return max(low_c, (low_c - share * outdoor_c) / (1.0 - share))


def width_k(*, watts: float, heat_j_k: float, cycles_h_max: float) -> float:
    """The least width at which the relay is never switched on more often than it should.

    Parameters
    ----------
    watts : float
        The heater [W], 0 to 100 000.
    heat_j_k : float
        Heat that goes along with a cycle [J/K], above 0 to 1e10.
    cycles_h_max : float
        The most cycles an hour [1/h], above 0 to 3600.

    Returns
    -------
    float
        Width [K], for weather that asks for half of the heater, where it switches most.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("watts", watts, 0.0, 100_000.0, "W")
    check_above("heat_j_k", heat_j_k, 0.0, 1e10, "J/K")
    check_above("cycles_h_max", cycles_h_max, 0.0, 3600.0, "1/h")
    return 3600.0 * watts / (4.0 * heat_j_k * cycles_h_max)


def rounded_up_c(temperature_c: float, unit: Unit) -> float:
    """Up to the next whole degree Fahrenheit or half degree Celsius, as people set it."""
    steps = 1.0 if unit is Unit.F else 2.0
    # Not: ceil as it stands. But: what is a whole step but for a float's last digits stays that step.
    return to_c(math.ceil(from_c(temperature_c, unit) * steps - 1e-9) / steps, unit)


def advise(site: Site) -> BandAdvice:
    """The band for a site, from what site.toml says of it.

    Parameters
    ----------
    site : Site
        site.toml. Without `[building]` the advice rests on assumptions, and says so.

    Returns
    -------
    BandAdvice
        Rounded up in the site's unit. Nothing raises.

    Notes
    -----
    With an ordinary sensor in the air of an ordinary shed this is 36 to 40 F.
    """
    why: list[str] = []
    cautions: list[str] = []
    error_k, resolution_k, spread_k = _sensor(site, why)
    sag = _sag(site, why)
    low_c = low_end_c(error_k=error_k, resolution_k=resolution_k, sag_k=sag, spread_k=spread_k)
    low_c = rounded_up_c(low_c, site.unit)
    why.append(f"together, rounded up: a low end of {_both(low_c, site.unit)}")
    high_c = rounded_up_c(low_c + _width(site, why, cautions), site.unit)
    bare_c = low_end_c(error_k=error_k, resolution_k=resolution_k, sag_k=sag, spread_k=0.0)
    on_wall_c = _on_wall(site, bare_c, cautions)
    return BandAdvice(
        low_c=low_c, high_c=high_c, why=tuple(why), cautions=tuple(cautions), on_wall_low_c=on_wall_c
    )


def _both(temperature_c: float, unit: Unit) -> str:
    """In the site's unit, and in the other: `36.0 F (2.2 C)`."""
    return f"{say(temperature_c, unit)} ({say(temperature_c, Unit.C if unit is Unit.F else Unit.F)})"


def control_sensor_k(site: Site) -> tuple[float, float, float]:
    """Error, resolution and spread [K] of the control sensor that is worst at this; see `low_end_c`."""
    figures = [
        (*SENSORS.get(sensor.kind, SENSOR_UNKNOWN), 0.0 if sensor.at == "pipe" else SPREAD_K)
        for sensor in site.sensors
        if sensor.role is Role.CONTROL
    ] or [(*SENSOR_UNKNOWN, SPREAD_K)]
    return max(figures, key=lambda one: one[0] + one[1] / 2.0 + one[2])


def _sensor(site: Site, why: list[str]) -> tuple[float, float, float]:
    error_k, resolution_k, spread_k = control_sensor_k(site)
    why.append(f"the sensor may read {error_k + resolution_k / 2.0:.2f} K too high")
    if spread_k:
        why.append(f"it hangs in the air, and the coldest pipe may be {spread_k:g} K colder (assumed)")
    else:
        why.append("it is strapped to the pipe, so no spread is added; it must be the coldest pipe")
    return error_k, resolution_k, spread_k


def _sag(site: Site, why: list[str]) -> float:
    building = site.building or Building()
    total_w_k, outdoor_c = ua_w_k(building).total_w_k, building.design_outdoor_c
    if total_w_k is None or outdoor_c is None or building.volume_m3 is None:
        why.append(
            f"the air sags {SAG_K:g} K before the heater bites (assumed: the building is not described)"
        )
        return SAG_K
    drop_k = max(0.0, FREEZE_LOW_C - outdoor_c)
    sag = min(20.0, sag_k(loss_w=total_w_k * drop_k, heat_j_k=air_heat_j_k(building.volume_m3)))
    # A guess that is good for a factor of two takes nothing away from what was seen in simulated houses.
    sag = max(SAG_K, sag)
    why.append(f"the air sags {sag:.1f} K before the heater bites, at {_both(outdoor_c, site.unit)} outdoors")
    return sag


def _width(site: Site, why: list[str], cautions: list[str]) -> float:
    volume_m3 = site.building.volume_m3 if site.building else None
    rated = site.relay.rated_cycles
    most_h = CYCLES_H_MAX if rated is None else min(CYCLES_H_MAX, rated / (WINTERS * HEATED_H))
    if volume_m3 is None or site.heater.watts is None:
        why.append(f"the width is the least advised, {WIDTH_K / K_PER_F:.0f} F ({WIDTH_K:.1f} K)")
        return WIDTH_K
    asked_k = width_k(watts=site.heater.watts, heat_j_k=cycle_heat_j_k(volume_m3), cycles_h_max=most_h)
    if asked_k <= WIDTH_K:
        fastest_h = most_h * asked_k / WIDTH_K
        why.append(
            f"the width is the least advised, {WIDTH_K / K_PER_F:.0f} F ({WIDTH_K:.1f} K): "
            f"at most about {fastest_h:.1f} cycles an hour"
        )
        return WIDTH_K
    if asked_k > WIDTH_K_MAX:
        why.append(f"the width is the most advised, {WIDTH_K_MAX:g} K")
        cautions.append(
            f"it would take {asked_k:.0f} K to keep the relay to {most_h:.2g} cycles an hour: "
            "a weaker heater or a longer-lived relay is the cure"
        )
        return WIDTH_K_MAX
    why.append(f"a width of {asked_k:.1f} K keeps the relay to {most_h:.1f} cycles an hour")
    return asked_k


def _on_wall(site: Site, bare_c: float, cautions: list[str]) -> float | None:
    building = site.building or Building()
    parts, outdoor_c = ua_w_k(building).parts, building.design_outdoor_c
    if not parts or outdoor_c is None:
        cautions.append("a pipe that is fastened to an outer wall needs more; the building is not described")
        return None
    wall = max(parts, key=lambda part: part.area_m2)
    if wall.u_w_m2k > U_MAX_W_M2K:
        cautions.append(
            f"a pipe that is fastened to {wall.name!r} is as cold as outdoors: no band protects it"
        )
        return None
    low_c = on_wall_low_end_c(low_c=bare_c, u_w_m2k=wall.u_w_m2k, outdoor_c=min(20.0, outdoor_c))
    if low_c > ON_WALL_LOW_C_MAX:
        cautions.append(
            f"a pipe that is fastened to {wall.name!r}, if that is an outer wall, freezes with any "
            "sensible band: move it, or insulate the wall"
        )
        return None
    low_c = rounded_up_c(low_c, site.unit)
    cautions.append(
        f"a pipe that is fastened to {wall.name!r}, if that is an outer wall, is colder than the air: "
        f"it asks for a low end of {_both(low_c, site.unit)} at {_both(outdoor_c, site.unit)} outdoors"
    )
    return low_c

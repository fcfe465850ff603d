"""What follows from what was learned: how long without heat, how cold it may become, what tomorrow costs.

Rule 1: every figure is a range; one that is not known is None, and a sentence in `missing` says why.
Rule 2: hours err to the early side: a pipe may freeze before the sensor reads 0 °C, and it may read high.
Rule 3: without a temperature outdoors there is neither limit nor loss: any guess would be worth nothing.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from overwinter.core.nouns import Mode, PipeSpec, Settings, Site
from overwinter.know.cooling import Course
from overwinter.know.learned import Learned
from overwinter.know.nouns import Span
from overwinter.physics.constants import WATER_J_KGK, WATER_KG_M3
from overwinter.physics.pipe import resistances_m_kw, wall_j_mk
from overwinter.physics.ranges import Range

SENSOR_K = 0.5
"""How far the sensor may be off either way (data sheet of the AM2302)."""

AIM_C = SENSOR_K
"""At this reading (32.9 °F) the air counts as freezing, for it may be. Aiming higher made fewer hours too
hopeful in simulation, and more of them wrong by half."""

QUICKER, SLOWER = 1.35, 0.8
"""How much steeper or flatter the air may fall than was learned: wind that rises, walls that hold more."""

PIPE_BELOW_K = 1.0
"""How much colder than the sensor a pipe is taken to be, for it hangs lower and nearer to the wall; twice
that at the early end of its range, not at all at the late one: an assumption."""

PIPE_STEP_S = 60.0
PIPE_H_MAX = 96.0

DAY_H = 24.0
SWING_K = 3.0
"""Standard deviation of outdoors within a day: heat is on by night though the day's mean would need none."""

DUTY_FLOOR = 0.02
SPREADS = 1.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """All of it; `known` is whether any of it is."""

    known: bool
    hours_to_alarm_low: Range | None
    hours_to_freezing: Range | None
    pipes: tuple[tuple[str, Range | None], ...]
    outdoor_limit_c: Range | None
    tomorrow_duty: Range | None
    tomorrow_kwh: Range | None
    tomorrow_cost: Range | None
    based_on_h: float
    outdoor_c: float | None
    missing: tuple[str, ...]


def forecast(
    learned: Learned, site: Site, settings: Settings, *, last: Span | None, outdoor_c: float | None
) -> Forecast:
    """What follows if it stays as cold as this.

    Parameters
    ----------
    learned : Learned
        What the record has taught.
    site, settings : Site, Settings
        The pipes, the heater and its tariff; the band and the alarm.
    last : Span, optional
        The last minute of the record.
    outdoor_c : float, optional
        Outdoors now and over tomorrow [°C]; None: as the last span has it.
    """
    missing: list[str] = []
    if outdoor_c is not None and not -90.0 <= outdoor_c <= 60.0:
        outdoor_c = None
    measured_c = last.outdoor_c if last is not None else None
    if measured_c is None:
        measured_c = learned.outdoor_c
    now_c = outdoor_c if outdoor_c is not None else measured_c
    is_cable = site.heater.kind == "cable"
    if is_cable:
        missing.append(
            "A heating cable has its own thermostat and does not warm the air, so nothing can be learned of "
            "it from the air: neither hours nor limit. A sensor on the pipe would show that it works."
        )
    elif now_c is None:
        missing.append(
            "Without a temperature outdoors neither the heat loss nor the outdoor limit can be known, nor "
            "hours: a second sensor outdoors, in the shade, would teach them within a week."
        )
    elif settings.mode is Mode.OBSERVE:
        missing.append("In mode observe no heat is given, so nothing more is learned of the heater.")
    course = None if now_c is None or is_cable else learned.course(now_c)
    if course is None and now_c is not None and not is_cable:
        missing.append(
            "How fast the air cools is not known yet: that takes five days or so with heat in use and "
            "temperatures from indoors and outdoors."
        )
    to_alarm = None if course is None else _hours(course, settings.alarm_low_c, 0.0)
    to_freezing = None if course is None else _hours(course, 0.0, AIM_C)
    pipes = tuple((pipe.name, None if course is None else _pipe_hours(course, pipe)) for pipe in site.pipes)
    line = None if is_cable or now_c is None else learned.line
    limit_c = None if line is None else learned.limit_c(settings.low_c)
    duty = None
    if line is not None and now_c is not None and settings.mode is not Mode.OBSERVE:
        duty = _duty(learned, settings, now_c)
    if line is None and now_c is not None and not is_cable:
        missing.append(
            "The heat loss and the outdoor limit are not known yet: that takes five days with heat in use, "
            "sound readings and some change of the weather."
        )
    watts = site.heater.watts
    kwh = None if duty is None or watts is None else _scaled(duty, watts / 1000.0 * DAY_H)
    if duty is not None and watts is None:
        missing.append("Energy and cost need heater.watts in site.toml.")
    cost = None if kwh is None or site.per_kwh is None else _scaled(kwh, site.per_kwh)
    if kwh is not None and site.per_kwh is None:
        missing.append("The cost needs tariff.per_kwh in site.toml.")
    return Forecast(
        known=any(part is not None for part in (to_freezing, limit_c, duty)),
        hours_to_alarm_low=to_alarm,
        hours_to_freezing=to_freezing,
        pipes=pipes,
        outdoor_limit_c=limit_c,
        tomorrow_duty=duty,
        tomorrow_kwh=kwh,
        tomorrow_cost=cost,
        based_on_h=learned.based_on_h,
        outdoor_c=now_c,
        missing=tuple(missing),
    )


def air_without_heat(learned: Learned, air_c: float) -> Callable[[float, float], Range]:
    """From so warm on, by hours without heat [h] and outdoors [°C], as learned before.

    The range is that of `Forecast`: wind that rises, walls that hold more; its cold end is that of a pipe.
    Where nothing is known it goes down to outdoors.
    """
    courses: dict[float, Course | None] = {}

    def air(hours: float, outdoor_c: float) -> Range:
        if outdoor_c not in courses:
            courses[outdoor_c] = learned.course(outdoor_c)
        course = courses[outdoor_c]
        if course is None:
            return Range(best=outdoor_c, low=outdoor_c, high=max(air_c, outdoor_c))
        fell_k = max(course.air_c - course.at_c(hours * 3600.0), 0.0)
        low_c = air_c - PIPE_BELOW_K - QUICKER * fell_k
        return Range(best=air_c - fell_k, low=low_c, high=air_c - SLOWER * fell_k)

    return air


def _hours(course: Course, to_c: float, early_k: float) -> Range:
    best = course.hours_to(to_c + early_k)
    low = course.hours_to(to_c + early_k, quicker=QUICKER, higher_k=-SENSOR_K)
    high = course.hours_to(to_c, quicker=SLOWER, higher_k=SENSOR_K)
    return Range(best=best, low=min(low, best), high=max(high, best))


def _pipe_hours(course: Course, pipe: PipeSpec) -> Range:
    """Until still water in the pipe is at 0 °C: it lags behind the air by its insulation or film."""
    resistance_m_kw = resistances_m_kw(pipe, air_c=-10.0)
    water_j_mk = WATER_KG_M3 * WATER_J_KGK * math.pi / 4.0 * pipe.bore_m**2

    def hours(lag_s: float, *, lower_k: float, quicker: float) -> float:
        air_now_c = course.air_c - lower_k
        water_c = air_now_c
        kept = math.exp(-PIPE_STEP_S / lag_s)
        time_s = 0.0
        while water_c > 0.0:
            time_s += PIPE_STEP_S
            if time_s > PIPE_H_MAX * 3600.0:
                return math.inf
            air_c = air_now_c - quicker * (course.air_c - course.at_c(time_s))
            water_c = air_c + kept * (water_c - air_c)
        return time_s / 3600.0

    best = hours(resistance_m_kw.best * water_j_mk, lower_k=PIPE_BELOW_K, quicker=1.0)
    low = hours(resistance_m_kw.low * water_j_mk, lower_k=SENSOR_K + 2.0 * PIPE_BELOW_K, quicker=QUICKER)
    slow_s = resistance_m_kw.high * (water_j_mk + wall_j_mk(pipe))
    high = hours(slow_s, lower_k=-SENSOR_K, quicker=SLOWER)
    return Range(best=best, low=min(low, best), high=max(high, best))


def _duty(learned: Learned, settings: Settings, outdoor_c: float) -> Range | None:
    line = learned.line
    if line is None:
        return None
    middle_c = (settings.low_c + settings.high_c) / 2.0
    linear, spread = learned.loss.day_duty(line, air_c=middle_c, outdoor_c=outdoor_c)
    swing = SWING_K / line.rise_k
    best = _cut(linear, swing)
    margin = SPREADS * math.hypot(spread, DUTY_FLOOR)
    return Range(best=best, low=max(0.0, best - margin), high=min(1.0, best + margin))


def _cut(mean: float, swing: float) -> float:
    """The mean of a normally swinging duty that can neither fall below 0 nor exceed 1 (textbook)."""

    def above(value: float) -> float:
        if swing <= 0.0:
            return max(value, 0.0)
        part = value / swing
        density = math.exp(-0.5 * part * part) / math.sqrt(2.0 * math.pi)
        return value * 0.5 * (1.0 + math.erf(part / math.sqrt(2.0))) + swing * density

    return min(max(above(mean) - above(mean - 1.0), 0.0), 1.0)


def _scaled(figure: Range, factor: float) -> Range:
    return Range(best=figure.best * factor, low=figure.low * factor, high=figure.high * factor)

"""One house-winter through the room that learns and finds, and what came of it against the truth.

Rule 1: what is measured sees spans alone; truths come from the trace, after the fact.
Rule 2: every figure is kept one by one (`Result`); means and shares are made in `goals`, over all of them.
"""

import importlib.util
import json
import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from overwinter.core.nouns import (
    Code,
    ContactSpec,
    HeaterSpec,
    PipeSpec,
    Role,
    SensorSpec,
    Settings,
    Site,
)
from overwinter.know.nouns import Finding, Span
from tests.bench.learning.faults import DAY_S, HOUR_S, Fault, Kind, plan
from tests.bench.learning.nouns import Duty, Found, Hours, Job, Limit, Result
from tests.bench.learning.traces import AIR, OUTDOOR, PUMP, Trace, trace

DAYS = 90
"""From the middle of November to the middle of February."""

ALONE_DAYS = 30
COARSE_MINUTES = 10

LOG_DAYS = (4, 7, 14)
LOG_BEGINS = (0, 25, 50, 75)
"""A log of so many days, begun on these days of the winter."""

RESTART_DAY = 40
SETTLED_DAYS = 7
MOMENTS_EVERY = 5
"""Every fifth of the six-hourly moments: each hour of the day in turn."""

COLD_C = -1.0
"""In milder weather nothing freezes soon, and a right answer says little."""

SAME_EPISODE_S = HOUR_S
AFTERMATH_S = 6 * HOUR_S
"""What is said so soon after a fault was healed is of the fault."""

FAULTS = (
    Kind.DEAD_AT_SWITCH_ON,
    Kind.DEAD_WHILE_ON,
    Kind.WELDED,
    Kind.DOOR_OPEN,
    Kind.FLAT,
    Kind.DEAD_AT_SWITCH_ON,
    Kind.DEAD_WHILE_ON,
    Kind.DOOR_AJAR,
    Kind.WELDED,
    Kind.LOST,
)
WEAK = (Kind.HALF_HEATER, Kind.DRIFT)

CODES = {
    Kind.DEAD_AT_SWITCH_ON: {Code.HEATER_DEAD},
    Kind.DEAD_WHILE_ON: {Code.HEATER_DEAD},
    Kind.WELDED: {Code.HEAT_STUCK_ON},
    Kind.DOOR_OPEN: {Code.COOLING_FAST},
    Kind.DOOR_AJAR: {Code.COOLING_FAST},
    Kind.FLAT: {Code.SENSOR_DOUBTFUL, Code.SENSOR_LOST},
    Kind.LOST: {Code.SENSOR_LOST},
    Kind.HALF_HEATER: {Code.HEATER_DEAD, Code.HEATER_TOO_SMALL},
    Kind.DRIFT: {Code.SENSOR_DOUBTFUL},
}
"""What a fault should be called."""

FALSE = (
    Code.HEATER_DEAD,
    Code.HEAT_STUCK_ON,
    Code.COOLING_FAST,
    Code.SENSOR_DOUBTFUL,
    Code.SENSOR_LOST,
    Code.SHORT_CYCLING,
)
"""What must not be said of a healthy house; a heater that is too small for the weather may be called so."""


def run(job: Job) -> Result:
    """A job from its trace to its figures."""
    if job.kind == "healthy":
        return _healthy(job)
    if job.kind == "alone":
        return _alone(job)
    if job.kind == "coarse":
        return _coarse(job)
    return _faulty(job)


def trace_of(job: Job) -> Trace:
    """Its winter: with no pump, with one and an input for it, or with one untold, by the seed."""
    has_pump = job.seed % 3 != 1 and job.kind != "alone"
    return trace(
        job.house,
        job.winter,
        job.seed,
        model=job.model,
        days=ALONE_DAYS if job.kind == "alone" else DAYS,
        faults=faults_of(job) if job.kind in ("faulty", "weak") else (),
        outdoor=job.kind != "alone",
        outdoor_bias_k=random.Random(f"outdoors {job}").uniform(-0.5, 0.5),
        pump=has_pump,
        pump_contact=has_pump and job.seed % 3 == 2,
    )


def site_of(made: Trace) -> Site:
    """What an owner would have written."""
    air = SensorSpec(name=AIR, role=Role.CONTROL, kind="dht22")
    outdoor = SensorSpec(name=OUTDOOR, role=Role.OUTDOOR, kind="dht22")
    metres = 1.5 if "box" in made.house else 3.0
    return Site(
        sensors=(air, outdoor) if made.has_outdoor else (air,),
        heater=HeaterSpec(watts=made.heater_w, kind="lamp" if made.heater_w <= 300.0 else "air"),
        contacts=(ContactSpec(name=PUMP, kind="pump", pin=5),) if made.has_pump_contact else (),
        pipes=(PipeSpec(name="pipe", length_m=metres, bore_m=0.020, outside_m=0.022),),
        per_kwh=0.2,
        currency="EUR",
    )


def settings_of(made: Trace) -> Settings:
    """Those it was guarded by."""
    return Settings(low_c=made.low_c, high_c=made.high_c)


def _healthy(job: Job) -> Result:
    """No fault: what is learned, and what is said although nothing is wrong."""
    made = trace_of(job)
    result = Result(job, days=DAYS, has_pump=bool(made.columns["pump"].any()))
    heat = made.columns["heat"]
    result.cycles_day = float(((heat[1:] > 0) & (heat[:-1] == 0)).sum()) / DAYS
    _watch(result, made, made.spans)
    _limits(result, made, made.spans)
    _predictions(result, made)
    return result


def _coarse(job: Job) -> Result:
    """The same winter, recorded every ten minutes: limits, and what is said although nothing is wrong."""
    made = trace_of(replace(job, kind="healthy"))
    result = Result(job, days=DAYS)
    spans = coarser(made.spans, COARSE_MINUTES)
    _watch(result, made, spans)
    _limits(result, made, spans)
    return result


def coarser(spans: Sequence[Span], count: int) -> list[Span]:
    """So many spans made one, as a guard that records less often would have written it."""
    made = []
    for at in range(0, len(spans) - count + 1, count):
        parts = spans[at : at + count]
        last = parts[-1]
        made.append(
            replace(
                last,
                lasts_s=sum(part.lasts_s for part in parts),
                heat=fmean(part.heat for part in parts),
                is_forced=any(part.is_forced for part in parts),
                contacts={name: fmean(part.contacts[name] for part in parts) for name in last.contacts},
            )
        )
    return made


def _limits(result: Result, made: Trace, spans: Sequence[Span]) -> None:
    """What logs of some days say, each begun afresh."""
    from overwinter.know.forecast import forecast
    from overwinter.know.learned import Learned

    site, settings = site_of(made), settings_of(made)
    truth_c = made.limit_c(made.low_c)
    a_day = round(DAY_S / spans[0].lasts_s)
    for begin in LOG_BEGINS:
        learned = Learned(site.heater)
        for at in range(begin * a_day, min((begin + max(LOG_DAYS)) * a_day, len(spans))):
            learned.take(spans[at])
            days, rest = divmod(at + 1 - begin * a_day, a_day)
            if rest or days not in LOG_DAYS:
                continue
            said = forecast(learned, site, settings, last=spans[at], outdoor_c=None).outdoor_limit_c
            if said is None:
                result.limits.append(Limit(days, truth_c, None))
            else:
                result.limits.append(Limit(days, truth_c, said.best, said.low, said.high))


def _predictions(result: Result, made: Trace) -> None:
    """Each midnight the next day's duty, and now and then the hours that are left; once begun again."""
    from overwinter.know.forecast import forecast
    from overwinter.know.learned import Learned

    site, settings = site_of(made), settings_of(made)
    learned = Learned(site.heater)
    learned.heed(site.contacts)
    moments = set(made.moments[::MOMENTS_EVERY])
    for at, span in enumerate(made.spans):
        learned.take(span)
        is_midnight = (at + 1) % 1440 == 0
        if not is_midnight and at not in moments:
            continue
        day = (at + 1) // 1440
        if is_midnight and day == RESTART_DAY:
            kept = json.dumps(learned.facts())
            learned = Learned.recalled(site.heater, json.loads(kept))
            learned.heed(site.contacts)
        if is_midnight and SETTLED_DAYS <= day < DAYS:
            result.facts_bytes = max(result.facts_bytes, len(json.dumps(learned.facts())))
            today, next_day = made.days[day - 1], made.days[day]
            said = forecast(learned, site, settings, last=span, outdoor_c=next_day.outdoor_c).tomorrow_duty
            if said is None:
                result.duties.append(Duty(next_day.duty, today.duty, None))
            else:
                holds = said.low <= next_day.duty <= said.high
                result.duties.append(Duty(next_day.duty, today.duty, said.best, holds))
        if at in moments and day >= SETTLED_DAYS and made.outdoor_true_c[at] <= COLD_C:
            _hours(result, made, at, forecast(learned, site, settings, last=span, outdoor_c=None))


def _hours(result: Result, made: Trace, at: int, said) -> None:  # type: ignore[no-untyped-def]
    truth_h = made.hours_to(0.0, at)
    if truth_h == 0.0:
        return  # it is there already
    hours, pipes = said.hours_to_freezing, dict(said.pipes)
    pipe = next(iter(pipes.values()), None)
    result.hours.append(
        Hours(
            truth_h=truth_h,
            best_h=None if hours is None else hours.best,
            low_h=0.0 if hours is None else hours.low,
            high_h=math.inf if hours is None else hours.high,
            ice_h=made.hours_to_ice(at),
            pipe_h=None if pipe is None else pipe.best,
        )
    )


def _alone(job: Job) -> Result:
    """No outdoor sensor: neither limit nor heat loss may be said, and no hours that hope too much."""
    from overwinter.know.forecast import forecast
    from overwinter.know.learned import Learned

    made = trace_of(job)
    result = Result(job, days=ALONE_DAYS)
    site, settings = site_of(made), settings_of(made)
    learned = Learned(site.heater)
    learned.heed(site.contacts)
    moments = set(made.moments[::MOMENTS_EVERY])
    for at, span in enumerate(made.spans):
        learned.take(span)
        if at not in moments:
            continue
        said = forecast(learned, site, settings, last=span, outdoor_c=None)
        if said.outdoor_limit_c is not None:
            result.claimed.append("outdoor limit")
        result.claimed += [name for name, value in learned.summary().items() if _is_loss(name, value)]
        if made.outdoor_true_c[at] <= COLD_C and at >= SETTLED_DAYS * 1440:
            _hours(result, made, at, said)
    return result


def _is_loss(name: str, value: object) -> bool:
    """Whether a line of the summary claims to know a loss in watts per kelvin, or a limit."""
    return value is not None and (name.endswith("_w_k") or "loss" in name or "limit" in name)


def _faulty(job: Job) -> Result:
    """Faults one after another."""
    made = trace_of(job)
    result = Result(job, days=DAYS)
    _watch(result, made, made.spans)
    return result


def faults_of(job: Job) -> tuple[Fault, ...]:
    """What goes wrong in that winter."""
    number = sum(map(ord, f"{job.house} {job.winter} {job.model}")) + job.seed
    if job.kind == "weak":
        return plan(WEAK, seed=number, days=DAYS, first_day=25.0)
    # Turned, so that not every kind always falls into the same month.
    kinds = FAULTS[number % len(FAULTS) :] + FAULTS[: number % len(FAULTS)]
    return plan(kinds, seed=number, days=DAYS, first_day=12.0)


@dataclass(frozen=True, slots=True)
class Episode:
    """Something that was said, from when to when."""

    code: Code
    from_s: float
    until_s: float
    text: str


def episodes(spans: Iterable[Span], site: Site) -> list[Episode]:
    """All that a finder says over these spans, pauses of less than an hour bridged."""
    from overwinter.know.find import Finder

    finder = Finder(site, is_replay=True)
    over: list[Episode] = []
    open_now: dict[tuple[Code, str], Episode] = {}
    before: tuple[Finding, ...] = ()
    for span in spans:
        said = finder.take(span)
        if not said and not before:
            continue
        for finding in said:
            key = finding.code, finding.subject
            known = open_now.get(key)
            if known is not None and span.ends_s - known.until_s > SAME_EPISODE_S:
                over.append(known)
                known = None
            if known is None:
                open_now[key] = Episode(finding.code, span.ends_s, span.ends_s, finding.text)
            else:
                open_now[key] = Episode(known.code, known.from_s, span.ends_s, known.text)
        before = said
    return sorted([*over, *open_now.values()], key=lambda episode: episode.from_s)


def _watch(result: Result, made: Trace, spans: Sequence[Span]) -> None:
    if importlib.util.find_spec("overwinter.know.find") is None:
        return
    result.is_watched = True
    said = episodes(spans, site_of(made))
    first_s = made.ends_s(0)
    for fault in made.faults:
        right = CODES[fault.kind]
        during = [one for one in said if one.until_s >= fault.from_s and one.from_s <= fault.until_s + 60.0]
        named = [one for one in during if one.code in right]
        # A note that stood before the fault began was not about it.
        fresh = [one for one in named if one.from_s >= fault.from_s]
        hour = (fault.from_s - first_s) / HOUR_S % 24
        result.found.append(
            Found(
                kind=fault.kind,
                day=(fault.from_s - first_s) / DAY_S,
                delay_s=min(one.from_s for one in fresh) - fault.from_s if fresh else None,
                is_dark=hour >= 20 or hour < 6,
                can_be_seen=_cools(made, fault.from_s),
                said_otherwise=tuple(sorted({one.code for one in during if one.code not in right})),
            )
        )
    for one in said:
        if one.code is Code.HEATER_TOO_SMALL:
            result.too_small += 1
        is_of_a_fault = any(
            fault.from_s <= one.from_s <= fault.until_s + AFTERMATH_S for fault in made.faults
        )
        if one.code in FALSE and not is_of_a_fault:
            result.false.append((str(one.code), (one.from_s - first_s) / DAY_S, one.text))


def _cools(made: Trace, from_s: float) -> bool:
    """Whether the true air falls by a kelvin within ten minutes."""
    at = max(int((from_s - made.ends_s(0)) // 60) + 1, 1)
    air_c = made.air_c[at - 1 : at + 11]
    return bool(air_c[0] - air_c.min() >= 1.0)

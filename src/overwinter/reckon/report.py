"""Figures of a span of the logbook: the coldest, the hours too cold, heat, energy, what was not recorded.

Fed one sample after another, at seconds of the epoch, so that days of 23 and 25 hours count what they last.
Rule: nothing is counted across a gap; `recorded_s` says how much of the span the figures rest on.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from overwinter.core.nouns import PipeSpec
from overwinter.core.watch import COLD_DEAD_ZONE_K
from overwinter.physics.freezing import excursion
from overwinter.physics.ranges import Range

PERIODS = 3.0
"""A silence longer than so many record periods is a gap."""

PERIOD_S_LONGEST = 3600.0
"""The longest record period that can be set."""

TOLD_AGAIN_S = 3600.0
"""So soon after a start an alarm is the one from before it, told again; later it is another."""

TOLD_WITHIN_S = 900.0
"""The guard tells of a gap up to ten minutes after it: it waits for a believed reading."""

DAY_S = 86_400.0
DAY_KNOWN_SHARE = 0.9

AIR_C = (-90.0, 60.0)
"""What air `physics.freezing` reckons with; more is a broken sensor."""

ERROR_K = 0.5
"""Accuracy of an ordinary sensor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What a sample tells; `heat` is the share of the period before it."""

    at_s: float  # of the epoch
    temperature_c: float | None
    heat: float | None
    is_doubtful: bool = False  # suspect, failed or missing


@dataclass(frozen=True, slots=True, kw_only=True)
class Silence:
    """A gap, and the air at both of its ends."""

    from_s: float
    to_s: float
    before_c: float | None
    after_c: float | None
    cause: str = "unknown"  # power | stopped | killed | unknown
    frozen: str | None = None  # what the guard said of the pipes then, by the cooling that it had learned


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """An event that tells why nothing was recorded: gap (with its cause), start, stop, or another boot."""

    at_s: float  # of the epoch
    what: str  # gap | start | stop | boot
    cause: str = "unknown"
    frozen: str | None = None  # no | may have | cannot be known


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """An alarm's event."""

    at_s: float  # of the epoch
    code: str
    state: str  # raised | cleared | acknowledged
    text: str = ""
    subject: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """An alarm of the span; None: before it, or not in it."""

    code: str
    subject: str
    text: str
    since_s: float | None
    cleared_s: float | None
    acknowledged_s: float | None
    delay_s: float | None  # from when it was so until it was told; None: no sample shows its beginning


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeIce:
    """The most ice in a pipe, as a share of its water; None: too little was recorded."""

    name: str
    ice_share: Range | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Of the span; None where nothing recorded can say it."""

    coldest_c: float | None
    coldest_at_s: float | None
    hours_below_alarm_low: float
    degree_hours_below_alarm_low: float
    duty: float | None
    heat_h: float
    kwh: float | None
    cost: float | None
    recorded_s: float
    gaps: tuple[Silence, ...]
    heat_share_while_cold: float | None  # of the time at or below alarm_low
    busiest_duty: float | None  # of the day with the most heat; None: less than a day was recorded


def figures(
    samples: Iterable[Sample], *, alarm_low_c: float, watts: float | None, per_kwh: float | None
) -> Figures:
    """Reckon a span.

    Parameters
    ----------
    samples : iterable of Sample
        In the order of time; one that does not come after the one before it is left out.
    alarm_low_c : float
        At or below it counts as too cold [°C].
    watts, per_kwh : float, optional
        Heater [W], price of a kWh.
    """
    kept = in_order(samples)
    spans_s = [kept[at].at_s - kept[at - 1].at_s for at in range(1, len(kept))]
    usual_s = min(sorted(spans_s)[len(spans_s) // 2], PERIOD_S_LONGEST) if spans_s else 0.0
    cold_s = cold_ks = recorded_s = known_s = heat_s = cold_known_s = cold_heat_s = 0.0
    heated: list[tuple[float, float, float]] = []  # when, for how long, share
    gaps: list[Silence] = []
    for at, span_s in enumerate(spans_s):
        one, later = kept[at], kept[at + 1]
        # The record period may have been changed: then both neighbours, or one at an end, are as long.
        beside_s = min(spans_s[at - 1] if at else math.inf, *spans_s[at + 1 : at + 2], math.inf)
        period_s = max(usual_s, min(beside_s, PERIOD_S_LONGEST)) if math.isfinite(beside_s) else usual_s
        if span_s > PERIODS * period_s:
            gaps.append(
                Silence(
                    from_s=one.at_s, to_s=later.at_s, before_c=one.temperature_c, after_c=later.temperature_c
                )
            )
            continue
        recorded_s += span_s
        if later.heat is not None:
            known_s += span_s
            heat_s += later.heat * span_s
            heated.append((later.at_s, span_s, later.heat))
        if later.temperature_c is not None and later.temperature_c <= alarm_low_c:
            cold_s += span_s
            cold_ks += (alarm_low_c - later.temperature_c) * span_s
            if later.heat is not None:
                cold_known_s += span_s
                cold_heat_s += later.heat * span_s
    coldest = min(
        ((sample.temperature_c, sample.at_s) for sample in kept if sample.temperature_c is not None),
        default=None,
    )
    kwh = None if watts is None or known_s == 0.0 else heat_s / 3600.0 * watts / 1000.0
    return Figures(
        coldest_c=None if coldest is None else coldest[0],
        coldest_at_s=None if coldest is None else coldest[1],
        hours_below_alarm_low=cold_s / 3600.0,
        degree_hours_below_alarm_low=cold_ks / 3600.0,
        duty=heat_s / known_s if known_s else None,
        heat_h=heat_s / 3600.0,
        kwh=kwh,
        cost=None if kwh is None or per_kwh is None else kwh * per_kwh,
        recorded_s=recorded_s,
        gaps=tuple(gaps),
        heat_share_while_cold=cold_heat_s / cold_known_s if cold_known_s else None,
        busiest_duty=_busiest_duty(heated),
    )


def in_order(samples: Iterable[Sample]) -> list[Sample]:
    """Those that come after the one before them."""
    kept: list[Sample] = []
    last_s = -math.inf
    for sample in samples:
        if last_s < sample.at_s < math.inf:
            kept.append(sample)
            last_s = sample.at_s
    return kept


def _busiest_duty(heated: Sequence[tuple[float, float, float]]) -> float | None:
    """The highest share of heat in any day of which at least `DAY_KNOWN_SHARE` is known."""
    busiest: float | None = None
    known_s = on_s = 0.0
    first = 0
    for at_s, span_s, share in heated:
        known_s += span_s
        on_s += share * span_s
        while heated[first][0] <= at_s - DAY_S:
            known_s -= heated[first][1]
            on_s -= heated[first][1] * heated[first][2]
            first += 1
        if known_s >= DAY_KNOWN_SHARE * DAY_S:
            duty = min(1.0, max(0.0, on_s / known_s))
            busiest = duty if busiest is None else max(busiest, duty)
    return busiest


def with_causes(gaps: Sequence[Silence], happened: Iterable[Happened]) -> tuple[Silence, ...]:
    """The gaps with what caused each, as far as the events tell.

    What the guard said of the gap goes before what its starts and stops let one guess: a stop comes first,
    since a board that was shut down properly boots anew as well.
    """
    told: list[list[Happened]] = [[] for _ in gaps]
    for one in happened:
        for at, gap in reversed(list(enumerate(gaps))):
            later_s = TOLD_WITHIN_S if one.what == "gap" else 0.0
            if gap.from_s <= one.at_s <= gap.to_s + later_s:
                told[at].append(one)
                break
    return tuple(
        replace(
            gap, cause=_cause(found), frozen=next((one.frozen for one in reversed(found) if one.frozen), None)
        )
        for gap, found in zip(gaps, told, strict=True)
    )


def _cause(found: Sequence[Happened]) -> str:
    said = [one.cause for one in found if one.what == "gap"]
    what = {one.what for one in found}
    if said:
        return said[-1]
    if "stop" in what:
        return "stopped"
    if "boot" in what:
        return "power"
    return "killed" if "start" in what else "unknown"


def cycles_seen(samples: Iterable[Sample]) -> int:
    """How often heat went on, from samples alone: at least so often."""
    found, was_on = 0, True  # what was on from the first sample on did not go on within the span
    for sample in samples:
        if sample.heat is not None:
            is_on = sample.heat > 0.0
            found += is_on and not was_on
            was_on = is_on
    return found


def alarms(
    told: Iterable[Told],
    samples: Sequence[Sample],
    *,
    alarm_low_c: float,
    starts_s: Sequence[float] = (),
) -> tuple[Alarm, ...]:
    """Alarms of the span in the order of their beginnings, with the delay where samples show it.

    A guard that starts tells anew what is still true: what it doesn't tell again was over by that start.
    """
    found: list[Alarm] = []
    lasting: dict[tuple[str, str], int] = {}
    told_s: dict[tuple[str, str], float] = {}  # when it was last said to last
    for one in told:
        key = one.code, one.subject
        at, over_s = lasting.get(key), _next_s(starts_s, told_s.get(key))
        told_s[key] = one.at_s
        if one.state == "raised":
            if at is not None:
                if over_s is None or one.at_s - over_s <= TOLD_AGAIN_S:
                    continue  # told again after a restart, and the same alarm
                found[at] = replace(found[at], cleared_s=over_s)
            lasting[key] = len(found)
            found.append(
                Alarm(
                    code=one.code,
                    subject=one.subject,
                    text=one.text,
                    since_s=one.at_s,
                    cleared_s=None,
                    acknowledged_s=None,
                    delay_s=_delay_s(one, samples, alarm_low_c),
                )
            )
            continue
        if at is None:  # it began before the span
            at = lasting[key] = len(found)
            found.append(
                Alarm(
                    code=one.code,
                    subject=one.subject,
                    text=one.text,
                    since_s=None,
                    cleared_s=None,
                    acknowledged_s=None,
                    delay_s=None,
                )
            )
        if one.state == "acknowledged":
            found[at] = replace(found[at], acknowledged_s=one.at_s)
        else:
            found[at] = replace(found[at], cleared_s=one.at_s)
            del lasting[key]
    for key, at in lasting.items():
        found[at] = replace(found[at], cleared_s=_next_s(starts_s, told_s[key]))
    return tuple(found)


def _next_s(starts_s: Sequence[float], after_s: float | None) -> float | None:
    return None if after_s is None else next((start_s for start_s in starts_s if start_s > after_s), None)


def _delay_s(raised: Told, samples: Sequence[Sample], alarm_low_c: float) -> float | None:
    if raised.code not in ("cold", "sensor-lost"):
        return None
    low, high = 0, len(samples)
    while low < high:
        middle = (low + high) // 2
        low, high = (middle + 1, high) if samples[middle].at_s <= raised.at_s else (low, middle)
    begun_s: float | None = None
    for at in range(low - 1, -1, -1):
        sample = samples[at]
        if raised.code == "sensor-lost":
            if sample.temperature_c is not None:
                break
            begun_s = sample.at_s
            continue
        if sample.temperature_c is None or sample.temperature_c > alarm_low_c + COLD_DEAD_ZONE_K:
            break
        if sample.temperature_c <= alarm_low_c:
            begun_s = sample.at_s
    return None if begun_s is None else raised.at_s - begun_s


def ice(pipes: Iterable[PipeSpec], samples: Iterable[Sample]) -> tuple[PipeIce, ...]:
    """How far freezing went in each pipe; air beyond what is possible is left out."""
    low_c, high_c = AIR_C
    kept = [
        (sample.at_s, sample.temperature_c)
        for sample in samples
        if sample.temperature_c is not None and low_c <= sample.temperature_c <= high_c
    ]
    times_s, air_c = [at_s for at_s, _ in kept], [at_c for _, at_c in kept]
    if len(kept) < 2:
        return tuple(PipeIce(name=pipe.name, ice_share=None) for pipe in pipes)
    if min(air_c) >= ERROR_K:  # not even the cold end of the range has been at 0 °C
        nothing = Range(best=0.0, low=0.0, high=0.0)
        return tuple(PipeIce(name=pipe.name, ice_share=nothing) for pipe in pipes)
    return tuple(
        PipeIce(name=pipe.name, ice_share=excursion(pipe, times_s, air_c, error_k=ERROR_K).ice_share)
        for pipe in pipes
    )

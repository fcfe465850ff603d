"""From lines of the logbook to a report and its answer for programs: dates to seconds and back.

Rule: a line that another program wrote may say anything. What is no number, no date or not possible is
left out, a share of heat beyond 0 to 1 is brought there; one odd line never ends the report.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from overwinter.cli.moments import rfc3339
from overwinter.cli.recorded import spans
from overwinter.core.nouns import Site
from overwinter.know.frozen import WORST_FIRST
from overwinter.reckon.report import (
    AIR_C,
    PERIOD_S_LONGEST,
    PERIODS,
    Happened,
    Sample,
    Silence,
    Told,
    alarms,
    cycles_seen,
    figures,
    ice,
    in_order,
    with_causes,
)
from overwinter.reckon.report_advice import Seen, advise
from overwinter.show.report_words import Report, advised

if TYPE_CHECKING:
    from overwinter.know.learned import Learned

DOUBTFUL = frozenset({3, 4, 9})
CAUSES = frozenset({"power", "stopped", "killed", "unknown"})
NEW_LAMP = "new lamp"

BEYOND = 1e12
"""No number of a logbook is that large."""

PERIOD_S_USUAL = 60.0
"""Taken where a single sample shows no period."""


@dataclass(slots=True)
class Recorded:
    """What the lines of a span say."""

    samples: list[Sample] = field(default_factory=list)
    happened: list[Happened] = field(default_factory=list)
    told: list[Told] = field(default_factory=list)
    heat_on_s: list[float] = field(default_factory=list)  # when heat went on
    has_heat_events: bool = False
    cycles_ever: int | None = None
    low_c: float | None = None
    new_lamp_s: float | None = None

    def hearing(self, lines: Iterable[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
        """The same lines, each taken in on its way."""
        boot: object = None
        instant = datetime.fromisoformat
        samples = self.samples
        for line in lines:
            yield line
            get = line.get
            try:
                at_s = instant(line["t"]).timestamp()
            except (KeyError, TypeError, ValueError, OverflowError):
                continue
            if get("boot") != boot:
                if boot is not None:
                    self.happened.append(Happened(at_s=at_s, what="boot"))
                boot = get("boot")
            if get("event") != "sample":
                _take_event(self, at_s, line)
                continue
            air_c, heat = _air_c(get("temperature_c")), _number(get("heat"))
            samples.append(
                Sample(
                    at_s=at_s,
                    temperature_c=air_c,
                    heat=None if heat is None else max(0.0, min(1.0, heat)),
                    is_doubtful=air_c is None or _is_doubtful(get("flag")),
                )
            )
            low_c = _air_c(get("low_c"))
            self.low_c = self.low_c if low_c is None else low_c


def recorded(lines: Iterable[Mapping[str, Any]], learned: "Learned") -> Recorded:
    """Sort lines into what a report needs; samples and events may come one kind after the other.

    `learned` is taught on the way: a season is read once.
    """
    found = Recorded()
    for span in spans(found.hearing(lines)):
        learned.take(span)
    found.samples.sort(key=lambda sample: sample.at_s)
    found.happened.sort(key=lambda one: one.at_s)
    return found


def _take_event(found: Recorded, at_s: float, line: Mapping[str, Any]) -> None:
    event = line.get("event")
    if event == "gap":
        cause = _word(line.get("cause"))
        cause = cause if cause in CAUSES else "unknown"
        found.happened.append(
            Happened(at_s=at_s, what="gap", cause=cause, frozen=_worst_verdict(line.get("pipes")))
        )
    elif event in ("start", "stop"):
        found.happened.append(Happened(at_s=at_s, what=str(event)))
    elif event == "heat":
        found.has_heat_events = True
        if line.get("heat") is True:
            found.heat_on_s.append(at_s)
        cycles = _number(line.get("cycles"))
        if cycles is not None and cycles >= 0.0:
            found.cycles_ever = int(cycles)
    elif event == "alarm":
        state, code = _word(line.get("state")), _word(line.get("code"))
        if code and state in ("raised", "cleared", "acknowledged"):
            text, subject = _word(line.get("text")), _word(line.get("subject"))
            found.told.append(Told(at_s=at_s, code=code, state=state, text=text, subject=subject))
    elif event == "note" and NEW_LAMP in _word(line.get("text")).lower():
        found.new_lamp_s = at_s


def _worst_verdict(pipes: object) -> str | None:
    """Of what a gap's line says of each pipe; None: nothing."""
    if not isinstance(pipes, list):
        return None
    said = {_word(pipe.get("verdict")) for pipe in pipes if isinstance(pipe, Mapping)}
    return next((verdict.value for verdict in WORST_FIRST if verdict in said), None)


def reported(
    found: Recorded,
    site: Site,
    *,
    what: str,
    from_s: float,
    to_s: float,
    alarm_low_c: float,
    alarm_low_from: str,
    has_older: bool,
    learned: Mapping[str, Any],
) -> Report:
    """The report of a span; `has_older`: there are lines before it, so silence at its beginning is a gap."""
    samples = in_order(sample for sample in found.samples if from_s <= sample.at_s <= to_s)
    watts, per_kwh = site.heater.watts, site.per_kwh
    inner = figures(samples, alarm_low_c=alarm_low_c, watts=watts, per_kwh=per_kwh)
    gaps = with_causes(_with_ends(inner.gaps, samples, from_s, to_s, has_older=has_older), found.happened)
    whole = replace(inner, gaps=gaps)
    cycles = (
        sum(from_s <= at_s <= to_s for at_s in found.heat_on_s)
        if found.has_heat_events
        else cycles_seen(samples)
    )
    lamp_h = inner.heat_h
    if found.new_lamp_s is not None:
        new = [sample for sample in samples if sample.at_s > found.new_lamp_s]
        lamp_h = figures(new, alarm_low_c=alarm_low_c, watts=None, per_kwh=None).heat_h
    seen = Seen(
        low_c=found.low_c,
        alarm_low_c=alarm_low_c,
        samples=len(samples),
        doubtful=sum(sample.is_doubtful for sample in samples),
        cycles=cycles,
        cycles_ever=found.cycles_ever,
        lamp_h=lamp_h,
        has_lamp_note=found.new_lamp_s is not None,
    )
    return Report(
        site=site,
        unit=site.unit.value,
        what=what,
        from_s=from_s,
        to_s=to_s,
        figures=whole,
        cycles=cycles,
        are_cycles_counted=found.has_heat_events,
        alarms=alarms(
            found.told,
            samples,
            alarm_low_c=alarm_low_c,
            starts_s=[one.at_s for one in found.happened if one.what == "start"],
        ),
        pipes=ice(site.pipes, samples),
        advice=advise(whole, seen, site),
        alarm_low_c=alarm_low_c,
        alarm_low_from=alarm_low_from,
        coverage=min(1.0, inner.recorded_s / (to_s - from_s)) if to_s > from_s else 0.0,
        learned=learned,
    )


def answer(report: Report) -> dict[str, object]:
    """For programs: SI, the unit in each key, null for what nobody recorded."""
    found = report.figures
    return {
        "site": report.site.name,
        "from": _date(report.from_s),
        "to": _date(report.to_s),
        "coverage": report.coverage,
        "coldest_c": found.coldest_c,
        "coldest_at": _date(found.coldest_at_s),
        "alarm_low_c": report.alarm_low_c,
        "alarm_low_from": report.alarm_low_from,
        "hours_below_alarm_low": found.hours_below_alarm_low,
        "degree_hours_below_alarm_low": found.degree_hours_below_alarm_low,
        "duty": found.duty,
        "kwh": found.kwh,
        "cost": found.cost,
        "currency": report.site.currency,
        "cycles": report.cycles,
        "gaps": [
            {
                "from": _date(gap.from_s),
                "to": _date(gap.to_s),
                "cause": gap.cause,
                "before_c": gap.before_c,
                "after_c": gap.after_c,
                "frozen": gap.frozen,
            }
            for gap in found.gaps
        ],
        "alarms": [
            {
                "code": one.code,
                "subject": one.subject,
                "since": _date(one.since_s),
                "cleared": _date(one.cleared_s),
                "acknowledged": _date(one.acknowledged_s),
                "delay_s": one.delay_s,
                "text": one.text,
            }
            for one in report.alarms
        ],
        "pipes": [
            {"name": pipe.name, "ice_share": None if pipe.ice_share is None else pipe.ice_share.facts()}
            for pipe in report.pipes
        ],
        "learned": dict(report.learned),
        "advice": list(advised(report)),
    }


def _with_ends(
    gaps: tuple[Silence, ...], samples: list[Sample], from_s: float, to_s: float, *, has_older: bool
) -> list[Silence]:
    """Silence at either end of the span is a gap too; before the logbook's first line it is none."""
    if not samples:
        return [Silence(from_s=from_s, to_s=to_s, before_c=None, after_c=None)] if has_older else []
    return [
        *([_before(samples, from_s)] if has_older and _is_long(samples, samples[0].at_s - from_s) else []),
        *gaps,
        *([_after(samples, to_s)] if _is_long(samples, to_s - samples[-1].at_s) else []),
    ]


def _before(samples: list[Sample], from_s: float) -> Silence:
    first = samples[0]
    return Silence(from_s=from_s, to_s=first.at_s, before_c=None, after_c=first.temperature_c)


def _after(samples: list[Sample], to_s: float) -> Silence:
    last = samples[-1]
    return Silence(from_s=last.at_s, to_s=to_s, before_c=last.temperature_c, after_c=None)


def _is_long(samples: list[Sample], silent_s: float) -> bool:
    spans_s = sorted(later.at_s - one.at_s for one, later in pairwise(samples))
    usual_s = spans_s[len(spans_s) // 2] if spans_s else PERIOD_S_USUAL
    return silent_s > PERIODS * min(usual_s, PERIOD_S_LONGEST)


def _date(at_s: float | None) -> str | None:
    return None if at_s is None else rfc3339(datetime.fromtimestamp(at_s, UTC))


def _number(value: object) -> float | None:
    if (type(value) is float or type(value) is int) and -BEYOND < value < BEYOND:  # NaN is not
        return float(value)
    return None


def _air_c(value: object) -> float | None:
    at_c = _number(value)
    return at_c if at_c is not None and AIR_C[0] <= at_c <= AIR_C[1] else None


def _is_doubtful(flag: object) -> bool:
    return isinstance(flag, int) and flag in DOUBTFUL


def _word(value: object) -> str:
    return value if isinstance(value, str) else ""

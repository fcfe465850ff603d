"""A logbook as the minutes that the room `know` learns from, whoever wrote it, if it keeps the form."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from overwinter.core.nouns import Flag, Mode
from overwinter.know.nouns import THE_BANDS, Seen, Span

SPAN_S = 59.0
"""Samples closer together are put together until they span a minute, as in the guard; less some jitter."""

PERIODS = 3.0
"""A distance of so many usual ones is a silence."""

USUAL_S = 60.0
"""How far apart samples are taken to be until the logbook shows it."""


def spans(lines: Iterable[Mapping[str, Any]]) -> Iterator[Span]:
    """The spans of a logbook's lines, oldest first; lines that are no samples count only for who chose heat.

    Parameters
    ----------
    lines : iterable of mapping
        As `store.timeline.read_placed` gives them, with the time put right.
    """
    usual_s = USUAL_S
    before_s: float | None = None
    is_forced = False
    short: Span | None = None  # less than a minute so far
    for line in lines:
        event = line.get("event")
        if event == "heat":
            reason = line.get("reason")
            is_forced = isinstance(reason, str) and reason not in THE_BANDS
        if event != "sample":
            continue
        utc_s = _seconds(line.get("t"))
        if utc_s is None or (before_s is not None and utc_s <= before_s):
            continue
        away_s = USUAL_S if before_s is None else utc_s - before_s
        is_gap = away_s > PERIODS * usual_s
        if not is_gap and before_s is not None:
            usual_s = away_s
        span = _span(
            line,
            utc_s=utc_s,
            lasts_s=usual_s if is_gap else away_s,
            gap_s=away_s - usual_s if is_gap else 0.0,
            is_forced=is_forced,
        )
        before_s = utc_s
        if span.gap_s:
            short = None  # what was begun before the silence is too short to say anything
        if short is not None:
            span = _together(short, span)
        short = span if span.lasts_s < SPAN_S else None
        if short is None:
            yield span


def _span(line: Mapping[str, Any], *, utc_s: float, lasts_s: float, gap_s: float, is_forced: bool) -> Span:
    mode = Mode.FREEZE if line.get("mode") not in tuple(Mode) else Mode(line["mode"])
    sensors, contacts = line.get("sensors"), line.get("contacts")
    flag = line.get("flag")
    return Span(
        ends_s=utc_s,
        lasts_s=lasts_s,
        gap_s=gap_s,
        utc_s=utc_s,
        temperature_c=_number(line.get("temperature_c")),
        humidity_pct=_number(line.get("humidity_pct")),
        outdoor_c=_number(line.get("outdoor_c")),
        flag=flag if flag in tuple(Flag) else int(Flag.NOT_EVALUATED),
        heat=min(max(_number(line.get("heat")) or 0.0, 0.0), 1.0),
        mode=mode,
        low_c=_number(line.get("low_c")) or 0.0,
        high_c=_number(line.get("high_c")) or 0.0,
        is_forced=is_forced or mode is Mode.OBSERVE,
        sensors=dict(_sensors(sensors)),
        contacts={
            name: min(max(share, 0.0), 1.0)
            for name, value in (contacts.items() if isinstance(contacts, dict) else ())
            if (share := _number(value)) is not None
        },
    )


def _sensors(sensors: object) -> Iterator[tuple[str, Seen]]:
    for name, said in sensors.items() if isinstance(sensors, dict) else ():
        if isinstance(said, list) and len(said) == 3:
            flag = said[2] if said[2] in tuple(Flag) else int(Flag.NOT_EVALUATED)
            yield name, Seen(temperature_c=_number(said[0]), humidity_pct=_number(said[1]), flag=flag)


def _together(first: Span, then: Span) -> Span:
    """Two spans, one after the other, as one."""
    lasts_s = first.lasts_s + then.lasts_s

    def mean(one: float, other: float) -> float:
        return (one * first.lasts_s + other * then.lasts_s) / lasts_s

    return replace(
        then,
        lasts_s=lasts_s,
        gap_s=first.gap_s,
        heat=mean(first.heat, then.heat),
        is_forced=first.is_forced or then.is_forced,
        contacts={name: mean(first.contacts.get(name, 0.0), share) for name, share in then.contacts.items()},
    )


def _seconds(text: object) -> float | None:
    try:
        return datetime.fromisoformat(str(text)).timestamp()
    except (ValueError, OverflowError):
        return None


def _number(value: object) -> float | None:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and abs(value) < 1e6 else None  # type: ignore[arg-type]

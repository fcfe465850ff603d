"""What a chart shows, before anyone decides how it looks: series, band, gaps and marks, from plain records.

Rule 1: every sample is in the picture. Who draws fewer points than there are takes `columns`, which keeps
        the lowest and the highest of each.
Rule 2: doubtful samples stay, and are known by their flag.
Rule 3: times are seconds of the epoch; the zone says what a clock on the wall showed then.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from math import isfinite
from typing import Any, TypeAlias

from overwinter.show.columns import Values

DOUBTFUL = frozenset({3, 4, 9})
"""Flags that are marked: suspect, failed, nothing came."""

GAP_PERIODS = 3.0
"""A silence longer than so many record periods is a gap; the guard calls it the same."""

MARKS_MOST = 500
"""So many marks are kept, the newest; with more of them nobody sees the chart."""

_FLAGS = (1, 2, 3, 4, 9)

BEYOND = 10_000.0
"""No temperature or share is that large: what is, came from another program and is left out."""

Line: TypeAlias = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Offset:
    """From then on, local time is so far ahead of UTC and has this name."""

    from_s: float
    ahead_s: int
    name: str


@dataclass(frozen=True, slots=True)
class BandStretch:
    """The band as it was for a while."""

    from_s: float
    to_s: float
    low_c: float
    high_c: float


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened: an alarm, a gap, a step of the clock, a note."""

    kind: str  # alarm | gap | clock | note
    from_s: float
    to_s: float | None  # None: a moment, or not over yet
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """Everything a renderer needs. The sequences are of one length, in the order of time."""

    house: str
    unit: str  # F or C: how it speaks; all values are in SI
    from_s: float
    to_s: float
    zone: tuple[Offset, ...]
    at_s: Sequence[float] = ()
    inside_c: Values = ()
    outdoor_c: Values = ()
    humidity_pct: Values = ()
    dew_point_c: Values = ()
    heat_share: Values = ()
    flags: Sequence[int] = ()
    band: tuple[BandStretch, ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()  # where nothing was recorded
    marks: tuple[Mark, ...] = ()
    marks_left_out: int = 0

    @property
    def has_outdoor(self) -> bool:
        """Whether anything was measured outdoors."""
        return any(value is not None for value in self.outdoor_c)

    @property
    def has_humidity(self) -> bool:
        """Whether any humidity was measured."""
        return any(value is not None for value in self.humidity_pct)

    def offset(self, at_s: float) -> Offset:
        """What local time was then."""
        found = bisect_right(self.zone, at_s, key=lambda offset: offset.from_s) - 1
        return self.zone[max(found, 0)]

    def local(self, at_s: float) -> datetime:
        """The clock on the wall then; it carries UTC as its zone, but means local time."""
        return datetime.fromtimestamp(at_s + self.offset(at_s).ahead_s, UTC)


_KEYS = ("temperature_c", "outdoor_c", "humidity_pct", "heat", "low_c", "high_c", "flag")


def picture(
    lines: Iterable[Line],
    *,
    house: str,
    unit: str,
    from_s: float,
    to_s: float,
    zone: Callable[[float, float], tuple[Offset, ...]],
    dew_point_c: Callable[[float, float], float | None],
    describe: Callable[[Line], str],
) -> Picture:
    """Lines of the logbook, samples and others, in the order of time, as a picture.

    Parameters
    ----------
    lines : iterable of mapping
        Lines without a date, and values that are no numbers, are left out.
    from_s, to_s : float
        The span that was asked for [s of the epoch]. The picture begins with the first sample in it, or with
        a gap before that: years without a logbook are not drawn.
    zone : callable
        The offsets of local time between two moments, oldest first, at least one.
    dew_point_c : callable
        Of a temperature [°C] and a humidity [%]; None where there is none.
    describe : callable
        An event in words.
    """
    at_s: list[float] = []
    columns = _Columns()
    events: list[tuple[float, Line]] = []
    last_s = -BEYOND
    for line in lines:
        try:
            line_s = datetime.fromisoformat(line["t"]).timestamp()
        except (KeyError, TypeError, ValueError, OverflowError):
            continue
        get = line.get
        if get("event") != "sample":
            events.append((line_s, line))
            continue
        last_s = max(line_s, last_s)  # a label may go back by what a drifting clock was corrected
        at_s.append(last_s)
        columns.add(tuple([get(key) for key in _KEYS]))
    inside_c, outdoor_c, humidity_pct, heat_share, low_c, high_c, flags = columns.whole()
    begins_s = max(_begin_s(at_s, events, to_s), from_s)
    ends_s = max(to_s, last_s)
    gaps = _gaps(at_s, begins_s, ends_s)
    marks = _marks(events, gaps, describe)
    return Picture(
        house=house,
        unit=unit,
        from_s=begins_s,
        to_s=ends_s,
        zone=zone(begins_s, ends_s),
        at_s=at_s,
        inside_c=inside_c,
        outdoor_c=outdoor_c,
        humidity_pct=humidity_pct,
        dew_point_c=_dew_points(inside_c, humidity_pct, dew_point_c),
        heat_share=heat_share,
        flags=[2 if flag is None else int(flag) for flag in flags],
        band=tuple(_band(at_s, low_c, high_c)),
        gaps=tuple(gaps),
        marks=tuple(marks[-MARKS_MOST:]),
        marks_left_out=max(len(marks) - MARKS_MOST, 0),
    )


class _Columns:
    """Samples as columns, filled a few thousand at a time; a value that comes again is the same object.

    A winter has 172,800 samples but few thousand different values: so it takes a fifth of the memory.
    """

    AT_A_TIME = 4096

    def __init__(self) -> None:
        self._columns: list[list[float | None]] = [[] for _ in _KEYS]
        self._samples: list[tuple[object, ...]] = []
        self._known: dict[float | None, float | None] = {}

    def add(self, sample: tuple[object, ...]) -> None:
        self._samples.append(sample)
        if len(self._samples) >= self.AT_A_TIME:
            self._sort_in()

    def whole(self) -> list[list[float | None]]:
        self._sort_in()
        flags = [flag if flag in _FLAGS else None for flag in self._columns[-1]]
        return [*self._columns[:-1], flags]

    def _sort_in(self) -> None:
        known = self._known
        for column, values in zip(self._columns, zip(*self._samples, strict=True), strict=False):
            column += [known.setdefault(value, value) for value in _numbers(values)]
        self._samples.clear()


def _numbers(values: Iterable[object]) -> Iterator[float | None]:
    return (
        value
        if (type(value) is float or type(value) is int) and -BEYOND < value < BEYOND  # NaN is not
        else None
        for value in values
    )


def _dew_points(
    inside_c: Values, humidity_pct: Values, dew_point_c: Callable[[float, float], float | None]
) -> list[float | None]:
    known: dict[tuple[float, float], float | None] = {}
    found: list[float | None] = []
    for warm_c, damp_pct in zip(inside_c, humidity_pct, strict=True):
        if warm_c is None or damp_pct is None:
            found.append(None)
            continue
        both = warm_c, damp_pct
        if both not in known:
            known[both] = dew_point_c(*both)
        found.append(known[both])
    return found


def _band(at_s: Sequence[float], low_c: Values, high_c: Values) -> Iterator[BandStretch]:
    """Each band until the sample that has another; one that has none ends nothing."""
    begins_s = ends_s = 0.0
    band: tuple[float, float] | None = None
    for when_s, low, high in zip(at_s, low_c, high_c, strict=True):
        if low is None or high is None:
            continue
        ends_s = when_s
        if band is None:
            begins_s, band = when_s, (low, high)
        elif band[0] != low or band[1] != high:
            yield BandStretch(begins_s, when_s, *band)
            begins_s, band = when_s, (low, high)
    if band is not None:
        yield BandStretch(begins_s, ends_s, *band)


def _begin_s(at_s: Sequence[float], events: Iterable[tuple[float, Line]], to_s: float) -> float:
    first_s = at_s[0] if at_s else to_s
    for _, line in events:
        if line.get("event") == "gap":
            with suppress(TypeError, ValueError, OverflowError):
                return min(first_s, datetime.fromisoformat(line["since"]).timestamp())
    return first_s


def _gaps(at_s: Sequence[float], from_s: float, to_s: float) -> list[tuple[float, float]]:
    """Silences that are long for the pace around them: the record period may have been changed."""
    steps_s = [after - before for before, after in pairwise(at_s)]
    if not steps_s:
        return []
    usual_s = sorted(steps_s)[len(steps_s) // 2]
    found = [(from_s, at_s[0])] if at_s[0] - from_s > GAP_PERIODS * usual_s else []
    for index, step_s in enumerate(steps_s):
        if step_s <= GAP_PERIODS * usual_s:
            continue
        around_s = [steps_s[near] for near in (index - 1, index + 1) if 0 <= near < len(steps_s)]
        if step_s > GAP_PERIODS * max(usual_s, min(around_s, default=usual_s)):
            found.append((at_s[index], at_s[index + 1]))
    if to_s - at_s[-1] > GAP_PERIODS * max(usual_s, steps_s[-1]):
        found.append((at_s[-1], to_s))
    return found


def _marks(
    events: Iterable[tuple[float, Line]],
    gaps: Sequence[tuple[float, float]],
    describe: Callable[[Line], str],
) -> list[Mark]:
    causes: dict[int, str] = {}
    marks: list[Mark] = []
    raised: dict[object, int] = {}
    for at_s, line in events:
        event = line.get("event")
        if event == "gap":
            # Told by the guard once it ran again: the silence before that is the one it means.
            index = bisect_right(gaps, at_s, key=lambda gap: gap[0]) - 1
            if index >= 0:
                causes[index] = describe(line)
            else:
                marks.append(Mark("gap", at_s, None, describe(line)))
        elif event == "alarm":
            code = line.get("code")
            if line.get("state") == "raised":
                raised[code] = len(marks)
                marks.append(Mark("alarm", at_s, None, describe(line)))
            elif line.get("state") == "cleared" and code in raised:
                index = raised.pop(code)
                marks[index] = Mark("alarm", marks[index].from_s, at_s, marks[index].text)
        elif event in ("clock", "note"):
            marks.append(Mark(str(event), at_s, None, describe(line)))
    for index, (begins_s, ends_s) in enumerate(gaps):
        marks.append(Mark("gap", begins_s, ends_s, causes.get(index, "")))
    return sorted(marks, key=lambda mark: mark.from_s)


def lowest(values: Values) -> float | None:
    """The lowest of those that are there."""
    return min([value for value in values if value is not None], default=None)


def highest(values: Values) -> float | None:
    """The highest of those that are there."""
    return max([value for value in values if value is not None], default=None)


def mean(values: Values) -> float | None:
    """The mean of those that are there."""
    there = [value for value in values if value is not None]
    total = sum(there)
    return total / len(there) if there and isfinite(total) else None


_STEPS_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200)
_STEPS_D = (1, 2, 7, 14, 28, 56, 112, 364)


def ticks(picture: Picture, most: int) -> list[tuple[float, str]]:
    """At most so many moments for the axis, round on the clock on the wall, with their labels."""
    length_s = picture.to_s - picture.from_s
    steps = [*_STEPS_S, *(86_400 * days for days in _STEPS_D)]
    step_s = next((step for step in steps if length_s / step <= most), steps[-1])
    # Local time counts on through a change of the clock; every tick is put back by the offset there.
    wall_s = picture.from_s + picture.offset(picture.from_s).ahead_s
    end_wall_s = picture.to_s + picture.offset(picture.to_s).ahead_s
    at_wall_s = -(-wall_s // step_s) * step_s
    found: list[tuple[float, str]] = []
    while at_wall_s <= end_wall_s:
        guess_s = at_wall_s - picture.offset(at_wall_s - picture.offset(at_wall_s).ahead_s).ahead_s
        when = picture.local(guess_s)  # 02:00 where the clocks went on to 03:00 is 03:00
        if picture.from_s <= guess_s <= picture.to_s and (not found or guess_s > found[-1][0]):
            is_day = step_s >= 86_400 or when.hour == when.minute == 0
            found.append((guess_s, f"{when.day} {when:%b}" if is_day else f"{when:%H:%M}"))
        at_wall_s += step_s
    return found


def rows(picture: Picture) -> tuple[str, list[float]]:
    """How the table is cut: `hour` or `day`, and its edges, whole on the clock on the wall."""
    unit, step_s = ("hour", 3600) if picture.to_s - picture.from_s <= 3 * 86_400 else ("day", 86_400)
    edges = [picture.from_s]
    while edges[-1] < picture.to_s:
        ahead_s = picture.offset(edges[-1]).ahead_s
        following = ((edges[-1] + ahead_s) // step_s + 1) * step_s - ahead_s
        if step_s == 86_400:  # a day with a change of the clock has 23 or 25 hours
            following += ahead_s - picture.offset(following).ahead_s
        edges.append(min(max(following, edges[-1] + 1.0), picture.to_s))
    return unit, edges


__all__ = [
    "DOUBTFUL",
    "MARKS_MOST",
    "BandStretch",
    "Mark",
    "Offset",
    "Picture",
    "highest",
    "lowest",
    "mean",
    "picture",
    "rows",
    "ticks",
]

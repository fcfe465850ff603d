"""Where the logbook's lines belong in time: the wall clock was wrong when many of them were written.

Most boards keep no time without power: after a power cut they go on from an old date until the network, if
any, corrects it. `t` is what the clock said; `up` (seconds since boot) is never wrong, but means nothing in
another boot. Readers get the lines with `t` put right, and what was recorded as `t_recorded` beside it.

Rule 1: one boot has one true offset between `up` and `t`: that after its last step to a synchronised clock,
        else after its last step. Lines before that are dated from `up` and that offset; lines after it stay
        as recorded, with the slow drift that is no step.
Rule 2: a boot that was never synchronised is moved as a whole, by the least that keeps the order: never
        before the last line of the boot before it, and not past a synchronised boot that follows.
Rule 3: the order of the lines is that of the files. Within a boot the dates never go back.
Rule 4: what is remembered is by boot and step, never by line: a season does not fit into memory.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from math import inf, isfinite
from pathlib import Path
from typing import Any

from overwinter.store.lines import read_lines, stamp, telling_lines

STEP_S = 0.99
"""What the guard calls a step of the clock, 1 s, without what milliseconds round away; less is drift."""

SLACK_S = 60.0
"""How far small steps may have carried a clock between two steps that were seen."""

Line = dict[str, Any]


def placed(lines: Iterable[Line]) -> Iterator[Line]:
    """The lines of a whole logbook, oldest first, each with the time at which it really was.

    Parameters
    ----------
    lines : iterable of dict
        Is gone through twice, so it must begin anew each time: a list, not a generator.

    Yields
    ------
    dict
        The same line, or a copy with another `t` and the old one as `t_recorded`.

    Raises
    ------
    ValueError
        It can be gone through only once.
    """
    if iter(lines) is lines:
        raise ValueError("lines are gone through twice: give a list, or anything that begins anew")
    timeline = _survey(lines)
    return timeline.place_all(lines)


def read_placed(
    folder: Path,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    events: Collection[str] | None = None,
    skipped: Counter[str] | None = None,
    loads: Callable[[bytes], Any] | None = None,
) -> Iterator[Line]:
    """`lines.read_lines`, with every line at its place in time; `since` and `until` mean the true one.

    Raises
    ------
    ValueError
        An instant has no time zone.
    OSError
        The disk can't be read.
    """
    first, end = (None if when is None else stamp(when) for when in (since, until))
    timeline = _survey(telling_lines(folder))
    later_s, earlier_s = timeline.shifts_s()
    found = read_lines(
        folder,
        since=_moved(since, -later_s - SLACK_S),
        until=_moved(until, -earlier_s + SLACK_S),
        events=events,
        skipped=skipped,
        loads=loads,
    )
    yield from timeline.place_all(found, first=first, end=end)


@dataclass(frozen=True, slots=True)
class _Head:
    """What every line has, as numbers."""

    t_s: float  # of the epoch
    up_s: float
    boot: str


@dataclass(slots=True)
class _Stretch:
    """Lines of one boot between two steps of its clock."""

    up_s: float  # from here on
    offset_s: float  # between `up` and `t` at its beginning
    is_synchronised: bool = False


class _Boot:
    """What is known of one boot."""

    def __init__(self, head: _Head) -> None:
        self.stretches = [_Stretch(head.up_s, head.t_s - head.up_s)]
        self.first = self.last = head
        self.shift_s = 0.0  # of all its lines, to keep the order of the boots
        # Of the stretch whose clock is believed, once all lines were seen:
        self.true_at = 0
        self.is_synchronised = False

    def see(self, head: _Head, line: Line) -> None:
        """Another line, in the order of the file."""
        event, offset_s = line.get("event"), head.t_s - head.up_s
        is_synchronised = line.get("synchronised") is True
        drift_s = offset_s - (self.last.t_s - self.last.up_s)
        self.last = head
        if event not in ("clock", "start"):
            return
        # A clock that was stepped while no guard ran is known by the next start.
        if event == "clock" or abs(drift_s) >= STEP_S:
            self.stretches.append(_Stretch(head.up_s, offset_s))
        self.stretches[-1].is_synchronised |= is_synchronised

    def settle(self) -> None:
        """All lines were seen."""
        synchronised = [at for at, stretch in enumerate(self.stretches) if stretch.is_synchronised]
        self.is_synchronised = bool(synchronised)
        self.true_at = synchronised[-1] if synchronised else len(self.stretches) - 1

    @property
    def is_calm(self) -> bool:
        """Whether its lines stay where they are, as long as their dates do not go back."""
        return len(self.stretches) == 1 and self.shift_s == 0.0

    def true_s(self, head: _Head) -> float:
        """When this line was, as seconds of the epoch."""
        return self._within_s(head) + self.shift_s

    def _within_s(self, head: _Head) -> float:
        if len(self.stretches) == 1:
            return head.t_s
        at = self._stretch_of(head)
        offset_s = self.stretches[self.true_at].offset_s
        if at == self.true_at or abs(self.stretches[at].offset_s - offset_s) < STEP_S:
            return head.t_s
        return head.up_s + offset_s

    def _stretch_of(self, head: _Head) -> int:
        last = max(bisect_right(self.stretches, head.up_s, key=lambda stretch: stretch.up_s) - 1, 0)
        at = last
        # In the very millisecond of a step, the line's own date tells on which side of it it was.
        while at and self.stretches[at].up_s == head.up_s and not self._fits(head, at):
            at -= 1
        return at if self._fits(head, at) else last

    def _fits(self, head: _Head, at: int) -> bool:
        return abs(head.t_s - head.up_s - self.stretches[at].offset_s) < STEP_S

    def shifts_s(self) -> Iterator[float]:
        """By how much the lines of each stretch are moved, up to drift."""
        offset_s = self.stretches[self.true_at].offset_s
        return (offset_s - stretch.offset_s + self.shift_s for stretch in self.stretches)


class _Timeline:
    """All boots of a logbook, and where its lines belong. Lines are placed in their order."""

    def __init__(self, boots: dict[str, _Boot]) -> None:
        self._boots = boots
        self._latest_s: dict[str, float] = {}  # by boot: of the last line that was placed
        self._before_s = -inf  # of the last line that was placed at all

    def place_all(
        self, lines: Iterable[Line], *, first: str | None = None, end: str | None = None
    ) -> Iterator[Line]:
        """Each line at its place; of those with a date only `first <= t < end`, where one is given.

        A season is nearly all lines of one boot whose clock was never stepped, one after the other: those
        are passed on after one look at their date, without `place`.
        """
        calm = {name for name, boot in self._boots.items() if boot.is_calm}
        here = ""  # the calm boot whose last line was at `latest`; empty: none such
        latest = datetime.min.replace(tzinfo=UTC)
        for line in lines:
            try:
                if here and line["boot"] == here and isfinite(line["up"]):
                    t = line["t"]
                    when = datetime.fromisoformat(t)
                    if when >= latest and when.tzinfo is UTC:
                        latest = when
                        if (first is None or t >= first) and (end is None or t < end):
                            yield line
                        continue
            except (KeyError, TypeError, ValueError, OverflowError):
                pass  # odd in some way: `place` knows
            if here:
                self._latest_s[here] = self._before_s = latest.timestamp()
            put = self.place(line)
            if _is_within(put.get("t"), first, end):
                yield put
            here, latest = self._rest(line, calm) or ("", latest)

    def _rest(self, line: Line, calm: Collection[str]) -> tuple[str, datetime] | None:
        """Boot and date of a line that stayed exactly where it was, in a calm boot; else None."""
        head = _head(line)
        if head is None or head.boot not in calm or self._latest_s.get(head.boot) != head.t_s:
            return None
        when = datetime.fromisoformat(line["t"])
        return (head.boot, when) if when.tzinfo is UTC else None

    def place(self, line: Line) -> Line:
        head = _head(line)
        boot = None if head is None else self._boots.get(head.boot)
        if head is None or boot is None:
            return line  # nothing is known of it, or it came after the survey
        earliest_s = self._latest_s.get(head.boot, -inf if boot.is_synchronised else self._before_s)
        true_s = max(boot.true_s(head), earliest_s)
        self._latest_s[head.boot] = self._before_s = true_s
        if abs(true_s - head.t_s) < 0.0005:  # a label has milliseconds
            return line
        t = _label(true_s)
        return line if t is None else {**line, "t": t, "t_recorded": line["t"]}

    def shifts_s(self) -> tuple[float, float]:
        """The furthest that any line is moved to later and to earlier."""
        shifts = [0.0, *(shift_s for boot in self._boots.values() for shift_s in boot.shifts_s())]
        return max(shifts), min(shifts)


def _survey(lines: Iterable[Line]) -> _Timeline:
    """Look through lines, of which starts, steps, and the ends of boots are enough."""
    boots: dict[str, _Boot] = {}
    for line in lines:
        head = _head(line)
        if head is None:
            continue
        if head.boot not in boots:
            boots[head.boot] = _Boot(head)
        boots[head.boot].see(head, line)
    for boot in boots.values():
        boot.settle()
    _keep_order(list(boots.values()))
    return _Timeline(boots)


def _keep_order(boots: list[_Boot]) -> None:
    """Shift whole boots that were never synchronised, by the least."""
    _not_before(boots)
    following: _Boot | None = None
    for boot in reversed(boots):
        if following is not None and not boot.is_synchronised:
            boot.shift_s -= max(boot.true_s(boot.last) - following.true_s(following.first), 0.0)
        # What no synchronised boot follows has nothing to stay before.
        following = boot if boot.is_synchronised or following is not None else None
    _not_before(boots)


def _not_before(boots: list[_Boot]) -> None:
    for before, boot in pairwise(boots):
        if not boot.is_synchronised:
            boot.shift_s += max(before.true_s(before.last) - boot.true_s(boot.first), 0.0)


def _head(line: Line) -> _Head | None:
    t, up, boot = line.get("t"), line.get("up"), line.get("boot")
    if not (isinstance(t, str) and isinstance(boot, str) and isinstance(up, int | float) and isfinite(up)):
        return None
    try:
        return _Head(datetime.fromisoformat(t).timestamp(), up, boot)
    except (ValueError, OverflowError):
        return None


def _is_within(t: object, first: str | None, end: str | None) -> bool:
    if first is None and end is None:
        return True
    return isinstance(t, str) and (first is None or t >= first) and (end is None or t < end)


def _label(utc_s: float) -> str | None:
    try:
        return stamp(datetime.fromtimestamp(round(utc_s, 3), UTC))
    except (ValueError, OverflowError, OSError):
        return None


def _moved(when: datetime | None, by_s: float) -> datetime | None:
    try:
        return None if when is None else when + timedelta(seconds=by_s)
    except OverflowError:
        return None

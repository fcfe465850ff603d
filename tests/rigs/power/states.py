"""What a power cut could have left: from a record of writes and flushes to disks. Pure; nothing is opened.

The model: what was written before a completed flush is there. Of the writes since, which the disk may have
kept in its own memory and in any order, none may be there, or all, or any of them: some subsets are drawn.
Cuts fall at each flush and at each mark. A write is there or not as a whole: sectors torn within one write
are left out.
"""

import json
import random
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import cycle, zip_longest

from tests.rigs.power.recorder import FLUSH, MARK, WRITE, Record

SHARES = (0.5, 0.15, 0.85)
"""How much of the unflushed writes each drawn subset keeps, on average."""

STATES_A_CUT = 2 + len(SHARES)
EVENT_DURABLE_S = 1.0  # what a power cut may cost of events


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What had been asked and answered when the power went."""

    asked: int = 0  # the number of the last change of settings that was asked for
    answered: int = 0  # and of the last that was answered as saved
    notes_asked: int = 0
    answers: tuple[tuple[float, str, int], ...] = ()  # (when [s], `set` or `note`, number), in order

    def heard(self, mark: bytes, at_s: float) -> "Known":
        """What is known after one more mark: `["ask" or "answer", "set" or "note", number]`."""
        step, method, number = json.loads(mark)
        is_set = method == "set"
        answers = self.answers
        if step == "answer":
            answers = (*answers, (at_s, method, number))
        return Known(
            asked=number if is_set and step == "ask" else self.asked,
            answered=number if is_set and step == "answer" else self.answered,
            notes_asked=number if not is_set and step == "ask" else self.notes_asked,
            answers=answers,
        )

    def recorded(self, method: str, at_s: float) -> int:
        """The number of the last answered `set` or `note` whose event must be durable by then; 0: none."""
        old = [n for when_s, which, n in self.answers if which == method and at_s - when_s > EVENT_DURABLE_S]
        return max(old, default=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Crash:
    """One disk after a cut."""

    name: str
    image: bytearray
    at_s: float
    known: Known


def mark(step: str, method: str, number: int) -> bytes:
    """A mark as `Known.heard` reads it."""
    return json.dumps([step, method, number]).encode()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One instant at which the power may go."""

    states: int  # that it may leave, as far as they are tried
    is_mid_change: bool  # a change was asked for and not yet answered


def cuts(records: Iterable[Record]) -> list[Cut]:
    """Every possible cut, in order: at each flush and each mark from the first mark on."""
    found: list[Cut] = []
    unflushed = 0
    known: Known | None = None
    for record in records:
        if record.what == MARK:
            known = (known or Known()).heard(record.data, record.at_s)
        if record.what == WRITE:
            unflushed += 1
        elif known is not None:
            is_mid_change = known.asked > known.answered
            found.append(Cut(states=min(2**unflushed, STATES_A_CUT), is_mid_change=is_mid_change))
        if record.what == FLUSH:
            unflushed = 0
    return found


def choose(possible: list[Cut], states_most: int | None, chance: random.Random) -> set[int]:
    """Which cuts to try so that about so many states come out; None: all.

    Half of them fall anywhere, half of them where most can go wrong: while a change is being stored.
    """
    if states_most is None:
        return set(range(len(possible)))
    anywhere = chance.sample(range(len(possible)), len(possible))
    mid_change = [cut for cut in anywhere if possible[cut].is_mid_change]
    chosen: set[int] = set()
    left = states_most
    for pair in zip_longest(mid_change, anywhere):
        for cut in pair:
            if cut is None or cut in chosen or left <= 0:
                continue
            chosen.add(cut)
            left -= possible[cut].states
    return chosen


def crashes(
    records: Iterable[Record], *, size: int, is_chosen: Callable[[int], bool], chance: random.Random
) -> Iterator[Crash]:
    """The disks of the chosen cuts, in the order of the record."""
    disk = bytearray(size)
    unflushed: list[Record] = []
    known = Known()
    cut = -1
    armed = False
    for record in records:
        if record.what == WRITE:
            unflushed.append(record)
            continue
        if record.what == MARK:
            armed = True
            known = known.heard(record.data, record.at_s)
        if armed:
            cut += 1
            if is_chosen(cut):
                for name, kept in _kept(unflushed, chance):
                    image = _written(bytearray(disk), kept)
                    yield Crash(name=f"cut {cut}, {name}", image=image, at_s=record.at_s, known=known)
        if record.what == FLUSH:
            _written(disk, unflushed)
            unflushed = []


def _kept(unflushed: list[Record], chance: random.Random) -> Iterator[tuple[str, list[Record]]]:
    """Of the unflushed writes none, all, and some subsets; each subset once."""
    count = len(unflushed)
    drawn = {2**count - 1: f"all {count} unflushed", 0: "nothing unflushed"}  # bit n: write n is there
    shares = cycle(SHARES)
    while len(drawn) < min(2**count, STATES_A_CUT):
        share = next(shares)
        subset = sum(1 << place for place in range(count) if chance.random() < share)
        drawn.setdefault(subset, f"{subset.bit_count()} of {count} unflushed")
    for subset, name in drawn.items():
        yield name, [write for place, write in enumerate(unflushed) if subset >> place & 1]


def _written(disk: bytearray, writes: list[Record]) -> bytearray:
    for write in writes:
        disk[write.offset : write.offset + len(write.data)] = write.data
    return disk

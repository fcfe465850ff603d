"""Before the power goes: the guard lives on the recorded disk, and its owner changes settings."""

import contextlib
import os
import random
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.guard.house import House
from tests.rigs.power.changes import CHANGES_MOST, change, note
from tests.rigs.power.disk import recorded_disk
from tests.rigs.power.states import mark

LOGBOOK_BYTES_MOST = 65_536  # the least there may be: files turn over within seconds
GOOD = "the guard"
BUSY_S = 0.4  # how long the other writer syncs at full speed, and then rests
ASK_EVERY_S = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """What was done while everything was recorded."""

    changes: int
    notes: int


@contextlib.contextmanager
def bench_house(bench: Path, disk: Path) -> Iterator[House]:
    """A house whose state and logs lie on `disk`; its sensor and whatever else does not."""
    house = House(bench, disk=disk)
    house.site.write_text(house.site.read_text() + f"\n[logbook]\nmax_bytes = {LOGBOOK_BYTES_MOST}\n")
    house.reads(3.0)
    try:
        yield house
    finally:
        house.close()


@contextlib.contextmanager
def other_writer(folder: Path, seed: int) -> Iterator[None]:
    """Somebody else who syncs a file of his own, now and then very often.

    That commits the file system's journal in the middle of what the guard does: half done things become
    durable. While it rests, what the guard forgot to sync stays exposed.
    """
    chance = random.Random(seed)
    is_over = threading.Event()

    def write() -> None:
        with (folder / "other").open("wb", buffering=0) as file:
            while not is_over.is_set():
                ends = time.monotonic() + chance.uniform(0.0, 2 * BUSY_S)
                while time.monotonic() < ends and not is_over.is_set():
                    file.write(b"x")
                    os.fsync(file.fileno())
                    time.sleep(chance.uniform(0.0, 0.004))
                is_over.wait(chance.uniform(0.0, 2 * BUSY_S))

    thread = threading.Thread(target=write, name="other writer")
    thread.start()
    try:
        yield
    finally:
        is_over.set()
        thread.join()


def live(work: Path, record: Path, *, guard: str, for_s: float, seed: int) -> Lived:
    """Let a guard, the good or a spoilt one, live on a recorded disk while it is asked for changes."""
    chance = random.Random(seed)
    spoilt = () if guard == GOOD else (sys.executable, "-m", "tests.rigs.power.sabotage", guard)
    changes = notes = 0
    bench = work / "bench"
    bench.mkdir()
    with recorded_disk(work, record) as (disk, marks), bench_house(bench, disk) as house:
        # Two writers of one journal, from the start on: also the first start may be cut.
        marks.write_bytes(mark("ask", "set", 0))
        with other_writer(disk, seed):
            house.start(before=spoilt)
            ends = time.monotonic() + for_s
            while time.monotonic() < ends and changes < CHANGES_MOST:
                changes += 1
                until = (datetime.now(UTC) + timedelta(days=1)).isoformat(timespec="seconds")
                marks.write_bytes(mark("ask", "set", changes))
                answer = house.call("set", change(changes, until))
                assert answer.get("saved") is True, f"change {changes}: {answer}"
                marks.write_bytes(mark("answer", "set", changes))
                notes += 1
                marks.write_bytes(mark("ask", "note", notes))
                answer = house.call("note", {"text": note(notes, chance)})
                assert answer == {}, f"note {notes}: {answer}"
                marks.write_bytes(mark("answer", "note", notes))
                time.sleep(chance.uniform(0.0, 2 * ASK_EVERY_S))
            house.stop()
    return Lived(changes=changes, notes=notes)

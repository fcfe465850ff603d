"""Whatever happens to a logbook, in any order: the bound holds and no record is lost between two others."""

import errno
import shutil
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, note, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from overwinter.store.logbook import Logbook, encode, read_lines
from tests.store.disk import FailingDisk, between, logbook_bytes

BOUNDS = st.sampled_from([65_536, 70_001, 131_072, 200_000, 524_288])


class Watched(FailingDisk):
    """Every call is followed by a look at the folder; one of them may fail."""

    def __init__(self, machine: "LogbookMachine", at: int) -> None:
        super().__init__(at, error=errno.ENOSPC, short=True)
        self.machine = machine

    def __call__(self, name: str, true: Any, arguments: Any) -> Any:
        try:
            return super().__call__(name, true, arguments)
        finally:
            held = logbook_bytes(self.machine.folder)
            assert held <= self.machine.ceiling, f"{held} bytes after {name}"


class LogbookMachine(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="logbook-"))
        self.next = 0
        self.appended: list[tuple[int, str]] = []  # number and kind of all that must be there
        self.synced = 0  # so many of them are durable
        self.bytes_since_start = 0

    @initialize(bound=BOUNDS)
    def begin(self, bound: int) -> None:
        self.bound = self.ceiling = self.lowest = bound
        self.logbook = Logbook(self.folder, bound)
        self.logbook.open()

    def attempt(self, act: Any, *, fail_at: int | None = None) -> bool:
        disk = Watched(self, 10**9 if fail_at is None else fail_at)
        try:
            with between(disk):
                act()
        except OSError:
            if not disk.failed:
                raise
            note(f"failed: {disk.failed}")
            return False
        return True

    def append_some(self, count: int, size: int, kind: str, fail_at: int | None) -> None:
        for _ in range(count):
            bare = encode({"event": kind, "n": self.next, "x": ""})
            line = encode({"event": kind, "n": self.next, "x": "x" * max(0, size - len(bare))})
            if self.attempt(lambda line=line: self.logbook.append([line]), fail_at=fail_at):
                self.appended.append((self.next, kind))
                self.bytes_since_start += len(line)
            self.next += 1

    @rule(count=st.integers(1, 120), size=st.integers(60, 2048), kind=st.sampled_from(["sample", "heat"]))
    def append(self, count: int, size: int, kind: str) -> None:
        self.append_some(count, size, kind, None)

    @rule(count=st.integers(1, 20), size=st.integers(60, 2048), fail_at=st.integers(0, 12))
    def append_to_a_failing_disk(self, count: int, size: int, fail_at: int) -> None:
        self.append_some(count, size, "heat", fail_at)

    @rule(fail_at=st.none() | st.integers(0, 12))
    def sync(self, fail_at: int | None) -> None:
        if self.attempt(self.logbook.sync, fail_at=fail_at):
            self.synced = len(self.appended)

    @rule(tail=st.binary(max_size=100).filter(lambda tail: b"\n" not in tail), share=st.floats(0, 1))
    def power_cut(self, tail: bytes, share: float) -> None:
        """Of the unsynced bytes some share is left, with garbage behind it."""
        self.attempt(self.logbook.sync) if share == 1 else None
        keep = self.logbook._synced + int(share * (self.logbook._size - self.logbook._synced))
        unsynced = len(self.logbook._unsynced)
        path = self.folder / "logbook.jsonl"
        if self.logbook._descriptor is not None:
            with path.open("rb+") as file:
                file.truncate(keep)
                file.seek(keep)
                file.write(tail)
        survivors = {found["n"] for found in read_lines(self.folder)}
        self.appended = [
            (number, kind)
            for place, (number, kind) in enumerate(self.appended)
            if place < len(self.appended) - unsynced or number in survivors
        ]
        self.logbook.close()
        self.logbook = Logbook(self.folder, self.bound)
        self.ceiling = self.bound + len(tail)
        self.attempt(self.logbook.open)
        self.ceiling = self.bound
        self.synced = len(self.appended)

    @rule()
    def restart(self) -> None:
        self.attempt(self.logbook.sync)
        self.logbook.close()
        self.logbook = Logbook(self.folder, self.bound)
        self.attempt(self.logbook.open)
        self.synced = len(self.appended)

    @rule(bound=BOUNDS, restart=st.booleans())
    def change_the_bound(self, bound: int, restart: bool) -> None:
        self.attempt(self.logbook.sync)
        self.ceiling = max(self.bound, bound)  # until it is done
        if restart:
            self.logbook.close()
            self.logbook = Logbook(self.folder, bound)
            self.attempt(self.logbook.open)
        else:
            self.attempt(lambda: self.logbook.resize(bound))
        self.bound = self.ceiling = bound
        self.lowest = min(self.lowest, bound)

    @rule(fail_at=st.none() | st.integers(0, 30))
    def drop_samples(self, fail_at: int | None) -> None:
        if not self.attempt(self.logbook.drop_samples, fail_at=fail_at):
            assert self.attempt(self.logbook.drop_samples)
        self.appended = [(number, kind) for number, kind in self.appended if kind != "sample"]
        self.synced = len(self.appended)

    @invariant()
    def every_record_since_the_oldest_kept_one_is_there_in_order(self) -> None:
        if self.logbook._descriptor is None:  # a failed sync: the next call appends again
            assert self.attempt(self.logbook.open)
        found = [line["n"] for line in read_lines(self.folder)]
        expected = [number for number, _ in self.appended]

        assert found == expected[len(expected) - len(found) :]
        # A single file from the days of a higher bound needs as much again, free, for a draft of itself.
        if self.bytes_since_start < self.lowest // 2:
            assert found == expected, "nothing is dropped without need"

    @invariant()
    def the_bound_holds(self) -> None:
        assert logbook_bytes(self.folder) <= self.bound

    def teardown(self) -> None:
        self.logbook.close()
        shutil.rmtree(self.folder)


TestLogbook = LogbookMachine.TestCase
TestLogbook.settings = settings(
    max_examples=60, stateful_step_count=25, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)

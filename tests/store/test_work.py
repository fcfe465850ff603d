"""The keeper without a thread: the same work, done when it is asked for."""

import errno
from pathlib import Path

from overwinter.rehearse.disk import SimulatedDisk
from overwinter.store.disk import put_beneath
from overwinter.store.keeper import Keeper
from overwinter.store.small import load_state


class Bench:
    def __init__(self, folder: Path) -> None:
        self.now_s = 0.0
        self.told: list[tuple[bool, str]] = []
        self.disk = SimulatedDisk()
        self.path = folder / "logs" / "logbook.jsonl"
        self.keeper = Keeper(
            state_dir=folder / "state",
            logs_dir=folder / "logs",
            max_bytes=65_536,
            tell=lambda _, present, text: self.told.append((present, text)),
            clock=lambda: self.now_s,
        )

    def work(self, after_s: float = 1.0) -> None:
        self.now_s += after_s
        with put_beneath(self.disk):
            self.keeper.work()


def test_lines_jobs_and_state_are_kept_in_the_caller_s_thread(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.keeper.record(b'{"event":"start"}\n', urgent=True)
    answer = bench.keeper.ask(bench.path.read_bytes)
    bench.keeper.save_state({"cycles": 3})
    assert not answer.done()

    bench.work()

    assert answer.result(0) == b'{"event":"start"}\n'
    assert load_state(bench.keeper.state_path) == {"cycles": 3}


def test_a_refusing_disk_is_told_once_and_probed_until_it_works(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.work()
    bench.disk.refuses = errno.ENOSPC
    for number in range(5):
        bench.keeper.record(b'{"n":%d}\n' % number, urgent=True)
        bench.work()
    assert bench.told == [(True, f"{tmp_path}/logs: No space left on device")]

    bench.disk.refuses = None
    bench.work(11.0)

    assert bench.told[1:] == [(False, "")]
    assert bench.path.read_bytes() == b"".join(b'{"n":%d}\n' % number for number in range(5))


def test_a_stop_writes_what_waits_and_letting_go_does_not(tmp_path: Path) -> None:
    for name, kept in (("stop", b'{"a":1}\n'), ("killed", b"")):
        bench = Bench(tmp_path / name)
        bench.work()
        bench.keeper.record(b'{"a":1}\n', urgent=False)
        if name == "stop":
            assert bench.keeper.stop(0.0)
        else:
            bench.keeper.let_go()
        assert bench.path.read_bytes() == kept

import errno
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from overwinter.core.nouns import NotStored, Problem, Refused
from overwinter.store import keeper as keeper_module
from overwinter.store.atomic import replace_durably
from overwinter.store.keeper import JOBS_MOST, Keeper
from overwinter.store.logbook import SMALLEST_BYTES, encode, read_lines
from overwinter.store.ring import LINES_MOST
from overwinter.store.small import load_state
from tests.store.conftest import Mount

PATIENCE_S = 20.0  # for what needs milliseconds, on a machine that is busy with other things


class Told:
    """What the keeper told, to be waited for."""

    def __init__(self) -> None:
        self.all: list[tuple[str, bool, str]] = []
        self.news = threading.Condition()

    def __call__(self, code: str, present: bool, text: str) -> None:
        with self.news:
            self.all.append((code, present, text))
            self.news.notify_all()

    def wait_for(self, present: bool, count: int = 1) -> str:
        with self.news:
            found = self.news.wait_for(
                lambda: [text for _, is_so, text in self.all if is_so is present][count - 1 :], PATIENCE_S
            )
        assert found, self.all
        return str(found[0])


class Disk:
    """Lets each call of `os` pass, block, or fail, as the test wants from now on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.errors: dict[str, int] = {}
        self.under = ""  # only calls for a descriptor or path of this folder fail
        self.calls: list[tuple[str, str]] = []
        self.may_pass = threading.Event()
        self.may_pass.set()
        self.is_waited_for = threading.Event()
        for name in ("open", "write", "fsync"):
            monkeypatch.setattr(os, name, self.through(name, getattr(os, name)))

    def through(self, name: str, true: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **named: Any) -> Any:
            if threading.current_thread().name != "keeper":
                return true(*arguments, **named)
            path = (
                str(arguments[0]) if name == "open" else str(Path(f"/proc/self/fd/{arguments[0]}").readlink())
            )
            self.calls.append((name, path))
            if not self.may_pass.is_set():
                self.is_waited_for.set()
                assert self.may_pass.wait(PATIENCE_S)
            if name in self.errors and path.startswith(self.under):
                raise OSError(self.errors[name], os.strerror(self.errors[name]))
            return true(*arguments, **named)

        return call

    def syncs_of_logbook(self) -> int:
        return sum(name == "fsync" and "logbook.jsonl" in path for name, path in self.calls)


class Rig:
    def __init__(self, folder: Path, *, start: bool = True, **changed: Any) -> None:
        self.state = folder / "state"
        self.logs = folder / "logs"
        self.told = Told()
        arguments: dict[str, Any] = {
            "state_dir": self.state,
            "logs_dir": self.logs,
            "max_bytes": 4_194_304,
            "tell": self.told,
            "clock": time.monotonic,
        }
        self.keeper = Keeper(**{**arguments, **changed})
        self.next = 0
        if start:
            self.keeper.start()
            self.settle()

    def record(self, count: int = 1, *, urgent: bool = False) -> None:
        for _ in range(count):
            kind = "heat" if urgent else "sample"
            self.keeper.record(encode({"event": kind, "n": self.next}), urgent=urgent)
            self.next += 1

    def settle(self) -> None:
        """Until all that was recorded or asked before has been tried."""
        self.keeper.ask(lambda: None).result(PATIENCE_S)

    def numbers(self) -> list[int]:
        return [found["n"] for found in read_lines(self.logs)]


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    return Disk(monkeypatch)


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, disk: Disk) -> Iterator[Rig]:
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.05)
    rig = Rig(tmp_path)
    yield rig
    disk.errors.clear()
    disk.may_pass.set()
    rig.keeper.stop(PATIENCE_S)


def wait_until(truth: Callable[[], bool]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not truth():
        assert time.monotonic() < end_s
        time.sleep(0.005)


def test_lines_are_kept_in_order(rig: Rig) -> None:
    for number in range(100):
        rig.record(urgent=number % 7 == 0)
    rig.settle()

    assert rig.numbers() == list(range(100))
    assert rig.keeper.ring() == []
    assert rig.keeper.health() == {"settings": "ok", "logbook": "ok"}
    assert rig.told.all == []


def test_an_event_is_durable_within_a_second_and_a_burst_shares_the_sync(rig: Rig, disk: Disk) -> None:
    before = disk.syncs_of_logbook()
    rig.record(20)
    began_s = time.monotonic()
    for _ in range(50):
        rig.record(urgent=True)
    wait_until(lambda: disk.syncs_of_logbook() > before)

    assert time.monotonic() - began_s < 1.0
    assert rig.numbers() == list(range(70)), "everything before it is served too"
    assert disk.syncs_of_logbook() - before == 1


def test_samples_wait_for_their_sync(rig: Rig, disk: Disk, monkeypatch: pytest.MonkeyPatch) -> None:
    before = disk.syncs_of_logbook()
    rig.record(20)
    rig.settle()
    assert disk.syncs_of_logbook() == before
    assert rig.keeper._sync_at_s == pytest.approx(time.monotonic() + 300.0, abs=PATIENCE_S)

    monkeypatch.setattr(keeper_module, "SAMPLE_S", 0.05)
    rig.record()
    wait_until(lambda: disk.syncs_of_logbook() == before + 1)


def test_a_disk_that_blocks_never_makes_anyone_wait(rig: Rig, disk: Disk) -> None:
    """One write hangs; whatever the wheel asks for meanwhile returns at once."""
    disk.may_pass.clear()
    rig.record()
    assert disk.is_waited_for.wait(PATIENCE_S)
    slowest_s = 0.0
    for number in range(500):
        began_s = time.perf_counter()
        rig.record(urgent=number % 10 == 0)
        rig.keeper.save_state({"cycles": number})
        rig.keeper.health()
        slowest_s = max(slowest_s, time.perf_counter() - began_s)
    future = rig.keeper.ask(lambda: 41)

    assert slowest_s < 1.0
    assert not future.done()
    assert [line.count(b'"n":') for line in rig.keeper.ring()] == [1] * 501
    disk.may_pass.set()
    assert future.result(PATIENCE_S) == 41
    assert rig.numbers() == list(range(501))
    assert rig.told.all == []


def test_what_a_slow_disk_costs_is_counted_and_told(rig: Rig, disk: Disk) -> None:
    disk.may_pass.clear()
    rig.record()
    assert disk.is_waited_for.wait(PATIENCE_S)
    rig.record(LINES_MOST + 3)
    disk.may_pass.set()

    assert rig.told.wait_for(False).startswith("3 lines of the logbook were lost")
    rig.settle()
    assert rig.numbers() == [0, *range(4, LINES_MOST + 4)]


def test_a_disk_that_hangs_is_seen(tmp_path: Path, disk: Disk) -> None:
    now_s = 1000.0
    rig = Rig(tmp_path, clock=lambda: now_s)
    wait_until(lambda: rig.keeper._busy_since_s > 1e9)
    now_s += 10_000
    assert rig.keeper.health() == {"settings": "ok", "logbook": "ok"}, "idle is not hanging"
    disk.may_pass.clear()
    rig.record()
    assert disk.is_waited_for.wait(PATIENCE_S)
    now_s += 90

    assert rig.keeper.health()["logbook"] == "no answer from the disk for 90 s"
    disk.may_pass.set()
    assert rig.keeper.stop(PATIENCE_S)


@pytest.mark.parametrize("call", ["open", "write", "fsync"])
def test_a_disk_that_fails_and_comes_back_costs_nothing(rig: Rig, disk: Disk, call: str) -> None:
    rig.record(10, urgent=True)
    rig.settle()
    disk.errors[call] = errno.ENOSPC
    disk.under = str(rig.logs)
    if call == "open":  # an open file needs no open: take it away
        (rig.logs / "logbook.jsonl").unlink()
    rig.record(10, urgent=True)
    text = rig.told.wait_for(True)
    rig.record(10)
    rig.settle()

    assert text == f"{rig.logs}: No space left on device"
    assert rig.keeper.health() == {"settings": "ok", "logbook": text}
    assert len(rig.keeper.ring()) >= 10
    disk.errors.clear()
    assert rig.told.wait_for(False) == ""
    rig.settle()
    expected = list(range(30)) if call != "open" else rig.numbers()
    assert rig.numbers() == expected
    assert rig.numbers()[-20:] == list(range(10, 30))
    assert rig.keeper.health() == {"settings": "ok", "logbook": "ok"}
    assert [present for _, present, _ in rig.told.all] == [True, False]


def test_while_it_fails_the_disk_is_probed_and_not_hammered(
    rig: Rig, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeper_module, "PROBE_S", 10.0)
    disk.errors["write"] = errno.EROFS
    rig.record()
    rig.told.wait_for(True)
    rig.settle()
    before = len(disk.calls)
    rig.record(200, urgent=True)
    time.sleep(0.1)

    assert len(disk.calls) == before


def test_both_folders_are_probed_and_nothing_is_left_of_it(rig: Rig, disk: Disk) -> None:
    disk.errors["write"] = errno.EIO
    rig.record()
    rig.told.wait_for(True)
    wait_until(lambda: rig.keeper.health()["settings"] != "ok")
    assert rig.told.wait_for(True, 2) == (f"{rig.logs}: Input/output error; {rig.state}: Input/output error")
    disk.errors.clear()
    rig.told.wait_for(False)

    assert list(rig.state.iterdir()) == []
    assert [path.name for path in rig.logs.iterdir()] == ["logbook.jsonl"]


def test_while_it_fails_samples_are_lost_before_events(rig: Rig, disk: Disk) -> None:
    disk.errors["write"] = errno.ENOSPC
    rig.record(10, urgent=True)
    rig.told.wait_for(True)
    rig.record(LINES_MOST)
    disk.errors.clear()

    assert rig.told.wait_for(False).startswith("10 lines of the logbook were lost")
    assert rig.numbers() == [*range(10), *range(20, LINES_MOST + 10)]


def test_a_failed_sync_is_not_believed_later(rig: Rig, disk: Disk) -> None:
    """The unsynced lines are found in a fresh file, though the file itself lost them."""
    rig.record(5, urgent=True)
    wait_until(lambda: rig.keeper._sync_at_s > 1e9)
    disk.errors["fsync"] = errno.EIO
    rig.record(5, urgent=True)
    rig.told.wait_for(True)
    os.truncate(rig.logs / "logbook.jsonl", len(encode({"event": "heat", "n": 0})) * 5)
    disk.errors.clear()
    rig.told.wait_for(False)

    assert rig.numbers() == list(range(10))


@pytest.mark.parametrize("wrong", ["logs", "state"])
def test_a_folder_that_cannot_be_made_stops_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wrong: str
) -> None:
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.05)
    (tmp_path / wrong).write_bytes(b"a file in its place")
    rig = Rig(tmp_path)
    text = rig.told.wait_for(True)
    rig.record(3, urgent=True)
    rig.keeper.save_state({"cycles": 1})
    rig.settle()

    assert str(tmp_path / wrong) in text
    (tmp_path / wrong).unlink()
    rig.told.wait_for(False)
    assert rig.keeper.stop(PATIENCE_S)
    assert rig.numbers() == [0, 1, 2]
    assert load_state(rig.keeper.state_path) == {"cycles": 1}


def test_a_real_full_disk_is_survived(mount: Mount, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.05)
    small = mount(kib=64)
    rig = Rig(small)
    blocker = small / "someone else's"
    with blocker.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):  # noqa: PT012
        while True:
            file.write(bytes(1024))
    rig.record(300)
    text = rig.told.wait_for(True)
    with pytest.raises(OSError, match="No space"):
        rig.keeper.ask(lambda: replace_durably(rig.state / "settings.toml", bytes(4096))).result(PATIENCE_S)
    blocker.unlink()
    rig.told.wait_for(False)
    rig.settle()

    assert "No space left on device" in text
    assert rig.numbers() == list(range(300))
    assert rig.keeper.stop(PATIENCE_S)


def test_a_real_read_only_disk_is_survived(
    mount: Mount, remount: Callable[[Path, str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the start, as when the guard starts on a damaged card; then someone mends it."""
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.05)
    card = mount()
    remount(card, "ro")
    rig = Rig(card)
    rig.record(5, urgent=True)

    assert "Read-only file system" in rig.told.wait_for(True)
    remount(card, "rw")
    rig.told.wait_for(False)
    assert rig.numbers() == [0, 1, 2, 3, 4]
    assert rig.keeper.stop(PATIENCE_S)


# Jobs


def test_a_job_runs_in_the_keepers_thread_after_what_was_recorded(rig: Rig) -> None:
    rig.record(3)
    assert rig.keeper.ask(rig.numbers).result(PATIENCE_S) == [0, 1, 2]
    assert rig.keeper.ask(lambda: threading.current_thread().name).result(PATIENCE_S) == "keeper"


def test_jobs_run_in_order(rig: Rig) -> None:
    done: list[int] = []
    futures = [rig.keeper.ask(lambda number=number: done.append(number)) for number in range(50)]
    for future in futures:
        future.result(PATIENCE_S)

    assert done == list(range(50))


def test_the_exception_of_a_job_is_the_askers(rig: Rig) -> None:
    def refuse() -> None:
        raise Refused([Problem("band.low", 99.0, "below 40", "band.low = 99: below 40")])

    with pytest.raises(Refused, match=r"band\.low"):
        rig.keeper.ask(refuse).result(PATIENCE_S)

    assert rig.told.all == []
    assert rig.keeper.ask(lambda: 1).result(PATIENCE_S) == 1


@pytest.mark.parametrize("wrapped", [True, False])
def test_a_job_that_could_not_store_is_a_failed_write(rig: Rig, disk: Disk, wrapped: bool) -> None:
    disk.errors["write"] = errno.ENOSPC

    def store() -> None:
        try:
            replace_durably(rig.state / "settings.toml", b"x")
        except OSError as error:
            if wrapped:
                raise NotStored("not stored") from error
            raise

    with pytest.raises(OSError, match="not stored" if wrapped else "No space"):
        rig.keeper.ask(store).result(PATIENCE_S)

    assert rig.told.wait_for(True) == f"{rig.state}: No space left on device"
    disk.errors.clear()
    rig.told.wait_for(False)
    assert rig.keeper.health()["settings"] == "ok"


def test_a_job_that_lost_its_peer_is_no_failed_write(rig: Rig) -> None:
    def lose() -> None:
        raise BrokenPipeError(errno.EPIPE, "gone")

    with pytest.raises(BrokenPipeError):
        rig.keeper.ask(lose).result(PATIENCE_S)

    assert rig.told.all == []


def test_too_many_jobs_are_refused(rig: Rig, disk: Disk) -> None:
    disk.may_pass.clear()
    rig.record()
    assert disk.is_waited_for.wait(PATIENCE_S)
    futures = [rig.keeper.ask(lambda: 1) for _ in range(JOBS_MOST + 1)]

    with pytest.raises(NotStored, match="does not keep up"):
        futures[-1].result(0.0)
    assert futures[0].cancel(), "who gave up waiting takes it back"
    disk.may_pass.set()
    assert [future.result(PATIENCE_S) for future in futures[1:-1]] == [1] * (JOBS_MOST - 1)


# The state file


def test_of_several_states_the_newest_is_stored(rig: Rig, disk: Disk) -> None:
    disk.may_pass.clear()
    rig.record()
    assert disk.is_waited_for.wait(PATIENCE_S)
    data: dict[str, object] = {}
    for cycles in range(100):
        data["cycles"] = cycles
        rig.keeper.save_state(data)
    data["cycles"] = "changed afterwards"
    disk.may_pass.set()
    wait_until(lambda: load_state(rig.keeper.state_path) is not None)
    rig.settle()

    assert load_state(rig.keeper.state_path) == {"cycles": 99}
    assert sum(name == "write" and "draft" in path for name, path in disk.calls) == 1


def test_a_state_that_could_not_be_stored_is_stored_later(rig: Rig, disk: Disk) -> None:
    disk.errors["write"] = errno.EIO
    disk.under = str(rig.state)
    rig.keeper.save_state({"cycles": 1})
    text = rig.told.wait_for(True)
    rig.record(3)
    rig.settle()

    assert text == f"{rig.state}: Input/output error"
    assert rig.numbers() == [0, 1, 2], "the logbook goes on"
    disk.errors.clear()
    rig.told.wait_for(False)
    assert load_state(rig.keeper.state_path) == {"cycles": 1}


# The logbook's own


def test_samples_recorded_before_are_forgotten(rig: Rig) -> None:
    for number in range(10):
        rig.record(urgent=number % 5 == 0)
    rig.keeper.drop_samples().result(PATIENCE_S)
    rig.record()
    rig.settle()

    assert rig.numbers() == [0, 5, 10]


def test_samples_that_wait_are_forgotten_too(rig: Rig, disk: Disk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.5)
    disk.errors["write"] = errno.ENOSPC
    for number in range(10):
        rig.record(urgent=number % 5 == 0)
    rig.told.wait_for(True)
    with pytest.raises(OSError, match="No space"):
        rig.keeper.drop_samples().result(PATIENCE_S)
    assert len(rig.keeper.ring()) == 10, "not done is said, not half done"
    disk.errors.clear()
    rig.keeper.drop_samples().result(PATIENCE_S)
    rig.told.wait_for(False)

    assert rig.numbers() == [0, 5]


def test_the_bound_can_be_lowered(rig: Rig) -> None:
    rig.record(3000)
    rig.keeper.resize(SMALLEST_BYTES).result(PATIENCE_S)

    assert sum(path.stat().st_size for path in rig.logs.iterdir()) <= SMALLEST_BYTES
    with pytest.raises(ValueError, match="at least 65536"):
        rig.keeper.resize(1).result(PATIENCE_S)
    assert rig.told.all == []


def test_a_line_that_is_too_long_is_counted_and_the_next_is_kept(tmp_path: Path) -> None:
    rig = Rig(tmp_path, max_bytes=SMALLEST_BYTES)
    rig.keeper.record(b"x" * 5000 + b"\n", urgent=True)
    rig.record()

    assert rig.told.wait_for(False).startswith("1 lines of the logbook were lost")
    assert rig.keeper.stop(PATIENCE_S)
    assert rig.numbers() == [0]


# The thread


def test_an_idle_keeper_sleeps(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeper_module, "PROBE_S", 10.0)
    rig.record()
    rig.settle()
    looks: list[float | None] = []
    true_wait = Keeper._wait_s

    def counted(keeper: Keeper) -> float | None:
        looks.append(true_wait(keeper))
        return looks[-1]

    monkeypatch.setattr(Keeper, "_wait_s", counted)
    time.sleep(0.3)

    assert len(looks) <= 1
    assert all(wait_s == 10.0 for wait_s in looks)


def test_stopping_writes_and_syncs_everything(tmp_path: Path, disk: Disk) -> None:
    rig = Rig(tmp_path)
    before = disk.syncs_of_logbook()
    rig.record(1000)
    rig.keeper.save_state({"cycles": 2})
    asked = rig.keeper.ask(lambda: "answered")

    assert rig.keeper.stop(PATIENCE_S)
    assert rig.numbers() == list(range(1000))
    assert disk.syncs_of_logbook() > before
    assert load_state(rig.keeper.state_path) == {"cycles": 2}
    assert asked.result(0.0) == "answered"
    with pytest.raises(NotStored):
        rig.keeper.ask(lambda: 1).result(0.0)
    assert rig.keeper.stop(PATIENCE_S), "twice does no harm"


def test_stopping_on_a_dead_disk_gives_up(tmp_path: Path, disk: Disk) -> None:
    rig = Rig(tmp_path)
    disk.may_pass.clear()
    rig.record()
    assert disk.is_waited_for.wait(PATIENCE_S)
    asked = rig.keeper.ask(lambda: 1)
    began_s = time.monotonic()

    assert not rig.keeper.stop(0.1)
    assert time.monotonic() - began_s < 5.0
    with pytest.raises(NotStored, match="stopped"):
        asked.result(0.0)
    disk.may_pass.set()
    assert rig.keeper.stop(PATIENCE_S)


def test_stopping_tries_once_more_what_failed(tmp_path: Path, disk: Disk) -> None:
    rig = Rig(tmp_path)
    disk.errors["write"] = errno.EIO
    rig.record(3)
    rig.told.wait_for(True)
    disk.errors.clear()
    rig.keeper.stop(PATIENCE_S)

    assert rig.numbers() == [0, 1, 2]


def test_stopping_what_never_started_is_harmless(tmp_path: Path) -> None:
    rig = Rig(tmp_path, start=False)
    rig.record()

    assert not rig.keeper.stop(0.1)
    assert len(rig.keeper.ring()) == 1


def test_who_is_told_may_fail(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.05)
    told: list[bool] = []

    def tell(code: str, present: bool, text: str) -> None:
        told.append(present)
        raise RuntimeError("nobody listens")

    rig = Rig(tmp_path, tell=tell)
    disk.errors["write"] = errno.EIO
    rig.record(3)
    wait_until(lambda: told == [True] or len(told) == 2)
    disk.errors.clear()
    wait_until(lambda: told[-1] is False)

    assert rig.keeper.stop(PATIENCE_S)
    assert rig.numbers() == [0, 1, 2]
    assert "nobody listens" in capsys.readouterr().err


def test_a_mistake_of_ours_does_not_end_all_keeping(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with monkeypatch.context() as patch:

        def stumble(lines: object) -> None:
            raise TypeError("a mistake")

        patch.setattr(rig.keeper._logbook, "append", stumble)
        rig.record(3)
        assert "a mistake" in rig.told.wait_for(True)
    rig.told.wait_for(False)
    rig.settle()

    assert rig.numbers() == [0, 1, 2]
    assert "TypeError" in capsys.readouterr().err

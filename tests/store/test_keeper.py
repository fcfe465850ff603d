"""What the keeper is given is kept in order and synced in time; when it stops, all of it is written."""

import errno
import time
from pathlib import Path

import pytest

from overwinter.core.nouns import NotStored
from overwinter.store import keeper as keeper_module
from overwinter.store.keeper import Keeper
from overwinter.store.logbook import SMALLEST_BYTES
from overwinter.store.small import load_state
from tests.store.keeping import PATIENCE_S, Disk, Rig, wait_until


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


def test_a_line_that_is_too_long_is_counted_and_the_next_is_kept(tmp_path: Path) -> None:
    rig = Rig(tmp_path, max_bytes=SMALLEST_BYTES)
    rig.keeper.record(b"x" * 5000 + b"\n", urgent=True)
    rig.record()

    assert rig.told.wait_for(False).startswith("1 lines of the logbook were lost")
    assert rig.keeper.stop(PATIENCE_S)
    assert rig.numbers() == [0]


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

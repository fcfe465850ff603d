"""The keeper on disks that are slow, hang, fail or are full: nobody waits, and whatever is lost is told."""

import errno
import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from overwinter.store import keeper as keeper_module
from overwinter.store.atomic import replace_durably
from overwinter.store.logbook import encode
from overwinter.store.ring import LINES_MOST
from overwinter.store.small import load_state
from tests.store.conftest import Mount
from tests.store.keeping import PATIENCE_S, Disk, Rig, wait_until


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

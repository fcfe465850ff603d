"""The disk under a rehearsal: the same calls, no waiting, and failures on demand."""

import errno
import os
from pathlib import Path
from random import Random

import pytest

from overwinter.rehearse.disk import SECTOR_BYTES, SimulatedDisk
from overwinter.store import disk as store_disk
from overwinter.store.atomic import replace_durably
from overwinter.store.disk import put_beneath
from overwinter.store.lines import read_lines
from overwinter.store.logbook import Logbook


def test_nothing_is_synced_for_real(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(_descriptor: int) -> None:
        raise AssertionError("synced")

    monkeypatch.setattr(os, "fsync", never)
    with put_beneath(SimulatedDisk()):
        replace_durably(tmp_path / "file", b"whole")

    assert (tmp_path / "file").read_bytes() == b"whole"
    with pytest.raises(AssertionError, match="synced"):
        replace_durably(tmp_path / "file", b"for real again")


def test_the_machine_s_own_disk_comes_back_after_a_failure(tmp_path: Path) -> None:
    own = store_disk.beneath()
    with pytest.raises(RuntimeError), put_beneath(SimulatedDisk()):
        raise RuntimeError(str(tmp_path))

    assert store_disk.beneath() is own


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EROFS])
def test_what_it_refuses_leaves_the_old_file(tmp_path: Path, error: int) -> None:
    disk, path = SimulatedDisk(), tmp_path / "file"
    with put_beneath(disk):
        replace_durably(path, b"old")
        disk.refuses = error
        with pytest.raises(OSError, match=os.strerror(error)):
            replace_durably(path, b"new, and longer")
        disk.refuses = None

        assert path.read_bytes() == b"old"
        assert [entry.name for entry in tmp_path.iterdir()] == ["file"]


def test_a_power_cut_takes_only_what_was_not_synced(tmp_path: Path) -> None:
    kept = set()
    for seed in range(20):
        disk, folder = SimulatedDisk(), tmp_path / str(seed)
        with put_beneath(disk):
            logbook = Logbook(folder, 65_536)
            logbook.append([b'{"a":1}\n'])
            logbook.sync()
            logbook.append([b'{"b":2}\n'])
            logbook.close()
            path = folder / "logbook.jsonl"
            torn = disk.lose_power(path, Random(seed))
        left = path.read_bytes()
        assert left.startswith(b'{"a":1}\n')
        assert len(left) + torn == 16
        kept.add(len(left))

    assert min(kept) < 12 < max(kept)


def test_a_file_that_is_not_there_loses_nothing(tmp_path: Path) -> None:
    assert SimulatedDisk().lose_power(tmp_path / "none", Random(1)) == 0


def test_a_torn_cut_spoils_only_what_was_not_synced(tmp_path: Path) -> None:
    """Zeros or older lines within it, and what was synced stays whole."""
    zeroed = older = 0
    for seed in range(40):
        disk, folder = SimulatedDisk(), tmp_path / str(seed)
        lines = [b'{"event":"note","number":%04d}\n' % number for number in range(200)]
        with put_beneath(disk):
            logbook = Logbook(folder, 65_536)
            logbook.append(lines[:100])
            logbook.sync()
            logbook.append(lines[100:])
            logbook.close()
            path = folder / "logbook.jsonl"
            disk.lose_power(path, Random(seed), is_torn=True)
        whole, left = b"".join(lines), path.read_bytes()
        synced = len(b"".join(lines[:100]))
        spoiled = [at for at in range(len(left)) if left[at] != whole[at]]

        assert left[:synced] == whole[:synced]
        assert all(at >= synced for at in spoiled)
        assert len({at // SECTOR_BYTES for at in spoiled}) <= 5
        zeroed += b"\0" in left
        older += bool(spoiled) and b"\0" not in left

    assert zeroed > 5
    assert older > 5


def test_a_logbook_torn_inside_still_gives_what_lies_before_and_behind(tmp_path: Path) -> None:
    for seed in range(20):
        disk, folder = SimulatedDisk(), tmp_path / str(seed)
        with put_beneath(disk):
            logbook = Logbook(folder, 65_536)
            logbook.append([_note(number) for number in range(50)])
            logbook.sync()
            logbook.append([_note(number) for number in range(50, 200)])
            logbook.close()
            disk.lose_power(folder / "logbook.jsonl", Random(seed), is_torn=True)
            logbook = Logbook(folder, 65_536)
            logbook.append([_note(1000)])
            logbook.sync()
            logbook.close()

        texts = [line["text"] for line in read_lines(folder, events=["note"])]
        assert texts[:50] == [f"number {number}" for number in range(50)]
        assert texts[-1] == "number 1000"


def _note(number: int) -> bytes:
    return b'{"t":"2025-12-01T00:00:00Z","up":1.0,"boot":"b","event":"note","text":"number %d"}\n' % number

"""The logbook on disks that fail: no line that was taken is lost, and none doubled."""

import contextlib
import errno
import os
import resource
import signal
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from overwinter.store.logbook import SMALLEST_BYTES, Logbook
from tests.store.books import fill, line, numbers, opened
from tests.store.conftest import Mount
from tests.store.disk import FailingDisk, between, logbook_bytes


def append_until_taken(logbook: Logbook, data: bytes) -> set[str]:
    """Retry as a caller may; says what the errors named."""
    told = set()
    for _ in range(20):
        try:
            logbook.append([data])
        except OSError as error:
            told.add(f"{error.filename}: {error.strerror}")
        else:
            return told
    raise AssertionError(told)


@pytest.mark.parametrize(("times", "step"), [(1, 1), (3, 1), (5, 3), (5, 5), (4, 8)])
def test_an_error_at_any_call_costs_no_line_and_doubles_none(tmp_path: Path, times: int, step: int) -> None:
    """Each call of two turn-overs, syncs and prunings fails; what was refused is appended again."""
    failed: Counter[str] = Counter()
    at = 0
    while True:
        folder = tmp_path / str(at)
        logbook = opened(folder)
        logbook.append([line(number) for number in range(220)])
        disk = FailingDisk(at, error=errno.EIO, times=times, step=step, short=True)
        told = set()
        with between(disk):
            for number in range(220, 265):
                told |= append_until_taken(logbook, line(number))
                if number % 7 == 0:
                    with contextlib.suppress(OSError):
                        logbook.sync()
        logbook.sync()
        kept = numbers(folder)

        assert kept == list(range(kept[0], 265)), (at, disk.failed)
        assert len(kept) >= 160
        assert logbook_bytes(folder) <= SMALLEST_BYTES
        assert all(text.startswith(str(folder)) and text.endswith("Input/output error") for text in told)
        failed.update(disk.failed)
        if not disk.failed:
            break
        at += 1

    assert {"write", "fsync", "rename", "unlink", "open"} <= set(failed)


def test_a_failed_sync_is_never_taken_for_a_later_success(tmp_path: Path) -> None:
    """As the kernel does it: the failed fsync throws the unsynced bytes away, the next one succeeds."""
    logbook = opened(tmp_path)
    fill(logbook, 0, 3)
    logbook.sync()
    durable = (tmp_path / "logbook.jsonl").stat().st_size
    fill(logbook, 3, 2)
    with between(FailingDisk(0, error=errno.EIO)), pytest.raises(OSError, match="Input/output"):
        logbook.sync()
    with (tmp_path / "logbook.jsonl").open("rb+") as file:
        file.seek(durable)
        file.write(b"\0" * 500)
    fill(logbook, 5, 1)
    logbook.sync()

    assert numbers(tmp_path) == [0, 1, 2, 3, 4, 5]
    assert b"\0" not in (tmp_path / "logbook.jsonl.1").read_bytes(), "cut back to what was durable"
    assert (tmp_path / "logbook.jsonl").read_bytes() == line(3) + line(4) + line(5), "a fresh file"


def test_lines_kept_for_a_failing_sync_are_bounded(tmp_path: Path) -> None:
    logbook = opened(tmp_path, 67_108_864)
    for first in range(0, 6000, 3000):
        fill(logbook, first, 1500)
        logbook.append([line(number) for number in range(first + 1500, first + 3000)])

        assert 0 < sum(map(len, logbook._unsynced)) <= 262_144
    assert numbers(tmp_path) == list(range(6000))


@pytest.mark.parametrize(
    "lose",
    [
        pytest.param(lambda folder: (folder / "logbook.jsonl").unlink(), id="deleted"),
        pytest.param(lambda folder: folder.rename(folder.with_name("gone")), id="folder gone"),
        pytest.param(lambda folder: os.truncate(folder / "logbook.jsonl", 750), id="emptied"),
    ],
)
def test_lines_do_not_vanish_with_the_file(tmp_path: Path, lose: Callable[[Path], None]) -> None:
    folder = tmp_path / "logs"
    logbook = opened(folder)
    fill(logbook, 0, 3)
    logbook.sync()
    fill(logbook, 3, 2)
    lose(folder)
    logbook.sync()
    assert numbers(folder)[-2:] == [3, 4], "the unsynced ones are written again"
    lose_again = numbers(folder)
    fill(logbook, 5, 1)

    assert numbers(folder) == [*lose_again, 5]


def test_a_file_size_limit_is_survived(tmp_path: Path) -> None:
    """A limit set by whoever started us: EFBIG after a short write."""
    logbook = opened(tmp_path)
    fill(logbook, 0, 4)
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    old_handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1100, before[1]))
    try:
        with pytest.raises(OSError, match="File too large"):
            logbook.append([line(4)])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, old_handler)

    assert (tmp_path / "logbook.jsonl").stat().st_size == 1000
    fill(logbook, 4, 1)
    assert numbers(tmp_path) == [0, 1, 2, 3, 4]


def test_a_real_full_disk_costs_no_line_that_was_taken(mount: Mount) -> None:
    disk = mount(kib=48)
    logbook = opened(disk)
    taken = 0
    with pytest.raises(OSError, match="No space left"):  # noqa: PT012
        while True:
            logbook.append([line(taken)])
            taken += 1

    assert taken > 50
    assert numbers(disk) == list(range(taken))
    assert all(path.read_bytes().endswith(b"\n") for path in disk.glob("logbook*") if path.stat().st_size)
    (disk / "logbook.jsonl.3").unlink()  # someone makes room
    logbook.append([line(taken)])
    assert numbers(disk)[-3:] == [taken - 2, taken - 1, taken]


def test_a_real_read_only_disk_is_an_error_until_it_is_writable(
    mount: Mount, remount: Callable[[Path, str], None]
) -> None:
    disk = mount()
    logbook = opened(disk)
    fill(logbook, 0, 2)
    logbook.sync()
    logbook.close()  # a file open for writing would keep the disk from becoming read-only
    remount(disk, "ro")
    with pytest.raises(OSError, match="Read-only file system"):
        logbook.append([line(2)])
    remount(disk, "rw")
    logbook.append([line(2)])

    assert numbers(disk) == [0, 1, 2]


def test_a_folder_that_cannot_be_made_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    logbook = Logbook(tmp_path / "file" / "logs", SMALLEST_BYTES)
    with pytest.raises(NotADirectoryError):
        logbook.append([line(0)])
    (tmp_path / "file").unlink()
    logbook.append([line(0)])

    assert numbers(tmp_path / "file" / "logs") == [0]

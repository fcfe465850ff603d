import errno
import os
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.store.atomic import draft_of, read_copy, replace_durably, set_aside, write_copy
from tests.store.conftest import Mount
from tests.store.disk import FailingDisk, between

OLD = b"mode = 'freeze'\n" * 3
NEW = b"mode = 'warm'\n" * 4


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_bytes_are_replaced(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_bytes(OLD)

    replace_durably(path, NEW)

    assert path.read_bytes() == NEW
    assert names(tmp_path) == {"settings.toml"}


@pytest.mark.parametrize(
    ("before", "after"), [pytest.param(None, 0o644, id="new"), pytest.param(0o600, 0o600, id="kept")]
)
def test_the_mode_is_kept(tmp_path: Path, before: int | None, after: int) -> None:
    path = tmp_path / "settings.toml"
    if before is not None:
        path.write_bytes(OLD)
        path.chmod(before)
    mask = os.umask(0o077)
    try:
        replace_durably(path, NEW)
    finally:
        os.umask(mask)

    assert stat.S_IMODE(path.stat().st_mode) == after


def test_a_draft_left_by_a_crash_is_no_obstacle(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    draft_of(path).write_bytes(b"half of somethi")
    draft_of(path).chmod(0o400)

    replace_durably(path, NEW)

    assert path.read_bytes() == NEW
    assert names(tmp_path) == {"settings.toml"}


def test_short_writes_are_continued(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    true_write = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, data: true_write(descriptor, bytes(data)[:5]))

    replace_durably(tmp_path / "settings.toml", NEW)

    assert (tmp_path / "settings.toml").read_bytes() == NEW


def test_a_write_that_takes_nothing_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "write", lambda descriptor, data: 0)

    with pytest.raises(OSError, match="Input/output error"):
        replace_durably(tmp_path / "settings.toml", NEW)


def count_calls(tmp_path: Path) -> int:
    counting = FailingDisk(at=10**9)
    path = tmp_path / "counted"
    path.write_bytes(OLD)
    with between(counting):
        replace_durably(path, NEW)
    path.unlink()
    return counting.calls


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO, errno.EROFS, errno.EDQUOT])
@pytest.mark.parametrize("existed", [True, False])
def test_an_error_at_any_call_leaves_the_old_file_and_no_draft(
    tmp_path: Path, error: int, existed: bool
) -> None:
    """Each call fails once: opening the old file, clearing, drafting, writing, syncing, renaming."""
    path = tmp_path / "settings.toml"
    failed = []
    for at in range(count_calls(tmp_path)):
        if existed:
            path.write_bytes(OLD)
        disk = FailingDisk(at=at, error=error, short=True)
        with between(disk), pytest.raises(OSError, match=os.strerror(error)) as caught:
            replace_durably(path, NEW)
        failed += disk.failed

        assert caught.value.filename is not None
        assert names(tmp_path) == ({"settings.toml"} if existed else set()), disk.failed
        assert not existed or path.read_bytes() == OLD, disk.failed

    assert {"open", "write", "fsync", "fchmod", "rename"} <= set(failed)
    assert failed.count("fsync") == 2, "both the file's and the folder's"


@pytest.mark.parametrize("times", range(1, 12))
def test_an_error_that_stays_leaves_the_old_file_or_the_new(tmp_path: Path, times: int) -> None:
    path = tmp_path / "settings.toml"
    for at in range(count_calls(tmp_path)):
        path.write_bytes(OLD)
        with between(FailingDisk(at=at, times=times, short=True)), pytest.raises(OSError, match="space"):
            replace_durably(path, NEW)

        assert path.read_bytes() in {OLD, NEW}
        draft_of(path).unlink(missing_ok=True)  # where even unlink fails, the next call clears it


def test_a_real_full_disk_keeps_the_old_file(mount: Mount) -> None:
    disk = mount(kib=64)
    path = disk / "settings.toml"
    replace_durably(path, OLD)

    with pytest.raises(OSError, match="No space left") as caught:
        replace_durably(path, bytes(100_000))

    assert caught.value.errno == errno.ENOSPC
    assert path.read_bytes() == OLD
    assert names(disk) == {"settings.toml"}


def test_a_real_read_only_disk_keeps_the_old_file(mount: Mount, remount) -> None:  # type: ignore[no-untyped-def]
    disk = mount()
    path = disk / "settings.toml"
    replace_durably(path, OLD)
    remount(disk, "ro")

    with pytest.raises(OSError, match="Read-only file system"):
        replace_durably(path, NEW)

    assert path.read_bytes() == OLD
    assert set_aside(path, "unreadable") is None


@given(data=st.binary(max_size=2000))
def test_a_copy_reads_back(data: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("copy") / "settings.copy"
    write_copy(path, data)

    assert read_copy(path) == data


def test_a_copy_begins_with_its_proof(tmp_path: Path) -> None:
    write_copy(tmp_path / "copy", b"abc")

    # SHA-256 of "abc" is the example of FIPS 180-2, appendix B.1 (from memory).
    assert (tmp_path / "copy").read_bytes() == (
        b"overwinter copy sha256=ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad bytes=3\n"
        b"abc"
    )


def test_a_copy_cut_anywhere_is_none(tmp_path: Path) -> None:
    path = tmp_path / "copy"
    write_copy(path, OLD)
    whole = path.read_bytes()
    for size in range(len(whole)):
        path.write_bytes(whole[:size])

        assert read_copy(path) is None, size


def test_a_copy_with_any_bit_flipped_is_none(tmp_path: Path) -> None:
    path = tmp_path / "copy"
    write_copy(path, OLD)
    whole = path.read_bytes()
    for bit in range(len(whole) * 8):
        flipped = bytearray(whole)
        flipped[bit // 8] ^= 1 << bit % 8
        path.write_bytes(flipped)

        assert read_copy(path) is None, bit


@pytest.mark.parametrize("make", [lambda path: None, Path.mkdir], ids=["missing", "a folder"])
def test_no_copy_is_none(tmp_path: Path, make) -> None:  # type: ignore[no-untyped-def]
    make(tmp_path / "copy")

    assert read_copy(tmp_path / "copy") is None


def test_what_is_set_aside_is_never_lost(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    asides = []
    for content in (b"first", b"second", b"third"):
        path.write_bytes(content)
        asides.append(set_aside(path, "unreadable"))

    assert not path.exists()
    assert [aside.read_bytes() for aside in asides if aside] == [b"first", b"second", b"third"]
    assert all(aside and aside.name.startswith("settings.toml.unreadable-") for aside in asides)


def test_setting_aside_what_is_missing_is_none(tmp_path: Path) -> None:
    assert set_aside(tmp_path / "settings.toml", "unreadable") is None

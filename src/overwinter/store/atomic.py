"""Whole files that outlive a power cut: a reader finds the old bytes or the new ones, nothing between.

Rule 1: draft in the same folder, write, fsync, rename, fsync of the folder; only then is it stored.
Rule 2: an error at any step reaches the caller, and then the old file is the one that stays.
Rule 3: nothing here knows what the bytes mean.
"""

import contextlib
import errno
import hashlib
import os
import stat
import time
from collections.abc import Iterator
from pathlib import Path

from overwinter.store.disk import beneath

USUAL_MODE = 0o644
MOST_ASIDE = 100  # as many files may be set aside under one name in one second; then something loops


@contextlib.contextmanager
def naming(path: Path) -> Iterator[None]:
    """Say in an error which file it was; os.write and os.fsync do not know."""
    try:
        yield
    except OSError as error:
        if error.filename is None:
            error.filename = str(path)
        raise


def write_all(descriptor: int, data: bytes) -> None:
    """Write every byte, or raise; the kernel may take fewer than it was given."""
    left = memoryview(data)
    while left:
        taken = beneath().write(descriptor, left)
        if not taken:
            raise OSError(errno.EIO, os.strerror(errno.EIO))  # a regular file that takes nothing
        left = left[taken:]


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable: a rename or a new file is not, before this."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        beneath().sync(descriptor)
    finally:
        os.close(descriptor)


def draft_of(path: Path) -> Path:
    """Where the new bytes wait. One name a file, so that a crash leaves one draft at most."""
    return path.with_name(f".{path.name}.draft")


def replace_durably(path: Path, data: bytes) -> None:
    """Replace a file's bytes, or create it. When this returns they outlive a power cut.

    The mode of the file before is kept. A symbolic link is replaced, not followed.

    Raises
    ------
    OSError
        It is not stored. The old file is in place (only when the disk refuses that as well, the new
        one), and no draft is left.
    """
    with naming(path):
        before = _open_before(path)
        try:
            _put(path, data, _mode(before))
            try:
                sync_folder(path.parent)
            except OSError:
                # Visible but not durable: whoever asked hears "not stored", so it must not be found later.
                with contextlib.suppress(OSError):
                    _put_back(path, before)
                raise
        finally:
            if before is not None:
                os.close(before)


def _open_before(path: Path) -> int | None:
    """The file as it was; the descriptor keeps its bytes alive past the rename. None: there is none."""
    try:
        return os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except FileNotFoundError:
        return None
    except PermissionError:
        return os.open(path, os.O_PATH | os.O_CLOEXEC)  # its mode can be kept, its bytes not be put back


def _mode(before: int | None) -> int:
    return USUAL_MODE if before is None else stat.S_IMODE(os.fstat(before).st_mode)


def _put(path: Path, data: bytes, mode: int) -> None:
    """Draft, write, fsync, rename. No draft is left when that fails."""
    draft = draft_of(path)
    with contextlib.suppress(FileNotFoundError):
        draft.unlink()  # left by a crash; its owner and mode may be anything
    try:
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, mode)
        try:
            os.fchmod(descriptor, mode)  # past the umask
            write_all(descriptor, data)
            beneath().sync(descriptor)
        finally:
            os.close(descriptor)
        draft.rename(path)
    except BaseException:
        with contextlib.suppress(OSError):
            draft.unlink()
        raise


def _put_back(path: Path, before: int | None) -> None:
    if before is None:
        path.unlink()
        return
    size = os.fstat(before).st_size
    data = bytearray()
    while len(data) < size:
        part = os.pread(before, size - len(data), len(data))
        if not part:
            return  # someone cut it meanwhile: the new bytes are the better ones
        data += part
    _put(path, bytes(data), _mode(before))


def _headed(data: bytes) -> bytes:
    return b"overwinter copy sha256=%s bytes=%d\n" % (hashlib.sha256(data).hexdigest().encode(), len(data))


def write_copy(path: Path, data: bytes) -> None:
    """Keep a last-good copy whose first line proves that the rest is whole.

    Raises
    ------
    OSError
        As `replace_durably`.
    """
    replace_durably(path, _headed(data) + data)


def read_copy(path: Path) -> bytes | None:
    """What `write_copy` kept; None when it is missing, unreadable, torn, or flipped anywhere."""
    try:
        kept = path.read_bytes()
    except OSError:
        return None
    head, newline, data = kept.partition(b"\n")
    # The head has one spelling for these bytes, so a flip within it is seen as well.
    return data if head + newline == _headed(data) else None


def set_aside(path: Path, label: str) -> Path | None:
    """Rename what can't be used to `name.label-DATE` in its folder. Nothing is ever deleted.

    The date is the wall clock's and may be wrong after a power cut: it only labels.

    Returns
    -------
    Path or None
        Its new name; None when it could not be renamed (missing, read-only disk).
    """
    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
    for number in range(1, MOST_ASIDE + 1):
        aside = path.with_name(f"{path.name}.{label}-{stamp}" + (f"-{number}" if number > 1 else ""))
        if os.path.lexists(aside):
            continue
        try:
            path.rename(aside)
        except OSError:
            return None
        with contextlib.suppress(OSError):
            sync_folder(path.parent)  # lost in a power cut, it is simply set aside again
        return aside
    return None

"""The logbook: lines appended to bounded files, of which a power cut takes the unsynced end and no more.

Rule 1: the files together never hold more than the bound, at no instant: room is made, durably, before
        bytes are written. One segment of the bound stays free, for the draft of a file being rewritten.
Rule 2: one name changes at a time, and is made durable before the next: whichever order a file system
        keeps, a power cut finds every file once.
Rule 3: lines are in memory until a sync has succeeded. After a failed one the kernel may have thrown
        them away and call the next sync a success: the file is cut back to what was durable, and the
        lines are appended again, to a fresh file.
Rule 4: what is worth recording, and what a date is, nothing here knows.

One thread at a time may use a `Logbook`; anyone may read the folder meanwhile.
"""

import contextlib
import os
import re
from collections import deque
from collections.abc import Sequence
from pathlib import Path

from overwinter.store.atomic import naming, replace_durably, sync_folder, write_all
from overwinter.store.disk import beneath
from overwinter.store.lines import (
    LINE_BYTES_MOST,
    MOST_FILES,
    NAME,
    encode,
    end_of_last_line,
    is_event,
    last_lines,
    read_lines,
)

__all__ = ["SMALLEST_BYTES", "Logbook", "encode", "last_lines", "read_lines"]

SMALLEST_BYTES = 65_536  # eight segments of 32 usual lines: less is no history
SEGMENTS = 8  # the bound is dropped in pieces of an eighth; one of them stays free
UNSYNCED_BYTES_MOST = 262_144  # kept in memory until synced; beyond it a sync comes by itself
FOLDER_MODE = 0o755
FILE_MODE = 0o644  # any local user reads

# What counts against the bound beside NAME: turned-over files, and what `set_aside` renamed.
_OLDER = re.compile(re.escape(NAME) + r"\.(?:([1-9]\d?)|.+-\d{8}T\d{6}Z(?:-\d+)?)\Z")
_DRAFT = re.compile(r"\." + re.escape(NAME) + r".*\.draft\Z")


class Logbook:
    """The writer of one logs folder.

    Parameters
    ----------
    folder : Path
        Is made when it is missing.
    max_bytes : int
        What all files together never exceed [bytes], 65536 at least.
    """

    def __init__(self, folder: Path, max_bytes: int) -> None:
        self._folder = folder
        self._path = folder / NAME
        self._max_bytes = _checked(max_bytes)
        self._descriptor: int | None = None
        self._identity = (0, 0)  # device and inode of the newest file, as last opened
        self._size = 0  # of the newest file
        self._synced = 0  # how much of it is known to be durable
        self._unsynced: deque[bytes] = deque()  # the lines behind that
        self._unsynced_bytes = 0
        self._older: list[tuple[Path, int]] = []  # and their sizes, oldest first
        self.appended = 0
        """How many lines `append` has taken."""

    @property
    def segment_bytes(self) -> int:
        """Where the newest file turns over."""
        return self._max_bytes // SEGMENTS

    @property
    def line_bytes_most(self) -> int:
        """The longest line that is taken, newline included."""
        return min(LINE_BYTES_MOST, max(1024, self.segment_bytes // 4))

    def open(self) -> None:
        """Make the folder, cut a torn end off, make room for a lower bound; append again what was unsynced.

        Raises
        ------
        OSError
            The disk does not take it. Unsynced lines are kept for the next try.
        """
        self.close()
        try:
            with naming(self._path):
                self._make_folder()
                self._open_newest()
                self._older = self._find_older()
                self._append_again()
                self._fit()
        except OSError:
            self.close()
            raise

    def append(self, lines: Sequence[bytes]) -> None:
        """Append whole lines; opens the logbook first where it is closed, or its file has gone.

        Raises
        ------
        ValueError
            Something is no line, or too long; nothing was appended.
        OSError
            The disk does not take it. Of several lines the first few may have been appended: `appended`
            says how far it came.
        """
        for line in lines:
            if not self.takes(line):
                allowed = f"one line with its newline at the end, {self.line_bytes_most} bytes at most"
                raise ValueError(f"{line[:40]!r}: {len(line)} bytes, must be {allowed}")
        if not self._is_there():
            self.open()
        run: list[bytes] = []
        run_bytes = 0
        with naming(self._path):
            for line in lines:
                if self._size + run_bytes + len(line) > self.segment_bytes:
                    self._append_run(run)
                    self._turn_over()
                    run, run_bytes = [], 0
                elif run_bytes + len(line) > UNSYNCED_BYTES_MOST:
                    self._append_run(run)
                    run, run_bytes = [], 0
                run.append(line)
                run_bytes += len(line)
            self._append_run(run)

    def takes(self, line: bytes) -> bool:
        """Whether it is one line, and not too long for this bound."""
        return 0 <= line.find(b"\n") == len(line) - 1 < self.line_bytes_most

    def sync(self) -> None:
        """Make everything appended durable.

        Raises
        ------
        OSError
            It may not be. The lines are kept, and are appended again by the next call of anything here.
        """
        if self._unsynced and not self._is_there():
            self.open()
        if self._descriptor is None or self._synced == self._size:
            return
        try:
            with naming(self._path):
                beneath().sync(self._descriptor)
        except OSError:
            self.close()
            raise
        self._synced = self._size
        self._unsynced.clear()
        self._unsynced_bytes = 0

    def close(self) -> None:
        """Let go of the file. Nothing is synced."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            with contextlib.suppress(OSError):
                os.close(descriptor)

    def resize(self, max_bytes: int) -> None:
        """Change the bound; a lower one holds when this returns.

        While it shrinks it may write a draft of what it keeps, and still stays below the old bound.

        Raises
        ------
        ValueError
            Below 65536 bytes.
        OSError
            The bound is changed, but the room could not be made; the next `open` tries again.
        """
        self._max_bytes = _checked(max_bytes)
        if self._descriptor is None:
            return
        try:
            with naming(self._path):
                self._fit()
        except OSError:
            self.close()
            raise

    def drop_samples(self) -> None:
        """Forget the samples in every file, durably; events stay, in their order. Broken lines go too.

        File by file through a draft, for which one segment of the bound is always free. A power cut
        in between leaves some files without and some with samples; call it again.

        Raises
        ------
        OSError
            Some files may still have their samples.
        """
        self.sync()
        self.open()
        try:
            with naming(self._path):
                for path, _ in [*self._older, (self._path, self._size)]:
                    self._forget_samples(path)
        finally:
            self.close()  # the newest file is another one now
        self.open()

    def size(self) -> int:
        """What all files together hold now [bytes]; 0 without a folder."""
        if not self._folder.is_dir():
            return 0
        newest = self._path.stat().st_size if self._path.exists() else 0
        return newest + sum(size for _, size in self._find_older())

    # Opening

    def _make_folder(self) -> None:
        if self._folder.is_dir():
            return
        self._folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        sync_folder(self._folder.parent)

    def _open_newest(self) -> None:
        """Open the newest file, cut off what is not known to be whole, and make the rest durable."""
        with os.scandir(self._folder) as entries:
            drafts = [Path(entry.path) for entry in entries if _DRAFT.match(entry.name)]
        for draft in drafts:
            draft.unlink()
        flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
        self._descriptor = os.open(self._path, flags, FILE_MODE)
        found = os.fstat(self._descriptor)
        identity = (found.st_dev, found.st_ino)
        # In the file we wrote ourselves, only what was synced is to be believed.
        known = min(found.st_size, self._synced) if identity == self._identity else found.st_size
        whole = end_of_last_line(self._descriptor, known)
        if whole < found.st_size:
            os.ftruncate(self._descriptor, whole)
        beneath().sync(self._descriptor)
        sync_folder(self._folder)
        self._identity = identity
        self._size = self._synced = whole

    def _find_older(self) -> list[tuple[Path, int]]:
        """Every file that counts beside the newest; those set aside first, as if they were the oldest."""
        found: list[tuple[tuple[int, str], Path, int]] = []
        with os.scandir(self._folder) as entries:
            for entry in entries:
                older = _OLDER.match(entry.name)
                if older is None or not entry.is_file(follow_symlinks=False):
                    continue
                order = (-int(older[1]), "") if older[1] else (-MOST_FILES - 1, entry.name)
                found.append((order, Path(entry.path), entry.stat(follow_symlinks=False).st_size))
        return [(path, size) for _, path, size in sorted(found)]

    def _append_again(self) -> None:
        """Put the lines of a failed sync into a fresh file."""
        lost, self._unsynced = self._unsynced, deque()
        self._unsynced_bytes = 0
        try:
            if lost and self._size:
                self._turn_over()
            while lost:
                if self._size + len(lost[0]) > self.segment_bytes:
                    self._turn_over()
                if len(lost[0]) <= self.line_bytes_most:  # else the bound was lowered since, and is firm
                    self._write([lost[0]])
                lost.popleft()
        finally:
            self._unsynced += lost
            self._unsynced_bytes = sum(map(len, self._unsynced))

    def _is_there(self) -> bool:
        """Whether the file we hold is still the one in the folder, as we left it.

        A removed disk, a deleted folder or an emptied file would otherwise swallow lines in silence.
        """
        if self._descriptor is None:
            return False
        try:
            found = self._path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return False
        return (found.st_dev, found.st_ino) == self._identity and found.st_size == self._size

    # Writing

    def _append_run(self, run: list[bytes]) -> None:
        self._write(run)
        self.appended += len(run)

    def _write(self, run: list[bytes]) -> None:
        """Write lines that fit into the newest file, or leave it as it was."""
        if not run:
            return
        assert self._descriptor is not None
        data = b"".join(run)
        if self._unsynced_bytes + len(data) > UNSYNCED_BYTES_MOST:
            self.sync()
        self._make_room(len(data))
        try:
            write_all(self._descriptor, data)
        except OSError:
            try:
                os.ftruncate(self._descriptor, self._size)
            except OSError:
                self.close()  # opening again cuts it back
            raise
        self._size += len(data)
        self._unsynced.extend(run)
        self._unsynced_bytes += len(data)

    # Turning over and making room

    def _turn_over(self) -> None:
        """Move each file up by one number, from the oldest, and begin a new one."""
        self.sync()
        try:
            while self._older and self._numbered(MOST_FILES).exists():
                self._drop_oldest()
            moving = [self._path]
            while (following := self._numbered(len(moving))).exists():
                moving.append(following)
            for number in range(len(moving), 0, -1):
                moving[number - 1].rename(self._numbered(number))
                sync_folder(self._folder)
            self.close()
            self._open_newest()
            self._older = self._find_older()
        except OSError:
            self.close()  # half turned over is a valid state; opening again looks at it afresh
            raise

    def _numbered(self, number: int) -> Path:
        return self._folder / f"{NAME}.{number}"

    def _fit(self) -> None:
        """Meet a lower bound than the files were written for."""
        if self._size > self.segment_bytes:
            self._turn_over()
        self._make_room(0)

    def _make_room(self, more: int) -> None:
        """Drop the oldest until `more` bytes fit, and one draft of any of the files as well."""
        while self._older:
            sizes = [size for _, size in self._older]
            draft = max(self.segment_bytes, *sizes)
            if sum(sizes) + self._size + more + draft <= self._max_bytes:
                return
            path, size = self._older[0]
            if size > 2 * self.segment_bytes:
                others = sum(sizes) - size + self._size + more
                self._keep_end(path, size, keep=self._room_with_draft(others, max([0, *sizes[1:]])))
            else:
                self._drop_oldest()

    def _room_with_draft(self, others: int, largest: int) -> int:
        """How large a file may be beside `others` bytes, so that a draft of it or of the largest fits too."""
        free = self._max_bytes - others
        draft = max(self.segment_bytes, largest)
        return max(self.segment_bytes, free // 2 if free // 2 >= draft else free - draft)

    def _drop_oldest(self) -> None:
        self._older[0][0].unlink(missing_ok=True)
        sync_folder(self._folder)  # before its room is used: else a power cut could bring it back
        del self._older[0]

    def _keep_end(self, path: Path, size: int, *, keep: int) -> None:
        """Of a file from the days of a much higher bound, keep the newest bytes, fewer than it has."""
        try:
            with path.open("rb") as file:
                file.seek(size - min(keep, size - 1))
                file.readline()
                end = file.read()
            replace_durably(path, end)
        except OSError:
            self._drop_oldest()  # the bound is a promise to the owner's disk; old lines are not
        else:
            self._older[0] = (path, len(end))

    def _forget_samples(self, path: Path) -> None:
        with path.open("rb") as file:
            before = os.fstat(file.fileno()).st_size
            kept = b"".join(line for line in file if is_event(line))
        if not kept and path != self._path:
            path.unlink()
            sync_folder(self._folder)
        elif len(kept) < before:
            replace_durably(path, kept)


def _checked(max_bytes: int) -> int:
    if max_bytes < SMALLEST_BYTES:
        raise ValueError(f"max_bytes = {max_bytes}: must be at least {SMALLEST_BYTES}")
    return max_bytes

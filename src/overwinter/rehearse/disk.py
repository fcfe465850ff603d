"""A disk that waits for nothing, knows what a power cut may take, and fails when it is told to.

A slow disk is not here but in `life.py`: it is the guard's other thread that waits for it.

The files are ordinary ones in a folder of the rehearsal's own; nothing is ever synced for real.
"""

import errno
import os
from pathlib import Path
from random import Random

from overwinter.store.disk import Disk

REFUSALS = {"disk-full": errno.ENOSPC, "disk-read-only": errno.EROFS}


SECTOR_BYTES = 512
"""What a card writes whole or not at all, at the best."""

SECTORS_TORN_MOST = 4

_MEMORY = Path("/dev/shm")


def in_memory() -> Path | None:
    """A folder that lies in memory, for files that nobody keeps; None: wherever temporary files go."""
    return _MEMORY if os.access(_MEMORY, os.W_OK | os.X_OK) else None


class SimulatedDisk(Disk):
    """The disk under one rehearsal."""

    def __init__(self) -> None:
        self.refuses: int | None = None
        """The error of every write and sync; None: it works."""
        self._durable: dict[tuple[int, int], int] = {}  # by device and inode: so many bytes outlive a cut

    def write(self, descriptor: int, data: memoryview) -> int:
        """Write, or refuse; a full disk takes a part first, as real ones do."""
        if self.refuses is not None:
            if self.refuses == errno.ENOSPC and len(data) > 1:
                os.write(descriptor, data[: len(data) // 2])
            raise OSError(self.refuses, os.strerror(self.refuses))
        return os.write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Remember that all of it would outlive a power cut, or refuse."""
        if self.refuses is not None:
            raise OSError(self.refuses, os.strerror(self.refuses))
        found = os.fstat(descriptor)
        self._durable[found.st_dev, found.st_ino] = found.st_size

    def lose_power(self, path: Path, chance: Random, *, is_torn: bool = False) -> int:
        """Tear what was not synced off a file, anywhere; how many bytes went.

        `is_torn`: of what is left of it some sectors have never reached the card either, and hold zeros or
        what lay there before: an older part of the same file. What was synced stays whole, as a card that
        keeps its word has it.
        """
        try:
            found = path.stat()
        except FileNotFoundError:
            return 0
        durable = min(self._durable.get((found.st_dev, found.st_ino), 0), found.st_size)
        kept = chance.randint(durable, found.st_size)
        os.truncate(path, kept)
        if is_torn:
            _tear(path, durable, kept, chance)
        return found.st_size - kept


def _tear(path: Path, durable: int, size: int, chance: Random) -> None:
    """Some sectors between the two are zero, or as another sector of the file's beginning."""
    first, last = durable // SECTOR_BYTES, (size - 1) // SECTOR_BYTES
    if size <= durable:
        return
    with path.open("r+b") as file:
        for _ in range(chance.randint(1, SECTORS_TORN_MOST)):
            sector = chance.randint(first, last)
            begins, ends = max(sector * SECTOR_BYTES, durable), min((sector + 1) * SECTOR_BYTES, size)
            old = bytes(ends - begins)
            if chance.random() < 0.5 and first > 0:
                file.seek(chance.randrange(first) * SECTOR_BYTES + begins % SECTOR_BYTES)
                old = file.read(ends - begins)
            file.seek(begins)
            file.write(old)

"""The two calls that bytes reach a disk by, so that another disk can be put beneath everything in this room.

A rehearsal lives through a winter in seconds: its disk waits for nothing, and fails when it is told to. Only
these calls differ then; what writes, replaces, cuts back and counts is the code that ships.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager


class Disk:
    """The machine's own."""

    def write(self, descriptor: int, data: memoryview) -> int:
        """Write, and say how many bytes were taken; OSError where the disk refuses."""
        return os.write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Make a file or a folder durable; OSError where that failed."""
        os.fsync(descriptor)


_OWN = Disk()
_beneath = _OWN


def beneath() -> Disk:
    """The disk in use."""
    return _beneath


@contextmanager
def put_beneath(disk: Disk) -> Iterator[None]:
    """Use another disk for a while, in the whole process: not for a program that guards a house as well."""
    global _beneath  # noqa: PLW0603
    _beneath = disk
    try:
        yield
    finally:
        _beneath = _OWN

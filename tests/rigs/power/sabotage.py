"""The real guard with one care left out, to prove that the rig would see it.

Called as `sabotage NAME ... overwinter ...`: what follows the word `overwinter` goes to the command as it is.
"""

import os
import sys
from collections.abc import Callable
from pathlib import Path

from overwinter.store import atomic


def no_folder_sync() -> None:
    """A renamed file's bytes are durable, its name is not."""
    atomic.sync_folder = lambda folder: None


def in_place() -> None:
    """Files are written over, line by line, and synced."""

    def put(path: Path, data: bytes, mode: int) -> None:
        with path.open("wb", buffering=0) as file:
            file.writelines(data.splitlines(keepends=True))
            os.fsync(file.fileno())

    atomic._put = put


def no_sync() -> None:
    """Nothing is ever synced."""
    os.fsync = lambda fd: None


def events_not_synced() -> None:
    """Lines of the logbook are never synced; settings are."""
    from overwinter.store.logbook import Logbook

    true_sync = Logbook.sync

    def sync(self: Logbook) -> None:
        true_fsync, os.fsync = os.fsync, lambda fd: None
        try:
            true_sync(self)
        finally:
            os.fsync = true_fsync

    Logbook.sync = sync  # type: ignore[method-assign]


SPOILERS: dict[str, Callable[[], None]] = {
    "no folder sync": no_folder_sync,
    "in place": in_place,
    "no sync": no_sync,
    "events not synced": events_not_synced,
}


def main() -> int:
    """Spoil, then run the command."""
    SPOILERS[sys.argv[1]]()  # before others take what it replaces by name
    from overwinter.cli import main as command

    return command(sys.argv[sys.argv.index("overwinter") + 1 :])


if __name__ == "__main__":
    sys.exit(main())

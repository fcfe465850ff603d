"""The real guard, noting when each turn was due and when it was done: `python -m tests.rigs.fuzz.guarded`.

Two of its classes are replaced by ones that do the same and look at a clock besides: the inbox, where a
turn's reason arrives, and the voice to the service manager, with which a turn ends. The rest is what ships;
the world is the one of tests/rigs/fast.py.
"""

import os
import struct
import sys
import time
from collections import deque
from pathlib import Path

from overwinter.core.nouns import Arrival, Reading
from overwinter.daemon.service import Service
from overwinter.guard import main as shell
from overwinter.guard.wheel import Inbox
from tests.rigs import fast

TURN = struct.Struct("<ddd")
"""Due, done, and when the turn's first reading was posted (0: it took none), all CLOCK_MONOTONIC [s]."""


class TimedInbox(Inbox):
    """Remembers when what a turn takes was posted."""

    due_s = 0.0
    read_s = 0.0

    def __init__(self) -> None:
        super().__init__()
        self._posted: deque[float] = deque()
        self._read: deque[float] = deque()

    def post(self, arrival: Arrival) -> None:
        now_s = time.monotonic()
        self._posted.append(now_s)
        if isinstance(arrival, Reading):
            self._read.append(now_s)
        super().post(arrival)

    def take(self, timeout_s: float) -> list[Arrival]:
        began_s = time.monotonic()
        arrivals = super().take(timeout_s)
        posted = [self._posted.popleft() for _ in arrivals]
        read = [self._read.popleft() for arrival in arrivals if isinstance(arrival, Reading)]
        TimedInbox.due_s = min([*posted, began_s + timeout_s])
        TimedInbox.read_s = min(read, default=0.0)
        return arrivals


class Stamped(Service):
    """Writes down each turn when it ends."""

    stamps = -1

    def turned(self, status: str, real_now_s: float) -> None:
        super().turned(status, real_now_s)
        if TimedInbox.due_s:
            os.write(Stamped.stamps, TURN.pack(TimedInbox.due_s, time.monotonic(), TimedInbox.read_s))


def main(folder: Path, speed: float, half_cycle_s: float) -> int:
    Stamped.stamps = os.open(folder / "turns", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    shell.Inbox = TimedInbox  # type: ignore[misc]
    shell.Service = Stamped  # type: ignore[misc]
    return fast.main(folder, speed, half_cycle_s)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3])))

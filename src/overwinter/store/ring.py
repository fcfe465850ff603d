"""Lines that wait in memory until the disk takes them, never more than a named limit.

Rule 1: when it is full the oldest sample goes first, and only without samples the oldest event:
        what happened is worth more than what was measured.
Rule 2: what was dropped is counted. Nothing here locks; the keeper does.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from heapq import merge
from operator import attrgetter

LINES_MOST = 4096  # nearly three days of a sample a minute
BYTES_MOST = 2 * 1024 * 1024  # of a board with 512 MB


@dataclass(slots=True, kw_only=True)
class Waiting:
    """One line, its place in the order, and when it came."""

    place: int
    line: bytes
    urgent: bool  # an event; otherwise a sample
    since_s: float


class Ring:
    """A bounded line, in the order of arrival."""

    def __init__(self) -> None:
        self._samples: deque[Waiting] = deque()
        self._events: deque[Waiting] = deque()
        self._bytes = 0
        self._next = 0
        self.dropped = 0

    def __len__(self) -> int:
        return len(self._samples) + len(self._events)

    def __iter__(self) -> Iterator[Waiting]:
        return merge(self._samples, self._events, key=attrgetter("place"))

    def push(self, line: bytes, *, urgent: bool, now_s: float) -> None:
        """Add a line at the end."""
        waiting = Waiting(place=self._next, line=line, urgent=urgent, since_s=now_s)
        self._next += 1
        (self._events if urgent else self._samples).append(waiting)
        self._bytes += len(line)
        self._drop_surplus()

    def take(self) -> deque[Waiting]:
        """Take everything out."""
        taken = deque(self)
        self._samples.clear()
        self._events.clear()
        self._bytes = 0
        return taken

    def put_back(self, taken: deque[Waiting]) -> None:
        """Put what could not be written back in front of what came since."""
        for waiting in reversed(taken):
            (self._events if waiting.urgent else self._samples).appendleft(waiting)
            self._bytes += len(waiting.line)
        self._drop_surplus()

    def _drop_surplus(self) -> None:
        while len(self) > LINES_MOST or self._bytes > BYTES_MOST:
            oldest = (self._samples or self._events).popleft()
            self._bytes -= len(oldest.line)
            self.dropped += 1

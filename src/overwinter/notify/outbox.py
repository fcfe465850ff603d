"""Notices that wait for the owner's command, which may hang, fail or be missing.

Rule 1: whatever the command does, whoever posts never waits.
Rule 2: a notice is tried again, at ever longer distances, until it is through or too old to help.
Rule 3: the order is kept; after a bad night the owner reads what happened in the order it happened.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from overwinter.notify.program import run

AT_MOST = 100
"""Notices that wait; of more the oldest go, and how many went is told with the next."""

FIRST_PAUSE_S = 10.0
LONGEST_PAUSE_S = 900.0
GIVE_UP_AFTER_S = 86_400.0
"""A day: an owner who could not be reached for so long has heard of it by its silence."""


@dataclass(frozen=True, slots=True)
class Parcel:
    """What the command gets: bytes to read and words in its environment."""

    title: str  # for our own commentary
    stdin: bytes
    environment: Mapping[str, str]


class Outbox:
    """One thread that gives parcels to a command, one after another."""

    def __init__(
        self,
        command: Sequence[str],
        *,
        timeout_s: float,
        tell: Callable[[str, str], None],
        clock: Callable[[], float] = time.monotonic,
        first_pause_s: float = FIRST_PAUSE_S,
    ) -> None:
        """`tell(kind, text)` hears of what "failed", of what got "through" and of what was "lost"."""
        self._command = tuple(command)
        self._timeout_s = timeout_s
        self._tell = tell
        self._clock = clock
        self._first_pause_s = first_pause_s
        self._waiting: deque[tuple[float, Parcel]] = deque()
        self._changed = threading.Condition()
        self._is_over = False
        self._thread = threading.Thread(target=self._work, name="outbox", daemon=True)

    def start(self) -> None:
        """Begin to deliver."""
        self._thread.start()

    def post(self, parcel: Parcel) -> None:
        """Leave it for delivery."""
        with self._changed:
            if len(self._waiting) >= AT_MOST:
                _, oldest = self._waiting.popleft()
                self._tell(
                    "lost", f"{oldest.title}: {AT_MOST} notices wait already, so the oldest is dropped"
                )
            self._waiting.append((self._clock(), parcel))
            self._changed.notify()

    def waiting(self) -> int:
        """How many are not through yet."""
        with self._changed:
            return len(self._waiting)

    def close(self, within_s: float) -> None:
        """Stop; what the command is doing is given `within_s` to end."""
        with self._changed:
            self._is_over = True
            self._changed.notify()
        self._thread.join(within_s)

    def _work(self) -> None:
        pause_s = 0.0
        while True:
            with self._changed:
                if pause_s > 0.0:
                    self._changed.wait_for(lambda: self._is_over, timeout=pause_s)
                self._changed.wait_for(lambda: self._is_over or bool(self._waiting))
                if self._is_over:
                    return
                posted_s, parcel = self._waiting[0]
            ended = run(
                self._command,
                timeout_s=self._timeout_s,
                stdin=parcel.stdin,
                environment=parcel.environment,
            )
            if ended.error is None:
                self._tell("through", parcel.title)
                pause_s = 0.0
                self._remove(parcel)
                continue
            self._tell("failed", f"{parcel.title}: {ended.error}")
            pause_s = min(max(2.0 * pause_s, self._first_pause_s), LONGEST_PAUSE_S)
            if self._clock() - posted_s >= GIVE_UP_AFTER_S:
                self._tell("lost", f"{parcel.title}: could not be told for a day, given up")
                self._remove(parcel)

    def _remove(self, parcel: Parcel) -> None:
        with self._changed:
            # It may have been pushed out of a full box meanwhile.
            if self._waiting and self._waiting[0][1] is parcel:
                self._waiting.popleft()

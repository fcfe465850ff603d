"""Which refusals become events: a loop of forbidden requests must not fill the logbook."""

import threading
from collections import deque

A_MINUTE = 5
"""Refusals of one user that are recorded in a minute; the first ones tell all there is to tell."""

_MINUTE_S = 60.0


class Refusals:
    """Counts by user; asked from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._told_s: dict[int, deque[float]] = {}  # user: when his latest were recorded

    def may_tell(self, uid: int, now_s: float) -> bool:
        """Whether this one is recorded, and then it counts."""
        with self._lock:
            # Only the last minute's users are kept: no more than can have connected in it.
            self._told_s = {user: told for user, told in self._told_s.items() if now_s - told[-1] < _MINUTE_S}
            told = self._told_s.setdefault(uid, deque(maxlen=A_MINUTE))
            if len(told) == A_MINUTE and now_s - told[0] < _MINUTE_S:
                return False
            told.append(now_s)
            return True

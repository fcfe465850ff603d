"""A clock that runs faster than life, for a demonstration that people watch.

The one place in this room that reads a real clock: a person watches in real time and the guard's threads
really wait, so something has to tie simulated time to theirs. Rehearsals have no use for it: they count.
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Protocol

SPEED_MAX = 100_000.0
"""A day in a second; beyond it the waits are shorter than a thread's switch."""

EVENING = datetime(2026, 1, 9, 18, tzinfo=UTC)
"""Where the demonstration's calendar begins: some winter evening, not today, so nobody takes it for real."""


class Waitable(Protocol):
    """A `threading.Event`, or a `threading.Condition` that the caller holds."""

    def wait(self, timeout: float | None = None) -> bool:
        """Up to `timeout` real seconds; whether it was woken."""
        ...


class ScaledClock:
    """Seconds since it was made, `speed` of them for each real one."""

    __slots__ = ("_began", "_date", "_monotonic", "speed")

    def __init__(
        self, speed: float, *, date: datetime = EVENING, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        """A clock that begins at 0 s and at `date`; `speed` is above 0, at most 100 000."""
        if not 0.0 < speed <= SPEED_MAX:  # refuses NaN too
            raise ValueError(f"speed = {speed}: must be above 0, at most {SPEED_MAX:g}")
        self.speed = speed
        self._date = date
        self._monotonic = monotonic
        self._began = monotonic()

    def now_s(self) -> float:
        """Simulated seconds since the beginning."""
        return (self._monotonic() - self._began) * self.speed

    def utc(self) -> datetime:
        """The simulated date."""
        return self._date + timedelta(seconds=self.now_s())

    def wait(self, waitable: Waitable, seconds: float) -> bool:
        """Wait for simulated seconds, or until it is woken (then True)."""
        return waitable.wait(max(seconds, 0.0) / self.speed)

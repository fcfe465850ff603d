"""A clock that stands still until it is told how late it is."""

from overwinter.guard.clock import Clock


class CountedClock(Clock):
    """Seconds since the power came, and a wall clock that may be wrong."""

    def __init__(self, *, now_s: float, utc_s: float, boot_id: str, is_right: bool) -> None:
        """`utc_s`: what the wall clock says now; `is_right`: whether the network has set it."""
        self.speed = 1.0
        self.boot_id = boot_id
        self.is_right = is_right
        self._now_s = now_s
        self._offset_s = utc_s - now_s

    def now_s(self) -> float:
        """Seconds since boot."""
        return self._now_s

    def utc_s(self) -> float:
        """What the wall clock says."""
        return self._now_s + self._offset_s

    def advance(self, elapsed_s: float) -> float:
        """Let time pass; seconds since boot then."""
        self._now_s += elapsed_s
        return self._now_s

    def step(self, step_s: float) -> None:
        """Somebody sets the wall clock."""
        self._offset_s += step_s

    def is_synchronised(self) -> bool:  # type: ignore[override]  # the machine's is the same for all
        """Whether the network has set it."""
        return self.is_right

"""Means and spreads that forget: what is usual for something, kept in three numbers."""

import math
from collections.abc import Mapping, Sequence


class Usual:
    """What a figure usually is: mean, spread and how often it was seen, the latest counting most."""

    __slots__ = ("count", "mean", "variance")

    def __init__(self, count: float = 0.0, mean: float = 0.0, variance: float = 0.0) -> None:
        self.count = count
        self.mean = mean
        self.variance = variance

    def take(self, value: float, *, memory: float) -> None:
        """One more; the last `memory` of them make the mean."""
        self.count += 1.0
        share = 1.0 / min(self.count, memory)
        off = value - self.mean
        self.mean += share * off
        self.variance = (1.0 - share) * (self.variance + share * off * off)

    def spread(self, least: float) -> float:
        """Standard deviation, with `least` of noise that is always there added in quadrature."""
        return math.sqrt(self.variance + least * least)

    def facts(self) -> list[float]:
        """For the state file."""
        return [min(self.count, 1e6), round(self.mean, 4), round(self.variance, 5)]

    @classmethod
    def recalled(cls, stored: object) -> "Usual":
        """From the state file; anything odd is nothing."""
        if not isinstance(stored, Sequence) or isinstance(stored, str) or len(stored) != 3:
            return cls()
        numbers = [number(value) for value in stored]
        count, mean, variance = numbers
        if count is None or mean is None or variance is None or count < 0.0 or variance < 0.0:
            return cls()
        return cls(count, mean, variance)


def number(value: object) -> float | None:
    """A finite number of sane size from a state file; None: it is none."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and abs(value) < 1e9 else None  # type: ignore[arg-type]


def by_minute(stored: object, minutes: Sequence[int]) -> dict[int, Usual]:
    """One `Usual` for each minute, as far as they were stored under it."""
    kept = stored if isinstance(stored, Mapping) else {}
    return {minute: Usual.recalled(kept.get(str(minute))) for minute in minutes}

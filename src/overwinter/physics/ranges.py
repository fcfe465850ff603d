"""A figure that is not known exactly: the best guess, and the least and the most it may be."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """`low` to `high` with a best guess between them; infinite where it never happens.

    Raises
    ------
    ValueError
        The best guess lies outside: whoever computed it has mixed something up.
    """

    best: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.best <= self.high:
            raise ValueError(f"best = {self.best:g}: must be {self.low:g} to {self.high:g}")

    def facts(self) -> dict[str, float | None]:
        """For programs; null where it never happens."""
        values = {"best": self.best, "low": self.low, "high": self.high}
        return {name: value if math.isfinite(value) else None for name, value in values.items()}

"""Where values are missing in a series."""

import math
from collections.abc import Iterator, Sequence


def missing_runs(values: Sequence[float]) -> Iterator[tuple[int, int]]:
    """First of each run of NaN, and the first behind it."""
    first = None
    for at, value in enumerate(values):
        if math.isnan(value):
            first = at if first is None else first
        elif first is not None:
            yield first, at
            first = None
    if first is not None:
        yield first, len(values)

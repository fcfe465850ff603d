"""Values over time, cut into columns of pixels or rows of a table, each with its extremes."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

Values: TypeAlias = Sequence[float | None]


@dataclass(slots=True)
class Column:
    """What falls into one column of pixels, or one row of the table."""

    from_s: float
    to_s: float
    samples: int  # with a value or without
    low: float | None = None
    high: float | None = None
    mean: float | None = None
    first: float | None = None
    last: float | None = None


def columns(at_s: Sequence[float], values: Values, *, from_s: float, to_s: float, count: int) -> list[Column]:
    """The lowest, the highest, the mean, the first and the last value of each of `count` equal columns."""
    width_s = (to_s - from_s) / count
    edges = [from_s + index * width_s for index in range(count)] + [to_s]
    return columns_between(at_s, values, edges)


def columns_between(at_s: Sequence[float], values: Values, edges: Sequence[float]) -> list[Column]:
    """The same for columns with these edges; what lies on the last edge belongs to the last column."""
    found = []
    start = bisect_left(at_s, edges[0])
    for number, (begins_s, ends_s) in enumerate(pairwise(edges), 2):
        search = bisect_right if number == len(edges) else bisect_left
        end = search(at_s, ends_s, lo=start)
        there = [value for value in values[start:end] if value is not None]
        column = Column(begins_s, ends_s, end - start)
        if there:
            column.low, column.high, column.mean = min(there), max(there), sum(there) / len(there)
            column.first, column.last = there[0], there[-1]
        found.append(column)
        start = end
    return found

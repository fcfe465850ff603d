"""Least squares that remember: sums of products, fed one row after another, solved when somebody asks.

Rule 1: memory and the cost of a row do not grow; the past fades by `fade`.
Rule 2: a row that is not of finite numbers is not taken, so the sums stay finite.
Rule 3: what is kept can be written down and read back; anything odd is not read back.

Sums, not a running inverse: they cannot wind up or lose their symmetry, and a prior may be added later.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

HUGE = 1e15
"""No honest sum comes near it; beyond it a file was damaged."""

DIGITS = 7
"""Of each number written down: rounding then lies far below the noise of any sensor."""


@dataclass(frozen=True, slots=True)
class Solution:
    """Coefficients, the inverse of their normal matrix (lists of rows), and what is left unexplained.

    `residual` is the standard deviation of what remains, over the weight that was taken.
    """

    coefficients: tuple[float, ...]
    inverse: tuple[tuple[float, ...], ...]
    residual: float

    def variance(self, row: Sequence[float]) -> float:
        """Of `row · coefficients`, for a residual of 1 and independent rows."""
        return max(
            0.0,
            sum(
                left * sum(map(float.__mul__, inner, map(float, row)))
                for left, inner in zip(row, self.inverse, strict=True)
            ),
        )


@dataclass(frozen=True, slots=True)
class Tie:
    """A prior: `row · coefficients` is `value`, as sure as `weight` observed rows of this kind."""

    row: tuple[float, ...]
    value: float
    weight: float


@dataclass(slots=True)
class Sums:
    """The weighted products of `size` regressors and of what they explain (the last column)."""

    size: int
    weight: float = 0.0
    products: list[float] = field(default_factory=list)  # row by row, the upper triangle

    def __post_init__(self) -> None:
        """Begin at nothing."""
        if not self.products:
            self.products = [0.0] * _triangle(self.size)

    def take(self, row: Sequence[float], weight: float = 1.0) -> None:
        """One observation: the regressors, then what they explain. Not finite: as if it had not come."""
        whole = sum(row)
        if not (math.isfinite(whole) and weight > 0.0 and max(row) < 1e5 and min(row) > -1e5):
            return
        self.weight += weight
        products = self.products
        at = 0
        for first, value in enumerate(row):
            scaled = weight * value
            for other in row[first:]:
                products[at] += scaled * other
                at += 1

    def add(self, other: "Sums") -> None:
        """All that `other`, of the same size, was fed."""
        self.weight += other.weight
        self.products = list(map(float.__add__, self.products, other.products))

    def fade(self, kept: float) -> None:
        """Everything so far counts `kept` (0 to 1) of what it did."""
        self.weight *= kept
        self.products = [kept * product for product in self.products]

    def solved(
        self, *, ridge: float = 0.0, ties: Sequence[Tie] = (), positive: Sequence[int] = ()
    ) -> Solution | None:
        """The coefficients that explain best; those of `positive` not below 0. None: they are not determined.

        `ridge` is a weight by which every coefficient is drawn to 0; those of `positive` that would be
        negative are set to 0 one after another, the most negative first.
        """
        size = self.size
        normal = [[0.0] * size for _ in range(size)]
        right = [0.0] * size
        at = 0
        for first in range(size):
            for second in range(first, size):
                normal[first][second] = normal[second][first] = self.products[at]
                at += 1
            right[first] = self.products[at]
            at += 1
        square = self.products[at]
        for place in range(size):
            normal[place][place] += ridge
        for tie in ties:
            for first in range(size):
                right[first] += tie.weight * tie.row[first] * tie.value
                for second in range(size):
                    normal[first][second] += tie.weight * tie.row[first] * tie.row[second]
        free = list(range(size))
        while free:
            inverted = inverse([[normal[first][second] for second in free] for first in free])
            if inverted is None:
                return None
            found = [sum(map(float.__mul__, line, [right[place] for place in free])) for line in inverted]
            worst = min(
                ((value, place) for value, place in zip(found, free, strict=True) if place in positive),
                default=(0.0, -1),
            )
            if worst[0] >= 0.0:
                return self._solution(free, found, inverted, square)
            free.remove(worst[1])
        return None

    def _solution(
        self, free: list[int], found: list[float], inverse: list[list[float]], square: float
    ) -> Solution:
        size = self.size
        whole = [0.0] * size
        wide = [[0.0] * size for _ in range(size)]
        for first, place in enumerate(free):
            whole[place] = found[first]
            for second, other in enumerate(free):
                wide[place][other] = inverse[first][second]
        # What is left, from the sums themselves (the ties are not observations).
        left, at = square, 0
        for first in range(size):
            for second in range(first, size):
                twice = 1.0 if first == second else 2.0
                left += twice * whole[first] * whole[second] * self.products[at]
                at += 1
            left -= 2.0 * whole[first] * self.products[at]
            at += 1
        spread = math.sqrt(max(left, 0.0) / self.weight) if self.weight > 0.0 else 0.0
        return Solution(tuple(whole), tuple(map(tuple, wide)), spread)

    def facts(self) -> list[float]:
        """To be written down."""
        return [shortened(value) for value in (self.weight, *self.products)]

    @classmethod
    def recalled(cls, size: int, facts: object) -> "Sums":
        """What was written down.

        Raises
        ------
        ValueError
            It is not that.
        """
        numbers = numbers_of(facts, _triangle(size) + 1)
        weight, products = numbers[0], numbers[1:]
        if weight < 0.0 or any(products[place] < 0.0 for place in _diagonal(size)):
            raise ValueError(f"{facts!r}: sums of squares must not be negative")
        return cls(size, weight, products)


def numbers_of(facts: object, count: int) -> list[float]:
    """So many finite numbers out of something that was written down.

    Raises
    ------
    ValueError
        It is not that.
    """
    if not isinstance(facts, list) or len(facts) != count:
        raise ValueError(f"must be a list of {count} numbers")
    numbers = []
    for value in facts:
        if isinstance(value, bool) or not isinstance(value, int | float) or not -HUGE < value < HUGE:
            raise ValueError(f"{value!r}: must be a number from {-HUGE:g} to {HUGE:g}")
        numbers.append(float(value))
    return numbers


def number_of(facts: Mapping[str, object], key: str, low: float, high: float) -> float:
    """One number within its range out of what was written down.

    Raises
    ------
    ValueError
        It is not that.
    """
    value = numbers_of([facts.get(key)], 1)[0]
    if not low <= value <= high:
        raise ValueError(f"{key} = {value}: must be {low:g} to {high:g}")
    return value


def shortened(value: float) -> float:
    """With fewer digits, to be written down."""
    return float(f"{value:.{DIGITS}g}")


def _triangle(size: int) -> int:
    return (size + 1) * (size + 2) // 2


def _diagonal(size: int) -> list[int]:
    places, at = [], 0
    for row in range(size + 1):
        places.append(at)
        at += size + 1 - row
    return places


def inverse(matrix: list[list[float]]) -> list[list[float]] | None:
    """Of a symmetric positive matrix, scaled to a diagonal of 1 first; None where it is all but singular."""
    size = len(matrix)
    scale = []
    for place in range(size):
        if not matrix[place][place] > 0.0:
            return None
        scale.append(1.0 / math.sqrt(matrix[place][place]))
    work = [
        [matrix[row][column] * scale[row] * scale[column] for column in range(size)]
        + [float(row == column) for column in range(size)]
        for row in range(size)
    ]
    for pivot in range(size):
        # In order: a positive matrix needs no exchange of rows.
        divisor = work[pivot][pivot]
        if divisor < 1e-11:
            return None
        work[pivot] = [value / divisor for value in work[pivot]]
        for row in range(size):
            factor = work[row][pivot]
            if row != pivot and factor:
                work[row] = [
                    value - factor * above for value, above in zip(work[row], work[pivot], strict=True)
                ]
    return [
        [work[row][size + column] * scale[row] * scale[column] for column in range(size)]
        for row in range(size)
    ]

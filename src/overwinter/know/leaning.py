"""How figures lean on the circumstances: along slopes about their means.

The air rises less under heat, the faster it fell before and the colder it is outdoors. What is left of the
spread once that is reckoned with is often a half, in some houses a third, and so much sooner a missing rise
is told.

Recursive least squares about running means. How the circumstances go with each other is kept once for all
figures, and of each figure only how it goes with them. Its spread is made of what it came to beside what was
expected of it before, so slopes that are not known yet widen it.
"""

from collections.abc import Iterable, Mapping, Sequence

from overwinter.know.recursive import inverse, numbers_of
from overwinter.know.running import Usual

KNOWN = 6
"""Times that a figure must have been seen for its slopes to be gone by."""


class Leaning:
    """Slopes of figures, by keys such as minutes; their means are kept by who asks (`Usual`)."""

    def __init__(self, noise: Sequence[float]) -> None:
        """`noise`: of each circumstance in its own unit, above 0; it must vary by more to matter."""
        self._noise = tuple(noise)
        size = len(self._noise)
        self._count = 0.0
        self._means = [0.0] * size
        self._products = [0.0] * (size * size)  # row by row: mean products of departures from the means
        self._figures: dict[int, list[float]] = {}  # spread squared, then mean products with the departures

    def expected(self, circumstances: Sequence[float], usuals: Mapping[int, Usual]) -> dict[int, Usual]:
        """What each figure comes to in these circumstances; as usual where slopes would not tell more."""
        weights = self._weights(self._away(circumstances))
        expected = {}
        for key, usual in usuals.items():
            figure = self._figures.get(key)
            if figure is None or usual.count < KNOWN or figure[0] >= usual.variance:
                expected[key] = usual
            else:
                mean = usual.mean + _leant(figure, weights)
                expected[key] = Usual(usual.count, mean, figure[0])
        return expected

    def take(
        self,
        circumstances: Sequence[float],
        seen: Iterable[tuple[int, float]],
        usuals: Mapping[int, Usual],
        *,
        memory: float,
    ) -> None:
        """What figures came to in these circumstances, before `usuals` has it; the last `memory` count."""
        size = len(self._noise)
        away = self._away(circumstances)
        weights = self._weights(away)
        for key, value in seen:
            usual, figure = usuals[key], self._figures.get(key)
            off = value - usual.mean
            share = 1.0 / min(usual.count + 1.0, memory)
            if figure is None:  # nothing was expected of a first one
                figure = [usual.variance] + [0.0] * size
            else:
                unexpected = off - _leant(figure, weights)
                figure[0] += (unexpected * unexpected - figure[0]) / min(max(usual.count, 1.0), memory)
            for place, one in enumerate(away, start=1):
                figure[place] = (1.0 - share) * (figure[place] + share * off * one)
            self._figures[key] = figure
        self._count += 1.0
        share = 1.0 / min(self._count, memory)
        self._means = [mean + share * one for mean, one in zip(self._means, away, strict=True)]
        self._products = [
            (1.0 - share) * (self._products[row * size + column] + share * away[row] * away[column])
            for row in range(size)
            for column in range(size)
        ]

    def facts(self) -> dict[str, object]:
        """For the state file."""
        return {
            "common": [min(self._count, 1e6), *_rounded((*self._means, *self._products))],
            "slopes": {str(key): _rounded(figure) for key, figure in self._figures.items()},
        }

    @classmethod
    def recalled(cls, noise: Sequence[float], keys: Iterable[int], stored: object) -> "Leaning":
        """From the state file; anything odd is nothing."""
        made, size = cls(noise), len(noise)
        if not isinstance(stored, Mapping):
            return made
        by_key = stored.get("slopes")
        try:
            common = numbers_of(stored.get("common"), 1 + size + size * size)
            figures = {
                key: numbers_of(by_key[str(key)], 1 + size)
                for key in keys
                if isinstance(by_key, Mapping) and str(key) in by_key
            }
        except ValueError:
            return made
        if common[0] < 0.0 or any(figure[0] < 0.0 for figure in figures.values()):
            return made
        made._count, made._means, made._products = common[0], common[1 : 1 + size], common[1 + size :]
        made._figures = figures
        return made

    def _away(self, circumstances: Sequence[float]) -> list[float]:
        return [value - mean for value, mean in zip(circumstances, self._means, strict=True)]

    def _weights(self, away: Sequence[float]) -> list[float]:
        """What a figure's mean products are weighted with to say how far it leans."""
        size = len(self._noise)
        matrix = [self._products[row * size : (row + 1) * size] for row in range(size)]
        for place, noise in enumerate(self._noise):
            matrix[place][place] += noise * noise
        inverted = inverse(matrix)
        if inverted is None:
            return [0.0] * size
        return [sum(map(float.__mul__, line, away)) for line in inverted]


def _leant(figure: Sequence[float], weights: Sequence[float]) -> float:
    return sum(map(float.__mul__, figure[1:], weights))


def _rounded(values: Iterable[float]) -> list[float]:
    return [round(value, 5) for value in values]

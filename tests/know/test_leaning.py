"""Slopes along the circumstances, beside plain least squares (numpy), and what is read back of them."""

import json
import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.know.leaning import KNOWN, Leaning
from overwinter.know.running import Usual
from tests.know.test_running import ODD

NOISE = (1e-6, 1e-6)
"""As good as none: slopes are then those of least squares."""
FOREVER = 1e9


def taught(
    rows: list[tuple[tuple[float, float], float]], *, memory: float = FOREVER
) -> tuple[Leaning, dict[int, Usual]]:
    """One figure, under 5, that came to these values in these circumstances."""
    leaning, usuals = Leaning(NOISE), {5: Usual()}
    for circumstances, value in rows:
        leaning.take(circumstances, [(5, value)], usuals, memory=memory)
        usuals[5].take(value, memory=memory)
    return leaning, usuals


def drawn(seed: int, count: int, *, noise: float = 0.1) -> list[tuple[tuple[float, float], float]]:
    """A figure that leans on both circumstances, which go with each other."""
    chance = random.Random(seed)
    rows = []
    for _ in range(count):
        first = chance.gauss(-1.0, 0.5)
        second = 0.6 * first + chance.gauss(2.0, 0.3)
        rows.append(((first, second), 1.0 + 0.8 * first - 0.5 * second + chance.gauss(0.0, noise)))
    return rows


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("asked", [(-1.0, 1.4), (-2.0, 0.5), (0.3, 2.6)])
def test_within_its_memory_it_says_what_least_squares_say(seed: int, asked: tuple[float, float]) -> None:
    rows = drawn(seed, 60)
    leaning, usuals = taught(rows)

    matrix = np.array([[1.0, *circumstances] for circumstances, _ in rows])
    found, *_ = np.linalg.lstsq(matrix, np.array([value for _, value in rows]), rcond=None)
    assert leaning.expected(asked, usuals)[5].mean == pytest.approx(found @ [1.0, *asked], abs=1e-6)


def test_its_spread_is_what_it_was_wrong_by() -> None:
    """The noise alone, where the plain spread has the circumstances' own in it."""
    leaning, usuals = taught(drawn(7, 400))

    expected = leaning.expected((-1.0, 1.4), usuals)[5]

    assert math.sqrt(expected.variance) == pytest.approx(0.1, rel=0.25)
    assert math.sqrt(usuals[5].variance) > 0.25


def test_where_slopes_tell_no_more_it_is_as_usual() -> None:
    """Noise on its own: the slopes that it seems to have were wrong as often as the mean."""
    chance = random.Random(3)
    rows = [((chance.gauss(0.0, 1.0), chance.gauss(0.0, 1.0)), chance.gauss(2.0, 0.5)) for _ in range(40)]
    leaning, usuals = taught(rows)

    assert leaning.expected((3.0, -3.0), usuals)[5] is usuals[5]


@pytest.mark.parametrize(("times", "leans"), [(KNOWN - 1, False), (4 * KNOWN, True)])
def test_what_was_seldom_seen_is_as_usual(times: int, leans: bool) -> None:
    leaning, usuals = taught(drawn(5, times, noise=0.01))

    assert (leaning.expected((-1.5, 1.0), usuals)[5] is not usuals[5]) is leans


def test_circumstances_that_never_vary_change_nothing() -> None:
    leaning, usuals = taught([((1.0, 2.0), 0.1 * at) for at in range(20)])

    assert leaning.expected((1.0, 2.0), usuals)[5].mean == pytest.approx(usuals[5].mean)


def test_it_forgets_how_the_house_leant_before() -> None:
    """A wall was insulated: the same circumstances, the other way round."""
    turned = [(circumstances, -value) for circumstances, value in drawn(2, 200)]
    leaning, usuals = taught(drawn(1, 200) + turned, memory=30.0)

    assert leaning.expected((-2.0, 0.8), usuals)[5].mean == pytest.approx(-(1.0 - 1.6 - 0.4), abs=0.15)


def test_a_figure_known_from_before_it_leant_starts_with_its_plain_spread() -> None:
    """The state file of a version that knew no slopes."""
    usuals = {5: Usual(500.0, 1.0, 0.04)}
    leaning = Leaning(NOISE)

    leaning.take((0.0, 0.0), [(5, 1.1)], usuals, memory=30.0)

    assert leaning.expected((0.0, 0.0), usuals)[5] is usuals[5]


def test_it_goes_on_from_what_was_written_down() -> None:
    leaning, usuals = taught(drawn(4, 50))

    again = Leaning.recalled(NOISE, [5], json.loads(json.dumps(leaning.facts())))

    asked = (-1.4, 1.3)
    assert again.expected(asked, usuals)[5].mean == pytest.approx(
        leaning.expected(asked, usuals)[5].mean, abs=2e-3
    )


@pytest.mark.parametrize("odd", ODD, ids=repr)
@pytest.mark.parametrize("where", ["all", "common", "slopes", "one"])
def test_of_anything_odd_nothing_is_taken(odd: object, where: str) -> None:
    leaning, usuals = taught(drawn(4, 50))
    stored = leaning.facts()
    if where == "one":
        stored["slopes"] = {"5": odd}
    elif where == "all":
        stored = odd  # type: ignore[assignment]
    else:
        stored[where] = odd

    again = Leaning.recalled(NOISE, [5], stored)

    assert again.expected((0.0, 0.0), usuals)[5] is usuals[5]


@given(
    st.lists(
        st.tuples(st.tuples(*[st.floats(-20.0, 20.0)] * 2), st.floats(-20.0, 20.0)), min_size=1, max_size=40
    ),
    st.tuples(*[st.floats(-20.0, 20.0)] * 2),
)
def test_whatever_comes_it_says_something_finite(
    rows: list[tuple[tuple[float, float], float]], asked: tuple[float, float]
) -> None:
    leaning, usuals = taught(rows, memory=30.0)

    expected = leaning.expected(asked, usuals)[5]

    assert math.isfinite(expected.mean)
    assert 0.0 <= expected.variance <= usuals[5].variance

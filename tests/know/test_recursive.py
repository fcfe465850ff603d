"""The sums are plain least squares: the same answer as numpy's and scipy's, whatever the data."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import nnls

from overwinter.know.recursive import Solution, Sums, Tie


def rows(count: int, seed: int, size: int = 4) -> np.ndarray:
    """Regressors and, last, what they explain with some noise."""
    chance = np.random.default_rng(seed)
    left = chance.normal(size=(count, size)) + 1.0
    right = left @ np.arange(1.0, size + 1.0) + chance.normal(size=count, scale=0.3)
    return np.column_stack([left, right])


def taken(data: np.ndarray) -> Sums:
    """All rows."""
    sums = Sums(data.shape[1] - 1)
    for row in data.tolist():
        sums.take(row)
    return sums


def solution(sums: Sums, **how: object) -> Solution:
    """That there is one."""
    found = sums.solved(**how)  # type: ignore[arg-type]
    assert found is not None
    return found


@pytest.mark.parametrize("seed", range(5))
def test_the_coefficients_and_the_residual_are_those_of_least_squares(seed: int) -> None:
    data = rows(60, seed)
    expected, left, *_ = np.linalg.lstsq(data[:, :-1], data[:, -1], rcond=None)
    found = solution(taken(data))
    # 1e-8: doubles through normal equations of a condition below a thousand.
    assert found.coefficients == pytest.approx(expected, rel=1e-8)
    assert found.residual == pytest.approx(math.sqrt(left[0] / 60), rel=1e-6)


def test_the_variance_is_that_of_the_normal_matrix() -> None:
    data = rows(40, 3)
    row = (1.0, -2.0, 0.5, 3.0)
    expected = np.array(row) @ np.linalg.inv(data[:, :-1].T @ data[:, :-1]) @ np.array(row)
    assert solution(taken(data)).variance(row) == pytest.approx(expected, rel=1e-8)


def test_what_is_faded_is_weighted_least_squares() -> None:
    data = rows(30, 7)
    sums = Sums(4)
    for row in data.tolist():
        sums.fade(0.9)
        sums.take(row)
    root = np.sqrt(0.9 ** np.arange(29, -1, -1))[:, None]
    expected = np.linalg.lstsq(data[:, :-1] * root, data[:, -1] * root[:, 0], rcond=None)[0]
    assert solution(sums).coefficients == pytest.approx(expected, rel=1e-7)


def test_a_tie_is_a_row_that_was_observed() -> None:
    data = rows(20, 1)
    tie = Tie((1.0, 1.0, 0.0, 0.0), 7.0, 5.0)
    with_it = np.vstack([data, np.array([*tie.row, tie.value]) * math.sqrt(tie.weight)])
    expected = np.linalg.lstsq(with_it[:, :-1], with_it[:, -1], rcond=None)[0]
    assert solution(taken(data), ties=[tie]).coefficients == pytest.approx(expected, rel=1e-8)


def test_coefficients_that_must_not_be_negative_are_those_of_scipy() -> None:
    data = rows(50, 5)
    data[:, -1] -= 4.0 * data[:, 0]  # the first would be about -3
    expected, _ = nnls(data[:, :-1], data[:, -1])
    found = solution(taken(data), positive=range(4))
    assert found.coefficients == pytest.approx(expected, abs=1e-8)
    assert found.coefficients[0] == 0.0


def test_what_was_not_seen_is_not_solved() -> None:
    sums = Sums(2)
    sums.take((1.0, 2.0, 3.0))
    assert sums.solved() is None
    assert Sums(2).solved() is None


@given(st.lists(st.floats(), min_size=4, max_size=4), st.floats())
def test_nothing_that_is_not_finite_enters(row: list[float], weight: float) -> None:
    sums = taken(rows(10, 2, size=3))
    sums.take(row, weight if weight < 1e3 else 1.0)
    assert all(math.isfinite(value) for value in (sums.weight, *sums.products))


def test_what_is_written_down_is_read_back() -> None:
    sums = taken(rows(25, 4))
    again = Sums.recalled(4, sums.facts())
    assert again.products == pytest.approx(sums.products, rel=1e-6)  # seven digits are written
    assert Sums.recalled(4, again.facts()).facts() == again.facts()


@pytest.mark.parametrize(
    "facts",
    [None, [], [1.0] * 15, [1.0] * 17, [math.nan] * 16, [True] * 16, ["1"] * 16, [-1.0] * 16, [1e16] * 16],
)
def test_what_is_odd_is_not_read_back(facts: object) -> None:
    with pytest.raises(ValueError, match=r"must"):
        Sums.recalled(4, facts)

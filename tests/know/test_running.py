"""Means and spreads that forget, and what is taken from a state file."""

import json
import math
import statistics
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.know.running import Usual, by_minute, number

ODD: tuple[object, ...] = (
    None,
    "",
    "123",
    {},
    [],
    [1.0, 2.0],
    [1.0, 2.0, 3.0, 4.0],
    [1.0, None, 3.0],
    [True, False, True],
    ["1", "2", "3"],
    [math.nan, 0.0, 0.0],
    [1.0, math.inf, 0.0],
    [1.0, 0.0, -math.inf],
    [-1.0, 0.0, 0.0],
    [1.0, 0.0, -1.0],
    [10**400, 0, 0],
    [[1.0], 2.0, 3.0],
    7.0,
)


def of(values: list[float], *, memory: float) -> Usual:
    """Having seen these."""
    usual = Usual()
    for value in values:
        usual.take(value, memory=memory)
    return usual


@given(st.lists(st.floats(min_value=-50.0, max_value=50.0), min_size=1, max_size=40))
def test_within_its_memory_it_is_the_plain_mean_and_spread(values: list[float]) -> None:
    usual = of(values, memory=1000.0)
    assert usual.count == len(values)
    assert math.isclose(usual.mean, statistics.fmean(values), abs_tol=1e-9)
    assert math.isclose(usual.variance, statistics.pvariance(values), rel_tol=1e-6, abs_tol=1e-6)


def test_beyond_its_memory_the_latest_count_most() -> None:
    values = [0.0] * 100 + [10.0] * 60
    assert of(values, memory=20.0).mean > 9.0
    assert of(values, memory=1000.0).mean == pytest.approx(3.75)


def test_noise_that_is_always_there_is_added_in_quadrature() -> None:
    assert of([1.0] * 9, memory=30.0).spread(0.05) == pytest.approx(0.05)
    assert of([-3.0, 3.0] * 9, memory=30.0).spread(4.0) == pytest.approx(5.0)


@given(st.lists(st.floats(min_value=-50.0, max_value=50.0), max_size=40), st.floats(2.0, 300.0))
def test_what_is_kept_in_a_file_comes_back(values: list[float], memory: float) -> None:
    usual = of(values, memory=memory)
    back = Usual.recalled(json.loads(json.dumps(usual.facts(), allow_nan=False)))
    assert back.count == usual.count
    assert back.mean == pytest.approx(usual.mean, abs=1e-3)
    assert back.variance == pytest.approx(usual.variance, abs=1e-4)


def test_a_count_kept_in_a_file_does_not_grow_for_ever() -> None:
    assert Usual(123_456_789.0, 1.0, 1.0).facts() == [1e6, 1.0, 1.0]


@pytest.mark.parametrize("odd", ODD, ids=repr)
def test_anything_odd_in_a_file_is_nothing(odd: object) -> None:
    usual = Usual.recalled(odd)
    assert (usual.count, usual.mean, usual.variance) == (0.0, 0.0, 0.0)


def test_a_tuple_is_as_good_as_a_list() -> None:
    assert Usual.recalled((4, 1, 2)).facts() == [4.0, 1.0, 2.0]


@pytest.mark.parametrize(
    "odd", [None, True, "3", math.nan, math.inf, -math.inf, 1e300, 10**400, [], {}], ids=repr
)
def test_a_number_that_is_none_is_none(odd: object) -> None:
    assert number(odd) is None


@pytest.mark.parametrize("value", [0, -3, 2.5, 999_999_999.0])
def test_a_number_is_a_number(value: float) -> None:
    assert number(value) == value
    assert isinstance(number(value), float)


@pytest.mark.parametrize("keep", [dict, lambda kept: {**kept, "7": "odd", "x": [1.0, 1.0, 1.0]}])
def test_many_are_found_under_their_names(keep: Callable[[dict[str, object]], object]) -> None:
    usuals = by_minute(keep({"3": [5.0, 1.5, 0.25]}), (3, 7))
    assert list(usuals) == [3, 7]
    assert usuals[3].facts() == [5.0, 1.5, 0.25]
    assert usuals[7].count == 0.0


@pytest.mark.parametrize("odd", ODD, ids=repr)
def test_of_anything_odd_many_are_all_unknown(odd: object) -> None:
    assert [usual.count for usual in by_minute(odd, (3, 7)).values()] == [0.0, 0.0]

"""Hours as they are good for: rounded down, in words."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.units import parse_duration_s
from overwinter.reckon.outage import Range
from overwinter.show.plan_page import hours, rough


@pytest.mark.parametrize(
    ("value_h", "words"),
    [
        (0.0, "under 5 min"),
        (0.08, "under 5 min"),
        (0.16, "5 min"),
        (0.999, "55 min"),
        (1.0, "1 h"),
        (1.49, "1 h 15 min"),
        (5.99, "5 h 45 min"),
        (9.7, "9 h"),
        (71.9, "71 h"),
        (72.0, "3 d"),
        (365.0 * 24.0, "over a year"),
        (math.inf, "never"),
    ],
)
def test_hours_are_said_as_exactly_as_they_are_known(value_h: float, words: str) -> None:
    assert rough(value_h) == words


@given(st.floats(min_value=5.01 / 60.0, max_value=8000.0))
def test_no_more_time_is_said_than_there_is(value_h: float) -> None:
    said_h = (
        sum(
            parse_duration_s(one)
            for one in rough(value_h).replace("min", "m").replace(" ", "").replace("h", "h ").split()
        )
        / 3600.0
    )

    assert said_h <= value_h
    assert said_h > 0.5 * value_h


def test_a_range_says_its_ends_in_brackets_and_one_that_never_comes_says_never() -> None:
    assert hours(Range(best=0.9, low=0.3, high=11.2)) == "50 min (15 min to 11 h)"
    assert hours(Range(best=0.01, low=0.005, high=0.05)) == "under 5 min"
    assert hours(Range(best=math.inf, low=math.inf, high=math.inf)) == "never"

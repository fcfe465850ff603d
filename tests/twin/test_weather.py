"""The weather against its own documented formulas, worked by hand at the points where they are simple."""

import math
from statistics import fmean, pstdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.twin.weather import (
    DAY_S,
    HOUR_S,
    Weather,
    cold_night,
    cold_snap,
    cold_winter,
    coldest_stretch,
    design_day,
    hourly,
)


@pytest.mark.parametrize(
    ("hour", "expected_c"),
    [
        pytest.param(0.0, -2.0, id="evening"),
        pytest.param(13.0 / 4, -8.0, id="a quarter of the night is half of the fall"),
        pytest.param(13.0, -14.0, id="dawn"),
        pytest.param(18.5, -8.0, id="half of the day is half of the rise"),
        pytest.param(24.0, -2.0, id="evening again"),
        pytest.param(37.0, -14.0, id="second dawn"),
    ],
)
def test_a_cold_night_falls_by_the_square_root_and_rises_by_the_cosine(
    hour: float, expected_c: float
) -> None:
    night = cold_night(seed=1, wobble_k=0.0)

    assert night(hour * HOUR_S) == pytest.approx(expected_c, abs=1e-9)


@pytest.mark.parametrize(
    ("day", "expected_c"),
    [
        pytest.param(0.5, 2.0, id="before"),
        pytest.param(1.25, -7.0, id="half of the front"),
        pytest.param(2.0, -16.0, id="within"),
        pytest.param(4.5, -16.0, id="last of the cold"),
        pytest.param(4.75, -7.0, id="half way out"),
        pytest.param(9.0, 2.0, id="after"),
    ],
)
def test_a_cold_snap_comes_stays_and_goes(day: float, expected_c: float) -> None:
    snap = cold_snap(seed=1, swing_k=0.0, wobble_k=0.0)

    assert snap(day * DAY_S) == pytest.approx(expected_c, abs=1e-9)


def test_a_snap_swings_from_six_in_the_morning_to_six_in_the_evening() -> None:
    snap = cold_snap(seed=1, wobble_k=0.0)

    assert snap(3.25 * DAY_S) == pytest.approx(-19.0)
    assert snap(3.75 * DAY_S) == pytest.approx(-13.0)


def test_a_design_day_is_at_its_coldest_exactly_the_design_temperature() -> None:
    day = design_day(design_c=-18.7, swing_k=4.0)
    hours_c = [day(hour * HOUR_S) for hour in range(240)]

    assert min(hours_c) == pytest.approx(-18.7)
    assert hours_c.index(min(hours_c)) % 24 == 6
    assert max(hours_c) == pytest.approx(-14.7)
    assert fmean(hours_c) == pytest.approx(-16.7)


@pytest.mark.parametrize("make", [cold_night, cold_snap])
def test_the_seed_alone_decides_the_wobble(make) -> None:
    def series(seed: int) -> list[float]:
        weather: Weather = make(seed=seed)
        return [weather(minute * 60.0) for minute in range(1440)]

    assert series(5) == series(5)
    assert series(5) != series(6)


@given(seed=st.integers(0, 10_000), times_s=st.lists(st.floats(0.0, 30 * DAY_S), min_size=2, max_size=6))
def test_weather_does_not_care_in_which_order_it_is_asked(seed: int, times_s: list[float]) -> None:
    forward, backward = cold_snap(seed=seed), cold_snap(seed=seed)
    said = [forward(t) for t in times_s]

    assert [backward(t) for t in reversed(times_s)] == list(reversed(said))
    assert all(math.isfinite(c) and -30.0 < c < 15.0 for c in said)


def test_the_wobble_is_as_large_as_asked_for() -> None:
    # Over months the six sines are independent: their deviation is the asked one, within a twentieth.
    still, windy = cold_snap(seed=3, wobble_k=0.0), cold_snap(seed=3, wobble_k=0.8)
    departures_k = [windy(t * 300.0) - still(t * 300.0) for t in range(100 * 288)]

    assert pstdev(departures_k) == pytest.approx(0.8, rel=0.05)
    assert fmean(departures_k) == pytest.approx(0.0, abs=0.02)


def test_a_cold_winter_is_coldest_in_its_middle_by_its_formula() -> None:
    winter = cold_winter(seed=1, fronts_k=0.0, swing_k=0.0, wobble_k=0.0)

    assert winter(0.0) == pytest.approx(1.0)
    assert winter(30 * DAY_S) == pytest.approx(-4.0)
    assert winter(60 * DAY_S) == pytest.approx(-9.0)
    assert winter(120 * DAY_S) == pytest.approx(1.0)


def test_the_fronts_and_days_of_a_cold_winter_are_as_large_as_asked() -> None:
    fronts = cold_winter(seed=1, season_k=0.0, swing_k=0.0, wobble_k=0.0, mean_c=0.0)
    # Long enough that each wave has its full share.
    assert pstdev([fronts(hour * HOUR_S) for hour in range(0, 24 * 2000, 5)]) == pytest.approx(4.0, rel=0.03)
    swing = cold_winter(seed=1, season_k=0.0, fronts_k=0.0, wobble_k=0.0, mean_c=0.0)
    assert (swing(6 * HOUR_S), swing(18 * HOUR_S)) == (pytest.approx(-3.0), pytest.approx(3.0))


def test_two_seeds_have_two_winters_and_one_has_one() -> None:
    hours = range(0, 240, 7)
    first, same, other = (cold_winter(seed=seed) for seed in (1, 1, 2))

    assert [first(h * HOUR_S) for h in hours] == [same(h * HOUR_S) for h in hours]
    assert [first(h * HOUR_S) for h in hours] != [other(h * HOUR_S) for h in hours]


def test_recorded_hours_are_joined_by_straight_lines_and_begin_anew() -> None:
    weather = hourly([0.0, 10.0, 4.0], begins=1)

    said = [weather(hour * HOUR_S) for hour in (0.0, 0.5, 1.0, 1.25, 2.0, 2.5, 3.0)]
    assert said == pytest.approx([10.0, 7.0, 4.0, 3.0, 0.0, 5.0, 10.0])
    assert hourly([0.0, 10.0], step_h=0.5)(900.0) == pytest.approx(5.0)


@given(st.lists(st.integers(-40, 40).map(float), min_size=1, max_size=30), st.integers(1, 40))
def test_the_coldest_stretch_is_the_coldest_of_all(hours: list[float], count: int) -> None:
    begins = coldest_stretch(hours, count)
    around = [sum((hours * 3)[at : at + min(count, len(hours))]) for at in range(len(hours))]

    assert 0 <= begins < len(hours)
    assert around[begins] == pytest.approx(min(around))

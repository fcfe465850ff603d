"""Energy of a season: sums by hand, the heater's limit, and what a band saves."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.physics.season import COMPARED_C, compare, degree_days_kwh, degree_hours_kh, season

winters = st.lists(st.floats(min_value=-50.0, max_value=40.0), min_size=1, max_size=300)


def test_three_hours_by_hand() -> None:
    """20 W/K at 5 °C: 15 K, 5 K and none."""
    found = season([-10.0, 0.0, 8.0], ua_w_k=20.0, inside_c=5.0)

    assert found.kwh == pytest.approx(20.0 * (15.0 + 5.0) / 1000.0)
    assert (found.heating_h, found.short_h, found.short_kh, found.coldest_c, found.hours) == (
        2.0,
        0.0,
        0.0,
        -10.0,
        3.0,
    )


def test_a_heater_that_is_too_small_is_on_all_the_time_and_told() -> None:
    """200 W into 20 W/K hold 5 °C down to -5 °C; at -10 °C five kelvin are missing."""
    found = season([-10.0, 0.0, 8.0], ua_w_k=20.0, inside_c=5.0, watts=200.0)

    assert found.kwh == pytest.approx((200.0 + 100.0) / 1000.0)
    assert (found.short_h, found.short_kh) == (1.0, 5.0)


def test_daily_means_count_for_a_day() -> None:
    assert degree_hours_kh([0.0, -5.0], 5.0, step_h=24.0) == pytest.approx(24.0 * 15.0)
    assert season([0.0], ua_w_k=10.0, inside_c=5.0, step_h=24.0).kwh == pytest.approx(1.2)


@given(winters, st.floats(min_value=1.0, max_value=300.0))
def test_hours_and_degree_days_tell_the_same(winter: list[float], ua_w_k: float) -> None:
    degree_days_kd = degree_hours_kh(winter, 5.0) / 24.0

    assert season(winter, ua_w_k=ua_w_k, inside_c=5.0).kwh == pytest.approx(
        degree_days_kwh(degree_days_kd=degree_days_kd, ua_w_k=ua_w_k)
    )


@given(winters, st.floats(min_value=1.0, max_value=300.0), st.floats(min_value=10.0, max_value=3000.0))
def test_a_heater_never_gives_more_than_it_has(winter: list[float], ua_w_k: float, watts: float) -> None:
    limited = season(winter, ua_w_k=ua_w_k, inside_c=5.0, watts=watts)
    free = season(winter, ua_w_k=ua_w_k, inside_c=5.0)

    assert limited.kwh <= free.kwh * (1 + 1e-9)
    assert limited.kwh <= watts * limited.heating_h / 1000.0 * (1 + 1e-9) + 1e-9
    assert (limited.short_h > 0.0) is (limited.short_kh > 0.0)


@given(winters)
def test_a_band_never_asks_for_more_than_holding_60_f(winter: list[float]) -> None:
    found = compare(winter, ua_w_k=20.0, low_c=2.2, high_c=4.4, per_kwh=0.17)

    assert found.saved_kwh >= 0.0
    assert found.saved_cost == pytest.approx(found.saved_kwh * 0.17)


def test_holding_60_f_by_hand() -> None:
    """60 F is 15.56 °C; an hour at 0 °C."""
    found = compare([0.0], ua_w_k=10.0, low_c=3.0, high_c=5.0, per_kwh=0.5)

    assert pytest.approx(15.5556, abs=1e-4) == COMPARED_C
    assert found.band.kwh == pytest.approx(0.040)
    assert found.held.kwh == pytest.approx(0.155556, abs=1e-6)
    assert found.band_cost == pytest.approx(0.020)
    assert found.saved_cost == pytest.approx(0.5 * (0.155556 - 0.040), abs=1e-6)


def test_without_a_tariff_there_is_no_cost() -> None:
    found = compare([0.0], ua_w_k=10.0, low_c=3.0, high_c=5.0)

    assert (found.band_cost, found.held_cost, found.saved_cost) == (None, None, None)


@pytest.mark.parametrize(
    ("winter", "changed", "told"),
    [
        pytest.param([], {}, "must be at least one temperature", id="no weather"),
        pytest.param([math.nan], {}, "outdoor_c = nan", id="no temperature"),
        pytest.param([-91.0], {}, "outdoor_c = -91", id="no weather on earth"),
        pytest.param([0.0], {"ua_w_k": 0.0}, "ua_w_k = 0: must be above 0", id="no building"),
        pytest.param([0.0], {"watts": 0.0}, "watts = 0: must be above 0", id="no heater"),
        pytest.param([0.0], {"step_h": 0.0}, "step_h = 0: must be above 0", id="no time"),
        pytest.param([0.0], {"inside_c": 61.0}, "inside_c = 61", id="an oven"),
    ],
)
def test_a_figure_out_of_range_is_refused(winter: list[float], changed: dict[str, float], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        season(winter, **{"ua_w_k": 20.0, "inside_c": 5.0, **changed})


def test_a_band_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match="high_c = 2: must be above 3"):
        compare([0.0], ua_w_k=20.0, low_c=3.0, high_c=2.0)

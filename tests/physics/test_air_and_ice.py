"""What must always hold of moist air in its two meanings, and of a pipe that sweats."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.physics.air import (
    Damp,
    Over,
    condensation,
    dew_point_c,
    dew_point_error,
    frost_point_c,
    humidity_ratio,
    ice_saturation_pressure_pa,
    pressure_pa,
    saturation_pressure_pa,
    vapour_pressure_pa,
)

frosty_c = st.floats(min_value=-45.0, max_value=0.0)
air_c = st.floats(min_value=-45.0, max_value=60.0)
pct = st.floats(min_value=1.0, max_value=100.0)


@given(st.floats(min_value=-45.0, max_value=-0.1))
def test_below_zero_ice_asks_for_less_vapour_than_water(temperature_c: float) -> None:
    assert ice_saturation_pressure_pa(temperature_c) < saturation_pressure_pa(temperature_c)


def test_at_zero_both_are_the_same() -> None:
    assert ice_saturation_pressure_pa(0.0) == saturation_pressure_pa(0.0)


@given(air_c, pct)
def test_frost_settles_before_dew(temperature_c: float, humidity_pct: float) -> None:
    frost_c = frost_point_c(temperature_c, humidity_pct)
    dew_c = dew_point_c(temperature_c, humidity_pct)

    if frost_c is None:
        assert dew_c >= 0.0
    else:
        assert dew_c < 0.0
        # Dew can form at 0 °C at most where frost does; the extrapolated ends keep the order too.
        assert frost_c >= dew_c


@given(frosty_c, pct)
def test_over_ice_the_same_figure_is_drier_air(temperature_c: float, humidity_pct: float) -> None:
    assert vapour_pressure_pa(temperature_c, humidity_pct, Over.ICE) <= vapour_pressure_pa(
        temperature_c, humidity_pct, Over.WATER
    )


@given(st.floats(min_value=-45.0, max_value=-0.01))
def test_saturated_over_ice_the_frost_point_is_the_airs_own_temperature(temperature_c: float) -> None:
    assert frost_point_c(temperature_c, 100.0, Over.ICE) == pytest.approx(temperature_c, abs=1e-9)


def test_air_that_is_saturated_over_water_has_its_frost_point_above_itself() -> None:
    """Fog below freezing leaves rime: -10 °C at 100 % over water."""
    frost_c = frost_point_c(-10.0, 100.0)

    assert frost_c is not None
    assert frost_c > -10.0


@given(air_c, pct, st.floats(min_value=0.0, max_value=4000.0))
def test_higher_up_each_kilogram_of_air_holds_more_water(
    temperature_c: float, humidity_pct: float, altitude_m: float
) -> None:
    high = humidity_ratio(temperature_c, humidity_pct, altitude_m=altitude_m)

    assert high >= humidity_ratio(temperature_c, humidity_pct) > 0.0


def test_the_moistest_air_at_the_greatest_height_is_still_air() -> None:
    assert 0.0 < humidity_ratio(60.0, 100.0, altitude_m=9000.0) < 2.0


@pytest.mark.parametrize("altitude_m", [-501.0, 9001.0, math.nan, math.inf], ids=str)
def test_an_altitude_out_of_range_is_refused_with_the_range(altitude_m: float) -> None:
    with pytest.raises(ValueError, match=r"altitude_m = .*: must be -500 to 9000 m"):
        pressure_pa(altitude_m)


@pytest.mark.parametrize("temperature_c", [-65.1, 0.1, math.nan], ids=str)
def test_ice_above_zero_is_refused(temperature_c: float) -> None:
    with pytest.raises(ValueError, match=r"temperature_c = .*: must be -65 to 0 °C"):
        ice_saturation_pressure_pa(temperature_c)


def test_humidity_over_ice_in_warm_air_is_refused() -> None:
    with pytest.raises(ValueError, match=r"must be -45 to 0 °C where humidity is over ice"):
        dew_point_c(5.0, 50.0, Over.ICE)


@given(st.floats(min_value=-30.0, max_value=50.0), st.floats(min_value=5.0, max_value=95.0))
def test_the_error_is_the_slope_of_the_dew_point(temperature_c: float, humidity_pct: float) -> None:
    """Against small steps of the formula itself."""
    error = dew_point_error(temperature_c, humidity_pct, temperature_error_k=0.5, humidity_error_pct=2.0)
    step = 1e-4
    by_k = dew_point_c(temperature_c + step, humidity_pct) - dew_point_c(temperature_c - step, humidity_pct)
    by_pct = dew_point_c(temperature_c, humidity_pct + step) - dew_point_c(temperature_c, humidity_pct - step)

    assert error.per_k == pytest.approx(by_k / (2 * step), rel=1e-4)
    assert error.per_pct == pytest.approx(by_pct / (2 * step), rel=1e-4)
    assert error.likely_k <= error.worst_k <= error.likely_k * math.sqrt(2.0) + 1e-12


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "error_k", "error_pct", "likely_k", "worst_k"),
    [
        pytest.param(5.0, 80.0, 0.5, 2.0, 0.60, 0.84, id="a DHT22 in the cold"),
        pytest.param(5.0, 80.0, 0.5, 5.0, 1.00, 1.38, id="at its worst"),
        pytest.param(20.0, 50.0, 0.5, 2.0, 0.75, 1.06, id="in a warm room"),
    ],
)
def test_the_error_of_a_common_sensor_is_about_a_kelvin(
    temperature_c: float,
    humidity_pct: float,
    error_k: float,
    error_pct: float,
    likely_k: float,
    worst_k: float,
) -> None:
    """The accuracy is the AM2302 data sheet's; the derivatives were worked out outside this project too."""
    found = dew_point_error(
        temperature_c, humidity_pct, temperature_error_k=error_k, humidity_error_pct=error_pct
    )

    assert found.likely_k == pytest.approx(likely_k, abs=0.02)
    assert found.worst_k == pytest.approx(worst_k, abs=0.02)


@pytest.mark.parametrize(
    ("surface_c", "verdict"),
    [
        pytest.param(10.0, Damp.WET, id="well water in warm moist air"),
        pytest.param(16.2, Damp.UNCERTAIN, id="within the sensor's error"),
        pytest.param(20.0, Damp.DRY, id="nearly as warm as the air"),
    ],
)
def test_a_pipe_sweats_as_far_as_the_sensor_can_tell(surface_c: float, verdict: Damp) -> None:
    """22 °C and 70 % have a dew point of 16.3 °C (the Magnus form)."""
    found = condensation(surface_c, 22.0, 70.0)

    assert found.settles_c == pytest.approx(16.3, abs=0.05)
    assert found.margin_k == pytest.approx(surface_c - found.settles_c)
    assert found.verdict is verdict


def test_a_surface_below_zero_collects_frost_before_dew() -> None:
    frost_c = frost_point_c(-5.0, 90.0)
    found = condensation(-7.0, -5.0, 90.0)

    assert found.settles_c == frost_c
    assert condensation(3.0, 5.0, 50.0).settles_c == dew_point_c(5.0, 50.0)


def test_a_worse_sensor_asks_for_more_margin() -> None:
    good = condensation(5.0, 8.0, 70.0)
    poor = condensation(5.0, 8.0, 70.0, temperature_error_k=2.0, humidity_error_pct=5.0)

    assert poor.asked_k > 2.0 * good.asked_k

"""Moist air against published values. Everything is over liquid water, also below 0 °C.

The sources, and how far each can be leaned on:

- [A] Sensirion, application note "Dew-point Calculation": read; it gives the coefficients and two dew points.
- [B] 2021 ASHRAE Handbook - Fundamentals (SI), chapter 1, table 3: single figures, from an unofficial copy;
  above 0 °C each agrees with psychrolib 2.5.0 within 0.02 %.
- [C] computed with a library outside this project, not published: psychrolib 2.5.0 or MetPy 1.7.1, as named.
- [D] computed with the same Magnus form outside this project: tells a slip of typing, not of physics.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.physics.air import dew_point_c, saturation_pressure_pa


@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa"),
    [
        pytest.param(0.0, 611.15, id="0 °C"),
        pytest.param(5.0, 872.6, id="5 °C"),
        pytest.param(10.0, 1228.2, id="10 °C"),
        pytest.param(20.0, 2339.2, id="20 °C"),
        pytest.param(25.0, 3169.7, id="25 °C"),
        pytest.param(40.0, 7384.4, id="40 °C"),
    ],
)
def test_saturation_pressure_agrees_with_the_handbook(temperature_c: float, pressure_pa: float) -> None:
    """[B]. A Magnus form is within 0.5 % of it; this one was found at most 0.31 % low between 0 and 60 °C."""
    assert saturation_pressure_pa(temperature_c) == pytest.approx(pressure_pa, rel=0.0035)


def test_below_zero_the_pressure_is_that_over_water_and_not_over_ice() -> None:
    """Over ice [B] gives 259.87 Pa at -10 °C; over supercooled water it is a tenth more (known physics)."""
    assert saturation_pressure_pa(-10.0) / 259.87 == pytest.approx(1.10, abs=0.01)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "dew_c"),
    [pytest.param(25.0, 10.0, -8.77, id="25 °C, 10 %"), pytest.param(50.0, 90.0, 47.90, id="50 °C, 90 %")],
)
def test_dew_point_agrees_with_the_application_note(
    temperature_c: float, humidity_pct: float, dew_c: float
) -> None:
    """[A]: the same form and coefficients, printed to 0.01 K."""
    assert dew_point_c(temperature_c, humidity_pct) == pytest.approx(dew_c, abs=0.01)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "dew_c"),
    [
        pytest.param(5.0, 80.0, 1.841, id="5 °C, 80 %"),
        pytest.param(10.0, 80.0, 6.713, id="10 °C, 80 %"),
        pytest.param(20.0, 50.0, 9.272, id="20 °C, 50 %"),
        pytest.param(30.0, 80.0, 26.169, id="30 °C, 80 %"),
        pytest.param(40.0, 30.0, 19.125, id="40 °C, 30 %"),
    ],
)
def test_dew_point_above_zero_agrees_with_another_library(
    temperature_c: float, humidity_pct: float, dew_c: float
) -> None:
    """[C] psychrolib; the worst difference found from 1 to 40 °C and from 20 % on was 0.04 K."""
    assert dew_point_c(temperature_c, humidity_pct) == pytest.approx(dew_c, abs=0.04)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "metpy_c", "magnus_c"),
    [
        pytest.param(-30.0, 80.0, -32.353, -32.340, id="-30 °C, 80 %"),
        pytest.param(-20.0, 50.0, -27.789, -27.775, id="-20 °C, 50 %"),
        pytest.param(-10.0, 80.0, -12.812, -12.797, id="-10 °C, 80 %"),
        pytest.param(-5.0, 95.0, -5.690, -5.677, id="-5 °C, 95 %"),
        pytest.param(0.0, 50.0, -9.201, -9.202, id="0 °C, 50 %"),
        pytest.param(5.0, 50.0, -4.572, -4.577, id="5 °C, 50 %"),
    ],
)
def test_dew_point_below_zero_is_over_water(
    temperature_c: float, humidity_pct: float, metpy_c: float, magnus_c: float
) -> None:
    """[C] MetPy, which takes humidity and dew point over water with other coefficients: 0.02 K; [D]: 0.001 K.

    The frost point of the same air is higher: -11.39 °C at -10 °C and 80 % [D].
    """
    dew_c = dew_point_c(temperature_c, humidity_pct)

    assert dew_c == pytest.approx(metpy_c, abs=0.02)
    assert dew_c == pytest.approx(magnus_c, abs=0.001)


@pytest.mark.parametrize("temperature_c", [-45.1, 60.1, math.nan, math.inf, -math.inf], ids=str)
def test_a_temperature_out_of_range_is_refused_with_the_range(temperature_c: float) -> None:
    with pytest.raises(ValueError, match=r"temperature_c = .*: must be -45 to 60 °C"):
        saturation_pressure_pa(temperature_c)
    with pytest.raises(ValueError, match=r"temperature_c = .*: must be -45 to 60 °C"):
        dew_point_c(temperature_c, 50.0)


@pytest.mark.parametrize("humidity_pct", [0.0, -1.0, 100.1, math.nan, math.inf], ids=str)
def test_a_humidity_out_of_range_is_refused_with_the_range(humidity_pct: float) -> None:
    with pytest.raises(ValueError, match=r"humidity_pct = .*: must be above 0, at most 100 %"):
        dew_point_c(5.0, humidity_pct)


@pytest.mark.parametrize("temperature_c", [-45.0, 60.0])
def test_the_ends_of_the_range_are_in_it(temperature_c: float) -> None:
    assert dew_point_c(temperature_c, 100.0) == pytest.approx(temperature_c, abs=1e-9)


@given(st.floats(min_value=-45.0, max_value=60.0), st.floats(min_value=1.0, max_value=100.0))
def test_the_dew_point_is_where_this_vapour_would_saturate(temperature_c: float, humidity_pct: float) -> None:
    """The definition; checked where the dew point is within the range of the formula."""
    dew_c = dew_point_c(temperature_c, humidity_pct)

    assert dew_c <= temperature_c + 1e-9
    if dew_c >= -45.0:
        vapour_pa = saturation_pressure_pa(temperature_c) * humidity_pct / 100.0
        assert saturation_pressure_pa(min(dew_c, 60.0)) == pytest.approx(vapour_pa, rel=1e-9)


@given(
    st.floats(min_value=-45.0, max_value=60.0),
    st.floats(min_value=1.0, max_value=99.0),
    st.floats(min_value=0.1, max_value=1.0),
)
def test_moister_air_has_a_higher_dew_point(
    temperature_c: float, humidity_pct: float, more_pct: float
) -> None:
    assert dew_point_c(temperature_c, humidity_pct + more_pct) > dew_point_c(temperature_c, humidity_pct)

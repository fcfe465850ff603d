"""Temperatures and durations as people write them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.units import (
    K_PER_F,
    Unit,
    c_from_f,
    f_from_c,
    from_c,
    parse_duration_s,
    parse_temperature_c,
    say,
    to_c,
)


@pytest.mark.parametrize(
    ("temperature_f", "temperature_c"),
    [
        pytest.param(32.0, 0.0, id="water freezes"),
        pytest.param(212.0, 100.0, id="water boils"),
        pytest.param(-40.0, -40.0, id="where both meet"),
        pytest.param(50.0, 10.0, id="50 F"),
        pytest.param(98.6, 37.0, id="98.6 F"),
    ],
)
def test_both_scales_agree_at_points_everybody_knows(temperature_f: float, temperature_c: float) -> None:
    """By definition of the Fahrenheit scale; the tolerance is that of binary fractions."""
    assert c_from_f(temperature_f) == pytest.approx(temperature_c, abs=1e-12)
    assert f_from_c(temperature_c) == pytest.approx(temperature_f, abs=1e-12)


def test_a_difference_has_no_offset() -> None:
    assert pytest.approx(1.0, abs=1e-15) == K_PER_F * 1.8
    assert c_from_f(37.0) - c_from_f(36.0) == pytest.approx(K_PER_F, abs=1e-12)


@given(st.floats(min_value=-200.0, max_value=200.0), st.sampled_from(Unit))
def test_there_and_back_is_where_it_began(temperature_c: float, unit: Unit) -> None:
    assert to_c(from_c(temperature_c, unit), unit) == pytest.approx(temperature_c, abs=1e-10)


@pytest.mark.parametrize(
    ("text", "default", "temperature_c"),
    [
        pytest.param("36F", Unit.C, c_from_f(36.0), id="F"),
        pytest.param("36 f", Unit.C, c_from_f(36.0), id="a space, small letter"),
        pytest.param("2.2C", Unit.F, 2.2, id="C"),
        pytest.param(" -1.5 °C ", Unit.F, -1.5, id="degree sign, negative"),
        pytest.param("−1C", Unit.F, -1.0, id="a typographic minus"),
        pytest.param("+3", Unit.C, 3.0, id="a plus, default C"),
        pytest.param("36", Unit.F, c_from_f(36.0), id="default F"),
        pytest.param(".5C", Unit.F, 0.5, id="no digit before the point"),
        pytest.param("2.C", Unit.F, 2.0, id="no digit behind the point"),
    ],
)
def test_a_temperature_is_read_as_people_write_it(text: str, default: Unit, temperature_c: float) -> None:
    assert parse_temperature_c(text, default) == pytest.approx(temperature_c, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    ["", "F", "nan", "inf", "-inf", "1e3", "36K", "36FF", "3,5", "36F 40F", "--3", "0x10", "9" * 400, "3\n4"],
    ids=lambda text: text[:8] or "nothing",
)
def test_what_is_no_temperature_is_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(ValueError, match=r"a number, with or without F or C behind it, such as 36F or 2\.2C"):
        parse_temperature_c(text, Unit.C)


@pytest.mark.parametrize(
    ("text", "duration_s"),
    [
        pytest.param("90s", 90.0, id="seconds"),
        pytest.param("20m", 1200.0, id="minutes"),
        pytest.param("1.5h", 5400.0, id="hours"),
        pytest.param("2d", 172800.0, id="days"),
        pytest.param(" 45 ", 45.0, id="plain seconds"),
        pytest.param(".5 h", 1800.0, id="no digit before the point"),
        pytest.param("0", 0.0, id="nothing"),
    ],
)
def test_a_duration_is_read_as_people_write_it(text: str, duration_s: float) -> None:
    assert parse_duration_s(text) == duration_s


@pytest.mark.parametrize(
    "text",
    ["", "m", "-5m", "nan", "inf", "1e3", "5 min", "1h30m", "9" * 400, "9" * 305 + "d"],
    ids=["nothing", "m", "-5m", "nan", "inf", "1e3", "5 min", "1h30m", "too long", "too long in days"],
)
def test_what_is_no_duration_is_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(ValueError, match=r"a duration such as 90s, 20m, 1\.5h or 2d"):
        parse_duration_s(text)


@given(st.text(max_size=12))
def test_whatever_is_typed_is_a_finite_number_or_refused(text: str) -> None:
    for parse in (parse_duration_s, lambda said: parse_temperature_c(said, Unit.F)):
        try:
            value = parse(text)
        except ValueError:
            continue
        assert math.isfinite(value)


def test_a_temperature_is_said_in_the_peoples_unit() -> None:
    assert say(c_from_f(36.0), Unit.F) == "36.0 F"
    assert say(2.25, Unit.C) == "2.2 C"


@pytest.mark.parametrize(
    ("temperature_c", "said"),
    [
        pytest.param(-0.0, "0.0 C", id="minus nothing"),
        pytest.param(-0.04, "0.0 C", id="rounds to nothing"),
        pytest.param(-0.06, "-0.1 C", id="does not"),
    ],
)
def test_there_is_no_minus_before_nothing(temperature_c: float, said: str) -> None:
    assert say(temperature_c, Unit.C) == said
    assert say(c_from_f(temperature_c), Unit.F) == said.replace("C", "F")

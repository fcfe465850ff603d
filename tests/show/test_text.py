"""Words and numbers for people."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Code, Flag, Health, Mode, Reason
from overwinter.show import text
from overwinter.show.status import CRITICAL_ALARMS


@pytest.mark.parametrize(
    ("table", "nouns"),
    [
        (text.MODES, Mode),
        (text.REASONS, Reason),
        (text.HEALTH, Health),
        (text.ALARMS, Code),
        (text.FLAGS, Flag),
    ],
)
def test_every_noun_has_its_word_and_no_word_is_without_noun(table: dict[object, str], nouns: type) -> None:
    assert set(table) == {noun.value for noun in nouns}  # type: ignore[attr-defined]
    assert len(set(table.values())) == len(table), "no two codes are told alike"


def test_critical_alarms_are_alarms() -> None:
    assert {code.value for code in Code} >= CRITICAL_ALARMS


@pytest.mark.parametrize(
    ("temperature_c", "unit", "told"),
    [
        (2.1, "F", "35.8 F (2.1 C)"),
        (2.1, "C", "2.1 C (35.8 F)"),
        (0.0, "F", "32.0 F (0.0 C)"),
        (-0.01, "C", "0.0 C (32.0 F)"),
        (-40.0, "F", "-40.0 F (-40.0 C)"),
        (None, "F", "-"),
    ],
)
def test_a_measured_temperature(temperature_c: float | None, unit: str, told: str) -> None:
    assert text.temperature(temperature_c, unit) == told


@pytest.mark.parametrize(
    ("low_c", "high_c", "unit", "told"),
    [
        (2.2222, 4.4444, "F", "36 to 40 F (2.2 to 4.4 C)"),
        (20 / 9, 40 / 9, "F", "36 to 40 F (2.2 to 4.4 C)"),
        (-1.0, 3.0, "C", "-1 to 3 C (30.2 to 37.4 F)"),
        (1.389, 2.5, "F", "34.5 to 36.5 F (1.4 to 2.5 C)"),
        (-0.001, 1.25, "C", "0 to 1.25 C (32 to 34.2 F)"),
    ],
)
def test_a_band_is_told_in_both_units(low_c: float, high_c: float, unit: str, told: str) -> None:
    assert text.span(low_c=low_c, high_c=high_c, unit=unit) == told


@pytest.mark.parametrize(
    ("seconds", "told"),
    [
        (-5.0, "0 s"),
        (0.0, "0 s"),
        (59.9, "59 s"),
        (60.0, "1 min"),
        (3599.0, "59 min"),
        (3600.0, "1 h"),
        (12_000.0, "3 h 20 min"),
        (86_399.0, "23 h 59 min"),
        (86_400.0, "1 d"),
        (187_200.0, "2 d 4 h"),
        (400 * 86_400.0, "400 d"),
    ],
)
def test_a_duration(seconds: float, told: str) -> None:
    assert text.duration(seconds) == told


@given(st.floats(min_value=-1e6, max_value=1e6))
def test_a_number_is_itself_again_and_has_no_needless_digit(value: float) -> None:
    told = text.number(value)

    assert math.isclose(float(told), value, abs_tol=0.0051)
    assert not told.startswith("-0") or told.startswith("-0.")
    assert not ("." in told and told.endswith("0"))
    assert told != "-0"


def test_whole_numbers_keep_their_zeros() -> None:
    assert [text.number(value) for value in (600.0, 10.0, 0.0, 100)] == ["600", "10", "0", "100"]


@given(st.text())
def test_nothing_that_a_terminal_obeys_stays(value: str) -> None:
    assert text.clean(value).isprintable()
    assert len(text.clean(value)) == len(value)


def test_a_code_from_a_newer_guard_stands_for_itself() -> None:
    assert text.word(text.REASONS, "by-moonlight") == "by-moonlight"
    assert text.flag(7) == "flag 7"
    assert text.flag(None) == "flag None"
    assert text.flag(4) == "failed"


def test_a_table_is_as_wide_as_its_content() -> None:
    assert text.table(("a", "b"), [("long one", "x"), ("y", "")]) == "a         b\nlong one  x\ny"


def test_a_change_is_told_in_its_own_unit() -> None:
    def told(key: str, old: object, new: object) -> str:
        return text.changed(key, old, new, old_unit="F", new_unit="F")

    assert told("band.low", 36.0, 34.0) == "band.low: 36 F -> 34 F"
    assert told("relay.min_on_s", 120.0, 90.0) == "relay.min_on_s: 120 s -> 90 s"
    assert told("filter.window", 5, 7) == "filter.window: 5 -> 7"
    assert told("mode", "freeze", "warm") == "mode: freeze -> warm"
    assert told("mode", None, True) == "mode: None -> True"

"""settings.toml to values or problems, and back."""

import json
import math
import tomllib
from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Mode, Settings
from overwinter.core.units import Unit, c_from_f
from overwinter.settings import reading
from overwinter.settings.schema import BY_KEY, GAPS, ROWS, Kind
from overwinter.settings.values import (
    default_text,
    differences,
    parse_settings,
    settings_facts,
    shown,
    text_of,
)
from tests.settings.strategies import sound_settings, texts


def test_every_field_of_settings_has_one_row() -> None:
    assert sorted(row.field for row in ROWS) == sorted(field.name for field in fields(Settings))
    assert len(BY_KEY) == len(ROWS)


def test_the_first_file_says_every_default_in_round_numbers() -> None:
    text = default_text()

    assert parse_settings(text).settings == Settings()
    assert parse_settings(text).problems == ()
    assert tomllib.loads(text) == {
        "mode": "freeze",
        "unit": "F",
        "band": {"low": 36.0, "high": 40.0},
        "sampling": {"sense_s": 10.0, "record_s": 60.0},
        "filter": {"window": 5, "max_rate_per_min": 5.0, "flat_after_s": 7200.0},
        "failsafe": {"lost_after_s": 120.0, "duty": 1.0, "warm_above": 50.0},
        "relay": {"min_on_s": 120.0, "min_off_s": 60.0},
        "limits": {"ceiling": 75.0, "alarm_low": 34.5},
        "exercise": {"every_days": 7.0, "for_s": 600.0},
    }


def test_an_empty_file_means_the_defaults() -> None:
    assert parse_settings(b"") == parse_settings("")
    assert parse_settings("").settings == Settings()
    assert parse_settings("").problems == ()


def test_missing_keys_take_their_default_in_either_unit() -> None:
    settings = parse_settings('unit = "C"\n[band]\nlow = 3\n').settings

    assert settings == replace(Settings(), unit=Unit.C, low_c=3.0)


_REFUSED = [
    ("mode", '"cold"', 'mode = "cold": must be freeze, warm or observe'),
    ("mode", '"Freeze"', 'mode = "Freeze": must be freeze, warm or observe'),
    ("mode", "1", "mode = 1: must be freeze, warm or observe"),
    ("unit", '"K"', 'unit = "K": must be F or C'),
    ("unit", "[]", "unit = a list: must be F or C"),
    ("band.low", "-40.1", "band.low = -40.1: must be -40..100 F"),
    ("band.low", "true", "band.low = true: must be a number without quotes, -40..100 F"),
    ("band.low", '"36F"', 'band.low = "36F": must be a number without quotes, -40..100 F'),
    ("band.low", "nan", "band.low = nan: must be -40..100 F"),
    ("band.low", "{ a = 1 }", "band.low = a table: must be a number without quotes, -40..100 F"),
    ("band.low", "2026-01-09", "band.low = 2026-01-09: must be a number without quotes, -40..100 F"),
    ("band.high", "100.1", "band.high = 100.1: must be -40..100 F"),
    ("band.high", "inf", "band.high = inf: must be -40..100 F"),
    ("band.high", "-inf", "band.high = -inf: must be -40..100 F"),
    ("band.high", "0x" + "f" * 900, "band.high = a number of more than 20 digits: must be -40..100 F"),
    ("band.high", "36.8", "band.high = 36.8 F: must be at least 0.9 F above band.low, 36 F"),
    ("sampling.sense_s", "0.9", "sampling.sense_s = 0.9: must be 1..300 s"),
    ("sampling.sense_s", "301", "sampling.sense_s = 301: must be 1..300 s"),
    ("sampling.sense_s", "61", "sampling.sense_s = 61 s: must be not above sampling.record_s, 60 s"),
    ("sampling.record_s", "3601", "sampling.record_s = 3601: must be 1..3600 s"),
    ("sampling.record_s", "9", "sampling.record_s = 9 s: must be not below sampling.sense_s, 10 s"),
    ("filter.window", "4", "filter.window = 4: must be 1..31, odd"),
    ("filter.window", "33", "filter.window = 33: must be 1..31, odd"),
    ("filter.window", "-1", "filter.window = -1: must be 1..31, odd"),
    ("filter.window", "5.0", "filter.window = 5.0: must be a whole number, 1..31, odd"),
    ("filter.max_rate_per_min", "0.4", "filter.max_rate_per_min = 0.4: must be 0.5..600 K/min"),
    ("filter.max_rate_per_min", "601", "filter.max_rate_per_min = 601: must be 0.5..600 K/min"),
    ("filter.flat_after_s", "59", "filter.flat_after_s = 59: must be 60..86400 s"),
    ("filter.flat_after_s", "86401", "filter.flat_after_s = 86401: must be 60..86400 s"),
    ("failsafe.lost_after_s", "2.9", "failsafe.lost_after_s = 2.9: must be 3..3600 s"),
    ("failsafe.lost_after_s", "3601", "failsafe.lost_after_s = 3601: must be 3..3600 s"),
    ("failsafe.duty", "0.09", "failsafe.duty = 0.09: must be 0.1..1"),
    ("failsafe.duty", "1.1", "failsafe.duty = 1.1: must be 0.1..1"),
    ("failsafe.warm_above", "39", "failsafe.warm_above = 39: must be 40..140 F"),
    ("failsafe.warm_above", "141", "failsafe.warm_above = 141: must be 40..140 F"),
    ("relay.min_on_s", "-1", "relay.min_on_s = -1: must be 0..900 s"),
    ("relay.min_on_s", "901", "relay.min_on_s = 901: must be 0..900 s"),
    ("relay.min_off_s", "901", "relay.min_off_s = 901: must be 0..900 s"),
    ("limits.ceiling", "141", "limits.ceiling = 141: must be -40..140 F"),
    (
        "limits.ceiling",
        "45.3",
        "limits.ceiling = 45.3 F: must be at least 5.4 F above band.high, 40 F;"
        " the ceiling is never moved by itself",
    ),
    ("limits.alarm_low", "-51", "limits.alarm_low = -51: must be -50..100 F"),
    ("limits.alarm_low", "36", "limits.alarm_low = 36 F: must be below band.low, 36 F"),
    ("exercise.every_days", "61", "exercise.every_days = 61: must be 0..60 days"),
    ("exercise.every_days", "-0.1", "exercise.every_days = -0.1: must be 0..60 days"),
    ("exercise.for_s", "59", "exercise.for_s = 59: must be 60..1800 s"),
    ("exercise.for_s", "1801", "exercise.for_s = 1801: must be 60..1800 s"),
]


@pytest.mark.parametrize(
    ("key", "value", "said"), _REFUSED, ids=[f"{row[0]}={row[1][:12]}" for row in _REFUSED]
)
def test_a_value_that_is_not_allowed_is_refused_with_what_is(key: str, value: str, said: str) -> None:
    parsed = parse_settings(f"{key} = {value}\n")

    assert [problem.text for problem in parsed.problems] == [f"settings.toml: {said}"]
    assert parsed.problems[0].key == key
    assert key in parsed.fallen
    assert parsed.settings == Settings(), "a bad key must fall back to its default"
    json.dumps([problem.value for problem in parsed.problems], allow_nan=False)


def test_every_row_has_a_row_of_refused_values() -> None:
    assert {key for key, _, _ in _REFUSED} == set(BY_KEY)


_TAKEN = [
    ("band.high", "100.0\nlimits.ceiling = 105.4"),
    ("band.low", "-40\nmode = 'warm'"),
    ("band.high", "36.9"),
    ("sampling.sense_s", "1"),
    ("sampling.record_s", "10"),
    ("filter.window", "31"),
    ("failsafe.duty", "0.1"),
    ("failsafe.warm_above", "40"),
    ("limits.ceiling", "45.4"),
    ("limits.alarm_low", "-50"),
    ("exercise.every_days", "0"),
]


@pytest.mark.parametrize(("key", "value"), _TAKEN)
def test_a_value_at_the_edge_is_taken(key: str, value: str) -> None:
    parsed = parse_settings(f"{key} = {value}\n")

    assert parsed.problems == ()
    assert parsed.fallen == ()


def test_the_highest_band_can_be_said_in_celsius() -> None:
    """100 F is 37.777... C, which no decimal fraction is exactly."""
    parsed = parse_settings('unit = "C"\nband.high = 37.777777778\nlimits.ceiling = 50\n')

    assert parsed.problems == ()


def test_all_problems_come_at_once_and_good_keys_are_kept() -> None:
    parsed = parse_settings(
        'mode = "cold"\nmdoe = "x"\n[filter]\nwindow = 4\n[relay]\nmin_on_s = 5\n[bnad]\nlow = 1\n'
    )

    assert [problem.key for problem in parsed.problems] == ["mdoe", "bnad", "mode", "filter.window"]
    assert parsed.problems[0].text == "settings.toml: mdoe: unknown key; did you mean mode?"
    assert parsed.fallen == ("mode", "filter.window")
    assert parsed.settings == replace(Settings(), min_on_s=5.0)


def test_an_unknown_key_within_a_table_is_told_with_its_table() -> None:
    parsed = parse_settings("[band]\nlwo = 38\n")

    assert [problem.text for problem in parsed.problems] == [
        "settings.toml: band.lwo: unknown key; did you mean band.low?"
    ]
    assert parsed.fallen == ()


def test_a_quoted_dotted_key_is_not_the_key_it_looks_like() -> None:
    parsed = parse_settings('"band.low" = 38\n')

    assert parsed.settings == Settings()
    assert parsed.problems[0].text == 'settings.toml: "band.low": unknown key; did you mean band.low?'


def test_a_table_that_is_none_takes_its_keys_with_it() -> None:
    parsed = parse_settings("[[band]]\nlow = 38\n")

    assert parsed.problems[0].text == "settings.toml: band = a list: must be a table: [band]"
    assert parsed.fallen == ("band.low", "band.high")


def test_without_a_known_unit_no_temperature_counts() -> None:
    """34 is frost in one unit and heat in the other."""
    parsed = parse_settings('unit = "X"\n[band]\nlow = 34\n[relay]\nmin_on_s = 5\n')

    assert parsed.fallen == ("unit", "band.low")
    assert parsed.settings == replace(Settings(), min_on_s=5.0)


def test_last_good_values_stand_in_for_bad_ones_but_not_for_missing_ones() -> None:
    last_good = replace(Settings(), min_on_s=300.0, window=9)

    parsed = parse_settings("[filter]\nwindow = 4\n", fallback=last_good)

    assert parsed.settings == replace(Settings(), window=9)


@pytest.mark.parametrize("fallback", [None, replace(Settings(), window=9)], ids=["defaults", "last good"])
def test_unreadable_text_falls_back_whole(fallback: Settings | None) -> None:
    parsed = parse_settings("[band\nlow = 36", fallback=fallback)

    assert parsed.settings == (fallback or Settings())
    assert parsed.fallen == tuple(BY_KEY)
    assert len(parsed.problems) == 1
    assert parsed.problems[0].text.startswith("settings.toml: line 1, column 6: ")


def test_a_band_that_lost_one_end_falls_back_whole() -> None:
    parsed = parse_settings("[band]\nlow = 60\nhigh = true\n")

    assert (parsed.settings.low_c, parsed.settings.high_c) == (Settings().low_c, Settings().high_c)
    assert parsed.fallen == ("band.low", "band.high")
    assert parsed.problems[1].text == (
        "settings.toml: band.low = 60 F: must be at least 0.9 F below band.high, 40 F"
    )


def test_slower_sensors_raise_the_least_pace() -> None:
    text = "[sampling]\nsense_s = 2\n"

    assert parse_settings(text).problems == ()
    parsed = parse_settings(text, sense_s_min=2.5)
    assert [problem.text for problem in parsed.problems] == [
        "settings.toml: sampling.sense_s = 2: must be 2.5..300 s"
    ]
    assert parsed.settings.sense_s == Settings().sense_s


def test_a_last_good_that_breaks_a_rule_gives_way_to_the_defaults() -> None:
    broken = replace(Settings(), low_c=5.0, high_c=3.0)

    assert parse_settings("band.low = 'x'\nband.high = 'y'\n", fallback=broken).settings == Settings()


@pytest.mark.parametrize(
    ("text", "warned"),
    [
        ("[band]\nlow = 33.7\n", True),
        ("[band]\nlow = 33.8\n", False),
        ('unit = "C"\n[band]\nlow = 1.0\n', False),
        ('unit = "C"\n[band]\nlow = 0.99\n', True),
        ('mode = "warm"\n[band]\nlow = 20\n', False),
        ('mode = "observe"\n[band]\nlow = 20\n', False),
    ],
)
def test_a_low_end_near_freezing_is_taken_with_a_warning(text: str, warned: bool) -> None:
    parsed = parse_settings(text)

    assert parsed.problems == ()
    assert bool(parsed.warnings) is warned


def test_the_warning_names_value_and_floor() -> None:
    (warning,) = parse_settings("[band]\nlow = 33\n").warnings

    assert warning.text == (
        "settings.toml: band.low = 33 F in mode freeze; below 33.8 F pipes may freeze before the room is warm"
    )
    assert warning.value == 33.0


@pytest.mark.parametrize(
    ("low", "alarm_f"), [("36", 34.5), ("60\nband.high = 65", 34.5), ("34", 32.5), ("-40", -41.5)]
)
def test_the_default_alarm_lies_below_any_band(low: str, alarm_f: float) -> None:
    settings = parse_settings(f"band.low = {low}\n").settings

    assert settings.alarm_low_c == pytest.approx(c_from_f(alarm_f))


def test_a_thousand_unknown_keys_are_told_short_and_soon() -> None:
    parsed = parse_settings("".join(f"key{number} = 1\n" for number in range(3000)))

    assert len(parsed.problems) == reading.PROBLEMS_MAX + 1
    assert parsed.problems[-1].text == "and 2950 more"


@given(st.one_of(texts, texts.map(str.encode), st.text(), st.binary()), st.sampled_from([1.0, 2.5]))
def test_no_text_raises_and_the_settings_keep_every_rule(text: str | bytes, sense_s_min: float) -> None:
    parsed = parse_settings(text, sense_s_min=sense_s_min)

    settings = parsed.settings
    assert all(gap.holds(settings) for gap in GAPS)
    assert settings.sense_s >= sense_s_min
    again = parse_settings(text_of(settings), sense_s_min=sense_s_min)
    assert again.problems == (), "each value is in its range"
    if parsed.fallen:
        assert parsed.problems
    json.dumps([(problem.key, problem.value) for problem in parsed.problems], allow_nan=False)
    for problem in parsed.problems:
        problem.text.encode()


@given(sound_settings(), st.sampled_from(Unit))
def test_settings_survive_the_text_in_both_units(settings: Settings, unit: Unit) -> None:
    settings = replace(settings, unit=unit)

    parsed = parse_settings(text_of(settings))

    assert parsed.problems == ()
    for row in ROWS:
        before, after = getattr(settings, row.field), getattr(parsed.settings, row.field)
        if row.kind is Kind.TEMPERATURE:
            assert math.isclose(before, after, abs_tol=0.005), row.key
        else:
            assert before == after, row.key


@given(sound_settings())
def test_what_was_written_once_is_written_the_same_again(settings: Settings) -> None:
    once = text_of(parse_settings(text_of(settings)).settings)

    assert text_of(parse_settings(once).settings) == once


def test_differences_are_numbers_in_the_new_unit() -> None:
    old = Settings()

    assert differences(old, old) == {}
    assert differences(old, replace(old, unit=Unit.C)) == {"unit": ("F", "C")}
    assert differences(old, replace(old, low_c=c_from_f(37.0), mode=Mode.WARM, min_on_s=5.0)) == {
        "mode": ("freeze", "warm"),
        "band.low": (36.0, 37.0),
        "relay.min_on_s": (120.0, 5.0),
    }
    assert differences(old, replace(old, unit=Unit.C, low_c=3.0)) == {
        "unit": ("F", "C"),
        "band.low": (2.222, 3.0),
    }


def test_facts_are_nested_like_the_file_with_units_in_the_keys() -> None:
    assert settings_facts(replace(Settings(), low_c=2.0, high_c=4.0, alarm_low_c=1.0, ceiling_c=24.0)) == {
        "mode": "freeze",
        "unit": "F",
        "band": {"low_c": 2.0, "high_c": 4.0},
        "sampling": {"sense_s": 10.0, "record_s": 60.0},
        "filter": {"window": 5, "max_rate_k_per_min": 5.0, "flat_after_s": 7200.0},
        "failsafe": {"lost_after_s": 120.0, "duty": 1.0, "warm_above_c": 10.0},
        "relay": {"min_on_s": 120.0, "min_off_s": 60.0},
        "limits": {"ceiling_c": 24.0, "alarm_low_c": 1.0},
        "exercise": {"every_days": 7.0, "for_s": 600.0},
    }


def test_settings_are_shown_with_units_and_limits() -> None:
    rows = {key: (value, allowed) for key, value, allowed in shown(Settings(), sense_s_min=2.5)}

    assert list(rows) == list(BY_KEY)
    assert rows["band.low"] == ("36 F (2.2 C)", "-40..100 F")
    assert rows["band.high"] == ("40 F (4.4 C)", "-40..100 F, at least 0.9 F above band.low")
    assert rows["sampling.sense_s"] == ("10 s", "2.5..300 s")
    assert rows["filter.window"] == ("5", "1..31, odd")
    assert rows["mode"] == ("freeze", "freeze, warm or observe")
    celsius = {key: (value, allowed) for key, value, allowed in shown(replace(Settings(), unit=Unit.C))}
    assert celsius["limits.ceiling"] == ("23.889 C (75.0 F)", "-40..60 C, at least 3 C above band.high")
    assert celsius["band.low"] == ("2.222 C (36.0 F)", "-40..37.78 C")

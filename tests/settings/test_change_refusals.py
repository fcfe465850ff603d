"""A change of settings: what is not allowed is refused, with what is."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tomlkit.exceptions import TOMLKitError

from overwinter.core.nouns import Refused, Settings
from overwinter.settings.change import plan_change
from tests.settings.changing import OWN, plan, refusals

_REFUSED = [
    ("bnad.low", 36, "bnad.low: unknown key; did you mean band.low?"),
    ("low", "36F", "low: unknown key; did you mean band.low?"),
    ("xyzzy\n", 1, '"xyzzy\\n": unknown key; known here are mode, unit, band.low'),
    ("band.low", True, "band.low = true: must be a number, -40..100 F"),
    ("band.low", None, "band.low = nothing: must be a number, -40..100 F"),
    ("band.low", [36], "band.low = a list: must be a number, -40..100 F"),
    ("band.low", {"f": 36}, "band.low = a table: must be a number, -40..100 F"),
    ("band.low", "true", 'band.low = "true": must be a temperature such as 36F or 2.2C, -40..100 F'),
    ("band.low", "nan", 'band.low = "nan": must be a temperature such as 36F or 2.2C, -40..100 F'),
    ("band.low", "abc", 'band.low = "abc": must be a temperature such as 36F or 2.2C, -40..100 F'),
    ("band.low", "36K", 'band.low = "36K": must be a temperature such as 36F or 2.2C, -40..100 F'),
    ("band.low", "3,5C", 'band.low = "3,5C": must be a temperature such as 36F or 2.2C, -40..100 F'),
    ("band.low", "9" * 61, f'band.low = "{"9" * 60}…": must be -40..100 F'),
    ("band.low", float("nan"), "band.low = nan: must be -40..100 F"),
    ("band.low", float("-inf"), "band.low = -inf: must be -40..100 F"),
    ("band.low", 10**400, "band.low = a number of more than 20 digits: must be -40..100 F"),
    ("band.low", "101F", 'band.low = "101F": must be -40..100 F'),
    ("band.low", "40C", 'band.low = "40C": must be -40..100 F'),
    ("band.low", 39.2, "band.low = 39.2 F: must be at least 0.9 F below band.high, 40 F"),
    ("band.high", 36.8, "band.high = 36.8 F: must be at least 0.9 F above band.low, 36 F"),
    (
        "band.high",
        70,
        "band.high = 70 F: must be at least 5.4 F below limits.ceiling, 75 F;"
        " the ceiling is never moved by itself",
    ),
    (
        "limits.ceiling",
        45,
        "limits.ceiling = 45 F: must be at least 5.4 F above band.high, 40 F;"
        " the ceiling is never moved by itself",
    ),
    ("limits.alarm_low", 36, "limits.alarm_low = 36 F: must be below band.low, 36 F"),
    ("mode", "cold", 'mode = "cold": must be freeze, warm or observe'),
    ("mode", 1, "mode = 1: must be freeze, warm or observe"),
    ("unit", "K", 'unit = "K": must be F or C'),
    ("filter.window", 4, "filter.window = 4: must be 1..31, odd"),
    ("filter.window", 4.5, "filter.window = 4.5: must be a whole number, 1..31, odd"),
    ("filter.window", True, "filter.window = true: must be a number, 1..31, odd"),
    ("filter.window", "5m", 'filter.window = "5m": must be a number, 1..31, odd'),
    ("failsafe.duty", "50%", 'failsafe.duty = "50%": must be a number, 0.1..1'),
    ("relay.min_on_s", "1h", "relay.min_on_s = 3600.0: must be 0..900 s"),
    (
        "relay.min_on_s",
        "soon",
        'relay.min_on_s = "soon": must be a number or a duration such as 90s, 20m, 7d; 0..900 s',
    ),
    ("relay.min_on_s", "inf", 'relay.min_on_s = "inf": must be a number or a duration such as 90s'),
    ("sampling.sense_s", "2", "sampling.sense_s = 2.0: must be 2.5..300 s"),
    ("sampling.record_s", 5, "sampling.record_s = 5 s: must be not below sampling.sense_s, 10 s"),
    ("sampling.sense_s", "61s", "sampling.sense_s = 61 s: must be not above sampling.record_s, 60 s"),
]


@pytest.mark.parametrize(("key", "value", "said"), _REFUSED, ids=[row[2][:40] for row in _REFUSED])
def test_what_is_not_allowed_is_refused_with_what_is(key: str, value: object, said: str) -> None:
    (text,) = refusals({key: value}, sense_s_min=2.5)

    assert text.startswith(said)


def test_all_problems_come_at_once() -> None:
    texts = refusals({"bnad.low": 1, "filter.window": 4, "mode": "cold", "band.high": 70, "band.low": "x"})

    assert [text.partition(" =")[0].partition(":")[0] for text in texts] == [
        "bnad.low",
        "mode",
        "band.low",
        "filter.window",
        "band.high",
    ]


def test_an_invalid_file_refuses_every_change_and_says_why() -> None:
    texts = refusals({"relay.min_on_s": 5}, "[filter]\nwindow = 4\n[relay]\nmin_on_s = true\n")

    assert texts == [
        "settings.toml: filter.window = 4: must be 1..31, odd",
        "settings.toml: relay.min_on_s = true: must be a number without quotes, 0..900 s",
    ]


@pytest.mark.parametrize("content", [b"\xff\xfe", b"a\0", b"a = \xe9", b"[band\n", b"x = " + b"[" * 3000])
def test_a_file_that_is_no_toml_refuses_every_change(content: bytes) -> None:
    (text,) = refusals({"relay.min_on_s": 5}, content)

    assert text.startswith("settings.toml: ")


def test_a_pace_that_the_sensors_cannot_keep_is_refused() -> None:
    assert plan({"sampling.sense_s": 2.5}, sense_s_min=2.5).settings.sense_s == 2.5
    assert refusals({"sampling.sense_s": 2.4}, sense_s_min=2.5) == [
        "sampling.sense_s = 2.4: must be 2.5..300 s"
    ]


def _wrong_text(_: object) -> str:
    return "[band]\nlow = 99.0\n"


def _broken(_: object) -> str:
    raise TOMLKitError


@pytest.mark.parametrize("dumps", [_wrong_text, _broken])
def test_an_edit_that_goes_wrong_is_refused_not_stored(
    monkeypatch: pytest.MonkeyPatch, dumps: Callable[[object], str]
) -> None:
    monkeypatch.setattr("tomlkit.dumps", dumps)

    assert refusals({"band.low": 37}) == [
        "settings.toml: it is spelled in a way that cannot be changed safely; change it by hand"
    ]


@given(st.one_of(st.text(), st.binary(), st.just(OWN)), st.dictionaries(st.text(), st.text(), max_size=2))
def test_no_file_and_no_key_raises_anything_but_refused(text: str | bytes, changes: dict[str, str]) -> None:
    try:
        plan_change(text, changes, running=Settings(), anyway=False)
    except Refused as refused:
        for problem in refused.problems:
            problem.text.encode()
            problem.key.encode()

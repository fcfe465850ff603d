"""A change of settings: all of it or nothing, and the owner's file stays the owner's."""

import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace

import pytest
from hypothesis import event, given
from hypothesis import strategies as st
from tomlkit.exceptions import TOMLKitError

from overwinter.core.nouns import Mode, Refused, Settings
from overwinter.core.units import Unit, c_from_f
from overwinter.settings.change import Change, plan_change
from overwinter.settings.schema import BY_KEY, GAPS, is_low_for_freeze
from overwinter.settings.values import default_text, parse_settings, text_of
from tests.settings.strategies import asked_changes, sound_settings

OWN = """\
# my own order, my own spelling
unit = 'F'   # as the dial says

  [limits]   # fire first
  ceiling = 7_5
  # and frost
  alarm_low = +34.50

[band]
high = 4.0e1 # set at the first frost
low = 36     #  by the neighbour
"""


def plan(
    changes: Mapping[str, object],
    text: str | bytes | None = None,
    *,
    running: Settings | None = None,
    anyway: bool = False,
    sense_s_min: float = 1.0,
) -> Change:
    return plan_change(
        default_text() if text is None else text,
        changes,
        running=running or Settings(),
        anyway=anyway,
        sense_s_min=sense_s_min,
    )


def refusals(
    changes: Mapping[str, object],
    text: str | bytes | None = None,
    *,
    anyway: bool = False,
    sense_s_min: float = 1.0,
) -> list[str]:
    with pytest.raises(Refused) as refused:
        plan(changes, text, anyway=anyway, sense_s_min=sense_s_min)
    json.dumps([problem.value for problem in refused.value.problems], allow_nan=False)
    return [problem.text for problem in refused.value.problems]


@pytest.mark.parametrize(
    ("key", "value", "field", "expected"),
    [
        ("band.low", 35.0, "low_c", c_from_f(35.0)),
        ("band.low", 35, "low_c", c_from_f(35.0)),
        ("band.low", "35", "low_c", c_from_f(35.0)),
        ("band.low", "35F", "low_c", c_from_f(35.0)),
        ("band.low", " 35 °F ", "low_c", c_from_f(35.0)),
        ("band.low", "2C", "low_c", 2.0),
        ("band.low", "33.8F", "low_c", 1.0),
        ("band.low", "1C", "low_c", 1.0),
        ("mode", "warm", "mode", Mode.WARM),
        ("relay.min_on_s", "10m", "min_on_s", 600.0),
        ("relay.min_on_s", "90", "min_on_s", 90.0),
        ("relay.min_on_s", 90, "min_on_s", 90.0),
        ("filter.flat_after_s", "1d", "flat_after_s", 86_400.0),
        ("exercise.every_days", "14d", "exercise_every_days", 14.0),
        ("exercise.every_days", "48h", "exercise_every_days", 2.0),
        ("exercise.every_days", "3", "exercise_every_days", 3.0),
        ("filter.window", "7", "window", 7),
        ("filter.window", 7.0, "window", 7),
        ("failsafe.duty", ".5", "blind_duty", 0.5),
        ("filter.max_rate_per_min", "2.5", "max_rate_k_min", 2.5),
    ],
)
def test_a_value_may_be_said_in_any_usual_way(key: str, value: object, field: str, expected: object) -> None:
    change = plan({key: value})

    # Degrees go through °F and back: the last binary digits may differ.
    found = getattr(change.settings, field)
    assert found == (pytest.approx(expected, abs=1e-9) if isinstance(expected, float) else expected)
    assert key in change.changes
    assert parse_settings(change.text).settings == change.settings


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


def test_only_the_changed_value_differs_byte_for_byte() -> None:
    change = plan({"band.low": "37F"}, OWN)

    assert change.text == OWN.replace("low = 36     #", "low = 37.0     #")
    assert change.changes == {"band.low": (36.0, 37.0)}


def test_windows_line_ends_stay() -> None:
    text = OWN.replace("\n", "\r\n")

    change = plan({"band.low": "37F", "relay.min_on_s": "1m", "mode": "warm", "limits.alarm_low": 34}, text)

    assert "\n" not in change.text.replace("\r\n", "")
    assert "# and frost\r\n" in change.text


@pytest.mark.parametrize(
    "text", [OWN, OWN.replace("\n", "\r\n"), "\ufeff" + OWN, OWN.rstrip("\n"), "", "\n\n# a"]
)
def test_a_change_that_changes_nothing_leaves_every_byte(text: str) -> None:
    assert plan({}, text).text == text
    assert plan({}, text.encode()).text == text


def test_a_byte_order_mark_stays() -> None:
    assert plan({"band.low": 37}, b"\xef\xbb\xbf" + OWN.encode()).text.startswith("\ufeff# my own order")


def test_a_value_that_is_said_again_keeps_its_spelling() -> None:
    change = plan({"limits.ceiling": "75F", "limits.alarm_low": 34.5, "band.high": 40.0}, OWN)

    assert change.text == OWN
    assert change.changes == {}


def test_a_missing_key_lands_below_the_last_of_its_table() -> None:
    text = "# head\nunit = 'F'\n\n[filter]\nwindow = 5 # odd\n\n# where heat stops\n[limits]\nceiling = 75"

    change = plan(
        {"mode": "warm", "filter.flat_after_s": "1h", "relay.min_on_s": 5, "relay.min_off_s": 6}, text
    )

    assert change.text == (
        "# head\nunit = 'F'\nmode = \"warm\"\n\n[filter]\nwindow = 5 # odd\nflat_after_s = 3600.0\n"
        "\n# where heat stops\n[limits]\nceiling = 75\n\n[relay]\nmin_on_s = 5.0\nmin_off_s = 6.0\n"
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        "# only a comment",
        "[band]\n",
        "[band]\nlow = 36",
        "band = { low = 36.0 }\n",
        "band = {}\n[limits]\n",
        "band.low = 36\nlimits.ceiling = 75\n",
        "band.low = 36\n[limits]\nceiling = 75\n",
        "[limits]\n[relay]\n[band]\n",
        '"mode" = "freeze"\n["band"]\n"low" = 36\n',
        'mode = """freeze"""\n[ band ]\n\tlow=36\n',
    ],
)
def test_keys_are_added_to_any_shape_of_file(text: str) -> None:
    change = plan(
        {"mode": "warm", "unit": "F", "band.low": "37F", "band.high": "41F", "limits.ceiling": "80F"}, text
    )

    assert parse_settings(change.text).settings == replace(
        Settings(), mode=Mode.WARM, low_c=c_from_f(37), high_c=c_from_f(41), ceiling_c=c_from_f(80)
    )


def test_missing_keys_that_nobody_changed_are_not_written() -> None:
    change = plan({"unit": "C", "band.low": "3C"}, "[band]\nhigh = 40.0\n")

    assert tomllib.loads(change.text) == {"unit": "C", "band": {"high": 4.444, "low": 3.0}}


def test_hand_edits_are_taken_along_and_told_apart() -> None:
    text = default_text().replace("min_on_s = 120.0", "min_on_s = 60.0").replace("high = 40.0", "high = 42.0")

    change = plan({"band.low": 37.0}, text)

    assert change.by_hand == {"band.high": (40.0, 42.0), "relay.min_on_s": (120.0, 60.0)}
    assert change.changes == {"band.low": (36.0, 37.0)}
    assert change.settings == replace(Settings(), low_c=c_from_f(37), high_c=c_from_f(42), min_on_s=60.0)


def test_the_unit_converts_every_temperature_of_the_file_and_back() -> None:
    there = plan({"unit": "C"})

    assert there.changes == {"unit": ("F", "C")}
    assert tomllib.loads(there.text)["band"] == {"low": 2.222, "high": 4.444}
    assert tomllib.loads(there.text)["limits"] == {"ceiling": 23.889, "alarm_low": 1.389}
    assert tomllib.loads(there.text)["failsafe"]["warm_above"] == 10.0
    assert there.settings.min_on_s == 120.0
    back = plan({"unit": "F"}, there.text, running=there.settings)
    assert back.text == default_text()
    assert back.by_hand == {}


def test_a_unit_in_the_same_change_leaves_no_bare_temperature() -> None:
    assert refusals({"unit": "C", "band.low": 3, "band.high": "5"}) == [
        "band.low = 3: which unit? With unit in the same change, say 36F or 2.2C",
        'band.high = "5": which unit? With unit in the same change, say 36F or 2.2C',
    ]
    change = plan({"unit": "C", "band.low": "3C", "band.high": "41F"})
    assert tomllib.loads(change.text)["band"] == {"low": 3.0, "high": 5.0}
    assert change.changes == {"unit": ("F", "C"), "band.low": (2.222, 3.0), "band.high": (4.444, 5.0)}


def test_the_edge_of_a_range_may_be_said_in_the_other_unit() -> None:
    celsius = plan({"unit": "C"}).text

    change = plan({"band.high": "100F", "limits.ceiling": "140F", "failsafe.warm_above": "40F"}, celsius)

    assert change.settings.high_c == pytest.approx(c_from_f(100.0), abs=1e-8)


def test_the_edge_of_a_range_survives_a_change_of_unit() -> None:
    highest = text_of(replace(Settings(), high_c=c_from_f(100.0), ceiling_c=c_from_f(140.0)))

    assert plan({"unit": "C"}, highest).settings.high_c == pytest.approx(c_from_f(100.0), abs=1e-8)


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"band.low": 33.7}, id="bare"),
        pytest.param({"band.low": "0.9C"}, id="celsius"),
        pytest.param({"band.low": "-1C", "band.high": "3C"}, id="band"),
        pytest.param({"mode": "freeze", "band.low": "33F"}, id="with the mode"),
        pytest.param({"unit": "C", "band.low": "33F"}, id="with the unit"),
    ],
)
def test_a_low_end_near_freezing_needs_anyway(changes: Mapping[str, object]) -> None:
    (text,) = refusals(changes)

    assert text.startswith("band.low = ")
    assert "below 33.8 F" in text or "below 1 C" in text
    assert "--anyway" in text
    taken = plan(changes, anyway=True)
    assert is_low_for_freeze(taken.settings)
    assert len(taken.warnings) == 1


def test_a_mode_that_makes_a_cold_band_dangerous_needs_anyway() -> None:
    text = 'mode = "warm"\n[band]\nlow = 25\n'

    assert refusals({"mode": "freeze"}, text) == [
        "mode = freeze: band.low is 25 F; below 33.8 F pipes may freeze before the room is warm;"
        " with --anyway it is taken all the same"
    ]
    assert plan({"mode": "freeze"}, text, anyway=True).settings.low_c == c_from_f(25)
    assert plan({"mode": "observe"}, text).warnings == ()


def test_a_cold_band_made_by_hand_is_warned_about_and_hinders_no_other_change() -> None:
    text = "[band]\nlow = 33\n"

    change = plan({"relay.min_on_s": 5, "unit": "C"}, text)

    assert [warning.key for warning in change.warnings] == ["band.low"]
    assert change.settings.low_c == pytest.approx(0.556)
    assert refusals({"band.low": 32}, text)
    assert refusals({"mode": "freeze"}, text)


def test_a_cold_band_is_refused_beside_other_problems() -> None:
    texts = refusals({"band.low": 30, "band.high": 30, "filter.window": 2})

    assert [text.partition(" =")[0] for text in texts] == [
        "filter.window",
        "band.high",
        "band.low",
    ]


@pytest.mark.parametrize(
    ("changes", "alarm_f"),
    [
        pytest.param({"band.low": "34F", "band.high": "38F"}, 32.5, id="34 to 38"),
        pytest.param({"band.low": "-1C", "band.high": "3C"}, 28.7, id="-1 C to 3 C"),
        pytest.param({"band.low": "34.5F"}, 33.0, id="just onto the alarm"),
        pytest.param({"band.low": "34.6F"}, 34.5, id="still above the alarm"),
        pytest.param({"band.low": "-40F"}, -41.5, id="lowest"),
    ],
)
def test_the_alarm_moves_along_below_a_lowered_band(changes: Mapping[str, object], alarm_f: float) -> None:
    change = plan(changes, anyway=True)

    assert change.settings.alarm_low_c == pytest.approx(c_from_f(alarm_f), abs=1e-6)
    assert change.changes.get("limits.alarm_low", (34.5, alarm_f)) == (34.5, alarm_f)
    assert ("limits.alarm_low" in change.changes) is (alarm_f != 34.5)


def test_a_moved_alarm_keeps_half_a_kelvin_and_its_range() -> None:
    near = plan({"band.low": 34}, default_text().replace("alarm_low = 34.5", "alarm_low = 35.9"))
    assert near.settings.alarm_low_c == pytest.approx(c_from_f(34) - 0.5, abs=0.003)

    far = default_text().replace("alarm_low = 34.5", "alarm_low = -30")
    assert plan({"band.low": -40}, far, anyway=True).settings.alarm_low_c == pytest.approx(c_from_f(-50))


def test_an_alarm_that_is_named_is_not_moved() -> None:
    (text,) = refusals({"band.low": 34, "limits.alarm_low": 35})

    assert text == "limits.alarm_low = 35 F: must be below band.low, 34 F"


def test_a_default_alarm_follows_without_being_written() -> None:
    change = plan({"band.low": 34}, "[band]\nlow = 36\n")

    assert change.text == "[band]\nlow = 34.0\n"
    assert change.changes == {"band.low": (36.0, 34.0), "limits.alarm_low": (34.5, 32.5)}


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


@given(st.data(), sound_settings(), st.booleans(), st.sampled_from([1.0, 2.5]))
def test_an_accepted_change_parses_to_exactly_its_settings(
    data: st.DataObject, before: Settings, anyway: bool, sense_s_min: float
) -> None:
    text = text_of(before)
    changes = data.draw(asked_changes(before))
    try:
        change = plan_change(text, changes, running=before, anyway=anyway, sense_s_min=sense_s_min)
    except Refused as refused:
        values = [problem.value for problem in refused.problems]
        json.dumps(values, allow_nan=False)
        event("refused")
        return

    event("accepted")
    again = parse_settings(change.text, sense_s_min=sense_s_min)
    assert (again.settings, again.problems) == (change.settings, ())
    assert all(gap.holds(change.settings) for gap in GAPS)
    file = parse_settings(text).settings
    assert set(change.changes) <= {*changes, "limits.alarm_low"}
    if is_low_for_freeze(change.settings) and not anyway:
        assert is_low_for_freeze(file)
        assert not {"mode", "band.low"} & set(changes)
    json.dumps([dict(change.changes), dict(change.by_hand)], allow_nan=False)
    comments = [line.partition("#")[2] for line in text.splitlines()]
    assert [line.partition("#")[2] for line in change.text.splitlines()] == comments


@given(st.one_of(st.text(), st.binary(), st.just(OWN)), st.dictionaries(st.text(), st.text(), max_size=2))
def test_no_file_and_no_key_raises_anything_but_refused(text: str | bytes, changes: dict[str, str]) -> None:
    try:
        plan_change(text, changes, running=Settings(), anyway=False)
    except Refused as refused:
        for problem in refused.problems:
            problem.text.encode()
            problem.key.encode()


@given(sound_settings())
def test_a_unit_there_and_back_moves_nothing_further(before: Settings) -> None:
    text = text_of(replace(before, unit=Unit.F))
    there = plan_change(text, {"unit": "C"}, running=before, anyway=True).text
    back = plan_change(there, {"unit": "F"}, running=before, anyway=True).text

    first, last = parse_settings(text).settings, parse_settings(back).settings
    for key in ("band.low", "band.high", "limits.ceiling", "limits.alarm_low", "failsafe.warm_above"):
        field = BY_KEY[key].field
        assert getattr(first, field) == pytest.approx(getattr(last, field), abs=0.003), key

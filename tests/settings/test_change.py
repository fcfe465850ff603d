"""A change of settings: said in any usual way and in either unit, and all of it or nothing."""

import json
import tomllib
from dataclasses import replace

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from overwinter.core.nouns import Mode, Refused, Settings
from overwinter.core.units import Unit, c_from_f
from overwinter.settings.change import plan_change
from overwinter.settings.schema import BY_KEY, GAPS, is_low_for_freeze
from overwinter.settings.values import default_text, parse_settings, text_of
from tests.settings.changing import plan, refusals
from tests.settings.strategies import asked_changes, sound_settings


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


@given(sound_settings())
def test_a_unit_there_and_back_moves_nothing_further(before: Settings) -> None:
    text = text_of(replace(before, unit=Unit.F))
    there = plan_change(text, {"unit": "C"}, running=before, anyway=True).text
    back = plan_change(there, {"unit": "F"}, running=before, anyway=True).text

    first, last = parse_settings(text).settings, parse_settings(back).settings
    for key in ("band.low", "band.high", "limits.ceiling", "limits.alarm_low", "failsafe.warm_above"):
        field = BY_KEY[key].field
        assert getattr(first, field) == pytest.approx(getattr(last, field), abs=0.003), key

"""A band near or below freezing: it is taken with `anyway` only, and the alarm moves along below it."""

from collections.abc import Mapping

import pytest

from overwinter.core.units import c_from_f
from overwinter.settings.schema import is_low_for_freeze
from overwinter.settings.values import default_text
from tests.settings.changing import plan, refusals


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

"""What a person reads of a forecast: figures in their unit, ranges, and what is not known."""

from typing import Any

import pytest

from overwinter.show.forecast import breakfast, hours, replay_screen, screen


def left(best: float | None, low: float | None, high: float | None) -> dict[str, float | None]:
    return {"best": best, "low": low, "high": high}


FORECAST: dict[str, Any] = {
    "known": True,
    "outdoor_c": -5.0,
    "hours_to": {
        "alarm_low": left(2.0, 1.5, 3.0),
        "freezing": left(6.0, 5.5, 9.0),
        "pipes": [{"name": "riser", "start": left(None, 7.0, None)}],
    },
    "outdoor_limit_c": left(-15.6, -17.0, -14.0),
    "tomorrow": {
        "duty": 0.4,
        "kwh": 2.4,
        "cost": 0.41,
        "duty_range": left(0.4, 0.3, 0.5),
        "kwh_range": left(2.4, 1.8, 3.0),
        "cost_range": None,
    },
    "based_on_h": 336.0,
    "missing": [],
}
UNKNOWN: dict[str, Any] = {
    "known": False,
    "outdoor_c": None,
    "hours_to": {"alarm_low": None, "freezing": None, "pipes": [{"name": "riser", "start": None}]},
    "outdoor_limit_c": None,
    "tomorrow": {"duty": None, "kwh": None, "cost": None},
    "based_on_h": 3.0,
    "missing": ["a sensor outdoors would tell how cold it may get"],
}
STATUS: dict[str, Any] = {"unit": "F", "temperature_c": 5.0, "heat": {"on": False}}


def test_the_screen_says_what_is_left_what_it_can_do_and_what_it_costs() -> None:
    shown = screen(FORECAST, unit="F")

    assert "If heat fails now, at 23.0 F (-5.0 C) outside:" in shown
    assert "until alarm_low               2 h (1 h 30 min to 3 h)" in shown
    assert "until riser starts to freeze  perhaps never, 7 h at the earliest" in shown
    assert "holds the band down to  3.9 F (-15.6 C), between 1.4 and 6.8 F outside" in shown
    assert "on for 40 % of the day (30 to 50 %), 2.4 kWh, 0.41" in shown
    assert "Learned from 14 d of its own readings." in shown


def test_what_is_not_known_is_said_and_what_would_help() -> None:
    shown = screen(UNKNOWN, unit="C")

    assert shown.count("not known yet") == 5
    assert "if the weather stays as it is" in shown
    assert "a sensor outdoors would tell how cold it may get" in shown


@pytest.mark.parametrize(
    ("known", "said"),
    [
        pytest.param(left(6.0, 5.5, 9.0), "6 hours if heat fails", id="a narrow range by its best"),
        pytest.param(left(9.0, 4.0, 20.0), "4 hours or more if heat fails", id="a wide one by its early end"),
        pytest.param(left(1.2, 1.0, 2.0), "1 hour if heat fails", id="one"),
        pytest.param(left(0.5, 0.45, 0.6), "30 minutes if heat fails", id="minutes"),
        pytest.param(left(None, None, None), "does not freeze without heat in this weather", id="never"),
        pytest.param(left(None, 30.0, None), "30 hours or more if heat fails", id="perhaps never"),
        pytest.param(None, "how long it lasts without heat is not known yet", id="not known"),
    ],
)
def test_the_line_for_breakfast(known: dict[str, float | None] | None, said: str) -> None:
    forecast = {**FORECAST, "hours_to": {**FORECAST["hours_to"], "freezing": known}}

    assert breakfast(STATUS, forecast) == f"41 F, heat off, holds to 4 F outside, {said}."


def test_the_line_for_breakfast_of_a_house_that_is_not_known() -> None:
    assert breakfast({"unit": "C", "heat": {"on": True}}, UNKNOWN) == (
        "no temperature, heat on, how cold it may get is not known yet, "
        "how long it lasts without heat is not known yet."
    )


def test_a_range_whose_ends_never_come() -> None:
    assert hours(left(5.0, 4.0, None)) == "5 h (4 h to perhaps never)"
    assert hours(left(None, None, None)) == "never, in this weather"


def test_a_replay_lists_its_alarms_with_their_times() -> None:
    alarm = {"code": "heater-dead", "subject": "", "since": "A", "cleared": "B", "text": "no rise"}
    replay = {"from": "F", "to": "T", "alarms": [alarm, {**alarm, "cleared": None}], "forecast": FORECAST}
    shown = replay_screen(replay, unit="F", local=lambda at: f"<{at}>")

    assert shown.startswith("From <F> to <T>: 2 alarms.")
    assert "heater-dead, <A> until <B>\n  no rise" in shown
    assert "heater-dead, <A> to the end" in shown
    assert "until alarm_low" in shown


def test_a_logbook_without_samples_is_said_to_be_one() -> None:
    assert replay_screen({"from": None, "alarms": []}, unit="F", local=str) == "No sample in this logbook."

"""Who stands where in the table, and what it says of each."""

from typing import Any

import pytest

from overwinter.show.rounds import not_reached, reached, summary, table, worst_first


def status(temperature_c: float | None = 3.0, **more: Any) -> dict[str, Any]:
    return {
        "temperature_c": temperature_c,
        "age_s": 4.0,
        "blind": temperature_c is None,
        "unit": "C",
        "heat": {"on": True, "reason": "below-band"},
        "health": "normal",
        "alarms": [],
        **more,
    }


def alarm(code: str, *, acknowledged: bool = False) -> dict[str, Any]:
    return {"code": code, "acknowledged": acknowledged}


HOUSES = [
    reached("well", status(4.0), 0.1),
    reached("cool", status(1.5), 0.1),
    reached("worn", status(4.0, alarms=[alarm("relay-worn", acknowledged=True)]), 0.1),
    reached("cold", status(-1.0, alarms=[alarm("cold")]), 0.1),
    reached("blind", status(None, alarms=[alarm("sensor-lost")], health="failure"), 0.1),
    not_reached("gone", "no route to host", 8.0),
]


def test_the_unreached_stand_on_top_then_the_worst_then_the_coldest() -> None:
    assert [house["host"] for house in worst_first(HOUSES)] == [
        "gone",
        "blind",
        "cold",
        "worn",
        "cool",
        "well",
    ]


def test_each_line_says_how_it_is_there() -> None:
    lines = table(worst_first(HOUSES), unit="C", paint=lambda text, _: text).splitlines()

    assert lines[0].split() == ["house", "now", "heat", "age", "alarms"]
    assert lines[1].split() == ["not", "reached", "gone", "-", "-", "-", "-"]
    assert lines[2].split() == ["critical", "blind", "-", "on,", "below-band", "4", "s", "sensor-lost"]
    assert "worn" in lines[4]
    assert lines[4].endswith("relay-worn (seen)")
    assert lines[6].startswith("fine")
    assert "4.0 C (39.2 F)" in lines[6]
    assert lines[-1] == "gone: no route to host"


@pytest.mark.parametrize(("unit", "shown"), [("F", "39.2 F (4.0 C)"), (None, "4.0 C (39.2 F)")])
def test_one_unit_for_all_or_each_its_own(unit: str | None, shown: str) -> None:
    assert shown in table(HOUSES[:1], unit=unit, paint=lambda text, _: text)


def test_what_a_host_says_cannot_steer_the_terminal() -> None:
    shown = table([not_reached("gone", "\x1b[2Jgone", 1.0)], unit=None, paint=lambda text, _: text)

    assert "\x1b" not in shown


def test_the_summary_counts() -> None:
    assert summary(worst_first(HOUSES)) == "1 not reached, 2 critical, 1 warning, 2 fine"

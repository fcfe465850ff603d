"""The words of a rehearsal."""

from typing import Any

from overwinter.show.rehearsal import ALARMS_SHOWN, page, side_by_side, verdict

FACTS: dict[str, Any] = {
    "froze": False,
    "ice_share": 0.0,
    "coldest_water_c": 2.0,
    "coldest_air_c": 1.0,
    "hottest_air_c": 7.0,
    "hours_below_0c": 0.0,
    "told_after_s": None,
    "duty": 0.25,
    "kwh": 12.34,
    "cost": 3.7,
    "cycles": 41,
    "days": 3.0,
    "seed": 1,
    "alarms": [],
    "failed": [],
}

TOLD = {"code": "cold", "subject": "", "at_s": 90_000.0, "after_s": 300.0, "text": "it is cold"}


def test_the_verdict_says_whether_it_froze_and_how_long_nobody_was_told() -> None:
    assert verdict(FACTS) == "No ice. There was nothing to tell."
    assert verdict({**FACTS, "alarms": [TOLD]}).startswith("No ice. Nothing broke")
    frozen = verdict({**FACTS, "froze": True, "ice_share": 0.4, "told_after_s": 900.0})
    assert (
        frozen
        == "FROZEN: up to 40 % of the pipe's water was ice. The longest until somebody was told: 15 min."
    )


def test_figures_come_in_the_owner_s_unit_and_money() -> None:
    shown = page(FACTS, unit="C", currency="EUR", about="a night", assumed=("a shed",))

    assert "2.0 C (35.6 F)" in shown
    assert "3.7 EUR" in shown
    assert "No alarms." in shown
    assert shown.endswith("Simulated: a shed.")
    assert "cost" not in page({**FACTS, "cost": None}, unit="F")


def test_alarms_have_their_day_and_delay_and_are_not_endless() -> None:
    shown = page({**FACTS, "alarms": [TOLD] * 20, "hours_below_0c": 2.0}, unit="F")

    assert "day   2 01:00  cold, 5 min after the last fault began" in shown
    assert shown.count("  cold") == ALARMS_SHOWN
    assert f"and {20 - ALARMS_SHOWN} more" in shown
    assert "2 h" in shown


def test_what_did_not_hold_stands_below() -> None:
    assert "Not as it must be:\n  ice" in page({**FACTS, "failed": ["ice"]}, unit="F")


def test_side_by_side_has_both_columns() -> None:
    other = {**FACTS, "kwh": 20.0, "froze": True}
    rows = side_by_side(FACTS, other, names=("as set", "warmer"), unit="F").splitlines()

    assert rows[0].split() == ["as", "set", "warmer"]
    assert rows[1].split() == ["frozen", "no", "YES"]
    assert next(row.split() for row in rows if row.startswith("energy"))[1:] == ["12.3", "kWh", "20", "kWh"]

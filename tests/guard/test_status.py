"""What `status` says of a proof test: it is a function check, and not a failure that wakes somebody."""

from dataclasses import replace
from typing import Any

from overwinter.core.nouns import GiveBack, Mode, RelaySpec, TakeAway
from overwinter.guard.status import status
from overwinter.show.status import CRITICAL, FINE, grade
from tests.core.rig import BAND, CALLER, House

UTC_S = 1.768e9


def said(house: House, **more: Any) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "boot": "b",
        "watchdog_s": None,
        "current_flows": None,
        "proof": None,
        "disk": {"settings": "ok", "logbook": "ok"},
        "is_synchronised": True,
        "warnings": [],
        **more,
    }
    return status(house.state, now_s=house.now_s, utc_s=UTC_S, uptime_s=house.now_s, **facts)


def away() -> House:
    house = House(BAND)
    house.settle(3.0)
    house.turn(TakeAway(ticket=1, caller=CALLER, for_s=300.0), after_s=0.0)
    return house


def test_sensors_away_are_a_function_check_before_and_after_the_house_is_blind() -> None:
    house = away()
    assert said(house)["sensors_away_until"] == "2026-01-09T23:11:40Z"
    for _ in range(29):
        house.say(3.0)
        facts = said(house)
        assert facts["health"] == "function-check"
        assert grade(facts) == FINE
    assert facts["blind"]
    assert facts["heat"] == {**facts["heat"], "on": True, "reason": "sensor-lost"}


def test_after_the_test_a_house_that_stays_blind_fails_as_ever() -> None:
    house = away()
    house.settle(3.0, for_s=200.0)
    house.turn(GiveBack(ticket=2, caller=CALLER), after_s=0.0)
    facts = said(house)
    assert (facts["sensors_away_until"], facts["blind"], facts["health"]) == (None, True, "function-check")

    house.turn(after_s=119.0)
    assert said(house)["health"] == "function-check"
    house.turn(after_s=1.0)
    assert said(house)["health"] == "failure"
    assert grade(said(house)) == CRITICAL


def test_a_house_that_is_really_blind_is_no_function_check() -> None:
    house = House(replace(BAND, mode=Mode.WARM))
    house.settle(3.0)
    house.silence(200.0)

    facts = said(house)
    assert (facts["health"], grade(facts)) == ("failure", CRITICAL)


def test_what_is_wired_and_what_was_proved_is_told() -> None:
    house = House(BAND, relay=RelaySpec(contact="NC"))
    proof = {"t": "2026-01-09T04:12:33Z", "boot": "a", "verdict": "passed", "steps": []}
    facts = said(house, current_flows=True, proof=proof)

    assert facts["relay"] == {"contact": "NC", "current_flows": True}
    assert facts["heater"] == {"kind": "air", "backup_thermostat_c": None}
    assert (facts["boot"], facts["up_s"], facts["proof"]) == ("b", 0.0, proof)

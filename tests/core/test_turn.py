"""One turn: what arrives in, one decision and what to record out."""

import math
from dataclasses import replace

import pytest

from overwinter.core.nouns import Code, Event, Fact, Quiet, Reason, Remark, Role, Site, TakeSite
from tests.core.asking import WARM, WHO, adopt
from tests.core.rig import (
    BAND,
    CALLER,
    DOOR,
    HOUR_S,
    OUTSIDE,
    PUMP,
    House,
    is_off,
    is_on,
    reading,
    sensor,
)

# --- a night ---------------------------------------------------------------------------------------------


def test_heat_follows_the_band_through_a_night_and_each_switch_is_an_event() -> None:
    house = House()
    house.settle(3.0)
    house.settle(2.0)
    house.settle(3.0)
    house.settle(4.0)
    house.settle(3.0)

    assert [(event.fields["heat"], event.fields["reason"]) for event in house.named("heat")] == [
        (True, "below-band"),
        (False, "above-band"),
    ]
    on, off = house.named("heat")
    assert on.fields["cycles"] == off.fields["cycles"] == house.state.cycles == 1
    assert on.fields["on_s"] == 0.0
    assert off.fields["on_s"] == off.up_s - on.up_s == house.state.on_s


def test_a_switch_is_recorded_with_the_evidence_and_the_counters() -> None:
    house = House(cycles=41)
    for _ in range(6):
        house.say(1.23456)
    house.say(1.9, after_s=0.26)
    house.settle(4.0)

    on, off = house.named("heat")
    assert on.fields == {
        "heat": True,
        "reason": "below-band",
        "temperature_c": 1.235,
        "cycles": 42,
        "on_s": 0.0,
    }
    assert off.fields["cycles"] == 42
    assert off.fields["on_s"] == round(house.state.on_s, 1) != house.state.on_s
    house.settle(1.9)
    assert house.named("heat")[-1].fields["cycles"] == house.state.cycles == 43


def test_a_start_counts_as_a_release() -> None:
    house = House(start_s=1000.0)
    for _ in range(5):
        assert is_off(house.say(1.9), Reason.MIN_OFF)

    assert is_on(house.say(1.9), Reason.BELOW_BAND)
    assert house.now_s == 1060.0


def test_at_alarm_low_a_start_does_not_wait() -> None:
    assert is_on(House().say(1.5), Reason.BELOW_BAND)


def test_a_restart_does_not_wind_the_blind_clock_back() -> None:
    house = House(start_s=1000.0, believed_s=890.0, believed_c=3.0)

    assert is_on(house.turn().decision, Reason.SENSOR_LOST)


@pytest.mark.parametrize("believed_s", [1000.1, 1e9, math.inf, math.nan], ids=str)
def test_a_blind_clock_from_the_future_counts_as_unknown(believed_s: float) -> None:
    house = House(start_s=1000.0, believed_s=believed_s, believed_c=30.0)

    assert not house.state.heard_control
    assert is_off(house.silence(110.0), Reason.STARTING)
    assert is_on(house.silence(10.0), Reason.SENSOR_LOST)


def test_the_blind_clock_that_the_shell_keeps_is_the_last_believed_reading() -> None:
    house = House(sensors=(sensor(PUMP), sensor(OUTSIDE, Role.OUTDOOR)))
    house.say(3.0, 9.0)
    house.say(None, 9.0)
    house.say(85.0, 9.0)
    house.say(40.0, 9.0)

    assert (house.state.believed_s, house.state.believed_c) == (10.0, 3.0)
    assert house.state.heard_control


def test_warmth_is_remembered_for_six_hours_without_any_sensor() -> None:
    house = House()
    house.settle(12.0)
    last_s = house.now_s
    house.silence(6 * HOUR_S - 10.0)
    assert is_off(house.state.decision, Reason.WARM_ENOUGH)
    house.turn()

    assert house.now_s - last_s == 6 * HOUR_S
    assert is_on(house.state.decision, Reason.SENSOR_LOST)


def test_a_flat_sensor_gets_heat_in_freeze_and_is_believed_again_when_it_moves() -> None:
    house = House()
    for _ in range(721):
        house.say(3.0)
    assert house.state.control[0].flag == 4
    assert is_off(house.state.decision, Reason.INSIDE_BAND)
    for _ in range(11):
        house.say(3.0)
    assert is_on(house.state.decision, Reason.SENSOR_LOST)
    house.say(3.1)

    assert house.state.control[0].flag == 1
    assert is_on(house.state.decision, Reason.INSIDE_BAND)
    for index in range(3):
        house.say(4.1 + 0.1 * index)
    assert is_off(house.settle(4.2), Reason.ABOVE_BAND)


def test_two_sensors_stamps_out_of_order_keep_the_later_one() -> None:
    house = House(sensors=(sensor(PUMP), sensor(DOOR)))
    house.turn(reading(3.0, 9.0, PUMP), reading(2.5, 8.0, DOOR))

    assert (house.state.believed_s, house.state.believed_c) == (9.0, 2.5)


def test_a_reading_of_an_unknown_sensor_is_ignored() -> None:
    house = House()
    house.settle(3.0)
    before = house.state.decision, house.state.look

    house.turn(reading(-20.0, house.now_s, "nobody"), after_s=0.0)

    assert (house.state.decision, house.state.look) == before


def test_a_site_read_again_brings_a_new_calibration() -> None:
    house = House()
    house.turn(TakeSite(site=Site(sensors=(replace(sensor(), offset_c=0.5),))))
    house.say(3.0)

    assert house.state.look.coldest_cold_c == 3.5


# --- other arrivals -----------------------------------------------------------------------------------------


def test_adopted_settings_rule_the_same_turn_and_are_recorded() -> None:
    house = House()
    house.settle(3.0)
    outcome = house.turn(adopt(replace(BAND, low_c=3.2, high_c=5.0), low=(35.6, 37.8)), after_s=0.0)

    assert is_on(outcome.decision, Reason.BELOW_BAND)
    assert outcome.answers == {7: {"saved": True, "changes": {"low": [35.6, 37.8]}}}
    assert outcome.events[0] == Event(
        "settings", house.now_s, {"changes": {"low": [35.6, 37.8]}, "how": "command", **WHO}
    )


def test_settings_adopted_without_a_change_are_no_event() -> None:
    house = House()

    assert house.turn(adopt(BAND)).answers == {7: {"saved": True, "changes": {}}}
    assert not house.events


def test_a_remark_is_recorded_in_its_order() -> None:
    house = House()
    outcome = house.turn(
        Remark(ticket=1, event="note", fields={"text": "new lamp"}),
        adopt(WARM, mode=("freeze", "warm")),
        Remark(ticket=2, event="clock", fields={"by_s": 3.0}),
    )

    assert [event.name for event in outcome.events] == ["note", "settings", "clock"]
    assert outcome.events[0] == Event("note", 10.0, {"text": "new lamp"})
    assert outcome.answers[1] == outcome.answers[2] == {}


def test_quiet_acknowledges_the_present_alarms_once() -> None:
    house = House()
    house.turn(Fact(code=Code.DISK, present=True, text="the disk is full"))
    quiet = Quiet(ticket=5, caller=CALLER)

    assert house.turn(quiet).answers == {5: {}}
    house.turn(quiet)

    assert house.alarms(Code.DISK) == ["raised", "acknowledged"]
    assert house.named("alarm")[-1].up_s == 20.0
    assert house.named("alarm")[-1].fields == {
        "code": "disk",
        "state": "acknowledged",
        "text": "the disk is full",
        **WHO,
    }


def test_a_fact_is_alarming_until_it_is_over() -> None:
    house = House()
    house.turn(Fact(code=Code.CLOCK, present=True, text="the clock is wrong"))
    house.turn(Fact(code=Code.CLOCK, present=False, text=""))
    house.turn(Fact(code=Code.DISK, present=False, text="never was"))

    assert house.alarms(Code.CLOCK) == ["raised", "cleared"]
    assert not house.state.facts


def test_a_cleared_alarm_says_that_it_is_over_and_what_it_was() -> None:
    house = House()
    house.turn(Fact(code=Code.DISK, present=True, text="the disk is full"))
    house.silence(60 * 60.0)
    house.turn(Fact(code=Code.DISK, present=False, text=""), after_s=29.0)

    assert [
        (event.up_s, event.fields["text"]) for event in house.named("alarm") if event.fields["code"] == "disk"
    ] == [
        (10.0, "the disk is full"),
        (3639.0, "over after 60 min; it was: the disk is full"),
    ]

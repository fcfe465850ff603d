"""One turn: what arrives in, one decision and what to record out."""

import math
from dataclasses import replace

import pytest

from overwinter.core.nouns import (
    Code,
    ContactSpec,
    ContactState,
    Event,
    Fact,
    Quiet,
    Reason,
    Remark,
    Role,
    Site,
    TakeSite,
)
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


# --- samples ------------------------------------------------------------------------------------------------


def test_a_sample_says_what_the_record_period_came_to() -> None:
    house = House(
        sensors=(sensor(PUMP), sensor(OUTSIDE, Role.OUTDOOR)),
        contacts=(ContactSpec(name="pump", kind="pump", pin=22),),
    )
    for index in range(6):
        house.turn(
            reading(1.9, house.now_s + 10.0, humidity_pct=70.0 + index),
            reading(-5.0, house.now_s + 10.0, OUTSIDE),
            ContactState(name="pump", active=index in (1, 2)),
        )
    house.turn(reading(1.9, 70.0, humidity_pct=80.0))

    (sample,) = house.named("sample")
    assert sample == Event(
        "sample",
        60.0,
        {
            "temperature_c": 1.9,
            "humidity_pct": 75.0,
            "flag": 1,
            "heat": 0.0,
            "mode": "freeze",
            "low_c": 2.0,
            "high_c": 4.0,
            "sensors": {PUMP: [1.9, 75.0, 1], OUTSIDE: [-5.0, None, 1]},
            "outdoor_c": -5.0,
            "contacts": {"pump": 0.3333},
        },
    )
    house.settle(1.9, -5.0, for_s=50.0)
    assert house.named("sample")[-1].fields["heat"] == 1.0


def test_a_sample_of_a_blind_house_gives_no_temperature() -> None:
    house = House()
    house.settle(3.0, for_s=60.0)
    house.silence(120.0)

    fields = house.named("sample")[-1].fields
    assert fields["temperature_c"] is None
    assert fields["humidity_pct"] is None
    assert fields["flag"] == 9
    assert fields["heat"] == 0.0
    assert fields["sensors"] == {PUMP: [None, None, 9]}


def test_a_sample_of_a_blind_house_gives_no_temperature_though_noise_still_says_cold() -> None:
    house = House()
    house.settle(3.0, for_s=60.0)
    for index in range(18):
        house.turn(reading(-20.0 if index % 2 else -39.0, house.now_s + 10.0, humidity_pct=70.0))
    assert house.state.look.coldest_cold_c is not None

    fields = house.named("sample")[-1].fields
    assert fields["temperature_c"] is None
    assert fields["humidity_pct"] is None
    assert fields["flag"] == 3
    assert fields["sensors"] == {PUMP: [-20.0, 70.0, 3]}


def test_a_sample_is_rounded_to_what_a_sensor_can_tell() -> None:
    house = House(replace(BAND, low_c=2.22222, high_c=4.44444, record_s=70.0))
    for _ in range(7):
        house.say(2.012345)

    fields = house.named("sample")[-1].fields
    assert (fields["temperature_c"], fields["low_c"], fields["high_c"]) == (2.012, 2.222, 4.444)
    assert fields["heat"] == 0.1429, "for ten seconds of seventy"
    assert fields["sensors"] == {PUMP: [2.012, None, 1]}


def test_a_sample_after_a_short_period_is_a_share_of_that_period() -> None:
    house = House(
        contacts=(
            ContactSpec(name="pump", kind="pump", pin=22),
            ContactSpec(name="door", kind="door", pin=23),
        ),
        start_s=1000.0,
        believed_s=500.0,
        believed_c=3.0,
    )  # blind: heat is on at once
    house.turn(ContactState(name="pump", active=True), ContactState(name="door", active=False), after_s=0.0)
    house.turn(after_s=119.5)
    house.turn(after_s=0.5)

    first, second = house.named("sample")
    assert (first.up_s, second.up_s) == (1119.5, 1120.0)
    assert first.fields["heat"] == second.fields["heat"] == 1.0
    assert first.fields["contacts"] == second.fields["contacts"] == {"pump": 1.0, "door": 0.0}


@pytest.mark.parametrize(
    ("late_s", "next_s"),
    [
        pytest.param(119.0, 120.0, id="less than two periods: the beat holds"),
        pytest.param(120.0, 180.0, id="two: a new beat"),
        pytest.param(150.0, 210.0, id="between two and three: a new beat"),
    ],
)
def test_the_beat_is_kept_unless_a_whole_period_was_missed(late_s: float, next_s: float) -> None:
    house = House()
    house.turn(after_s=late_s)
    house.silence(75.0, step_s=1.0)

    assert [event.up_s for event in house.named("sample")][:2] == [late_s, next_s]


def test_the_last_raw_reading_is_recorded_whatever_its_flag_and_no_infinity_ever() -> None:
    house = House(replace(BAND, record_s=10.0))
    for value, recorded in (
        (85.0, [85.0, None, 4]),
        (math.inf, [None, None, 9]),
        (math.nan, [None, None, 9]),
    ):
        house.say(value)
        assert house.named("sample")[-1].fields["sensors"] == {PUMP: recorded}


def test_samples_keep_their_beat_when_a_turn_comes_late() -> None:
    house = House()
    for after_s in (65.0, 55.0, 60.0, 30.0, 30.0):
        house.turn(after_s=after_s)

    assert [event.up_s for event in house.named("sample")] == [65.0, 120.0, 180.0, 240.0]


def test_a_late_turn_does_not_lose_heated_time() -> None:
    house = House(start_s=1000.0, believed_s=500.0, believed_c=3.0)  # blind: heat is on at once
    house.turn(after_s=0.0)
    for after_s in (65.0, 55.0, 60.0):
        house.turn(after_s=after_s)

    assert [event.fields["heat"] for event in house.named("sample")] == [1.0, 1.0, 1.0]


def test_after_a_long_pause_one_sample_is_taken_and_a_new_beat_begins() -> None:
    house = House()
    for after_s in (10_000.0, 50.0, 10.0):
        house.turn(after_s=after_s)

    assert [event.up_s for event in house.named("sample")] == [10_000.0, 10_060.0]


def test_a_new_record_period_holds_from_the_last_beat() -> None:
    house = House()
    house.silence(60.0)
    house.turn(adopt(replace(BAND, record_s=30.0)))
    house.silence(20.0)

    assert [event.up_s for event in house.named("sample")] == [60.0, 90.0]


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

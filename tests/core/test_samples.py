"""What a sample says of its record period, and the beat at which samples are taken."""

import math
from dataclasses import replace

import pytest

from overwinter.core.nouns import ContactSpec, ContactState, Event, Role
from tests.core.asking import adopt
from tests.core.rig import BAND, OUTSIDE, PUMP, House, reading, sensor


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

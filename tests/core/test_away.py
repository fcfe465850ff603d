"""The control sensors away for a proof test: the rules act by themselves, and it always ends."""

from dataclasses import replace

import pytest

from overwinter.core.nouns import (
    Adopt,
    Code,
    GiveBack,
    Mode,
    Quiet,
    Reading,
    Reason,
    Refused,
    Role,
    Settings,
    TakeAway,
)
from tests.core.rig import BAND, CALLER, DOOR, OUTSIDE, PUMP, House, is_off, is_on, reading, sensor

WHO = {"uid": 1000, "user": "ada", "pid": 4711}


def taken(house: House, for_s: float = 300.0) -> object:
    return house.turn(TakeAway(ticket=1, caller=CALLER, for_s=for_s), after_s=0.0).answers[1]


def given_back(house: House) -> object:
    return house.turn(GiveBack(ticket=2, caller=CALLER), after_s=0.0).answers[2]


def settled(settings: Settings = BAND, temperature_c: float = 3.0, **more: object) -> House:
    house = House(settings, **more)  # type: ignore[arg-type]
    house.settle(temperature_c)
    return house


def problems(answer: object) -> str:
    assert isinstance(answer, Refused)
    return "\n".join(problem.text for problem in answer.problems)


def steps(house: House) -> list[dict[str, object]]:
    return [dict(event.fields) for event in house.named("proof")]


def test_in_freeze_the_fail_safe_heats_once_they_are_lost() -> None:
    house = settled()
    assert taken(house) == {"until_s": 600.0}

    assert is_off(house.settle(3.0, for_s=110.0), Reason.INSIDE_BAND)
    assert is_on(house.say(3.0), Reason.SENSOR_LOST)
    assert house.state.is_blind
    track = house.state.control[0]
    assert (track.flag, track.error, track.temperature_c) == (9, "put aside for a proof test", None)


def test_in_warm_the_fail_safe_keeps_heat_off() -> None:
    house = settled(replace(BAND, mode=Mode.WARM), 1.9)
    assert house.state.decision.heat
    taken(house)

    assert is_off(house.settle(1.9, for_s=130.0), Reason.SENSOR_LOST)


def test_on_a_warm_day_it_is_seen_to_decide_against_heat() -> None:
    house = settled(temperature_c=12.0)
    taken(house)

    assert is_off(house.settle(12.0, for_s=130.0), Reason.WARM_ENOUGH)


def test_given_back_they_are_believed_again() -> None:
    house = settled()
    taken(house)
    house.settle(3.0, for_s=200.0)
    assert house.state.is_blind

    assert given_back(house) == {}
    house.say(3.0)
    assert not house.state.is_blind
    assert house.state.decision.reason is not Reason.SENSOR_LOST
    assert steps(house) == [
        {"step": "sensors-away", "for_s": 300.0, **WHO},
        {"step": "sensors-back", "why": "given-back", **WHO},
    ]


def test_what_was_never_taken_can_be_given_back() -> None:
    house = settled()

    assert given_back(house) == {}
    assert steps(house) == []


def test_it_ends_by_itself() -> None:
    house = settled()
    taken(house, 300.0)
    house.settle(3.0, for_s=290.0)
    assert house.state.is_blind

    house.say(3.0)  # 300 s later: this reading is heard again
    assert house.state.away_until_s is None
    assert not house.state.is_blind
    assert steps(house)[1] == {"step": "sensors-back", "why": "over"}


def test_after_a_sleep_beyond_its_end_it_is_over() -> None:
    house = settled()
    taken(house)
    house.say(3.0, after_s=7 * 86400.0)

    assert not house.state.is_blind


def test_mode_observe_ends_it_and_another_change_does_not() -> None:
    house = settled()
    taken(house)
    for ticket, settings in ((3, replace(BAND, low_c=2.5)), (4, replace(BAND, mode=Mode.OBSERVE))):
        assert house.state.away_until_s is not None
        adopt = Adopt(ticket=ticket, caller=CALLER, settings=settings, changes={}, how="command")
        house.turn(adopt)

    assert house.state.away_until_s is None
    assert steps(house)[1] == {"step": "sensors-back", "why": "observing", **WHO}


@pytest.mark.parametrize("at", [24.0, 30.0])
def test_too_hot_is_heard_all_the_same(at: float) -> None:
    house = settled()
    taken(house)
    house.settle(3.0, for_s=200.0)
    assert is_on(house.state.decision, Reason.SENSOR_LOST)

    assert is_off(house.say(at), Reason.TOO_HOT)
    assert house.state.away_until_s is not None


def test_a_calibration_counts_where_it_is_too_hot() -> None:
    house = House(BAND, sensors=(replace(sensor(), offset_c=1.0),))
    house.settle(2.0)
    taken(house)
    house.settle(2.0, for_s=200.0)

    assert is_off(house.say(23.0), Reason.TOO_HOT)


def test_a_read_that_failed_keeps_its_own_reason() -> None:
    house = settled()
    taken(house)
    house.say(None)

    assert house.state.control[0].error == "no answer"


def test_other_sensors_stay() -> None:
    house = House(BAND, sensors=(sensor(), sensor(OUTSIDE, Role.OUTDOOR)))
    house.settle(3.0, 11.0)
    taken(house)

    assert is_off(house.settle(3.0, 11.0, for_s=200.0), Reason.WARM_ENOUGH)


def test_nobody_is_woken_by_it() -> None:
    """Not while they are away, nor between their return and the next reading; a real loss is told as ever."""
    house = settled(replace(BAND, lost_after_s=30.0))
    taken(house, 600.0)
    house.settle(3.0, for_s=600.0)
    assert house.alarms(Code.SENSOR_LOST) == []

    house.silence(620.0)
    assert house.alarms(Code.SENSOR_LOST) == []
    house.silence(60.0)
    assert house.alarms(Code.SENSOR_LOST) == ["raised"]


def test_the_loss_of_another_sensor_is_told_meanwhile() -> None:
    house = House(BAND, sensors=(sensor(), sensor(OUTSIDE, Role.OUTDOOR)))
    house.settle(3.0, 1.0)
    for _ in range(68):
        house.say(3.0 + 0.01 * (house.now_s % 20 > 9), None)
    taken(house)
    for _ in range(10):
        house.say(3.0, None)

    assert house.alarms(Code.SENSOR_LOST) == ["raised"]


@pytest.mark.parametrize("for_s", [0.0, -1.0, 600.1, float("nan"), float("inf")])
def test_a_time_out_of_range_is_refused(for_s: float) -> None:
    house = settled()

    assert problems(taken(house, for_s)).endswith(" s: more than 0 and at most 600 seconds")
    assert house.state.away_until_s is None
    assert steps(house) == []


def test_a_time_too_short_to_see_anything_is_refused() -> None:
    house = settled()

    assert problems(taken(house, 120.0)) == (
        "sensors away for 120 s: must be longer than it takes to be blind, 120 s"
    )
    assert taken(house, 120.5) == {"until_s": 420.5}


def test_a_fail_safe_that_waits_too_long_to_be_seen_says_what_to_set() -> None:
    house = settled(replace(BAND, lost_after_s=600.0))

    assert problems(taken(house, 600.0)) == (
        "sensors away for 600 s: must be longer than it takes to be blind, 600 s, and 600 s is the most: "
        "overwinter set failsafe.lost_after_s=120"
    )


def test_in_observe_it_is_refused_with_the_fix() -> None:
    house = settled(replace(BAND, mode=Mode.OBSERVE))

    assert problems(taken(house)) == (
        "mode observe never heats, so no fail-safe can be seen: change the mode first "
        "(overwinter mode freeze)"
    )


def test_it_cannot_be_prolonged() -> None:
    house = settled()
    taken(house)
    house.settle(3.0, for_s=100.0)

    assert problems(taken(house)) == "the sensors are away already, for 200 s more"
    assert house.state.away_until_s == 600.0


def test_heat_by_hand_would_hide_the_fail_safe() -> None:
    house = settled()
    house.hand(heat=True)

    assert problems(taken(house)) == (
        "heat is set by hand, which goes before the fail-safe: overwinter heat release"
    )


def test_too_hot_is_no_time_for_a_test() -> None:
    house = settled(temperature_c=25.0)

    assert problems(taken(house)) == (
        "a control sensor is at or above the ceiling, 75.2 F: no time for a test"
    )


@pytest.mark.parametrize("after_c", [1.5, 1.7])
def test_cold_is_no_time_for_a_test(after_c: float) -> None:
    """At alarm_low, and as long as that alarm lasts."""
    house = settled(temperature_c=1.5)
    for _ in range(10):
        house.say(1.5)
    house.settle(after_c)
    assert house.state.watch.is_raised(Code.COLD)

    assert problems(taken(house)) == "it is at or near alarm_low, 34.7 F: no time for a test"


def test_the_first_cold_reading_is_no_time_for_a_test_either() -> None:
    house = House(BAND)
    answer = house.turn(reading(1.0, 10.0), TakeAway(ticket=1, caller=CALLER, for_s=300.0)).answers[1]

    assert "alarm_low" in problems(answer)


def test_a_sensor_that_is_not_believed_cannot_be_taken_away() -> None:
    house = House(BAND, sensors=(sensor(), sensor(DOOR)))
    for _ in range(30):
        house.say(3.0, None)

    assert problems(taken(house)) == (
        f"sensor {DOOR!r} gives nothing believable (no answer): see to it first"
    )


def test_nor_one_that_jumps_nor_one_that_is_stuck() -> None:
    house = settled()
    for index in range(20):
        house.say((10.0, 18.0, -6.0)[index % 3])
    assert (
        problems(taken(house)) == f"sensor {PUMP!r} gives nothing believable (readings jump): see to it first"
    )

    stuck = House(replace(BAND, flat_after_s=60.0))
    for _ in range(8):
        stuck.say(3.0)
    assert "a stuck sensor" in problems(taken(stuck))


def test_every_reason_to_refuse_comes_at_once() -> None:
    house = House(replace(BAND, mode=Mode.OBSERVE))
    answer = taken(house, 700.0)

    assert isinstance(answer, Refused)
    assert [problem.key for problem in answer.problems] == ["mode", "for_s", "sensor"]


def test_readings_in_the_same_turn_are_put_aside_from_the_command_on() -> None:
    house = settled()
    now_s = house.now_s + 10.0
    later = Reading(sensor=PUMP, taken_s=now_s, temperature_c=9.0)
    house.turn(reading(3.0, now_s - 1.0), TakeAway(ticket=1, caller=CALLER, for_s=300.0), later)

    assert house.state.believed_s == now_s - 1.0
    house.turn(Quiet(ticket=9, caller=CALLER))
    assert house.state.control[0].error == "put aside for a proof test"

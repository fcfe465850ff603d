"""What all the sensors together say: too hot."""

from dataclasses import replace

import pytest

from overwinter.core.look import (
    is_still_hot,
)
from overwinter.core.nouns import Decision, Reason
from overwinter.core.state import Hot
from tests.core.rig import BAND, HOUR_S, PUMP, House, is_off, is_on

# --- too hot ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("temperature_c", "reason"), [(23.99, Reason.ABOVE_BAND), (24.0, Reason.TOO_HOT)], ids=["below", "at"]
)
def test_too_hot_begins_at_the_ceiling_with_one_believable_reading(
    temperature_c: float, reason: Reason
) -> None:
    house = House()
    house.settle(23.5)

    assert house.say(temperature_c) == house.state.decision
    assert is_off(house.state.decision, reason)


@pytest.mark.parametrize("length", [1, 2, 3])
@pytest.mark.parametrize(
    ("house_c", "spike_c"),
    [
        pytest.param(3.0, -30.0, id="cold ones in a house that is warm enough"),
        pytest.param(1.9, 60.0, id="hot ones in a house that is heated"),
    ],
)
def test_a_burst_of_damaged_frames_acts_neither_way(house_c: float, spike_c: float, length: int) -> None:
    house = House()
    house.settle(house_c)
    was = house.state.decision

    for _ in range(length):
        assert house.say(spike_c) == was
    for index in range(10):
        assert house.say(house_c + 0.01 * (index % 2)) == was

    assert len(house.named("heat")) == was.heat, "no switch but the first of a cold house"


@pytest.mark.parametrize(
    ("house_c", "said_c", "acts"),
    [
        pytest.param(3.0, -30.0, Decision(True, Reason.BELOW_BAND), id="cold"),
        pytest.param(1.9, 60.0, Decision(False, Reason.TOO_HOT), id="too hot"),
    ],
)
def test_what_outlasts_a_burst_acts_both_ways(house_c: float, said_c: float, acts: Decision) -> None:
    house = House()
    house.settle(house_c)
    was = house.state.decision
    for _ in range(3):
        assert house.say(said_c) == was

    assert house.say(said_c) == acts


@pytest.mark.parametrize(("window", "heard_from"), [(3, 2), (5, 4), (7, 6)])
def test_suspects_at_the_ceiling_are_too_hot_once_they_are_heard(window: int, heard_from: int) -> None:
    """They need not agree: a fire rises faster than any rate limit."""
    house = House(replace(BAND, window=window))
    house.settle(1.9)
    for index in range(heard_from - 1):
        assert is_on(house.say(30.0 + 8.0 * index), Reason.BELOW_BAND)

    assert is_off(house.say(70.0), Reason.TOO_HOT)


def test_without_a_median_too_hot_still_takes_a_believed_reading() -> None:
    """With a window of one every step is believed at once, and so is this one."""
    house = House(replace(BAND, window=1))
    house.settle(1.9)

    assert is_off(house.say(30.0), Reason.TOO_HOT)


@pytest.mark.parametrize("between", [None, 85.0], ids=["missing", "failed"])
def test_a_failed_read_between_two_suspects_does_not_excuse_them(between: float | None) -> None:
    house = House(replace(BAND, window=3))
    house.settle(1.9)
    house.say(30.0)
    house.say(between)

    assert is_off(house.say(30.0), Reason.TOO_HOT)


@pytest.mark.parametrize("between_c", [1.9, 20.0], ids=["believable", "suspect, but cooler"])
def test_a_reading_below_the_ceiling_between_two_suspects_does(between_c: float) -> None:
    house = House(replace(BAND, window=3))
    house.settle(1.9)
    house.say(30.0)
    house.say(between_c)

    assert house.say(30.0).reason is not Reason.TOO_HOT


def test_too_hot_ends_with_one_believable_reading_below_the_ceiling() -> None:
    house = House()
    house.settle(1.9)
    for _ in range(4):
        house.say(30.0)
    assert is_off(house.state.decision, Reason.TOO_HOT)

    assert is_off(house.say(1.9), Reason.MIN_OFF)
    for _ in range(5):
        house.say(1.9)

    assert is_on(house.state.decision, Reason.BELOW_BAND), "two wrong readings cost min_off_s, not an hour"


@pytest.mark.parametrize("hand", [False, True], ids=["freeze", "on by hand"])
def test_a_sensor_that_trembles_at_the_ceiling_does_not_chatter(hand: bool) -> None:
    house = House()
    house.settle(23.9)
    if hand:
        house.hand(heat=True, for_s=7200.0)
    house.say(24.0)
    for index in range(60):
        house.say((23.6, 23.0, 23.7, 24.1)[index % 4])  # no step too fast to be believed
        assert house.state.control[0].flag == 1
        assert is_off(house.state.decision, Reason.TOO_HOT)

    house.say(23.5)
    house.say(22.99)
    assert house.state.decision.reason is not Reason.TOO_HOT
    house.say(23.7)
    assert house.state.decision.reason is not Reason.TOO_HOT, "over is over: it takes the ceiling again"


def test_suspects_in_the_dead_zone_keep_too_hot_and_those_below_it_do_not() -> None:
    house = House()
    house.settle(40.0)
    hot = house.state.hot[PUMP]
    for _ in range(3):
        house.say(23.0)
    assert (hot.suspects, hot.since_s) == (3, house.now_s - 30.0)
    house.say(23.0)
    assert (hot.suspects, hot.since_s) == (4, house.now_s)
    house.say(22.99)

    assert is_off(house.state.decision, Reason.ABOVE_BAND), "the fifth in agreement is believed"


@pytest.mark.parametrize(
    ("since_s", "holds"),
    [
        pytest.param(None, False, id="never said"),
        pytest.param(0.1, True, id="just under an hour ago"),
        pytest.param(0.0, False, id="an hour ago"),
    ],
)
def test_what_was_said_about_the_ceiling_holds_for_less_than_an_hour(
    since_s: float | None, holds: bool
) -> None:
    assert is_still_hot(Hot(since_s=since_s), HOUR_S) is holds


def test_the_dead_zone_below_the_ceiling_ends_with_the_hour_too() -> None:
    house = House()
    house.settle(24.0)
    house.silence(HOUR_S)

    assert is_off(house.say(23.5), Reason.INSIDE_BAND)


def test_a_sensor_lost_while_too_hot_stays_so_for_an_hour_and_is_then_merely_lost() -> None:
    house = House()
    house.settle(24.0)
    assert is_off(house.state.decision, Reason.TOO_HOT)
    lost_s = house.now_s

    house.silence(HOUR_S - 10.0)
    assert is_off(house.state.decision, Reason.TOO_HOT)
    house.turn()

    assert house.now_s - lost_s == HOUR_S
    assert is_off(house.state.decision, Reason.WARM_ENOUGH), "24 °C was warm, and is not six hours old"
    house.silence(6 * HOUR_S - HOUR_S)
    assert is_on(house.state.decision, Reason.SENSOR_LOST)


def test_a_lost_sensors_suspects_do_not_keep_heat_off_beyond_the_hour() -> None:
    """Noise above the ceiling that never passes ends in blind heat, not in a heater that is kept off."""
    house = House()
    house.settle(3.0)
    first_s = house.now_s
    while house.now_s < first_s + HOUR_S + 120.0:
        house.say(40.0 if round(house.now_s / 10.0) % 2 else 75.0)

    assert house.state.control[0].flag == 3
    assert is_on(house.state.decision, Reason.SENSOR_LOST)

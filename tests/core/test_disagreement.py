"""What all the sensors together say: disagreement."""

from dataclasses import replace

import pytest

from overwinter.core.decide import Look
from overwinter.core.look import (
    look_around,
)
from overwinter.core.nouns import Mode, Reason, Role
from tests.core.places import THREE, TWO
from tests.core.rig import BAND, DOOR, OUTSIDE, House, is_off, is_on, reading, sensor

# --- disagreement ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cold_c", "disagree"), [(2.0, True), (2.02, False)], ids=["at low", "just above low"]
)
def test_control_sensors_disagree_when_one_is_too_hot_and_another_at_low(
    cold_c: float, disagree: bool
) -> None:
    house = House(sensors=TWO)
    for _ in range(10):
        house.say(24.0, cold_c)

    assert (house.state.look.disagree_s is not None) is disagree
    assert house.state.decision.reason is (Reason.SENSORS_DISAGREE if disagree else Reason.TOO_HOT)
    assert house.state.decision.heat is disagree


def test_a_disagreement_counts_from_its_beginning_and_is_over_when_it_is_over() -> None:
    house = House(replace(BAND, blind_duty=0.5), sensors=TWO)
    house.settle(24.0, 1.9, for_s=290.0)
    assert house.state.look.disagree_s == 280.0
    assert house.state.decision.heat
    house.settle(24.0, 1.9, for_s=30.0)
    assert is_off(house.state.decision, Reason.SENSORS_DISAGREE)
    house.settle(24.0, 3.9)
    assert house.state.look.disagree_s is not None, "the cold one has not reached high: no chatter around low"
    house.settle(24.0, 4.0, for_s=40.0)

    assert house.state.look.disagree_s is None
    assert is_off(house.state.decision, Reason.TOO_HOT)


def test_the_cold_one_of_a_disagreement_does_not_chatter_around_low() -> None:
    house = House(sensors=TWO)
    house.settle(24.0, 1.9)
    begun_s = house.state.disagree_since_s
    for _ in range(20):
        house.settle(24.0, 2.1, for_s=60.0)
        house.settle(24.0, 1.9, for_s=60.0)
        house.settle(24.0, 3.98, for_s=60.0)
        assert house.state.disagree_since_s == begun_s

    assert [event.fields["heat"] for event in house.named("heat")] == [True]


def test_a_disagreement_that_is_over_begins_again_only_at_low() -> None:
    house = House(sensors=TWO)
    house.settle(24.0, 1.9)
    house.settle(24.0, 4.0, for_s=50.0)
    assert is_off(house.state.decision, Reason.TOO_HOT)
    house.settle(24.0, 2.01)
    assert is_off(house.state.decision, Reason.TOO_HOT)
    house.settle(24.0, 2.0)

    assert is_on(house.state.decision, Reason.SENSORS_DISAGREE)


def test_a_disagreement_ends_when_the_hot_one_clears() -> None:
    house = House(sensors=TWO)
    house.settle(24.0, 1.9)
    house.say(23.0, 1.9)
    assert house.state.look.disagree_s is not None
    house.say(22.99, 1.9)

    assert house.state.look.disagree_s is None
    assert is_on(house.state.decision, Reason.BELOW_BAND)


def test_only_the_sensor_that_said_cold_keeps_a_disagreement_going() -> None:
    """A third one inside the band never spoke against the ceiling."""
    house = House(sensors=THREE)
    house.settle(24.0, 1.9, 3.0)
    assert is_on(house.state.decision, Reason.SENSORS_DISAGREE)
    assert house.state.speak_cold == {DOOR}
    house.settle(24.0, 4.0, 3.0)

    assert is_off(house.state.decision, Reason.TOO_HOT)


def test_a_disagreement_does_not_outlive_the_sensor_that_said_cold() -> None:
    house = House(sensors=THREE)
    house.settle(24.0, 1.9, 3.0)
    for index in range(11):
        house.say(24.0, None, 3.0 + 0.01 * (index % 2))
    assert house.state.decision.reason is Reason.SENSORS_DISAGREE
    house.say(24.0, None, 3.0)

    assert house.state.control[1].is_lost(house.now_s, 120.0)
    assert is_off(house.state.decision, Reason.TOO_HOT)


def test_a_disagreement_outlasts_a_silence_that_is_shorter_than_lost_after() -> None:
    """By a hung thread the window empties before the sensor counts as lost."""
    house = House(sensors=TWO)
    house.settle(24.0, 1.9)
    begun_s = house.state.disagree_since_s
    for _ in range(11):
        house.say(24.0)
        assert house.state.decision.reason is Reason.SENSORS_DISAGREE
    assert house.state.control[1].cold_c(house.now_s, BAND) is None
    house.say(24.0, 1.9)

    assert house.state.disagree_since_s == begun_s


def test_a_doubtful_cold_beside_a_believed_warm_does_not_make_a_disagreement_chatter() -> None:
    house = House(sensors=TWO)
    house.settle(24.0, 6.0)
    house.say(24.0, None)  # a failed read, so that the believed ones stay young for longer
    for index in range(9):
        house.say(24.0, -20.0 if index % 2 else -39.0)
        if index == 3:
            assert house.state.control[1].warm_c(house.now_s, BAND) is not None
        assert house.state.decision.heat is (index >= 3)


def test_a_lone_sensor_cannot_disagree_with_itself() -> None:
    house = House()
    house.settle(1.9)
    for _ in range(4):
        house.say(30.0)

    assert house.state.look.disagree_s is None
    assert is_off(house.state.decision, Reason.TOO_HOT)


def test_a_lost_sensors_noise_does_not_overrule_a_believed_ceiling() -> None:
    house = House(sensors=TWO)
    house.settle(24.0, 6.0)
    while not house.state.control[1].is_lost(house.now_s, 120.0):
        house.say(24.0, -20.0 if round(house.now_s / 10.0) % 2 else -39.0)
    house.say(24.0, -20.0)
    cold_c = house.state.control[1].cold_c(house.now_s, BAND)
    assert cold_c is not None
    assert cold_c < 2.0

    assert house.state.look.disagree_s is None
    assert is_off(house.state.decision, Reason.TOO_HOT)


def test_looking_twice_in_the_same_moment_says_the_same() -> None:
    house = House(sensors=(*TWO, sensor(OUTSIDE, Role.OUTDOOR)))
    house.settle(24.0, 1.9, 12.0)

    assert look_around(house.state, house.now_s) == look_around(house.state, house.now_s)


def test_without_sensors_freeze_ends_in_blind_heat() -> None:
    house = House(sensors=())
    assert is_off(house.silence(110.0), Reason.STARTING)

    assert is_on(house.silence(10.0), Reason.SENSOR_LOST)
    assert house.state.look == Look(blind_s=0.0)


def test_without_sensors_warm_ends_without_heat() -> None:
    house = House(replace(BAND, mode=Mode.WARM), sensors=())

    assert is_off(house.silence(130.0), Reason.SENSOR_LOST)


def test_a_reading_from_the_future_does_not_stay_fresh() -> None:
    house = House()
    house.settle(3.0)
    house.turn(reading(3.0, 1e9))

    assert is_on(house.silence(120.0), Reason.SENSOR_LOST)

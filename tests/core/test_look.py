"""What all the sensors together say: the coldest, the hottest, blindness, warmth elsewhere, disagreement."""

from dataclasses import replace

import pytest

from overwinter.core.judge import lost_after_s
from overwinter.core.look import coldest_believed_c, coldest_track, outdoor_temperature_c
from overwinter.core.nouns import Reason, Role
from tests.core.places import TWO, WITH_OUTSIDE
from tests.core.rig import BAND, DOOR, HOUR_S, OUTSIDE, PUMP, House, is_off, is_on, sensor


@pytest.mark.parametrize(
    ("lost_s", "sense_s", "effective_s"),
    [
        pytest.param(120.0, 10.0, 120.0, id="as set"),
        pytest.param(3.0, 1.0, 3.0, id="as set, short"),
        pytest.param(3.0, 10.0, 20.0, id="never less than two readings apart"),
    ],
)
def test_a_slow_pace_is_not_a_lost_sensor(lost_s: float, sense_s: float, effective_s: float) -> None:
    assert lost_after_s(replace(BAND, lost_after_s=lost_s, sense_s=sense_s)) == effective_s


# --- coldest and hottest -----------------------------------------------------------------------------------


def test_the_coldest_turns_heat_on_and_every_one_must_be_warm_to_turn_it_off() -> None:
    house = House(sensors=TWO)
    assert is_on(house.settle(6.0, 1.9), Reason.BELOW_BAND)
    assert is_on(house.settle(6.0, 3.9), Reason.INSIDE_BAND)
    assert is_off(house.settle(6.0, 4.0), Reason.ABOVE_BAND)
    assert house.state.look.hottest_warm_c == pytest.approx(6.0, abs=0.011)  # the tremble, and a float's hair


def test_heat_is_not_turned_off_while_one_living_sensor_cannot_say_that_it_is_warm() -> None:
    house = House(sensors=TWO)
    house.settle(1.9, 1.9)
    assert house.state.decision.heat
    # The second is silent for less than lost_after_s: alive, but with nothing young enough to say.
    for _ in range(10):
        house.say(5.0)
    assert house.state.look.coldest_warm_c is None
    assert house.state.decision.heat
    for _ in range(10):
        house.say(5.0)

    assert is_off(house.state.decision, Reason.ABOVE_BAND), "lost for good, it has no say any more"


def test_a_lost_sensor_hides_none_behind_it() -> None:
    house = House(sensors=TWO)
    house.settle(6.0, 6.0)
    for index in range(20):
        house.say(None, 5.0 + 0.01 * (index % 2))

    assert house.state.look.coldest_warm_c == pytest.approx(5.0, abs=0.011)  # the tremble


def test_a_doubtful_cold_of_one_sensor_heats_the_house() -> None:
    house = House(sensors=TWO)
    house.settle(6.0, 6.0)

    for _ in range(3):
        house.say(6.0, -5.0)
    assert not house.state.decision.heat, "three may be a burst of damaged frames"
    house.say(6.0, -5.0)

    assert is_on(house.state.decision, Reason.BELOW_BAND)
    assert house.state.look.coldest_warm_c is None, "and while it is doubtful nothing turns heat off"


def test_the_coldest_track_speaks_for_the_house() -> None:
    house = House(sensors=TWO)
    assert coldest_track(house.state, 0.0) is None
    house.settle(6.0, 3.0)

    coldest = coldest_track(house.state, house.now_s)

    assert coldest is not None
    assert coldest.spec.name == DOOR


def test_of_two_that_are_equally_cold_the_first_of_the_site_speaks() -> None:
    house = House(sensors=TWO)
    house.settle(3.0, 3.0)

    coldest = coldest_track(house.state, house.now_s)

    assert coldest is not None
    assert coldest.spec.name == PUMP


# --- blind -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("silence_s", "blind_s"),
    [
        pytest.param(119.9, None, id="just before lost_after_s"),
        pytest.param(120.0, 0.0, id="exactly"),
        pytest.param(130.0, 10.0, id="after"),
    ],
)
def test_blind_begins_exactly_lost_after_s_after_the_last_believed_reading(
    silence_s: float, blind_s: float | None
) -> None:
    house = House()
    house.settle(3.0)

    house.turn(after_s=silence_s)

    assert house.state.look.blind_s == blind_s
    assert house.state.is_blind is (blind_s is not None)


def test_one_living_control_sensor_is_enough_to_see() -> None:
    house = House(sensors=TWO)
    house.settle(6.0, 6.0)
    for _ in range(60):
        house.say(6.0)

    assert not house.state.is_blind


@pytest.mark.parametrize("role", [Role.OUTDOOR, Role.EXTRA])
def test_a_sensor_of_another_role_does_not_make_us_see(role: Role) -> None:
    house = House(sensors=(sensor(PUMP), sensor(OUTSIDE, role)))
    house.settle(3.0, 3.0)
    for _ in range(20):
        house.say(None, 3.0)

    assert is_on(house.state.decision, Reason.SENSOR_LOST)


# --- was warm, warm elsewhere ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("believed_c", "age_s", "was_warm"),
    [
        pytest.param(10.0, 6 * HOUR_S - 0.1, True, id="at warm_above, just under six hours"),
        pytest.param(10.0, 6 * HOUR_S, False, id="six hours"),
        pytest.param(9.99, 200.0, False, id="just below warm_above"),
        pytest.param(None, 200.0, False, id="nothing known"),
    ],
)
def test_the_last_believed_reading_speaks_against_blind_heat_for_less_than_six_hours(
    believed_c: float | None, age_s: float, was_warm: bool
) -> None:
    house = House(start_s=1e5, believed_s=1e5 + 10.0 - age_s, believed_c=believed_c)

    decision = house.turn().decision

    assert decision.heat is not was_warm
    assert decision.reason is (Reason.WARM_ENOUGH if was_warm else Reason.SENSOR_LOST)


def test_a_warm_corner_that_speaks_last_does_not_hide_the_cold_one() -> None:
    house = House(sensors=TWO)
    house.settle(12.0, 3.0)
    house.say(12.0)
    house.silence(130.0)

    assert is_on(house.state.decision, Reason.SENSOR_LOST)


def test_a_cold_reading_older_than_six_hours_no_longer_speaks_for_its_sensor() -> None:
    house = House(sensors=TWO)
    house.settle(12.0, 3.0)
    assert coldest_believed_c(house.state, house.now_s) == pytest.approx(3.0, abs=0.011)  # the tremble
    for index in range(round(6 * HOUR_S / 10.0)):
        house.say(12.0 + 0.01 * (index % 2))

    assert coldest_believed_c(house.state, house.now_s) == pytest.approx(12.0, abs=0.011)


def test_nothing_believed_is_nothing_known() -> None:
    assert coldest_believed_c(House().state, 0.0) is None


@pytest.mark.parametrize("role", [Role.OUTDOOR, Role.EXTRA])
def test_warmth_elsewhere_speaks_against_blind_heat_at_warm_above_with_a_dead_zone(role: Role) -> None:
    house = House(sensors=(sensor(PUMP), sensor(OUTSIDE, role)))
    house.settle(3.0, 9.9)
    for _ in range(20):
        house.say(None, 9.99)
    assert is_on(house.state.decision, Reason.SENSOR_LOST)
    for _ in range(5):
        house.say(None, 10.0)
    assert is_off(house.state.decision, Reason.WARM_ENOUGH)
    for _ in range(5):
        house.say(None, 9.5)
    assert is_off(house.state.decision, Reason.WARM_ENOUGH)
    for _ in range(5):
        house.say(None, 9.49)

    assert is_on(house.state.decision, Reason.SENSOR_LOST)


@pytest.mark.parametrize("says", [(), (None, None)], ids=["silent", "its reads fail"])
def test_a_lost_sensor_elsewhere_is_no_witness_of_warmth(says: tuple[None, ...]) -> None:
    house = House(sensors=WITH_OUTSIDE)
    house.settle(3.0, 15.0)
    for _ in range(12):
        house.say(*says) if says else house.turn()

    assert is_on(house.state.decision, Reason.SENSOR_LOST)


def test_a_doubtful_warmth_elsewhere_is_no_witness_either() -> None:
    house = House(sensors=WITH_OUTSIDE)
    house.settle(3.0, -5.0)
    for index in range(13):
        house.say(None, 60.0 if index % 2 else 30.0)

    assert is_on(house.state.decision, Reason.SENSOR_LOST)


@pytest.mark.parametrize(
    ("outside_c", "said_c"),
    [
        pytest.param((-5.0, -6.0), -6.0, id="the coldest"),
        pytest.param((-5.0, None), -5.0, id="the one that lives"),
        pytest.param((None, None), None, id="none"),
    ],
)
def test_outdoors_is_what_the_coldest_believable_sensor_there_says(
    outside_c: tuple[float | None, float | None], said_c: float | None
) -> None:
    house = House(
        sensors=(sensor(PUMP), sensor(OUTSIDE, Role.OUTDOOR), sensor("north", Role.OUTDOOR)),
    )
    for _ in range(5):
        house.say(3.0, *outside_c)

    assert outdoor_temperature_c(house.state, house.now_s) == said_c

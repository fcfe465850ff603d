"""What all the sensors together say: the coldest, the hottest, blindness, warmth elsewhere, disagreement."""

from dataclasses import replace

import pytest

from overwinter.core.decide import Look
from overwinter.core.look import (
    coldest_believed_c,
    coldest_track,
    is_still_hot,
    look_around,
    lost_after_s,
    outdoor_temperature_c,
)
from overwinter.core.nouns import Decision, Mode, Reason, Role
from overwinter.core.state import Hot
from tests.core.rig import BAND, DOOR, HOUR_S, OUTSIDE, PUMP, House, is_off, is_on, reading, sensor

TANK = "by the tank"
TWO = (sensor(PUMP), sensor(DOOR))
THREE = (*TWO, sensor(TANK))
WITH_OUTSIDE = (sensor(PUMP), sensor(OUTSIDE, Role.OUTDOOR))


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

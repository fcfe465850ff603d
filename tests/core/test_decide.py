"""The seven rules, each at its edge, and that each yields to those before it."""

from dataclasses import replace

import pytest

from overwinter.core.decide import (
    Before,
    Look,
    decide,
    exercise_may_start,
    hand_has_ended,
    is_alarmingly_cold,
)
from overwinter.core.nouns import Decision, Mode, Reason, Settings
from tests.core.rig import BAND, is_off, is_on

WARM = replace(BAND, mode=Mode.WARM)
OBSERVE = replace(BAND, mode=Mode.OBSERVE)
MODES = [pytest.param(settings, id=settings.mode.value) for settings in (BAND, WARM, OBSERVE)]
HEATING_MODES = MODES[:2]

OFF = Before(heat=False, reason=Reason.ABOVE_BAND, since_s=1e6)
ON = Before(heat=True, reason=Reason.BELOW_BAND, since_s=1e6)


def seen(temperature_c: float) -> Look:
    """One good sensor that says so."""
    return Look(
        coldest_cold_c=temperature_c,
        coldest_warm_c=temperature_c,
        hottest_warm_c=temperature_c,
        is_too_hot=temperature_c >= BAND.ceiling_c,
    )


def blind(for_s: float = 0.0, *, warm_elsewhere: bool = False, was_warm: bool = False) -> Look:
    return Look(blind_s=for_s, warm_elsewhere=warm_elsewhere, was_warm=was_warm)


# --- 1 too hot ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("settings", MODES)
@pytest.mark.parametrize("hand", [None, True, False], ids=["no hand", "on by hand", "off by hand"])
def test_rule_1_too_hot_is_off_whatever_was_asked(settings: Settings, hand: bool | None) -> None:
    before = replace(ON, since_s=0.0, hand=hand, exercise_s=10.0)

    assert is_off(decide(replace(seen(24.0), blind_s=300.0), settings, before), Reason.TOO_HOT)


def test_rule_1_sensors_that_disagree_heat_as_when_blind_in_freeze() -> None:
    look = replace(seen(1.9), is_too_hot=True, disagree_s=0.0)

    assert is_on(decide(look, BAND, OFF), Reason.SENSORS_DISAGREE)


def test_rule_1_sensors_that_disagree_do_not_heat_in_warm() -> None:
    look = replace(seen(1.9), is_too_hot=True, disagree_s=0.0)

    assert is_off(decide(look, WARM, ON), Reason.SENSORS_DISAGREE)


def test_rule_1_sensors_that_disagree_do_not_heat_in_observe() -> None:
    look = replace(seen(1.9), is_too_hot=True, disagree_s=0.0)

    assert is_off(decide(look, OBSERVE, OFF), Reason.OBSERVING)


def test_rule_1_sensors_that_disagree_overrule_off_by_hand() -> None:
    look = replace(seen(1.9), is_too_hot=True, disagree_s=0.0)

    assert is_on(decide(look, BAND, replace(OFF, hand=False)), Reason.SENSORS_DISAGREE)


def test_rule_1_only_another_kind_of_sensor_may_say_warm_when_the_control_sensors_disagree() -> None:
    look = replace(seen(1.9), is_too_hot=True, disagree_s=0.0)

    assert is_on(decide(replace(look, was_warm=True), BAND, OFF), Reason.SENSORS_DISAGREE)
    assert is_off(decide(replace(look, warm_elsewhere=True), BAND, OFF), Reason.WARM_ENOUGH)


# --- 2 observe ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("look", [seen(-20.0), blind(1e6), seen(3.0)], ids=["cold", "blind", "inside"])
@pytest.mark.parametrize("before", [OFF, ON, replace(ON, hand=True)], ids=["off", "on", "by hand"])
def test_rule_2_observe_never_heats(look: Look, before: Before) -> None:
    assert is_off(decide(look, OBSERVE, before), Reason.OBSERVING)


# --- 3 by hand ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("settings", HEATING_MODES)
@pytest.mark.parametrize(
    "look", [seen(-5.0), seen(3.0), seen(20.0), blind(60.0)], ids=["cold", "inside", "warm", "blind"]
)
@pytest.mark.parametrize("heat", [True, False], ids=["on", "off"])
def test_rule_3_by_hand_goes_before_blindness_band_and_minimum_times(
    settings: Settings, look: Look, heat: bool
) -> None:
    before = Before(heat=not heat, reason=Reason.BELOW_BAND, since_s=0.0, hand=heat)

    assert decide(look, settings, before) == Decision(heat, Reason.BY_HAND)


@pytest.mark.parametrize(
    ("settings", "heat", "look", "has_ended"),
    [
        pytest.param(BAND, False, seen(1.5), True, id="freeze: off ends at alarm_low"),
        pytest.param(BAND, False, seen(1.51), False, id="freeze: off holds just above alarm_low"),
        pytest.param(BAND, False, blind(), True, id="freeze: off ends blind"),
        pytest.param(BAND, True, seen(1.5), False, id="freeze: on holds in the cold"),
        pytest.param(BAND, True, blind(1e6), False, id="freeze: on holds blind"),
        pytest.param(WARM, True, blind(), True, id="warm: on ends blind"),
        pytest.param(WARM, True, seen(20.0), False, id="warm: on holds while it sees"),
        pytest.param(WARM, False, seen(-5.0), False, id="warm: off holds in the cold"),
        pytest.param(WARM, False, blind(), False, id="warm: off holds blind"),
        pytest.param(OBSERVE, True, seen(3.0), True, id="observe: on ends"),
        pytest.param(OBSERVE, False, seen(3.0), True, id="observe: off ends"),
    ],
)
def test_rule_3_by_hand_ends_for_good_where_it_could_cost_a_pipe_or_a_fire(
    settings: Settings, heat: bool, look: Look, has_ended: bool
) -> None:
    assert hand_has_ended(look, settings, heat=heat) is has_ended


def test_a_doubtful_cold_is_alarmingly_cold_too() -> None:
    assert is_alarmingly_cold(Look(coldest_cold_c=1.5, coldest_warm_c=6.0), BAND)
    assert not is_alarmingly_cold(Look(), BAND)


# --- 4 blind -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("before", [OFF, ON], ids=["was off", "was on"])
def test_rule_4_blind_heats_in_freeze_and_not_in_warm(before: Before) -> None:
    at_once = replace(before, since_s=0.0)

    assert is_on(decide(blind(), BAND, at_once), Reason.SENSOR_LOST)
    assert is_off(decide(blind(), WARM, at_once), Reason.SENSOR_LOST)


@pytest.mark.parametrize(
    ("blind_s", "duty", "heat"),
    [
        pytest.param(0.0, 0.1, True, id="the on-phase comes first"),
        pytest.param(59.9, 0.1, True, id="until its end"),
        pytest.param(60.0, 0.1, False, id="at its end"),
        pytest.param(599.9, 0.1, False, id="until the period's end"),
        pytest.param(600.0, 0.1, True, id="and again"),
        pytest.param(300.0, 0.5, False, id="half"),
        pytest.param(6 * 600.0 + 299.0, 0.5, True, id="half, an hour later"),
        pytest.param(599.999, 1.0, True, id="whole"),
        pytest.param(1e7, 1.0, True, id="whole, for months"),
    ],
)
def test_rule_4_blind_heat_comes_by_duty_with_its_on_phase_first(
    blind_s: float, duty: float, heat: bool
) -> None:
    decision = decide(blind(blind_s), replace(BAND, blind_duty=duty), OFF)

    assert decision == Decision(heat, Reason.SENSOR_LOST)


@pytest.mark.parametrize("duty", [0.1, 0.25, 0.7, 1.0])
def test_rule_4_blind_heat_is_on_for_its_share_of_each_period(duty: float) -> None:
    settings = replace(BAND, blind_duty=duty)

    on = sum(decide(blind(float(second)), settings, OFF).heat for second in range(600))

    assert on / 600 == pytest.approx(duty, abs=1 / 600)  # counted in whole seconds


@pytest.mark.parametrize(
    "look",
    [blind(60.0, warm_elsewhere=True), blind(60.0, was_warm=True)],
    ids=["another sensor says warm", "it was warm"],
)
def test_rule_4_blind_does_not_heat_where_something_believable_says_it_is_warm(look: Look) -> None:
    assert is_off(decide(look, BAND, ON), Reason.WARM_ENOUGH)


# --- 5 band ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("settings", HEATING_MODES)
@pytest.mark.parametrize(
    ("temperature_c", "before", "expected"),
    [
        pytest.param(1.99, OFF, Decision(True, Reason.BELOW_BAND), id="below low"),
        pytest.param(2.0, OFF, Decision(True, Reason.BELOW_BAND), id="at low"),
        pytest.param(2.01, OFF, Decision(False, Reason.INSIDE_BAND), id="just above low, was off"),
        pytest.param(2.01, ON, Decision(True, Reason.INSIDE_BAND), id="just above low, was on"),
        pytest.param(3.99, OFF, Decision(False, Reason.INSIDE_BAND), id="just below high, was off"),
        pytest.param(3.99, ON, Decision(True, Reason.INSIDE_BAND), id="just below high, was on"),
        pytest.param(4.0, ON, Decision(False, Reason.ABOVE_BAND), id="at high"),
        pytest.param(23.9, ON, Decision(False, Reason.ABOVE_BAND), id="just below the ceiling"),
        pytest.param(24.0, ON, Decision(False, Reason.TOO_HOT), id="at the ceiling"),
    ],
)
def test_rule_5_the_band(
    settings: Settings, temperature_c: float, before: Before, expected: Decision
) -> None:
    assert decide(seen(temperature_c), settings, before) == expected


def test_rule_5_a_doubtful_cold_heats_though_the_believed_say_warm() -> None:
    assert is_on(decide(Look(coldest_cold_c=2.0, coldest_warm_c=8.0), BAND, OFF), Reason.BELOW_BAND)


def test_rule_5_a_doubtful_warm_does_not_end_heat() -> None:
    assert is_on(decide(Look(coldest_cold_c=8.0, coldest_warm_c=None), BAND, ON), Reason.INSIDE_BAND)


@pytest.mark.parametrize("before", [OFF, ON], ids=["off", "on"])
def test_rule_5_nothing_said_for_less_than_lost_after_changes_nothing(before: Before) -> None:
    assert decide(Look(), BAND, before) == Decision(before.heat, Reason.INSIDE_BAND)


def test_a_start_says_starting_until_a_sensor_speaks() -> None:
    before = Before(heat=False, reason=Reason.STARTING, since_s=0.0)

    assert is_off(decide(Look(), BAND, before), Reason.STARTING)
    assert is_off(decide(Look(coldest_cold_c=3.0), BAND, before), Reason.INSIDE_BAND)


# --- 6 minimum times ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("since_s", "temperature_c", "expected"),
    [
        pytest.param(59.9, 2.0, Decision(False, Reason.MIN_OFF), id="too soon"),
        pytest.param(60.0, 2.0, Decision(True, Reason.BELOW_BAND), id="exactly"),
        pytest.param(0.0, 1.51, Decision(False, Reason.MIN_OFF), id="just above alarm_low waits"),
        pytest.param(0.0, 1.5, Decision(True, Reason.BELOW_BAND), id="at alarm_low it yields"),
    ],
)
def test_rule_6_heat_comes_on_only_min_off_after_it_went_off(
    since_s: float, temperature_c: float, expected: Decision
) -> None:
    assert decide(seen(temperature_c), BAND, replace(OFF, since_s=since_s)) == expected


@pytest.mark.parametrize(
    ("since_s", "expected"),
    [
        pytest.param(119.9, Decision(True, Reason.MIN_ON), id="too soon"),
        pytest.param(120.0, Decision(False, Reason.ABOVE_BAND), id="exactly"),
    ],
)
def test_rule_6_heat_goes_off_only_min_on_after_it_came_on(since_s: float, expected: Decision) -> None:
    assert decide(seen(4.0), BAND, replace(ON, since_s=since_s)) == expected


def test_rule_6_holds_no_heat_that_stays_as_it_is() -> None:
    assert is_on(decide(seen(2.0), BAND, replace(ON, since_s=0.0)), Reason.BELOW_BAND)
    assert is_off(decide(seen(4.0), BAND, replace(OFF, since_s=0.0)), Reason.ABOVE_BAND)


@pytest.mark.parametrize(
    ("look", "settings", "before"),
    [
        pytest.param(seen(24.0), BAND, ON, id="too hot"),
        pytest.param(seen(3.0), OBSERVE, ON, id="observe"),
        pytest.param(seen(3.0), BAND, replace(ON, hand=False), id="off by hand"),
        pytest.param(seen(3.0), BAND, replace(OFF, hand=True), id="on by hand"),
        pytest.param(blind(), BAND, OFF, id="blind in freeze"),
        pytest.param(blind(), WARM, ON, id="blind in warm"),
        pytest.param(seen(3.0), BAND, replace(OFF, exercise_is_due=True), id="exercise"),
    ],
)
def test_rule_6_holds_back_the_band_only(look: Look, settings: Settings, before: Before) -> None:
    assert decide(look, settings, replace(before, since_s=0.0)).heat is not before.heat


# --- 7 exercise --------------------------------------------------------------------------------------------

DUE = replace(OFF, exercise_is_due=True)
EXERCISING = replace(ON, reason=Reason.EXERCISE, since_s=10.0, exercise_s=10.0)
END_C = BAND.high_c + 3.0


@pytest.mark.parametrize("temperature_c", [2.01, 3.0, 4.0, END_C - 0.01])
def test_rule_7_unused_heat_is_exercised(temperature_c: float) -> None:
    assert is_on(decide(seen(temperature_c), BAND, DUE), Reason.EXERCISE)


def test_rule_7_a_part_of_a_day_is_a_time_too() -> None:
    assert is_on(decide(seen(3.0), replace(BAND, exercise_every_days=0.5), DUE), Reason.EXERCISE)


@pytest.mark.parametrize(
    ("look", "settings", "before"),
    [
        pytest.param(seen(3.0), BAND, OFF, id="not due"),
        pytest.param(seen(3.0), BAND, replace(ON, exercise_is_due=True), id="heat is on anyway"),
        pytest.param(seen(END_C), BAND, DUE, id="out of season"),
        pytest.param(seen(3.0), WARM, DUE, id="mode warm"),
        pytest.param(seen(3.0), OBSERVE, DUE, id="mode observe"),
        pytest.param(seen(3.0), replace(BAND, exercise_every_days=0.0), DUE, id="never"),
        pytest.param(Look(coldest_cold_c=3.0), BAND, DUE, id="too few readings to say how warm it is"),
        pytest.param(seen(2.0), BAND, DUE, id="the band wants heat already"),
        pytest.param(blind(60.0), BAND, DUE, id="blind"),
    ],
)
def test_rule_7_does_not_exercise(look: Look, settings: Settings, before: Before) -> None:
    assert decide(look, settings, before).reason is not Reason.EXERCISE


@pytest.mark.parametrize(
    ("exercise_s", "temperature_c", "goes_on"),
    [
        pytest.param(599.9, 3.0, True, id="until for_s"),
        pytest.param(600.0, 3.0, False, id="at for_s"),
        pytest.param(10.0, END_C - 0.01, True, id="just below high + 3 K"),
        pytest.param(10.0, END_C, False, id="at high + 3 K, minimum times or not"),
    ],
)
def test_rule_7_an_exercise_ends_and_gives_the_relay_back(
    exercise_s: float, temperature_c: float, goes_on: bool
) -> None:
    decision = decide(seen(temperature_c), BAND, replace(EXERCISING, exercise_s=exercise_s))

    assert decision.heat is goes_on
    assert (decision.reason is Reason.EXERCISE) is goes_on


def test_rule_7_an_exercise_ends_when_it_can_no_longer_see() -> None:
    assert is_off(decide(Look(), BAND, EXERCISING), Reason.INSIDE_BAND)


def test_rule_7_an_exercise_becomes_plain_heat_when_the_band_wants_it() -> None:
    assert is_on(decide(seen(2.0), BAND, EXERCISING), Reason.BELOW_BAND)


def test_rule_7_the_hottest_sensor_ends_an_exercise() -> None:
    look = Look(coldest_cold_c=3.0, coldest_warm_c=3.0, hottest_warm_c=END_C)

    assert not exercise_may_start(look, BAND)
    assert not decide(look, BAND, EXERCISING).heat

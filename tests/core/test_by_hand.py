"""One turn: heat by hand and the exercise."""

import math
from dataclasses import replace

import pytest

from overwinter.core.nouns import (
    Problem,
    Reason,
    Refused,
    Release,
    Settings,
)
from tests.core.asking import OBSERVE, WARM, WHO, adopt
from tests.core.rig import (
    BAND,
    CALLER,
    DAY_S,
    HOUR_S,
    House,
    is_off,
    is_on,
)

# --- by hand ------------------------------------------------------------------------------------------------


def test_by_hand_ends_at_its_end_and_says_so() -> None:
    house = House()
    house.settle(3.0)
    assert house.hand(heat=True, for_s=60.0) == {"until_s": house.now_s + 60.0}
    assert is_on(house.state.decision, Reason.BY_HAND)

    house.settle(3.0, for_s=50.0)
    assert is_on(house.state.decision, Reason.BY_HAND)
    house.settle(3.0, for_s=10.0)

    assert is_on(house.state.decision, Reason.INSIDE_BAND)
    assert house.state.hand is None
    assert [event.fields for event in house.named("hand")] == [
        {"state": "set", "heat": True, "left_s": 60.0, **WHO},
        {"state": "over", "heat": True, "left_s": 0.0},
    ]


def test_by_hand_holds_no_longer_than_twelve_hours() -> None:
    house = House()
    house.settle(3.0)
    assert house.hand(heat=True, for_s=12 * HOUR_S) == {"until_s": house.now_s + 43200.0}
    house.settle(3.0, for_s=12 * HOUR_S)

    assert house.state.hand is None


def test_by_hand_may_be_short_and_its_event_has_tenths_of_a_second() -> None:
    house = House()
    house.settle(3.0)
    house.hand(heat=True, for_s=0.5)
    assert is_on(house.state.decision, Reason.BY_HAND)
    house.hand(heat=True, for_s=60.26)

    assert [(event.up_s, event.fields["left_s"]) for event in house.named("hand")] == [
        (300.0, 0.5),
        (300.0, 60.3),
    ]


@pytest.mark.parametrize("for_s", [0.0, -1.0, 12 * HOUR_S + 1.0, math.inf, math.nan], ids=str)
def test_by_hand_without_an_end_or_beyond_twelve_hours_is_refused(for_s: float) -> None:
    house = House()
    house.settle(3.0)

    answer = house.hand(heat=True, for_s=for_s)

    assert isinstance(answer, Refused)
    text = f"{for_s:g} s by hand: more than 0 and at most 12 h (43200 s)"
    assert [repr(problem) for problem in answer.problems] == [
        repr(Problem("heat.for", for_s, "more than 0 and at most 12 h", text))  # as text: NaN is never equal
    ]
    assert house.state.hand is None
    assert not house.named("hand")


@pytest.mark.parametrize("heat", [True, False])
def test_by_hand_is_refused_in_observe(heat: bool) -> None:
    house = House(OBSERVE)
    house.settle(3.0)

    answer = house.hand(heat=heat)

    assert isinstance(answer, Refused)
    text = "mode observe never heats: change the mode first (overwinter mode freeze)"
    assert answer.problems == [Problem("heat", heat, "in mode freeze or warm", text)]
    assert is_off(house.state.decision, Reason.OBSERVING)


@pytest.mark.parametrize(
    ("settings", "heat", "said_c", "why"),
    [
        pytest.param(BAND, False, 1.4, "it is at or below alarm_low, 34.7 F", id="freeze, off, at alarm_low"),
        pytest.param(BAND, False, None, "no believable sensor", id="freeze, off, blind"),
        pytest.param(WARM, True, None, "no believable sensor", id="warm, on, blind"),
    ],
)
def test_by_hand_is_refused_with_the_reason_where_it_would_end_at_once(
    settings: Settings, heat: bool, said_c: float | None, why: str
) -> None:
    house = House(settings)
    if said_c is None:
        house.settle(3.0)
        house.silence(120.0)
    else:
        house.settle(said_c)

    answer = house.hand(heat=heat)

    assert isinstance(answer, Refused)
    word = "on" if heat else "off"
    text = f"heat {word} by hand is refused: {why}"
    assert answer.problems == [Problem("heat", heat, f"not {word} by hand now", text)]
    assert house.state.hand is None


def test_a_command_is_judged_by_what_came_with_it_and_not_by_the_turn_before() -> None:
    house = House()
    house.settle(3.0)
    house.now_s += 200.0  # the wheel stood still for so long

    answer = house.hand(heat=False)

    assert isinstance(answer, Refused)
    assert "no believable sensor" in str(answer)


@pytest.mark.parametrize(
    ("ended_by", "for_s"),
    [
        pytest.param(1.5, 50.0, id="alarm_low"),
        pytest.param(None, 130.0, id="blind"),
    ],
)
def test_off_by_hand_in_freeze_ends_for_good(ended_by: float | None, for_s: float) -> None:
    house = House()
    house.settle(1.9)
    house.hand(heat=False, for_s=7200.0)
    assert is_off(house.settle(1.9), Reason.BY_HAND)

    for _ in range(round(for_s / 10.0)):
        house.say(ended_by)
    assert house.state.decision.heat
    house.settle(3.0)

    assert house.state.decision.heat, "and does not come back"
    assert [event.fields["state"] for event in house.named("hand")] == ["set", "ended"]


def test_on_by_hand_in_warm_ends_blind() -> None:
    house = House(WARM)
    house.settle(3.0)
    house.hand(heat=True, for_s=7200.0)
    house.silence(110.0)
    assert is_on(house.state.decision, Reason.BY_HAND)

    assert is_off(house.silence(10.0), Reason.SENSOR_LOST)
    assert house.state.hand is None


def test_by_hand_ends_when_observe_begins() -> None:
    house = House()
    house.settle(3.0)
    house.hand(heat=True)
    house.turn(adopt(OBSERVE))

    assert is_off(house.state.decision, Reason.OBSERVING)
    assert house.state.hand is None


def test_release_ends_it_and_without_anything_to_release_is_fine() -> None:
    house = House()
    house.settle(3.0)
    release = Release(ticket=9, caller=CALLER)
    assert house.turn(release, after_s=0.0).answers == {9: {}}
    assert not house.named("hand")
    house.hand(heat=True)

    assert house.turn(release, after_s=0.0).answers == {9: {}}

    assert is_on(house.state.decision, Reason.INSIDE_BAND)
    assert house.named("hand")[-1].fields == {"state": "released", "heat": True, "left_s": 1200.0, **WHO}


def test_by_hand_again_replaces_what_was_set() -> None:
    house = House()
    house.settle(3.0)
    house.hand(heat=True, for_s=7200.0)
    house.hand(heat=False, for_s=60.0)

    assert is_off(house.state.decision, Reason.BY_HAND)
    house.settle(3.0, for_s=60.0)
    assert is_off(house.state.decision, Reason.INSIDE_BAND)


def test_too_hot_goes_before_on_by_hand_and_by_hand_is_there_again_afterwards() -> None:
    house = House()
    house.settle(23.9)
    house.hand(heat=True, for_s=7200.0)
    assert is_off(house.say(24.0), Reason.TOO_HOT)
    assert is_off(house.say(23.0), Reason.TOO_HOT), "no chatter at the ceiling"

    assert is_on(house.say(22.99), Reason.BY_HAND)


# --- exercise -----------------------------------------------------------------------------------------------


def test_heat_unused_for_every_days_is_exercised_once_and_gives_the_relay_back() -> None:
    house = House(unused_s=7 * DAY_S - 600.0)
    house.settle(3.0, for_s=590.0)
    assert is_off(house.state.decision, Reason.INSIDE_BAND)
    house.settle(3.0, for_s=10.0)
    assert is_on(house.state.decision, Reason.EXERCISE)

    house.settle(3.0, for_s=590.0)
    assert is_on(house.state.decision, Reason.EXERCISE)
    house.settle(3.0, for_s=10.0)
    assert is_off(house.state.decision, Reason.INSIDE_BAND)
    house.settle(3.0, for_s=3600.0)

    assert [event.fields["reason"] for event in house.named("heat")] == ["exercise", "inside-band"]
    assert house.state.unused_s == 3600.0


def test_heat_that_is_used_is_not_exercised() -> None:
    house = House(replace(BAND, exercise_every_days=0.05), unused_s=0.0)
    for _ in range(4):
        house.settle(1.9, for_s=600.0)
        house.settle(3.0, for_s=600.0)
        house.settle(4.5, for_s=600.0)

    assert {event.fields["reason"] for event in house.named("heat")} == {"below-band", "above-band"}


def test_an_exercise_never_is_never() -> None:
    house = House(replace(BAND, exercise_every_days=0.0), unused_s=1e9)
    house.settle(3.0)

    assert not house.named("heat")


def test_an_exercise_that_is_blinded_becomes_blind_heat() -> None:
    house = House(replace(BAND, exercise_for_s=1800.0), unused_s=7 * DAY_S)
    house.settle(3.0)
    assert is_on(house.state.decision, Reason.EXERCISE)
    house.silence(130.0)

    assert is_on(house.state.decision, Reason.SENSOR_LOST)
    assert house.state.exercise_since_s is None

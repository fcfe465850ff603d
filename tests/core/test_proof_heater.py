"""The proof of relay and heater: by feedback, by the owner, by the air."""

from dataclasses import replace
from typing import Any

import pytest

from overwinter.core.evidence import FAILED, PASSED, UNFINISHED, Plan
from overwinter.core.units import Unit
from overwinter.core.wishes import Reply, Tell, Wish, Work
from tests.core.stage import PUMP, Stage, alone, came_to, honest, nobody

# --- relay and heater -------------------------------------------------------------------------------------

DEAD = "the heater is dead, a breaker or limiter is open, or the relay did not close"
WELDED = "the relay's contact may be welded; unplug the heater or open its breaker"
WRONG_WAY = "heat when off and none when on: see relay.active_high, relay.contact and the wires"


@pytest.mark.parametrize("by", ["owner", "feedback"])
def test_a_heater_that_works_both_ways_passes(by: str) -> None:
    stage = Stage(has_feedback=by == "feedback")
    honest(stage)
    saw = {"owner": "heat to be seen", "feedback": "current"}[by]

    assert came_to(stage.lead()["relay"]) == (PASSED, by, f"on: {saw}; off: no {saw}")


@pytest.mark.parametrize("by", ["owner", "feedback"])
def test_a_dead_heater_fails(by: str) -> None:
    stage = Stage(works=False, has_feedback=by == "feedback")
    honest(stage)
    saw = {"owner": "heat to be seen", "feedback": "current"}[by]

    assert came_to(stage.lead()["relay"]) == (FAILED, by, f"on: no {saw}: {DEAD}; off: no {saw}")


@pytest.mark.parametrize("by", ["owner", "feedback"])
def test_a_welded_contact_fails(by: str) -> None:
    stage = Stage(welded=True, has_feedback=by == "feedback")
    honest(stage)
    saw = {"owner": "heat to be seen", "feedback": "current"}[by]

    assert came_to(stage.lead()["relay"]) == (FAILED, by, f"on: {saw}; off: still {saw}: {WELDED}")


def test_the_wrong_way_round_says_so() -> None:
    stage = Stage()
    stage.answers = lambda question: question.startswith("Is 3.0 C") or not stage.see().heat

    assert came_to(stage.lead()["relay"]) == (FAILED, "owner", WRONG_WAY)


def test_heat_that_is_on_already_is_switched_off_first() -> None:
    stage = Stage(heat=True)
    honest(stage)

    assert stage.lead()["relay"].text == "off: no heat to be seen; on: heat to be seen"


@pytest.mark.parametrize(
    ("heater", "question"),
    [
        ("lamp", "Is the lamp lit now?"),
        ("cable", "Does the cable draw current now (is it warm)?"),
        ("air", "Does the heater heat now?"),
    ],
)
def test_the_owner_is_asked_for_what_he_can_see(heater: str, question: str) -> None:
    stage = Stage(plan=Plan(has_owner=True, heater=heater))
    stage.answers = lambda asked: asked.startswith("Is 37.4 F") or stage.see().heat
    stage.lead()

    assert stage.asked()[1:3] == [
        f"Heat was switched ON. Look at it, do not touch it. {question}",
        f"Heat was switched OFF. Look at it, do not touch it. {question}",
    ]


def test_an_owner_who_takes_too_long_is_asked_again() -> None:
    stage = Stage()

    def slowly(question: str) -> bool:
        is_first = stage.asked().count(question) == 1
        stage.up_s += 301.0 if is_first else 1.0
        return question.startswith("Is 3.0 C") or stage.flows(stage.heat)

    stage.answers = slowly

    assert stage.lead()["relay"].verdict == PASSED
    assert Tell("Heat was no longer held on by then: once more.") in stage.wishes


def test_but_not_for_ever() -> None:
    stage = Stage()

    def never(question: str) -> bool:
        stage.up_s += 301.0
        return True

    stage.answers = never

    assert came_to(stage.lead()["relay"]) == (
        UNFINISHED,
        None,
        "on: no answer while heat was held on; off: no answer while heat was held off",
    )
    assert len([wish for wish in stage.wishes if isinstance(wish, Work)]) == 6


def test_current_may_come_a_little_late_but_not_much() -> None:
    for late_s, verdict in ((15.0, PASSED), (25.0, FAILED)):
        stage = Stage(has_feedback=True, pace_s=5.0)
        since_s = {True: 0.0, False: 0.0}

        def flows(heat: bool, stage: Stage = stage, since_s: Any = since_s, late_s: float = late_s) -> bool:
            if heat and not since_s[True]:
                since_s[True] = stage.up_s
            return heat and stage.up_s - since_s[True] >= late_s

        stage.flows = flows  # type: ignore[method-assign]
        assert stage.lead()["relay"].verdict == verdict


def test_a_switch_that_is_refused_is_unfinished() -> None:
    assert came_to(Stage(refuses="hand").lead()["relay"]) == (
        UNFINISHED,
        "guard",
        "on: no, not now; off: no, not now",
    )


def test_a_switch_that_the_guard_does_not_make_is_unfinished() -> None:
    assert came_to(Stage(hand_lasts_s=0.0).lead()["relay"]) == (
        UNFINISHED,
        "guard",
        "on: the guard keeps heat as it is (inside-band); off: the guard keeps heat as it is (inside-band)",
    )


# --- a cable, a backup thermostat -------------------------------------------------------------------------


@pytest.mark.parametrize("has_feedback", [True, False])
def test_a_cable_without_current_may_be_sound(has_feedback: bool) -> None:
    stage = Stage(
        plan=Plan(has_owner=True, unit=Unit.C, heater="cable"), works=False, has_feedback=has_feedback
    )
    honest(stage)
    step = stage.lead()["relay"]

    assert step.verdict == UNFINISHED
    assert "but a cable's own thermostat may be open: repeat when it is colder" in step.text


def test_the_air_cannot_tell_what_a_cable_does() -> None:
    stage = Stage(plan=alone(heater="cable"), answers=nobody)

    assert came_to(stage.lead()["relay"]) == (
        UNFINISHED,
        None,
        "on: the air cannot tell what a cable does, and nobody else did; "
        "off: the air cannot tell what a cable does, and nobody else did",
    )
    assert not [what for what in stage.waited_for if "compare" in what]


@pytest.mark.parametrize(("backup_c", "verdict"), [(0.1, UNFINISHED), (-0.1, FAILED), (None, FAILED)])
def test_current_of_the_backup_thermostat_is_no_welded_contact(backup_c: float | None, verdict: str) -> None:
    stage = Stage(plan=alone(backup_c=backup_c), welded=True, has_feedback=True, k_per_s=0.0)
    step = stage.lead()["relay"]

    assert step.verdict == verdict
    assert ("perhaps of the backup thermostat: repeat when it is warmer" in step.text) is (
        verdict == UNFINISHED
    )


# --- the air's answer -------------------------------------------------------------------------------------


def test_the_air_confirms_where_nobody_else_can() -> None:
    stage = Stage(plan=alone(), answers=nobody)

    assert came_to(stage.lead()["relay"]) == (
        PASSED,
        "temperature",
        "on: the air has risen by 0.5 K in 4 min (0.5 K asked for); "
        "off: the air has fallen by 0.3 K in 6 min (0.3 K asked for)",
    )


def test_an_owner_who_does_not_know_leaves_it_to_the_air() -> None:
    stage = Stage(answers=nobody)

    step = stage.lead()["relay"]
    assert (step.verdict, step.by) == (PASSED, "temperature")
    assert "readings to compare with" not in stage.waited_for


def test_what_confirmed_either_way_is_told() -> None:
    stage = Stage()
    stage.answers = lambda question: None if "OFF" in question else True

    assert stage.lead()["relay"].by == "owner and temperature"


def test_air_that_does_not_rise_is_a_dead_heater() -> None:
    stage = Stage(plan=alone(), answers=nobody, works=False)
    step = stage.lead()["relay"]

    assert (step.verdict, step.by) == (FAILED, "temperature")
    assert step.text.startswith(
        "on: the air has risen by 0.0 K in 15 min, less than 0.5 K: the heater is dead or far too weak; off: "
    )


def test_air_that_goes_on_rising_is_a_welded_contact() -> None:
    stage = Stage(plan=alone(), answers=nobody, welded=True)
    step = stage.lead()["relay"]

    assert (step.verdict, step.by) == (FAILED, "temperature")
    assert step.text.endswith(f"off: the air went on rising, by 3.6 K in 30 min: {WELDED}")


def test_air_that_does_the_opposite_leaves_open_what_is_wrong() -> None:
    stage = Stage(plan=alone(), answers=nobody)
    stage.flows = lambda heat: not heat  # type: ignore[method-assign]
    step = stage.lead()["relay"]

    assert (step.verdict, step.by) == (FAILED, "temperature")
    assert step.text == (
        "on: the air has risen by 0.0 K in 15 min, less than 0.5 K: the heater is dead or far too weak; "
        f"off: the air went on rising, by 3.6 K in 30 min: {WELDED}; "
        "or on and off are swapped (relay.active_high, relay.contact)"
    )


def test_air_that_stands_still_confirms_nothing() -> None:
    stage = Stage(plan=alone(), answers=nobody)
    live = stage.live

    def stands() -> None:
        if not stage.heat and stage.up_s < stage.by_hand_until_s:
            stage.up_s += stage.pace_s
        else:
            live()

    stage.live = stands  # type: ignore[method-assign]
    step = stage.lead()["relay"]
    assert (step.verdict, step.by) == (UNFINISHED, "temperature")
    assert step.text.endswith("off: the air has fallen by 0.0 K in 30 min, less than 0.3 K: not confirmed")


def test_heat_that_is_not_held_for_long_enough_confirms_nothing() -> None:
    stage = Stage(plan=alone(), answers=nobody, hand_lasts_s=100.0)
    step = stage.lead()["relay"]

    assert came_to(step) == (
        UNFINISHED,
        "guard",
        "on: heat was not held on long enough to tell (inside-band); "
        "off: heat was not held off long enough to tell (inside-band)",
    )


def test_a_last_look_that_comes_late_still_counts() -> None:
    stage = Stage(plan=alone(), answers=nobody, works=False, pace_s=500.0)

    assert stage.lead()["relay"].text.startswith("on: the air has risen by 0.0 K in 17 min, less than 1.0 K")


def test_a_second_switch_that_is_refused_confirms_nothing() -> None:
    stage = Stage(plan=alone(), answers=nobody)
    grant = stage.grant

    def once(wish: Wish) -> Reply:
        return "no more" if isinstance(wish, Work) and wish.for_s > 300.0 else grant(wish)

    stage.grant = once  # type: ignore[method-assign]
    assert stage.lead()["relay"].text == "on: no more; off: no more"


def test_readings_to_compare_with_are_not_waited_for_for_ever() -> None:
    # What is seen is always the same reading: its age grows with the time that passes.
    stage = Stage(plan=alone(), answers=nobody)
    live = stage.live

    def old() -> None:
        live()
        stage.sensors = (replace(PUMP, age_s=stage.up_s - 998.0),)

    stage.live = old  # type: ignore[method-assign]
    assert stage.lead()["relay"].verdict == FAILED
    assert stage.waited_for.count("readings to compare with") == 17

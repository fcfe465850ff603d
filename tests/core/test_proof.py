"""The conversation of the proof test, led against a guard and an owner who say what they are told to."""

from dataclasses import replace
from typing import Any

import pytest

from overwinter.core.evidence import FAILED, PASSED, UNFINISHED, Plan, is_record
from overwinter.core.nouns import Mode
from overwinter.core.proof import Proof, boot_question, booted, waits_for_reboot
from overwinter.core.units import Unit
from overwinter.core.wishes import Away, Back, Broken, Look, Reply, Tell, Wish, Work
from tests.core.stage import OUTSIDE, PUMP, Stage, alone, came_to, honest, nobody

# --- the whole --------------------------------------------------------------------------------------------


def test_a_sound_house_passes_all_but_the_reboot_that_is_still_to_be_watched() -> None:
    stage = Stage()
    honest(stage)

    steps = stage.lead()

    assert {name: step.verdict for name, step in steps.items()} == {
        "sensors": PASSED,
        "relay": PASSED,
        "fail-safe": PASSED,
        "return": PASSED,
        "reboot": UNFINISHED,
    }
    assert waits_for_reboot(steps.values())
    assert [type(wish).__name__ for wish in stage.wishes if not isinstance(wish, Look | Tell)] == [
        *("Ask", "Done"),
        *("Work", "Ask", "Work", "Ask", "Rest", "Done"),
        *("Away", "Ask", "Done"),
        *("Back", "Done", "Done"),
    ]


def test_everything_it_switches_has_an_end() -> None:
    stage = Stage(plan=alone(), answers=nobody)
    stage.lead()

    assert [wish.for_s for wish in stage.wishes if isinstance(wish, Work | Away)] == [
        300,
        960,
        300,
        1860,
        300,
    ]


def test_sensors_stay_away_for_ten_minutes_at_most() -> None:
    stage = Stage(plan=alone(lost_s=500.0), blind_after_s=500.0)
    stage.lead()

    assert [wish.for_s for wish in stage.wishes if isinstance(wish, Away)] == [600.0]


def test_a_failed_step_asks_for_no_reboot() -> None:
    stage = Stage(works=False)
    honest(stage)
    steps = stage.lead()

    assert steps["relay"].verdict == FAILED
    assert "reboot" not in steps


def test_a_guard_that_restarts_ends_it() -> None:
    stage = Stage()
    proof = Proof(stage.plan)
    stage.answers = lambda question: setattr(stage, "started_s", 1002.0)

    with pytest.raises(Broken, match="the guard was restarted"):
        stage.lead(proof)
    proof.interrupted("the guard was restarted")
    assert [(step.step, step.verdict) for step in proof.steps] == [
        ("sensors", PASSED),
        ("relay", UNFINISHED),
    ]
    assert proof.steps[-1].text == "interrupted: the guard was restarted"


def test_clocks_that_are_rounded_are_no_restart() -> None:
    stage = Stage()
    stage.answers = lambda question: setattr(stage, "started_s", 100.9)

    assert stage.lead()["return"].verdict == PASSED


# --- sensors ----------------------------------------------------------------------------------------------


def test_without_a_believed_reading_of_each_sensor_nothing_else_is_done() -> None:
    broken = replace(OUTSIDE, flag=9, temperature_c=None, error="no such device")
    jumps = replace(PUMP, flag=3)
    stage = Stage(sensors=(jumps, broken))

    steps = stage.lead()

    assert list(steps) == ["sensors"]
    assert came_to(steps["sensors"]) == (
        FAILED,
        "guard",
        "nothing believable within 170 s: 'pump': readings jump; 'outside': no such device",
    )
    assert stage.waited_for == ["a believable reading of each sensor"] * 17


def test_a_sensor_that_comes_late_is_waited_for() -> None:
    stage = Stage(plan=alone(), sensors=(replace(PUMP, flag=9),))
    live = stage.live

    def wake() -> None:
        live()
        if stage.up_s == 1050.0:
            stage.sensors = (PUMP,)

    stage.live = wake  # type: ignore[method-assign]
    assert stage.lead()["sensors"].verdict == PASSED


def test_a_wrong_temperature_fails() -> None:
    stage = Stage(answers=lambda question: False)
    steps = stage.lead()

    assert came_to(steps["sensors"]) == (
        FAILED,
        "owner",
        "'pump' says 3.0 C, the owner says that is wrong: use a thermometer",
    )
    assert stage.asked() == ["Is 3.0 C about right where 'pump' hangs?"]


@pytest.mark.parametrize(
    ("answer", "by", "text"),
    [
        (True, "owner", "believed, and about right to the owner: 'pump' 3.0 C, 'outside' -5.0 C"),
        (None, "guard", "believed, but compared with no thermometer: 'pump' 3.0 C, 'outside' -5.0 C"),
    ],
)
def test_the_record_says_who_compared(answer: bool | None, by: str, text: str) -> None:
    stage = Stage(answers=lambda question: answer)

    assert came_to(stage.lead()["sensors"]) == (PASSED, by, text)
    assert Tell("'outside': -5.0 C, 4 s ago, flag 1") in stage.wishes


def test_without_a_control_sensor_there_is_nothing_to_prove() -> None:
    assert came_to(Stage(sensors=(OUTSIDE,)).lead()["sensors"]) == (
        FAILED,
        "guard",
        "there is no control sensor",
    )


# --- the fail-safe ----------------------------------------------------------------------------------------

AFTER = "120 s after the control sensors were taken away"


@pytest.mark.parametrize(
    ("mode", "word"),
    [(Mode.FREEZE, "on"), (Mode.WARM, "off")],
)
@pytest.mark.parametrize("by", ["owner", "feedback", "guard"])
def test_the_fail_safe_is_seen_acting(mode: Mode, word: str, by: str) -> None:
    plan = Plan(has_owner=by == "owner", unit=Unit.C)
    stage = Stage(plan=plan, mode=mode, has_feedback=by == "feedback")
    honest(stage)
    text = f"{AFTER} the guard was blind and heat {word}, as mode {mode} has it"

    assert came_to(stage.lead()["fail-safe"]) == (PASSED, by, text)


@pytest.mark.parametrize("by", ["owner", "feedback"])
def test_a_fail_safe_that_does_not_heat_fails(by: str) -> None:
    stage = Stage(works=False, has_feedback=by == "feedback")
    honest(stage)
    step = stage.lead()["fail-safe"]

    assert (step.verdict, step.by) == (FAILED, by)
    assert step.text.startswith(f"{AFTER} the guard was blind and heat on, as mode freeze has it; on: no ")


@pytest.mark.parametrize("late", [True, False])
def test_an_owner_who_cannot_say_leaves_it_to_the_guards_word(late: bool) -> None:
    stage = Stage()
    honest(stage)
    sees = stage.answers

    def answer(question: str) -> bool | None:
        if stage.away_since_s is None:
            return sees(question)
        if late:
            stage.away_since_s = None
            return False
        return None

    stage.answers = answer
    step = stage.lead()["fail-safe"]
    assert (step.verdict, step.by) == (PASSED, "guard")


def test_a_warm_day_shows_a_decision_and_no_heat() -> None:
    stage = Stage(plan=Plan(has_owner=True, unit=Unit.C), blind_reason="warm-enough")
    honest(stage)
    steps = stage.lead()

    assert came_to(steps["fail-safe"]) == (
        UNFINISHED,
        "guard",
        f"{AFTER} the guard was blind and decided that it is warm enough without heat (at or above "
        "failsafe.warm_above, 10.0 C): seen deciding, not heating. Repeat on a colder day",
    )
    assert steps["reboot"].verdict == UNFINISHED


@pytest.mark.parametrize(
    ("change", "verdict", "text"),
    [
        pytest.param({"refuses": "prove"}, UNFINISHED, "no, not now", id="refused"),
        pytest.param(
            {"blind_after_s": 1e9},
            FAILED,
            "130 s after the control sensors were taken away the guard is not blind",
            id="never blind",
        ),
        pytest.param(
            {"blind_reason": "too-hot"}, UNFINISHED, f"{AFTER} something else decided: too-hot", id="too hot"
        ),
        pytest.param({"blind_heats": False}, FAILED, f"{AFTER} heat is not on in mode freeze", id="no heat"),
        pytest.param(
            {"blind_heats": True, "mode": Mode.WARM},
            FAILED,
            f"{AFTER} heat is not off in mode warm",
            id="heat in warm",
        ),
    ],
)
def test_what_else_a_fail_safe_may_do(change: dict[str, Any], verdict: str, text: str) -> None:
    stage = Stage(plan=alone(), has_feedback=True, **change)

    assert came_to(stage.lead()["fail-safe"]) == (verdict, "guard", text)


def test_sensors_that_somebody_else_gave_back_show_no_fail_safe() -> None:
    stage = Stage(plan=alone(), has_feedback=True)
    live = stage.live

    def back() -> None:
        live()
        stage.away_since_s = None

    stage.live = back  # type: ignore[method-assign]
    assert came_to(stage.lead()["fail-safe"]) == (
        UNFINISHED,
        "guard",
        "the sensors were back before the fail-safe acted (inside-band)",
    )


# --- and back ---------------------------------------------------------------------------------------------


def test_sensors_that_are_not_believed_again_fail() -> None:
    stage = Stage(plan=alone(), has_feedback=True)
    grant = stage.grant

    def lose(wish: Wish) -> Reply:
        if isinstance(wish, Back):
            stage.sensors = (replace(PUMP, flag=9),)
        return grant(wish)

    stage.grant = lose  # type: ignore[method-assign]
    assert came_to(stage.lead()["return"]) == (
        FAILED,
        "guard",
        "the sensors are not believed again after 170 s",
    )


def test_it_is_waited_for_until_they_are_believed() -> None:
    stage = Stage(plan=alone(), has_feedback=True)
    grant = stage.grant

    def late(wish: Wish) -> Reply:
        if isinstance(wish, Back):
            return None  # the guard is blind until the next reading
        if isinstance(wish, Look) and "believed again" in wish.what:
            stage.away_since_s = None
        return grant(wish)

    stage.grant = late  # type: ignore[method-assign]
    assert came_to(stage.lead()["return"]) == (
        PASSED,
        "guard",
        "believed again after 10 s; heat is off (inside-band)",
    )


# --- the watched reboot -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("contact", "question", "passed"),
    [
        (
            "NO",
            "While the board booted, did the heater stay off until the guard had started?",
            "the relay stayed released while the board booted: no heat",
        ),
        (
            "NC",
            "While the board booted, was heat on until the guard had started (released is heat here)?",
            "the relay stayed released while the board booted: heat",
        ),
    ],
)
def test_what_a_boot_should_look_like_depends_on_the_contact(
    contact: str, question: str, passed: str
) -> None:
    plan = Plan(has_owner=True, released_heats=contact == "NC")

    assert boot_question(plan) == question
    assert came_to(booted(plan, as_wired=True)) == (PASSED, "owner", passed)
    failed = booted(plan, as_wired=False)
    assert (failed.step, failed.verdict) == ("reboot", FAILED)
    assert failed.text.startswith("the relay pulled in while the board booted")
    assert is_record(FAILED, [failed.facts()])
    assert not waits_for_reboot([failed])

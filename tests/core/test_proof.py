"""The conversation of the proof test, led against a guard and an owner who say what they are told to."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from overwinter.core.evidence import FAILED, PASSED, UNFINISHED, Plan, Seen, SensorSeen, Step, is_record
from overwinter.core.nouns import Mode
from overwinter.core.proof import Proof, boot_question, booted, waits_for_reboot
from overwinter.core.units import Unit
from overwinter.core.wishes import Ask, Away, Back, Broken, Done, Look, Reply, Rest, Tell, Wish, Work

PUMP = SensorSeen(name="pump", is_control=True, temperature_c=3.0, flag=1, age_s=2.0)
OUTSIDE = SensorSeen(name="outside", is_control=False, temperature_c=-5.0, flag=1, age_s=4.0)


@dataclass
class Stage:
    """A guard, its house and its owner. Every look but a first one comes `pace_s` after the last."""

    plan: Plan = field(default_factory=lambda: Plan(has_owner=True, unit=Unit.C))
    mode: Mode = Mode.FREEZE
    sensors: tuple[SensorSeen, ...] = (PUMP, OUTSIDE)
    answers: Callable[[str], bool | None] = lambda question: True
    works: bool = True  # the heater heats when it should
    welded: bool = False
    has_feedback: bool = False
    k_per_s: float = 0.002  # of the air under heat; without, it falls at half of that
    refuses: str | None = None  # the method that is refused
    blind_after_s: float = 120.0
    blind_reason: str = "sensor-lost"
    blind_heats: bool | None = None
    hand_lasts_s: float = 1e9
    pace_s: float = 10.0
    up_s: float = 1000.0
    started_s: float = 100.0
    heat: bool = False
    by_hand_until_s: float = 0.0
    away_since_s: float | None = None
    wishes: list[Wish] = field(default_factory=list)
    waited_for: list[str] = field(default_factory=list)

    def see(self) -> Seen:
        away = self.away_since_s
        is_blind = away is not None and self.up_s - away >= self.blind_after_s
        heat, reason = self.heat, "inside-band"
        if self.up_s < self.by_hand_until_s:
            reason = "by-hand"
        elif is_blind:
            reason = self.blind_reason
            heat = (
                (self.mode is Mode.FREEZE and reason == "sensor-lost")
                if self.blind_heats is None
                else self.blind_heats
            )
        return Seen(
            up_s=self.up_s,
            started_s=self.started_s,
            heat=heat,
            reason=reason,
            mode=self.mode,
            is_blind=is_blind,
            is_away=away is not None,
            flows=self.flows(heat) if self.has_feedback else None,
            sensors=self.sensors if not is_blind else tuple(replace(one, flag=9) for one in self.sensors),
        )

    def flows(self, heat: bool) -> bool:
        return self.welded or (heat and self.works)

    def live(self) -> None:
        self.up_s += self.pace_s
        up_k = self.pace_s * self.k_per_s * (1.0 if self.flows(self.heat) else -0.5)
        self.sensors = tuple(
            replace(one, temperature_c=one.temperature_c + up_k)
            if one.is_control and one.temperature_c is not None
            else one
            for one in self.sensors
        )

    def grant(self, wish: Wish) -> Reply:
        self.wishes.append(wish)
        match wish:
            case Look(what=what):
                if what:
                    self.live()
                    self.waited_for.append(what)
                return self.see()
            case Ask(question=question):
                return self.answers(question)
            case Work(heat=heat, for_s=for_s):
                if self.refuses == "hand":
                    return "no, not now"
                if self.hand_lasts_s > 0.0:
                    self.heat = heat
                    self.by_hand_until_s = self.up_s + min(for_s, self.hand_lasts_s)
            case Rest():
                self.by_hand_until_s = 0.0
            case Away(for_s=for_s):
                if self.refuses == "prove":
                    return "no, not now"
                self.away_since_s = self.up_s
            case Back():
                self.away_since_s = None
        return None

    def lead(self, proof: Proof | None = None) -> dict[str, Step]:
        """The whole conversation; its steps by their names."""
        proof = proof or Proof(self.plan)
        talk = proof.run()
        try:
            wish = next(talk)
            while True:
                wish = talk.send(self.grant(wish))
        except StopIteration:
            pass
        told = [wish.step for wish in self.wishes if isinstance(wish, Done)]
        assert told == proof.steps
        assert is_record(
            max((step.verdict for step in told), key=[PASSED, UNFINISHED, FAILED].index),
            [s.facts() for s in told],
        )
        return {step.step: step for step in told}

    def asked(self) -> list[str]:
        return [wish.question for wish in self.wishes if isinstance(wish, Ask)]


def alone(**more: Any) -> Plan:
    return Plan(has_owner=False, unit=Unit.C, **more)


def honest(stage: Stage) -> None:
    """The owner sees what there is to be seen."""
    stage.answers = lambda question: (
        True if question.startswith("Is 3.0 C") else stage.flows(stage.see().heat)
    )


def nobody(_question: str) -> bool | None:
    return None


def came_to(step: Step) -> tuple[str, str | None, str]:
    return step.verdict, step.by, step.text


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

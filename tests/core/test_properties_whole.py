"""What must always hold of a whole life: finite numbers, answers, bounds."""

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, replace

import pytest
from hypothesis import given

from overwinter.core.nouns import (
    Code,
    Mode,
    Refused,
    SetHand,
    Settings,
    Site,
)
from overwinter.core.state import State
from overwinter.core.turn import Outcome, turn
from tests.core.lives import LIVES, Turns, live, whole_lives
from tests.core.rig import BAND, CALLER, House, sensor


def _numbers(value: object) -> list[float]:
    if isinstance(value, Mapping):
        return [number for part in value.values() for number in _numbers(part)]
    if isinstance(value, list | tuple):
        return [number for part in value for number in _numbers(part)]
    return [value] if isinstance(value, float) else []


@LIVES
@given(whole_lives())
def test_no_nan_and_no_infinity_reaches_a_decision_or_an_event(life: tuple[Site, Settings, Turns]) -> None:
    site, begin, turns = life
    state = State(site, begin, 0.0)
    for now_s, inbox in turns:
        outcome = turn(state, inbox, now_s)
        for said in (*_numbers(asdict(state.look)), *_numbers([made.fields for made in outcome.events])):
            assert math.isfinite(said)
        for made in outcome.events:
            json.dumps(made.fields, allow_nan=False)
        assert outcome.decision == state.decision


@LIVES
@given(whole_lives())
def test_the_same_life_twice_is_the_same(life: tuple[Site, Settings, Turns]) -> None:
    def told(outcome: Outcome) -> object:
        answers = {
            ticket: [problem.text for problem in answer.problems] if isinstance(answer, Refused) else answer
            for ticket, answer in outcome.answers.items()
        }
        return outcome.decision, outcome.events, answers

    first, second = (live(*life)[1] for _ in range(2))

    assert [told(outcome) for outcome in first] == [told(outcome) for outcome in second]


@LIVES
@given(whole_lives())
def test_every_command_is_answered_once_and_every_switch_is_told(life: tuple[Site, Settings, Turns]) -> None:
    site, begin, turns = life
    state = State(site, begin, 0.0)
    was_on, cycles = False, 0
    for now_s, inbox in turns:
        outcome = turn(state, inbox, now_s)
        assert set(outcome.answers) == {
            ticket for arrival in inbox if (ticket := getattr(arrival, "ticket", None)) is not None
        }
        switches = [made.fields["heat"] for made in outcome.events if made.name == "heat"]
        assert switches == ([outcome.decision.heat] if outcome.decision.heat != was_on else [])
        was_on = outcome.decision.heat
        cycles += switches == [True]
        assert state.cycles == cycles
        assert len([made for made in outcome.events if made.name == "sample"]) <= 1


@LIVES
@given(whole_lives())
def test_the_state_stays_bounded(life: tuple[Site, Settings, Turns]) -> None:
    site, begin, turns = life
    state, sensors = State(site, begin, 0.0), len(site.sensors)
    for now_s, inbox in turns:
        outcome = turn(state, inbox, now_s)
        for track in state.tracks.values():
            # A window that was made smaller is cut when the next reading comes.
            assert max(len(track._cold), len(track._warm), len(track._pending)) <= 31
        assert len(state.tracks) == sensors
        assert len(state.watch._episodes) <= 2 * sensors + len(Code)
        for names in (state.hot, state.moved_on_s, state.disagree_from_c):
            assert len(names) <= sensors
        for few in (state.contacts, state.active_s, state.active_before_s, state.facts):
            assert len(few) <= 2
        assert len(outcome.events) <= 2 * (2 * sensors + len(Code)) + len(inbox) + 4


@pytest.mark.parametrize("mode", list(Mode), ids=str)
def test_a_house_that_nobody_looks_after_for_a_month_keeps_a_small_state(mode: Mode) -> None:
    """Time alone must not fill anything: 30 days of turns, half of them failing."""
    house = House(replace(BAND, mode=mode, sense_s=60.0, record_s=3600.0), sensors=(sensor(),))
    for index in range(30 * 24 * 60 // 2):
        value = (None, 3.0, 85.0, 40.0)[index % 4]
        house.say(value, after_s=120.0)

    track = house.state.control[0]
    assert max(len(track._cold), len(track._warm), len(track._pending)) <= BAND.window
    assert len(house.state.watch._episodes) <= 2


@LIVES
@given(whole_lives())
def test_counters_run_only_forward_and_only_while_heat_is_on(life: tuple[Site, Settings, Turns]) -> None:
    site, begin, turns = life
    state = State(site, begin, 0.0)
    for now_s, inbox in turns:
        on_s, was_on, then_s = state.on_s, state.decision.heat, state.turned_s
        turn(state, inbox, now_s)
        assert state.on_s == on_s + (now_s - then_s if was_on else 0.0)
        assert (state.unused_s == 0.0) or not was_on


def test_a_caller_is_named_in_what_a_person_did() -> None:
    house = House()
    house.settle(3.0)
    house.turn(SetHand(ticket=1, caller=CALLER, heat=True, for_s=60.0))

    assert house.named("hand")[0].fields["user"] == "ada"

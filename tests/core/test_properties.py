"""What must always hold, over any readings, times and commands."""

import copy
import itertools
from dataclasses import replace

from hypothesis import event, given
from hypothesis import strategies as st

from overwinter.core.decide import DUTY_PERIOD_S
from overwinter.core.judge import lost_after_s
from overwinter.core.look import HOT_HOLDS_S, WARM_MEMORY_S
from overwinter.core.nouns import (
    Flag,
    Mode,
    Reading,
    Reason,
    Refused,
    Settings,
    Site,
    TakeAway,
    TakeSite,
)
from overwinter.core.state import State
from overwinter.core.turn import turn
from tests import strategies
from tests.core.lives import (
    LIVES,
    MANY,
    Noise,
    Turns,
    _each,
    _said,
    lone,
    lone_turns,
    nights,
    whole_lives,
)
from tests.core.rig import BAND, CALLER, House


@MANY
@given(strategies.settings(Mode.FREEZE), lone_turns)
def test_in_freeze_a_lost_sensor_ends_in_heat_whatever_it_said_before(begin: Settings, noise: Noise) -> None:
    house = lone(begin, noise)
    # It may have been too hot within the hour and warm within six: after that nothing speaks against heat.
    last_s = house.now_s
    house.turn(after_s=max(lost_after_s(begin), HOT_HOLDS_S, WARM_MEMORY_S))
    assert house.now_s > last_s
    blind_s = house.state.look.blind_s
    assert blind_s is not None
    house.turn(after_s=DUTY_PERIOD_S - blind_s % DUTY_PERIOD_S + 0.01)  # into an on-phase

    assert house.state.decision.heat
    assert house.state.decision.reason is Reason.SENSOR_LOST


@MANY
@given(strategies.settings(Mode.FREEZE), lone_turns, st.booleans())
def test_in_freeze_by_hand_cannot_keep_heat_off_when_the_sensor_is_lost(
    begin: Settings, noise: Noise, heat: bool
) -> None:
    begin = replace(begin, blind_duty=1.0)
    house = lone(begin, noise)
    house.hand(heat=heat, for_s=43200.0)
    house.turn(after_s=max(lost_after_s(begin), HOT_HOLDS_S, WARM_MEMORY_S) + 1.0)

    assert house.state.decision.heat


@MANY
@given(
    strategies.settings(Mode.FREEZE),
    lone_turns,
    st.lists(st.floats(min_value=-39.0, max_value=79.0), min_size=2, max_size=6),
)
def test_in_freeze_noise_that_never_passes_ends_in_heat(
    begin: Settings, noise: Noise, garbage: list[float]
) -> None:
    begin = replace(begin, blind_duty=1.0, sense_s=10.0, lost_after_s=120.0, max_rate_k_min=0.5, window=5)
    house = lone(begin, noise)
    house.say(3.0)
    track = house.state.control[0]
    believed_s, suspects = track.believed_s, 0
    end_s = house.now_s + WARM_MEMORY_S + begin.lost_after_s
    for value in itertools.cycle(garbage):
        # Whatever would be believed is held back: what is left is noise that never passes.
        said = Reading(sensor="by the pump", taken_s=house.now_s + 60.0, temperature_c=value)
        if copy.deepcopy(track).hear(said, begin) in (Flag.PASS, Flag.NOT_EVALUATED):
            said = replace(said, temperature_c=None)
        house.turn(said, after_s=60.0)
        suspects += track.flag is Flag.SUSPECT
        if house.now_s >= end_s:
            break
    event(f"more than {suspects // 100}00 suspects")
    assert track.believed_s == believed_s

    assert house.state.decision.heat
    assert house.state.decision.reason is Reason.SENSOR_LOST


@MANY
@given(
    strategies.settings(Mode.FREEZE, Mode.WARM),
    lone_turns,
    st.floats(min_value=0.0, max_value=30.0),
)
def test_a_sensor_that_keeps_saying_cold_ends_in_heat_whatever_was_before(
    begin: Settings, noise: Noise, below_k: float
) -> None:
    house = lone(begin, noise)
    cold_c = max(begin.low_c - below_k, -54.0)
    house.turn(after_s=HOT_HOLDS_S)  # a gap, so that the first one is believed
    for index in range(2 * begin.window + 2):
        tremble_k = 0.01 * (index % 2)
        house.say(cold_c - tremble_k, after_s=max(begin.sense_s, 1.0))
    house.say(cold_c, after_s=begin.min_off_s)

    assert house.state.decision.heat


# --- fire --------------------------------------------------------------------------------------------------


@MANY
@given(strategies.settings(), lone_turns, st.booleans())
def test_heat_is_never_on_while_a_lone_control_sensor_believably_reads_the_ceiling(
    begin: Settings, noise: Noise, by_hand: bool
) -> None:
    house = House(begin)
    track = house.state.control[0]
    for step_s, values in noise:
        if by_hand:
            house.hand(heat=True, for_s=43200.0)
        house.turn(*_said(values, house.now_s + step_s), after_s=step_s)
        is_fresh = track.believed_s is not None and house.now_s - track.believed_s < HOT_HOLDS_S
        if is_fresh and track.believed_c is not None and track.believed_c >= begin.ceiling_c:
            event("hot")
            assert not house.state.decision.heat


@MANY
@given(strategies.settings(Mode.WARM, Mode.OBSERVE), lone_turns)
def test_outside_freeze_a_lost_sensor_ends_without_heat(begin: Settings, noise: Noise) -> None:
    house = lone(begin, noise)
    house.hand(heat=True, for_s=43200.0)
    house.turn(after_s=lost_after_s(begin) + 1.0)  # and a little, for binary fractions

    assert not house.state.decision.heat


@LIVES
@given(whole_lives())
def test_observe_never_heats_and_by_hand_always_ends(life: tuple[Site, Settings, Turns]) -> None:
    site, begin, turns = life
    state = State(site, begin, 0.0)
    for now_s, inbox in turns:
        outcome = turn(state, inbox, now_s)
        if state.settings.mode is Mode.OBSERVE:
            assert not outcome.decision.heat
        if state.hand is not None:
            assert now_s < state.hand.until_s <= now_s + 43200.0
        if outcome.decision.reason is Reason.BY_HAND:
            assert state.hand is not None


# --- away for a proof test ---------------------------------------------------------------------------------


@st.composite
def calm(draw: st.DrawFn, *modes: Mode) -> Settings:
    """Settings under which a settled house may be tested."""
    begin = draw(strategies.settings(*modes))
    lost_s = draw(st.floats(min_value=20.0, max_value=500.0))
    return replace(begin, sense_s=10.0, lost_after_s=lost_s, flat_after_s=86400.0)


def _away(begin: Settings, for_s: float) -> House:
    """A settled house whose sensor has just been taken away."""
    house = House(begin)
    house.settle((begin.low_c + begin.high_c) / 2.0, for_s=600.0)
    taken = house.turn(TakeAway(ticket=1, caller=CALLER, for_s=for_s), after_s=0.0).answers[1]
    assert not isinstance(taken, Refused)
    return house


@MANY
@given(calm(Mode.FREEZE, Mode.WARM), lone_turns)
def test_sensors_away_never_keep_heat_on_above_the_ceiling(begin: Settings, noise: Noise) -> None:
    house = _away(begin, 600.0)
    track, heard = house.state.control[0], False
    for early in _each(noise):
        said = replace(early, taken_s=early.taken_s + 600.0)
        house.turn(said, after_s=max(said.taken_s - house.now_s, 0.0))
        heard = track.flag in (Flag.PASS, Flag.NOT_EVALUATED)
        if heard and said.temperature_c is not None and said.temperature_c >= begin.ceiling_c:
            event(f"too hot, away: {house.state.away_until_s is not None}")
            assert not house.state.decision.heat
        if house.state.away_until_s is not None and heard:
            assert said.temperature_c is not None
            assert said.temperature_c >= begin.ceiling_c


@LIVES
@given(calm(), st.floats(min_value=501.0, max_value=600.0), whole_lives())
def test_sensors_away_are_back_at_the_end_whatever_happens(
    begin: Settings, for_s: float, life: tuple[Site, Settings, Turns]
) -> None:
    begin = replace(begin, mode=Mode.FREEZE)
    house = _away(begin, for_s)
    ends_s = house.now_s + for_s
    for now_s, inbox in life[2]:
        few = [arrival for arrival in inbox if not isinstance(arrival, TakeAway | TakeSite)]
        house.turn(*few, after_s=max(600.0 + now_s - house.now_s, 0.0))
        if house.now_s >= ends_s or house.state.settings.mode is Mode.OBSERVE:
            assert house.state.away_until_s is None
    house.turn(after_s=600.0)
    assert house.state.away_until_s is None
    backs = [made for made in house.named("proof") if made.fields["step"] == "sensors-back"]
    assert len(backs) == 1


@MANY
@given(calm(Mode.FREEZE, Mode.WARM), st.floats(min_value=501.0, max_value=600.0), lone_turns)
def test_sensors_away_are_lost_sensors_to_every_decision(begin: Settings, for_s: float, noise: Noise) -> None:
    """Beside a house whose sensor truly fails for as long: the same decisions meanwhile and ever after."""
    tested, true = _away(begin, for_s), House(begin)
    true.settle((begin.low_c + begin.high_c) / 2.0, for_s=600.0)
    true.turn(after_s=0.0)
    until_s = tested.state.away_until_s
    assert until_s is not None
    for step_s, values in noise:
        now_s = tested.now_s + step_s
        honest = _said(values, now_s)
        lost = [
            replace(said, temperature_c=None, error="lost")
            if said.temperature_c is not None and not said.temperature_c >= begin.ceiling_c
            else said
            for said in honest
        ]
        tested.turn(*honest, after_s=step_s)
        true.turn(*(lost if now_s < until_s else honest), after_s=step_s)
        event(f"{tested.state.decision.reason}, away: {tested.state.away_until_s is not None}")
        assert tested.state.decision == true.state.decision
        assert tested.state.look == true.state.look


# --- doubt -------------------------------------------------------------------------------------------------


@MANY
@given(strategies.settings(Mode.FREEZE, Mode.WARM), nights())
def test_heat_goes_off_by_the_band_only_on_half_a_window_of_believed_readings(
    begin: Settings, noise: Noise
) -> None:
    """Each was flagged 1 or 2, or is part of a step that lasted a whole window; their median is warm."""
    house = House(begin)
    track = house.state.control[0]
    believed: set[float] = set()  # when they were taken
    suspects: list[float] = []  # in a row, failed reads apart
    for said in _each(noise):
        was_on = house.state.decision.heat
        house.turn(said, after_s=max(said.taken_s - house.now_s, 0.0))
        if track.flag is Flag.SUSPECT:
            suspects.append(said.taken_s)
        elif track.flag in (Flag.PASS, Flag.NOT_EVALUATED):
            believed.add(said.taken_s)
            if track.flag is Flag.PASS and len(suspects) >= begin.window - 1:
                believed.update(suspects[len(suspects) - (begin.window - 1) :])
            suspects.clear()
        decision = house.state.decision
        if was_on and not decision.heat and decision.reason is Reason.ABOVE_BAND:
            event("off by the band")
            warm = sorted(track._warm, key=lambda pair: pair[1])
            assert {taken_s for taken_s, _ in warm} <= believed
            assert len(warm) >= (begin.window + 1) / 2
            assert warm[(len(warm) - 1) // 2][1] >= begin.high_c


@MANY
@given(
    st.lists(st.floats(min_value=1.6, max_value=3.9), min_size=20, max_size=40),
    st.lists(st.tuples(st.integers(0, 39), st.floats(min_value=5.0, max_value=23.0)), max_size=10),
)
def test_doubtful_warm_readings_never_turn_heat_off(
    true_c: list[float], spikes: list[tuple[int, float]]
) -> None:
    """The same night with and without suspect warm readings: where the clean one heats, the other does."""
    clean, spiked = House(), House()
    at = {index: value for index, value in spikes if value}
    smooth_c = 1.9
    for house in (clean, spiked):
        house.settle(smooth_c)
        assert house.state.decision.heat
    for index, wish_c in enumerate(true_c):
        smooth_c += min(max(wish_c - smooth_c, -0.3), 0.3)  # as fast as a house goes
        clean.say(smooth_c)
        said_c = at.get(index, smooth_c)
        if said_c != smooth_c:
            said = Reading(sensor="by the pump", taken_s=spiked.now_s + 10.0, temperature_c=said_c)
            if copy.deepcopy(spiked.state.control[0]).hear(said, BAND) is not Flag.SUSPECT:
                said_c = smooth_c
        spiked.say(said_c)

        assert spiked.state.decision.heat


@MANY
@given(strategies.settings(), lone_turns)
def test_a_suspect_never_makes_a_lost_sensor_believed(begin: Settings, noise: Noise) -> None:
    house = House(begin)
    track = house.state.control[0]
    for said in _each(noise):
        before_s = house.state.believed_s
        house.turn(said, after_s=max(said.taken_s - house.now_s, 0.0))
        if track.flag not in (Flag.PASS, Flag.NOT_EVALUATED):
            assert house.state.believed_s == before_s


# --- minimum times -----------------------------------------------------------------------------------------


@MANY
@given(strategies.settings(), lone_turns)
def test_minimum_times_hold_wherever_the_band_decides(begin: Settings, noise: Noise) -> None:
    house = House(begin)
    for step_s, values in noise:
        before, since_s = house.state.decision, house.state.changed_s
        house.turn(*_said(values, house.now_s + step_s), after_s=step_s)
        decision, held_s = house.state.decision, house.now_s - since_s
        if decision.heat == before.heat:
            continue
        event(f"{before.reason} to {decision.reason}")
        coldest_c = house.state.look.coldest_cold_c
        if decision.reason is Reason.BELOW_BAND:
            assert coldest_c is not None
            assert held_s >= begin.min_off_s or coldest_c <= begin.alarm_low_c
        elif decision.reason is Reason.ABOVE_BAND:
            assert held_s >= begin.min_on_s or before.reason is Reason.EXERCISE
        else:
            # MIN_ON, MIN_OFF and, but for an exercise that gives back, INSIDE_BAND keep what is.
            assert decision.reason in (
                Reason.TOO_HOT,
                Reason.SENSOR_LOST,
                Reason.WARM_ENOUGH,
                Reason.EXERCISE,
            ) or (decision.reason is Reason.INSIDE_BAND and before.reason is Reason.EXERCISE)

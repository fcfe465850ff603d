"""One turn of the wheel: readings and commands in, one decision and what to record out.

The same function turns in the pump house, in the demo, in rehearsals and in the property tests. It has no
clock: `now_s` is seconds on CLOCK_BOOTTIME, and a stepped wall clock can change nothing here. `State` is all
that it remembers, belongs to one caller, and is changed in place; the same arrivals at the same times on an
equal state give equal outcomes.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from overwinter.core.alarms import alarming
from overwinter.core.away import give_back, put_aside, take_away
from overwinter.core.decide import Before, Look, decide, hand_has_ended
from overwinter.core.judge import patience
from overwinter.core.look import (
    coldest_believed_c,
    coldest_track,
    is_still_hot,
    look_around,
    outdoor_temperature_c,
)
from overwinter.core.nouns import (
    Adopt,
    Arrival,
    Caller,
    Command,
    ContactState,
    Decision,
    Event,
    Fact,
    Flag,
    GiveBack,
    Mode,
    Problem,
    Reading,
    Reason,
    Refused,
    Release,
    Remark,
    SetHand,
    TakeAway,
    TakeSite,
)
from overwinter.core.state import Hand, State
from overwinter.core.units import say
from overwinter.core.watch import Change

HOT_DEAD_ZONE_K = 1.0
"""How far below the ceiling a believable reading must be for too hot to be over."""

HAND_AT_MOST_S = 12 * 3600.0
"""Nobody remembers for longer what they switched by hand."""

DAY_S = 86400.0

# Asked in every turn: going through the class takes ten times as long.
_PASS, _EXERCISE = Flag.PASS, Reason.EXERCISE


@dataclass(slots=True)
class Outcome:
    """What one turn came to."""

    decision: Decision
    events: list[Event] = field(default_factory=list)
    answers: dict[int, Mapping[str, object] | Refused] = field(default_factory=dict)  # by ticket


def turn(state: State, inbox: Iterable[Arrival], now_s: float) -> Outcome:
    """Take what arrived, look, decide, and say what is to be recorded.

    Parameters
    ----------
    state : State
        Changed in place.
    inbox : iterable of Arrival
        Readings, contact states, facts and commands in the order they came.
    now_s : float
        Seconds on CLOCK_BOOTTIME [s]; not before the turn before.
    """
    _count(state, now_s)
    outcome = Outcome(state.decision)
    if state.away_until_s is not None and now_s >= state.away_until_s:
        outcome.events.append(give_back(state, now_s, "over", None))
    for arrival in inbox:
        if isinstance(arrival, Reading):
            _hear(state, arrival, now_s)
        else:
            _obey(state, arrival, outcome, now_s)
    lost_s = state.lost_s
    for track in state.tracks.values():
        heard_s = track.heard_s
        if track.flat_since_s is not None or (heard_s is not None and now_s - heard_s >= lost_s):
            track.grow_old(now_s, lost_s)
    look = state.look = look_around(state, now_s)
    if state.hand is not None:
        _end_hand(state, state.hand, look, outcome, now_s)
    settings, was = state.settings, state.decision
    hand = state.hand
    exercise_s = None if state.exercise_since_s is None else now_s - state.exercise_since_s
    before = Before(
        heat=was.heat,
        reason=was.reason,
        since_s=now_s - state.changed_s,
        hand=None if hand is None else hand.heat,
        exercise_s=exercise_s,
        exercise_is_due=state.unused_s >= settings.exercise_every_days * DAY_S,
    )
    decision = state.decision = outcome.decision = decide(look, settings, before)
    if decision.reason is not _EXERCISE:
        state.exercise_since_s = None
    elif exercise_s is None:
        state.exercise_since_s = now_s
    if decision.heat != was.heat:
        _switched(state, decision, outcome, now_s)
    for change in state.watch.see(alarming(state, look, now_s), now_s, sense_s=settings.sense_s):
        outcome.events.append(_alarm(change, now_s))
    if now_s - state.beat_s >= settings.record_s:
        outcome.events.append(_sample(state, look, now_s))
    return outcome


def _count(state: State, now_s: float) -> None:
    elapsed_s = now_s - state.turned_s
    state.turned_s = now_s
    if state.decision.heat:
        state.on_s += elapsed_s
        state.period_on_s += elapsed_s
        state.unused_s = 0.0
        state.heated_s = now_s
    else:
        state.unused_s += elapsed_s
    for name, active in state.contacts.items():
        if active:
            state.active_s[name] = state.active_s.get(name, 0.0) + elapsed_s


def _hear(state: State, reading: Reading, now_s: float) -> None:
    track = state.tracks.get(reading.sensor)
    if track is None:  # of a sensor that the site does not name
        return
    if not reading.taken_s <= now_s:
        # From the future it would never grow old: the house would freeze under a reading that stays fresh.
        reading = replace(reading, taken_s=now_s)
    if state.away_until_s is not None and reading.sensor in state.hot:
        reading = put_aside(reading, track.spec, state.settings)
    flag = track.hear(reading, state.settings)
    if track.flat_since_s is None:
        state.moved_on_s[reading.sensor] = state.on_s
    hot = state.hot.get(reading.sensor)
    if hot is None or track.temperature_c is None:
        return
    settings = state.settings
    # Once too hot, it must be so much cooler to be over: no chatter at the ceiling.
    under_k = settings.ceiling_c - track.temperature_c
    is_hot = under_k <= 0.0 or (under_k <= HOT_DEAD_ZONE_K and is_still_hot(hot, now_s))
    if flag is _PASS or flag is Flag.NOT_EVALUATED:
        state.heard_control = True
        state.believed_s = max(state.believed_s, reading.taken_s)
        state.believed_c = coldest_believed_c(state, now_s)
        hot.suspects = 0
        hot.since_s = reading.taken_s if is_hot else None
    elif flag is Flag.SUSPECT:
        hot.suspects = hot.suspects + 1 if is_hot else 0
        # A lost sensor's suspects do not renew it: noise that never passes must end blind, not kept off.
        is_heard = hot.suspects >= max(patience(settings), 2)
        if is_heard and not track.is_lost(reading.taken_s, state.lost_s):
            hot.since_s = reading.taken_s


def _obey(
    state: State, arrival: ContactState | Fact | TakeSite | Command, outcome: Outcome, now_s: float
) -> None:
    match arrival:
        case ContactState(name=name, active=active):
            state.contacts[name] = active
        case Fact(code=code, subject=subject, present=True, text=text):
            state.facts[code, subject] = text
        case Fact(code=code, subject=subject):
            state.facts.pop((code, subject), None)
        case TakeSite(site=site):
            state.take_site(site)
        case Remark(ticket=ticket, event=name, fields=fields):
            outcome.events.append(Event(name, now_s, fields))
            outcome.answers[ticket] = {}
        case Adopt():
            _adopt(state, arrival, outcome, now_s)
        case SetHand():
            outcome.answers[arrival.ticket] = _set_hand(state, arrival, outcome, now_s)
        case Release(ticket=ticket, caller=caller):
            if state.hand is not None:
                outcome.events.append(_hand_event(state.hand, now_s, "released", caller))
                state.hand = None
            outcome.answers[ticket] = {}
        case TakeAway(ticket=ticket):
            taken = take_away(state, arrival, now_s)
            if isinstance(taken, Refused):
                outcome.answers[ticket] = taken
            else:
                outcome.events.append(taken)
                outcome.answers[ticket] = {"until_s": state.away_until_s}
        case GiveBack(ticket=ticket, caller=caller):
            if state.away_until_s is not None:
                outcome.events.append(give_back(state, now_s, "given-back", caller))
            outcome.answers[ticket] = {}
        case _:  # Quiet: there is no other
            for change in state.watch.acknowledge():
                outcome.events.append(_alarm(change, now_s, arrival.caller))
            outcome.answers[arrival.ticket] = {}


def _adopt(state: State, adopt: Adopt, outcome: Outcome, now_s: float) -> None:
    state.adopt(adopt.settings)
    if state.away_until_s is not None and adopt.settings.mode is Mode.OBSERVE:
        outcome.events.append(give_back(state, now_s, "observing", adopt.caller))
    changes = {key: list(pair) for key, pair in adopt.changes.items()}
    if changes:
        fields = {"changes": changes, "how": adopt.how, **adopt.caller.facts()}
        outcome.events.append(Event("settings", now_s, fields))
    outcome.answers[adopt.ticket] = {"saved": True, "changes": changes}


def _set_hand(
    state: State, command: SetHand, outcome: Outcome, now_s: float
) -> Mapping[str, object] | Refused:
    settings, key = state.settings, "heat.for"
    if settings.mode is Mode.OBSERVE:
        text = "mode observe never heats: change the mode first (overwinter mode freeze)"
        return Refused([Problem("heat", command.heat, "in mode freeze or warm", text)])
    if not 0.0 < command.for_s <= HAND_AT_MOST_S:
        text = f"{command.for_s:g} s by hand: more than 0 and at most 12 h (43200 s)"
        return Refused([Problem(key, command.for_s, "more than 0 and at most 12 h", text)])
    look = look_around(state, now_s)
    if hand_has_ended(look, settings, heat=command.heat):
        why = (
            "no believable sensor"
            if look.blind_s is not None
            else f"it is at or below alarm_low, {say(settings.alarm_low_c, settings.unit)}"
        )
        word = "on" if command.heat else "off"
        return Refused(
            [
                Problem(
                    "heat", command.heat, f"not {word} by hand now", f"heat {word} by hand is refused: {why}"
                )
            ]
        )
    state.hand = Hand(command.heat, now_s + command.for_s)
    outcome.events.append(_hand_event(state.hand, now_s, "set", command.caller))
    return {"until_s": state.hand.until_s}


def _hand_event(hand: Hand, now_s: float, word: str, caller: Caller | None) -> Event:
    fields = {"state": word, "heat": hand.heat, "left_s": round(max(hand.until_s - now_s, 0.0), 1)}
    return Event("hand", now_s, {**fields, **_who(caller)})


def _end_hand(state: State, hand: Hand, look: Look, outcome: Outcome, now_s: float) -> None:
    if now_s >= hand.until_s:
        word = "over"
    elif hand_has_ended(look, state.settings, heat=hand.heat):
        word = "ended"
    else:
        return
    outcome.events.append(_hand_event(hand, now_s, word, None))
    state.hand = None


def _switched(state: State, decision: Decision, outcome: Outcome, now_s: float) -> None:
    state.changed_s = now_s
    if decision.heat:
        state.cycles += 1
    fields = {
        "heat": decision.heat,
        "reason": decision.reason.value,
        "temperature_c": _rounded(state.look.coldest_cold_c),
        "cycles": state.cycles,
        "on_s": round(state.on_s, 1),
    }
    outcome.events.append(Event("heat", now_s, fields))


def _sample(state: State, look: Look, now_s: float) -> Event:
    """What a record period came to."""
    period_s = max(now_s - state.period_since_s, 1e-9)
    coldest = coldest_track(state, now_s)
    is_blind = look.blind_s is not None
    fields: dict[str, object] = {
        "temperature_c": None if is_blind else _rounded(look.coldest_cold_c),
        "humidity_pct": None if coldest is None or is_blind else coldest.humidity_pct,
        "flag": int(Flag.MISSING if coldest is None else coldest.flag),
        "heat": round(min(state.period_on_s / period_s, 1.0), 4),
        "mode": state.settings.mode.value,
        "low_c": round(state.settings.low_c, 3),
        "high_c": round(state.settings.high_c, 3),
        "sensors": {
            name: [_rounded(track.temperature_c), track.humidity_pct, int(track.flag)]
            for name, track in state.tracks.items()
        },
    }
    outdoor_c = outdoor_temperature_c(state, now_s)
    if outdoor_c is not None:
        fields["outdoor_c"] = _rounded(outdoor_c)
    if state.contacts:
        fields["contacts"] = {
            name: round(
                min((state.active_s.get(name, 0.0) - state.active_before_s.get(name, 0.0)) / period_s, 1.0), 4
            )
            for name in state.contacts
        }
    # Keep to the beat: a turn that comes late must not shift all later samples.
    record_s = state.settings.record_s
    state.beat_s = state.beat_s + record_s if now_s - state.beat_s < 2 * record_s else now_s
    state.period_since_s = now_s
    state.period_on_s = 0.0
    state.active_before_s = dict(state.active_s)
    return Event("sample", now_s, fields)


def _alarm(change: Change, now_s: float, caller: Caller | None = None) -> Event:
    episode = change.episode
    text = episode.text
    if change.state == "cleared":
        text = f"over after {(now_s - episode.since_s) / 60.0:.0f} min; it was: {text}"
    fields: dict[str, object] = {"code": episode.code.value, "state": change.state, "text": text}
    if episode.subject:
        fields["subject"] = episode.subject
    return Event("alarm", now_s, {**fields, **_who(caller)})


def _who(caller: Caller | None) -> dict[str, object]:
    return {} if caller is None else caller.facts()


def _rounded(temperature_c: float | None) -> float | None:
    return None if temperature_c is None else round(temperature_c, 3)

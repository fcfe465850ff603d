"""The control sensors taken away for a proof test: what they say is put aside, and the rules act alone.

Rule 1: it always ends: by its own end, when they are given back, with mode observe, at a restart.
Rule 2: what is at or above the ceiling is heard all the same; a test must not cost the protection from fire.
Rule 3: it begins only where every control sensor is believed and nothing else acts, so that whatever is seen
        then is the test's doing, and so that it hides no alarm.
"""

from dataclasses import replace

from overwinter.core.decide import is_alarmingly_cold
from overwinter.core.look import look_around
from overwinter.core.nouns import (
    Caller,
    Code,
    Event,
    Mode,
    Problem,
    Reading,
    Refused,
    SensorSpec,
    Settings,
    TakeAway,
)
from overwinter.core.state import State
from overwinter.core.units import say

AWAY_AT_MOST_S = 600.0
"""A house may cool for so long under a test, not longer; and a lost sensor is told after ten minutes."""


def take_away(state: State, command: TakeAway, now_s: float) -> Event | Refused:
    """Begin, or say with every problem at once why not."""
    problems = _problems(state, command.for_s, now_s)
    if problems:
        return Refused(problems)
    until_s = state.away_until_s = now_s + command.for_s
    state.away_blind_s = until_s + state.lost_s
    return Event("proof", now_s, {"step": "sensors-away", "for_s": command.for_s, **command.caller.facts()})


def give_back(state: State, now_s: float, why: str, caller: Caller | None) -> Event:
    """End it; `why`: over, given-back or observing."""
    state.away_until_s = None
    # Until the next reading comes the house is still blind, and still because of the test.
    state.away_blind_s = now_s + state.lost_s
    who = {} if caller is None else caller.facts()
    return Event("proof", now_s, {"step": "sensors-back", "why": why, **who})


def put_aside(reading: Reading, spec: SensorSpec, settings: Settings) -> Reading:
    """The reading as if it had failed, unless it is too hot to be left unheard."""
    raw_c = reading.temperature_c
    if raw_c is None or raw_c + spec.offset_c >= settings.ceiling_c:
        return reading
    return replace(reading, temperature_c=None, humidity_pct=None, error="put aside for a proof test")


def _problems(state: State, for_s: float, now_s: float) -> list[Problem]:
    settings, problems = state.settings, []

    def refuse(key: str, value: object, allowed: str, text: str) -> None:
        problems.append(Problem(key, value, allowed, text))

    if settings.mode is Mode.OBSERVE:
        text = "mode observe never heats, so no fail-safe can be seen: change the mode first"
        refuse("mode", settings.mode.value, "freeze or warm", f"{text} (overwinter mode freeze)")
    lost_s = state.lost_s
    if not 0.0 < for_s <= AWAY_AT_MOST_S:
        allowed = f"more than 0 and at most {AWAY_AT_MOST_S:.0f} seconds"
        refuse("for_s", for_s, allowed, f"sensors away for {for_s:g} s: {allowed}")
    elif for_s <= lost_s:
        allowed = f"longer than it takes to be blind, {lost_s:g} s"
        text = f"sensors away for {for_s:g} s: must be {allowed}"
        if lost_s >= AWAY_AT_MOST_S:
            text += f", and {AWAY_AT_MOST_S:.0f} s is the most: overwinter set failsafe.lost_after_s=120"
        refuse("for_s", for_s, allowed, text)
    if state.away_until_s is not None:
        text = f"the sensors are away already, for {state.away_until_s - now_s:.0f} s more"
        refuse("step", "sensors-away", "once they are back", text)
    if state.hand is not None:
        text = "heat is set by hand, which goes before the fail-safe: overwinter heat release"
        refuse("heat", state.hand.heat, "not set by hand", text)
    look = look_around(state, now_s)
    if look.is_too_hot:
        text = f"a control sensor is at or above the ceiling, {say(settings.ceiling_c, settings.unit)}"
        refuse("limits.ceiling", None, "below the ceiling", f"{text}: no time for a test")
    if is_alarmingly_cold(look, settings) or state.watch.is_raised(Code.COLD):
        text = f"it is at or near alarm_low, {say(settings.alarm_low_c, settings.unit)}: no time for a test"
        refuse("limits.alarm_low", None, "warmer than alarm_low", text)
    for track in state.control:
        if track.is_lost(now_s, lost_s) or track.flat_since_s is not None:
            text = f"sensor {track.spec.name!r} gives nothing believable ({track.error or 'readings jump'})"
            refuse("sensor", track.spec.name, "believed", f"{text}: see to it first")
    return problems

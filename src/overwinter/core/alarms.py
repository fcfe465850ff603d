"""What is alarming now, in sentences: evidence and what to do. When to tell is `watch`'s business."""

from overwinter.core.decide import Look
from overwinter.core.judge import Track
from overwinter.core.nouns import Code, Mode, Role
from overwinter.core.state import State
from overwinter.core.units import say
from overwinter.core.watch import COLD_DEAD_ZONE_K, HEAT_MEMORY_S, TELL_AFTER_S, WORN_SHARE

LOW_END_MIN_C = 1.0
"""A low end under this protects no pipe: the sensor may read 0.5 K high, and the pipe is colder still."""

FOLLOWS_HEAT_K = 0.5
"""A sensor that rises by so much in ten minutes of heat follows it; noise is 0.1 to 0.2 K (from memory)."""


def alarming(state: State, look: Look, now_s: float) -> dict[tuple[Code, str], str]:
    """What is alarming now, each with its evidence and what to do."""
    settings, present = state.settings, {}
    lost_s = state.lost_s
    unit = settings.unit
    for track in state.tracks.values():
        name = track.spec.name
        if state.away_until_s is not None and name in state.hot:
            # Away for a proof test, which began with all of them believed: nobody is woken for that.
            continue
        if track.flat_since_s is not None:
            if _stayed_flat_in_heat(state, track):
                minutes = (now_s - track.flat_since_s) / 60.0
                present[Code.SENSOR_DOUBTFUL, name] = (
                    f"sensor {name!r} has not moved for {minutes:.0f} minutes, ten of them under heat: "
                    "check its wire, then replace it"
                )
        elif track.is_lost(now_s, lost_s) and now_s - state.started_s >= lost_s:
            present[Code.SENSOR_LOST, name] = (
                f"sensor {name!r} gives nothing believable ({track.error or 'readings jump'}): "
                "check its wire and power; " + _consequence(state, look)
            )
    if look.disagree_s is not None:
        present[Code.SENSORS_DISAGREE, ""] = _disagreement(state)
    elif look.is_too_hot and (
        (state.heated_s is not None and now_s - state.heated_s <= HEAT_MEMORY_S)
        # Once told it lasts: a welded contact goes on heating long after the relay was released.
        or state.watch.is_raised(Code.TOO_HOT)
    ):
        present[Code.TOO_HOT, ""] = (
            f"a control sensor is at or above the ceiling, {say(settings.ceiling_c, unit)}, within an hour "
            "of heat: heat is off; look at the heater and the relay before anything else"
        )
    cold_c = look.coldest_cold_c
    if cold_c is not None and (
        cold_c <= settings.alarm_low_c
        or (cold_c <= settings.alarm_low_c + COLD_DEAD_ZONE_K and state.watch.is_present(Code.COLD))
    ):
        present[Code.COLD, ""] = (
            f"the coldest reading is {say(cold_c, unit)}, alarm_low is {say(settings.alarm_low_c, unit)}; "
            f"heat is {'on' if state.decision.heat else 'off'} ({state.decision.reason.value}): "
            "check lamp or heater, breaker, door"
        )
    for name in state.wet_contacts:
        if state.contacts.get(name, False):
            present[Code.WET_FLOOR, name] = (
                f"{name!r} reports water on the floor: stay out until the breaker is off, then look"
            )
    if settings.low_c < LOW_END_MIN_C - 1e-6 and settings.mode is Mode.FREEZE:
        present[Code.LOW_SETTING, ""] = (
            f"band.low is {say(settings.low_c, unit)}: pipes may freeze before heat comes on; "
            f"{say(LOW_END_MIN_C, unit)} is the least that protects them"
        )
    rated = state.site.relay.rated_cycles
    if rated is not None and state.cycles >= WORN_SHARE * rated:
        present[Code.RELAY_WORN, ""] = (
            f"the relay has made {state.cycles} of its {rated} rated cycles: replace it before next winter"
        )
    present |= state.facts
    return present


def _stayed_flat_in_heat(state: State, track: Track) -> bool:
    """A stable cold house may well read the same for hours; under heat only a stuck sensor does.

    Outside freeze nothing heats a blind house, so there time alone must do.
    """
    if track.spec.role is not Role.CONTROL or state.settings.mode is not Mode.FREEZE:
        return True
    # Counted together, not at a stretch: blind heat by duty, or by the other sensors, comes in short pieces.
    return state.on_s - state.moved_on_s[track.spec.name] >= TELL_AFTER_S


def _consequence(state: State, look: Look) -> str:
    if look.blind_s is None:
        return "the other sensors go on"
    return {
        Mode.FREEZE: "until then heat is on unless something says it is warm",
        Mode.WARM: "until then heat is off",
        Mode.OBSERVE: "nothing is guarded",
    }[state.settings.mode]


def _disagreement(state: State) -> str:
    unit = state.settings.unit
    said = ", ".join(
        f"{track.spec.name!r} {say(track.seen_c, unit)}"
        for track in state.control
        if track.seen_c is not None
    )
    what = {
        Mode.FREEZE: "heat as without sensors",
        Mode.WARM: "heat is off until they agree",
        Mode.OBSERVE: "nothing is heated in observe",
    }[state.settings.mode]
    text = f"control sensors disagree ({said}): one says too hot, one says cold; {what}"
    deaf = _deaf_to_heat(state)
    if not deaf:
        return text + "; compare both with a thermometer"
    names = " and ".join(repr(name) for name in deaf)
    return f"{text}; {names} does not follow the heat: replace it first"


def _deaf_to_heat(state: State) -> list[str]:
    """The sensors that did not move under ten minutes of heat, all pieces together, while another did."""
    if state.on_s - state.disagree_on_s < TELL_AFTER_S:
        return []
    rise_k = {
        track.spec.name: track.seen_c - state.disagree_from_c[track.spec.name]
        for track in state.control
        if track.seen_c is not None and track.spec.name in state.disagree_from_c
    }
    if not any(rise >= FOLLOWS_HEAT_K for rise in rise_k.values()):
        return []
    return [name for name, rise in rise_k.items() if rise < FOLLOWS_HEAT_K]

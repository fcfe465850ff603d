"""What all the sensors together say now: from the tracks to the one `Look` that the rules decide on."""

from overwinter.core.decide import Look
from overwinter.core.judge import Track
from overwinter.core.state import Hot, State

HOT_HOLDS_S = 3600.0
"""A sensor lost while too hot counts as too hot for so long; after that it is merely lost."""

WARM_MEMORY_S = 6 * 3600.0
"""For so long a believed warm reading speaks against blind heat."""

WARM_DEAD_ZONE_K = 0.5
"""Once it is warm enough elsewhere, it must be so much colder before blind heat comes on: no chatter."""


def look_around(state: State, now_s: float) -> Look:
    """Ask every sensor."""
    settings = state.settings
    lost_s = state.lost_s
    coldest_cold_c = coldest_warm_c = hottest_warm_c = None
    all_know_warm = True
    for track in state.control:
        cold_c = track.cold_c(now_s, settings)
        if cold_c is not None and (coldest_cold_c is None or cold_c < coldest_cold_c):
            coldest_cold_c = cold_c
        believed_s = track.believed_s
        if believed_s is None or now_s - believed_s >= lost_s:  # `is_lost`, written out: asked in every turn
            continue
        warm_c = track.warm_c(now_s, settings)
        if warm_c is None:
            # A live sensor that cannot yet say "warm" may be the one at the coldest pipe.
            all_know_warm = False
            continue
        if coldest_warm_c is None or warm_c < coldest_warm_c:
            coldest_warm_c = warm_c
        if hottest_warm_c is None or warm_c > hottest_warm_c:
            hottest_warm_c = warm_c
    blind_after_s = now_s - state.believed_s - lost_s
    look = Look(
        coldest_cold_c=coldest_cold_c,
        coldest_warm_c=coldest_warm_c if all_know_warm else None,
        hottest_warm_c=hottest_warm_c,
        blind_s=blind_after_s if blind_after_s >= 0.0 else None,
    )
    if state.believed_c is not None and state.believed_c >= settings.warm_above_c:
        look.was_warm = now_s - state.believed_s < WARM_MEMORY_S
    if state.others:
        look.warm_elsewhere = state.warm_elsewhere = _is_warm_elsewhere(state, now_s)
    for said in state.hot.values():
        if said.since_s is not None and is_still_hot(said, now_s):
            break
    else:  # as nearly always: then nobody is to be heard against it
        state.speak_cold.clear()
        state.disagree_since_s = None
        return look
    hot = [name for name, said in state.hot.items() if is_still_hot(said, now_s)]
    look.is_too_hot = True
    state.speak_cold = {
        track.spec.name
        for track in state.control
        if track.spec.name not in hot and _speaks_against(track, state, now_s)
    }
    if state.speak_cold:
        if state.disagree_since_s is None:
            state.disagree_since_s = now_s
            state.disagree_on_s = state.on_s
            state.disagree_from_c = {
                track.spec.name: track.seen_c for track in state.control if track.seen_c is not None
            }
        look.disagree_s = now_s - state.disagree_since_s
    else:
        state.disagree_since_s = None
    return look


def _speaks_against(track: Track, state: State, now_s: float) -> bool:
    """Whether this sensor says "cold" against another's "too hot".

    It takes a live sensor: what overrules the ceiling must be believed. Once it has spoken it is heard until
    it has reached high, as by the band; else heat would chatter while it trembles around low.
    """
    settings = state.settings
    if track.is_lost(now_s, state.lost_s):
        return False
    cold_c, warm_c = track.cold_c(now_s, settings), track.warm_c(now_s, settings)
    if cold_c is not None and cold_c <= settings.low_c:
        return True
    return track.spec.name in state.speak_cold and (warm_c is None or warm_c < settings.high_c)


def is_still_hot(hot: Hot, now_s: float) -> bool:
    """Whether what this sensor said about the ceiling still holds."""
    return hot.since_s is not None and now_s - hot.since_s < HOT_HOLDS_S


def _is_warm_elsewhere(state: State, now_s: float) -> bool:
    settings, lost_s = state.settings, state.lost_s
    limit_c = settings.warm_above_c - (WARM_DEAD_ZONE_K if state.warm_elsewhere else 0.0)
    for track in state.others:
        if not track.is_lost(now_s, lost_s):
            warm_c = track.warm_c(now_s, settings)
            if warm_c is not None and warm_c >= limit_c:
                return True
    return False


def coldest_track(state: State, now_s: float) -> Track | None:
    """The control sensor that speaks for the house: the coldest. None: none says anything."""
    coldest, coldest_c = None, None
    for track in state.control:
        cold_c = track.cold_c(now_s, state.settings)
        if cold_c is not None and (coldest_c is None or cold_c < coldest_c):
            coldest, coldest_c = track, cold_c
    return coldest


def coldest_believed_c(state: State, now_s: float) -> float | None:
    """The coldest of what the control sensors last said believably, as far back as warmth is remembered.

    Not the latest of them: a sensor in the warm corner that speaks last must not hide the one at the pipe.
    """
    coldest_c = None
    for track in state.control:
        said_c, said_s = track.believed_c, track.believed_s
        if said_c is None or said_s is None or now_s - said_s >= WARM_MEMORY_S:
            continue
        if coldest_c is None or said_c < coldest_c:
            coldest_c = said_c
    return coldest_c


def outdoor_temperature_c(state: State, now_s: float) -> float | None:
    """What the outdoor sensors say, the coldest of them; None without a believable one."""
    said = [
        warm_c
        for track in state.outdoor
        if not track.is_lost(now_s, state.lost_s)
        and (warm_c := track.warm_c(now_s, state.settings)) is not None
    ]
    return min(said) if said else None

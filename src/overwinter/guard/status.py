"""What `status` answers: the state of the core, dated. Facts only, in SI with the unit in the key."""

from collections.abc import Mapping, Sequence

from overwinter import __version__
from overwinter.core.look import coldest_track, outdoor_temperature_c
from overwinter.core.nouns import Reason
from overwinter.core.state import State
from overwinter.core.units import from_c
from overwinter.core.watch import health
from overwinter.guard.clock import rfc3339_s
from overwinter.physics.air import dew_point_c

_BEING_CHECKED = (Reason.BY_HAND, Reason.EXERCISE)

_DEW_POINT_C = (-45.0, 60.0)  # where the formula holds


def status(
    state: State,
    *,
    now_s: float,
    utc_s: float,
    uptime_s: float,
    boot: str,
    watchdog_s: float | None,
    current_flows: bool | None,
    proof: Mapping[str, object] | None,
    disk: dict[str, str],
    is_synchronised: bool,
    warnings: Sequence[str],
) -> dict[str, object]:
    """The answer to `status`, as of the turn that ended at `now_s`."""
    settings, look, decision = state.settings, state.look, state.decision
    coldest = coldest_track(state, now_s)
    is_blind = state.is_blind
    temperature_c = None if is_blind else look.coldest_cold_c
    humidity_pct = None if is_blind or coldest is None else coldest.humidity_pct
    episodes = state.watch.raised()
    is_away, is_tested = state.away_until_s is not None, now_s < state.away_blind_s
    site = state.site
    facts: dict[str, object] = {
        "version": __version__,
        "site": site.name,
        "unit": settings.unit.value,
        "uptime_s": round(uptime_s, 1),
        "up_s": round(now_s, 1),
        "boot": boot,
        "watchdog_s": watchdog_s,
        "mode": settings.mode.value,
        "blind": is_blind,
        "temperature_c": _rounded(temperature_c),
        "humidity_pct": humidity_pct,
        "dew_point_c": _rounded(_dew_point_c(temperature_c, humidity_pct)),
        "age_s": round(now_s - state.believed_s, 1) if state.heard_control else None,
        "band": {"low_c": round(settings.low_c, 4), "high_c": round(settings.high_c, 4)},
        "heat": {
            "on": decision.heat,
            "reason": decision.reason.value,
            "since_s": round(now_s - state.changed_s, 1),
            "hand_until": None
            if state.hand is None
            else rfc3339_s(utc_s + max(state.hand.until_s - now_s, 0.0)),
            "cycles": state.cycles,
            "on_s": round(state.on_s, 1),
        },
        "sensors": [
            {
                "name": track.spec.name,
                "role": track.spec.role.value,
                "at": track.spec.at,
                "kind": track.spec.kind,
                "flag": int(track.flag),
                "temperature_c": _rounded(track.temperature_c),
                "humidity_pct": track.humidity_pct,
                "age_s": None if track.believed_s is None else round(now_s - track.believed_s, 1),
                "error": track.error,
            }
            for track in state.tracks.values()
        ],
        "health": health(
            episodes,
            # A start is no failure yet: sensors get the time that a loss is given. Nor is a proof test.
            is_blind=is_blind and now_s - state.started_s >= state.lost_s and not is_tested,
            is_function_check=decision.reason in _BEING_CHECKED or is_away or (is_blind and is_tested),
        ).value,
        "alarms": [
            {
                "code": episode.code.value,
                "subject": episode.subject,
                "since": rfc3339_s(utc_s - (now_s - episode.since_s)),
                "acknowledged": episode.acknowledged,
                "text": episode.text,
            }
            for episode in episodes
        ],
        "relay": {"contact": site.relay.contact, "current_flows": current_flows},
        "heater": {"kind": site.heater.kind, "backup_thermostat_c": site.heater.backup_thermostat_c},
        "sensors_away_until": None
        if state.away_until_s is None
        else rfc3339_s(utc_s + max(state.away_until_s - now_s, 0.0)),
        "proof": proof,
        "disk": disk,
        "clock": "synchronised" if is_synchronised else "unsynchronised",
        "warnings": list(warnings),
    }
    outdoor_c = outdoor_temperature_c(state, now_s)
    if outdoor_c is not None:
        facts["outdoor_c"] = _rounded(outdoor_c)
    if state.contacts:
        facts["contacts"] = dict(state.contacts)
    return facts


def status_line(state: State) -> str:
    """One line for `systemctl status`: plain ASCII, since it passes through old hands."""
    settings, decision = state.settings, state.decision
    unit = settings.unit
    coldest_c = state.look.coldest_cold_c
    if state.is_blind or coldest_c is None:
        seen = "no believable temperature"
    else:
        seen = f"{from_c(coldest_c, unit):.1f} {unit}"
    alarms = ", ".join(sorted({episode.code.value for episode in state.watch.raised()}))
    band = f"{from_c(settings.low_c, unit):.1f}-{from_c(settings.high_c, unit):.1f} {unit}"
    heat = f"heat {'on' if decision.heat else 'off'} ({decision.reason})"
    return f"{settings.mode}: {seen}, {heat}, band {band}" + (f"; ALARM {alarms}" if alarms else "")


def _dew_point_c(temperature_c: float | None, humidity_pct: float | None) -> float | None:
    if temperature_c is None or humidity_pct is None or humidity_pct < 1.0:
        return None
    low_c, high_c = _DEW_POINT_C
    return dew_point_c(temperature_c, humidity_pct) if low_c <= temperature_c <= high_c else None


def _rounded(temperature_c: float | None) -> float | None:
    return None if temperature_c is None else round(temperature_c, 2)

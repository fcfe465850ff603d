"""The screen of `status`, for a person who stands at the house: the answer first, what to do last.

Takes the guard's answer as it came over the socket. What a newer or older guard leaves out is left out.
"""

from collections.abc import Callable, Mapping, Sequence

from overwinter.show import text

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any, TypeAlias

    Facts: TypeAlias = Mapping[str, Any]

GRADES = ("fine", "warning", "critical", "unknown")
"""The states of the open monitoring-plugin convention; each one's place is its exit code."""
FINE, WARNING, CRITICAL, UNKNOWN = range(4)

CRITICAL_ALARMS = frozenset(
    {"cold", "too-hot", "sensor-lost", "heater-dead", "heat-stuck-on", "may-have-frozen"},
)
"""Alarms that mean pipes or house are in danger now."""

_WARNING_HEALTH = frozenset({"maintenance-required", "out-of-specification"})


def grade(status: "Facts") -> int:
    """How bad it is: FINE, WARNING or CRITICAL."""
    codes = {alarm.get("code") for alarm in _alarms(status)}
    # Blind in a proof test is no danger: the health then says that this is a function check.
    is_blind = status.get("blind") and status.get("health") != "function-check"
    if is_blind or status.get("health") == "failure" or codes & CRITICAL_ALARMS:
        return CRITICAL
    return WARNING if codes or status.get("health") in _WARNING_HEALTH else FINE


def screen(
    status: "Facts", *, local: Callable[[str], str], paint: Callable[[str, int], str], graded: bool = False
) -> str:
    """The whole screen.

    Parameters
    ----------
    status : mapping
        The guard's answer.
    local : callable
        Turns an RFC 3339 time into the words for this place: `2026-01-09 05:12 (3 h ago)`.
    paint : callable
        Colours a text for a grade, or leaves it as it is.
    graded : bool
        Begin with the grade, for a monitoring plugin.
    """
    unit = "C" if status.get("unit") == "C" else "F"
    bad = grade(status)
    first = sentence(status, unit=unit, local=local)
    parts = [paint(f"{GRADES[bad]}: {first}" if graded else first, bad), _verdict(status), ""]
    parts += [f"{name:<9} {fact}" for name, fact in facts(status, unit)]
    sensors = _sensors(status, unit)
    if sensors:
        parts += ["", sensors]
    for alarm in _alarms(status):
        parts += ["", *_alarm(alarm, local=local, paint=paint)]
    return "\n".join(parts)


def sentence(status: "Facts", *, unit: str, local: Callable[[str], str]) -> str:
    """Temperature, heat and why, in one sentence."""
    heat = status.get("heat") or {}
    degrees = status.get("temperature_c")
    if degrees is not None:
        now = text.temperature(degrees, unit)
    elif status.get("age_s") is not None:
        now = f"No believable temperature for {text.duration(status['age_s'])}"
    else:
        now = "No believable temperature yet"
    state = f"heat is {'on' if heat.get('on') else 'off'}"
    if heat.get("since_s") is not None:
        state += f" for {text.duration(heat['since_s'])}"
    why = text.word(text.REASONS, heat.get("reason", "unknown"))
    until = f", until {local(heat['hand_until'])}" if heat.get("hand_until") else ""
    return f"{now}; {state}, because {why}{until}."


def _verdict(status: "Facts") -> str:
    alarms = _alarms(status)
    if alarms:
        codes = ", ".join(text.clean(alarm.get("code")) for alarm in alarms)
        return f"{len(alarms)} alarm{'' if len(alarms) == 1 else 's'}: {codes} (see below)."
    if status.get("blind"):
        return "No alarm yet, but nothing is measured: see the sensors below."
    if grade(status) != FINE:
        return f"No alarm, but {text.word(text.HEALTH, status.get('health'))}."
    if status.get("warnings"):
        return "No alarm, but a warning (see below)."
    return "Nothing is wrong."


def facts(status: "Facts", unit: str) -> list[tuple[str, str]]:
    band = status.get("band") or {}
    heat = status.get("heat") or {}
    facts: list[tuple[str, str]] = []
    if status.get("site"):
        facts.append(("house", text.clean(status["site"])))
    if "low_c" in band and "high_c" in band:
        facts.append(("band", text.span(low_c=band["low_c"], high_c=band["high_c"], unit=unit)))
    mode = text.clean(status.get("mode"))
    facts.append(("mode", f"{mode}: {text.word(text.MODES, mode)}"))
    if heat.get("cycles") is not None and heat.get("on_s") is not None:
        facts.append(("heat", f"{heat['cycles']} times on, {text.duration(heat['on_s'])} in all"))
    if status.get("humidity_pct") is not None:
        dew = (
            f", dew point {text.temperature(status['dew_point_c'], unit)}"
            if status.get("dew_point_c") is not None
            else ""
        )
        facts.append(("humidity", text.percent(status["humidity_pct"]) + dew))
    contacts = status.get("contacts") or {}
    if contacts:
        states = ", ".join(f"{text.clean(name)} {'on' if on else 'off'}" for name, on in contacts.items())
        facts.append(("inputs", states))
    facts.append(("health", text.word(text.HEALTH, status.get("health"))))
    for what, state in (status.get("disk") or {}).items():
        if state != "ok":
            facts.append(("disk", f"{text.clean(what)}: {text.clean(state)}"))
    if status.get("clock") not in {None, "synchronised"}:
        facts.append(("clock", f"{text.clean(status['clock'])}: dates may be wrong, heating is not affected"))
    if status.get("uptime_s") is not None:
        version = text.clean(status.get("version"))
        facts.append(("guard", f"{version}, running for {text.duration(status['uptime_s'])}"))
    return [*facts, *(("warning", text.clean(warning)) for warning in status.get("warnings") or [])]


def _sensors(status: "Facts", unit: str) -> str:
    rows = [_sensor(sensor, unit) for sensor in status.get("sensors") or []]
    return text.table(("sensor", "role", "now", "humidity", "age", "says"), rows) if rows else ""


def _sensor(sensor: "Facts", unit: str) -> tuple[str, ...]:
    role = ", ".join(str(sensor[key]) for key in ("role", "at") if sensor.get(key))
    age_s = sensor.get("age_s")
    says = text.flag(sensor.get("flag"))
    return (
        str(sensor.get("name")),
        role,
        text.temperature(sensor.get("temperature_c"), unit),
        text.percent(sensor.get("humidity_pct")),
        text.NOTHING if age_s is None else text.duration(age_s),
        f"{says}: {sensor['error']}" if sensor.get("error") else says,
    )


def _alarm(alarm: "Facts", *, local: Callable[[str], str], paint: Callable[[str, int], str]) -> list[str]:
    code = str(alarm.get("code"))
    since = f" since {local(alarm['since'])}" if alarm.get("since") else ""
    known = ", acknowledged" if alarm.get("acknowledged") else ""
    lines = [
        paint(f"ALARM {text.clean(code)}{since}{known}", CRITICAL if code in CRITICAL_ALARMS else WARNING)
    ]
    if alarm.get("text"):
        lines.append(f"  {text.clean(alarm['text'])}")
    if code in text.ALARMS:
        lines.append(f"  what to do: {text.ALARMS[code]}")
    return lines


def _alarms(status: "Facts") -> "Sequence[Facts]":
    return status.get("alarms") or []

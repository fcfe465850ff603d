"""The screens of `forecast` and `replay`, and the one line that a person repeats at breakfast.

They take the answers as programs get them; what is not known is said, never left blank.
"""

from collections.abc import Callable, Mapping, Sequence

from overwinter.show import text

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any, TypeAlias

    Facts: TypeAlias = Mapping[str, Any]

NOT_KNOWN = "not known yet"
HOURS_A_DAY = 24.0
LONG_H = 14 * HOURS_A_DAY
"""Nobody waits for longer; beyond that a house counts as safe without heat in this weather."""


def screen(forecast: "Facts", *, unit: str) -> str:
    """The whole of a forecast, the time that is left first."""
    to = forecast.get("hours_to") or {}
    outdoor_c = forecast.get("outdoor_c")
    weather = (
        f"at {text.temperature(outdoor_c, unit)} outside"
        if outdoor_c is not None
        else "if the weather stays as it is"
    )
    rows = [
        ("until alarm_low", hours(to.get("alarm_low"))),
        ("until the air is at freezing", hours(to.get("freezing"))),
    ]
    rows += [
        (f"until {text.clean(pipe.get('name'))} starts to freeze", hours(pipe.get("start")))
        for pipe in to.get("pipes") or []
    ]
    limit, tomorrow = forecast.get("outdoor_limit_c"), forecast.get("tomorrow") or {}
    works = [("holds the band down to", _degrees(limit, unit) + ("" if limit is None else " outside"))]
    works.append(("tomorrow's heat", _tomorrow(tomorrow)))
    based_on_h = forecast.get("based_on_h") or 0.0
    parts = [
        f"If heat fails now, {weather}:",
        *_rows(rows),
        "",
        "This heater in this house:",
        *_rows(works),
        "",
        f"Learned from {text.duration(3600.0 * based_on_h)} of its own readings.",
    ]
    parts += [f"  {text.clean(sentence)}" for sentence in forecast.get("missing") or []]
    return "\n".join(parts)


def breakfast(status: "Facts", forecast: "Facts") -> str:
    """`41 F, heat off, holds to 4 F outside, 6 hours if heat fails.`"""
    unit = "C" if status.get("unit") == "C" else "F"
    degrees_c = status.get("temperature_c")
    now = "no temperature" if degrees_c is None else _whole(degrees_c, unit)
    heat = f"heat {'on' if (status.get('heat') or {}).get('on') else 'off'}"
    limit = forecast.get("outdoor_limit_c")
    holds = (
        "how cold it may get is not known yet"
        if limit is None or limit.get("best") is None
        else f"holds to {_whole(limit['best'], unit)} outside"
    )
    left = (forecast.get("hours_to") or {}).get("freezing")
    return f"{now}, {heat}, {holds}, {_spoken(left)}."


def _spoken(left: "Facts | None") -> str:
    if left is None:
        return "how long it lasts without heat is not known yet"
    # The early end where the two are far apart: who repeats it at breakfast may rely on it.
    best, low = left.get("best"), left.get("low")
    if low is None or low > LONG_H:
        return "does not freeze without heat in this weather"
    if best is not None and low >= best / 1.5:
        return f"{_count(best)} if heat fails"
    return f"{_count(low)} or more if heat fails"


def hours(left: "Facts | None") -> str:
    """`6 h (4 to 9 h)`; `never, in this weather`; `not known yet`."""
    if left is None:
        return NOT_KNOWN
    best, low, high = left.get("best"), left.get("low"), left.get("high")
    if low is None:
        return "never, in this weather"
    early = text.duration(3600.0 * low)
    if best is None:
        return f"perhaps never, {early} at the earliest"
    late = "perhaps never" if high is None else text.duration(3600.0 * high)
    return f"{text.duration(3600.0 * best)} ({early} to {late})"


def replay_screen(replay: "Facts", *, unit: str, local: Callable[[str], str]) -> str:
    """What a logbook came to, gone through once more."""
    alarms: Sequence[Facts] = replay.get("alarms") or []
    if replay.get("from") is None:
        return "No sample in this logbook."
    parts = [f"From {local(replay['from'])} to {local(replay['to'])}: {_alarms(len(alarms))}"]
    for alarm in alarms:
        until = f"until {local(alarm['cleared'])}" if alarm.get("cleared") else "to the end"
        subject = f" ({text.clean(alarm['subject'])})" if alarm.get("subject") else ""
        parts += [
            "",
            f"{text.clean(alarm['code'])}{subject}, {local(alarm['since'])} {until}",
            f"  {text.clean(alarm['text'])}",
        ]
    return "\n".join([*parts, "", "As at the last sample:", "", screen(replay["forecast"], unit=unit)])


def _alarms(count: int) -> str:
    if not count:
        return "no alarm."
    return f"{count} alarm{'' if count == 1 else 's'}."


def _rows(rows: Sequence[tuple[str, str]]) -> list[str]:
    width = max(len(name) for name, _ in rows)
    return [f"  {name:<{width}}  {fact}" for name, fact in rows]


def _degrees(limit: "Facts | None", unit: str) -> str:
    if limit is None or limit.get("best") is None:
        return NOT_KNOWN
    best, low_c, high_c = text.temperature(limit["best"], unit), limit.get("low"), limit.get("high")
    if low_c is None or high_c is None:
        return best
    return f"{best}, between {text.degrees(low_c, unit)} and {text.degrees(high_c, unit)} {unit}"


def _tomorrow(tomorrow: "Facts") -> str:
    duty = tomorrow.get("duty")
    if duty is None:
        return NOT_KNOWN
    told = f"on for {text.percent(100.0 * duty)} of the day"
    ends = tomorrow.get("duty_range")
    if ends and None not in (ends.get("low"), ends.get("high")):
        low, high = (text.number(100.0 * ends[end], 0) for end in ("low", "high"))
        told += f" ({low} to {high} %)"
    if tomorrow.get("kwh") is not None:
        told += f", {text.number(tomorrow['kwh'], 1)} kWh"
    if tomorrow.get("cost") is not None:
        told += f", {tomorrow['cost']:.2f}"
    return told


def _whole(temperature_c: float, unit: str) -> str:
    return f"{text.number(text.in_unit(temperature_c, unit), 0)} {unit}"


def _count(hours_left: float) -> str:
    if hours_left < 1.0:
        return f"{max(5, 5 * int(12 * hours_left))} minutes"
    whole = int(hours_left)
    return f"{whole} hour{'' if whole == 1 else 's'}"

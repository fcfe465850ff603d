"""Pictures to draw: lines of a logbook as the guard writes them, and the picture made of them."""

import math
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

from overwinter.show.picture import Offset, Picture, picture
from overwinter.show.picture_words import described

NOON = datetime(2026, 1, 9, 12, tzinfo=UTC)
Line = dict[str, Any]


def stamp(after_s: float) -> str:
    at = NOON + timedelta(seconds=after_s)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def sample(after_s: float, inside_c: float | None = 3.0, **more: Any) -> Line:
    """A sample so long after noon."""
    line = {"t": stamp(after_s), "up": after_s, "boot": "b", "event": "sample", "temperature_c": inside_c}
    line |= {"humidity_pct": 71.0, "outdoor_c": -5.0, "flag": 1, "heat": 0.25, "mode": "freeze"}
    return line | {"low_c": 2.0, "high_c": 4.0} | more


def event(after_s: float, name: str, **more: Any) -> Line:
    return {"t": stamp(after_s), "up": after_s, "boot": "b", "event": name, **more}


def drawn(
    lines: Iterable[Line], *, hours: float = 24.0, unit: str = "C", house: str = "mill house"
) -> Picture:
    """A picture of `hours` from noon, an hour ahead of UTC."""
    from_s = NOON.timestamp()
    return picture(
        lines,
        house=house,
        unit=unit,
        from_s=from_s,
        to_s=from_s + hours * 3600,
        zone=lambda begins_s, ends_s: (Offset(begins_s, 3600, "CET"),),
        dew_point_c=lambda temperature_c, humidity_pct: temperature_c - 5.0,
        describe=lambda line: described(line, unit),
    )


def a_day() -> list[Line]:
    """A day with all there is to see: a sine, a spike, doubt, an alarm, a gap, a clock set, a note."""
    lines = []
    for minute in range(24 * 60):
        after_s = minute * 60.0
        if 600 <= minute < 780:
            continue  # three hours without power
        inside_c = round(3.0 + math.sin(minute / 40.0), 2)
        more: Line = {
            "outdoor_c": round(-6.0 + 4.0 * math.sin(minute / 230.0), 2),
            "heat": float(minute % 90 < 30),
        }
        if 300 <= minute < 320:
            inside_c, more = None, {**more, "flag": 9, "humidity_pct": None}  # type: ignore[assignment]
        if minute in (200, 1000):
            more["flag"] = 3 if minute == 200 else 4
        if minute >= 1000:
            more |= {"low_c": 1.5, "high_c": 3.5}
        if minute == 900:
            inside_c = 7.77
        lines.append(sample(after_s, inside_c, **more))
        if minute == 310:
            lines.append(event(after_s, "alarm", code="sensor-lost", state="raised", text="no reading"))
        if minute == 330:
            lines.append(event(after_s, "alarm", code="sensor-lost", state="cleared"))
        if minute == 781:
            since = {"since": stamp(599 * 60), "length_s": 10_800.0, "cause": "power"}
            lines.append(event(after_s, "gap", **since, before_c=2.5, after_c=1.0))
            lines.append(event(after_s, "clock", step_s=-7200.0, synchronised=True))
        if minute == 1100:
            lines.append(event(after_s, "note", text="new <b>lamp</b>", user="root", uid=0, pid=7))
    return lines

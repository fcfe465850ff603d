"""A trace as the lines of a logbook: what any guard that keeps to the documented form would have written."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.bench.learning.record import BEGAN, UP_S, Trace


def write_logbook(trace: Trace, folder: Path, begins: datetime = BEGAN) -> Path:
    """The same as the lines of a logbook; relay changes stand in the minute in which they fell."""
    path = folder / "logbook.jsonl"
    boot = "5f0c2c1e-0d5b-4c43-9a53-3b1f6a0f5a11"

    def line(up_s: float, event: str, **fields: object) -> str:
        at = begins + timedelta(seconds=up_s - UP_S)
        t = at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        return json.dumps({"t": t, "up": round(up_s, 3), "boot": boot, "event": event, **fields}) + "\n"

    was_on, on_s, cycles = False, 0.0, 0
    with path.open("w", encoding="ascii") as file:
        file.write(line(UP_S, "start"))
        for span in trace.spans:
            on_s += span.heat * span.lasts_s
            is_on = span.heat == 1.0 or (0.0 < span.heat < 1.0 and not was_on)
            if is_on is not was_on:
                cycles += is_on
                share = 1.0 - span.heat if is_on else span.heat
                reason = "below-band" if is_on else "above-band"
                if span.is_forced:
                    reason = "sensor-lost" if span.temperature_c is None else "exercise"
                file.write(
                    line(
                        span.ends_s - span.lasts_s * (1.0 - share),
                        "heat",
                        heat=is_on,
                        reason=reason,
                        temperature_c=span.temperature_c,
                        cycles=cycles,
                        on_s=round(on_s, 1),
                    )
                )
                was_on = is_on
            fields: dict[str, object] = {
                "temperature_c": span.temperature_c,
                "humidity_pct": span.humidity_pct,
                "flag": span.flag,
                "heat": round(span.heat, 4),
                "mode": span.mode.value,
                "low_c": round(span.low_c, 3),
                "high_c": round(span.high_c, 3),
                "sensors": {
                    name: [seen.temperature_c, seen.humidity_pct, seen.flag]
                    for name, seen in span.sensors.items()
                },
            }
            if span.outdoor_c is not None:
                fields["outdoor_c"] = span.outdoor_c
            if span.contacts:
                fields["contacts"] = dict(span.contacts)
            file.write(line(span.ends_s, "sample", **fields))
        file.write(line(span.ends_s + 1.0, "stop"))
    return path

"""A logbook that this program did not write: a house of two stores, by its own arithmetic, spelt its own way.

Air and walls, one heater, a sensor that is noisy and reads 0.3 K high. Nothing of `overwinter` is imported
here; only the form of the lines is kept.
"""

import json
import math
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

AIR_J_K, WALL_J_K = 120_000.0, 900_000.0
INSIDE_W_K, OUTSIDE_W_K = 90.0, 18.0
LEAK_W_K = 4.0
HEATER_W = 750.0
STEP_S = 20.0

FULL_RISE_K = HEATER_W / (LEAK_W_K + INSIDE_W_K * OUTSIDE_W_K / (INSIDE_W_K + OUTSIDE_W_K))
"""Above outdoors in the steady state with heat on all the time [K]: by hand from the network."""


def write(
    folder: Path,
    *,
    days: float,
    seed: int = 1,
    outdoor: bool = True,
    low_c: float = 2.22,
    high_c: float = 4.44,
    dead: tuple[float, float] | None = None,
    begins: datetime = datetime(2026, 1, 5, tzinfo=UTC),
) -> None:
    """`dead`: from and until when the heater gives nothing [days]."""
    chance = random.Random(seed)
    air_c = wall_c = low_c
    heat, on_s, said = False, 0.0, [low_c] * 5
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "logbook.jsonl").open("w") as file:
        for step in range(1, int(days * 86400.0 / STEP_S) + 1):
            now_s = step * STEP_S
            day = now_s / 86400.0
            outdoor_c = -6.0 + 4.0 * math.sin(2 * math.pi * (day - 0.4)) + 4.0 * math.sin(day / 1.7)
            is_dead = dead is not None and dead[0] <= day < dead[1]
            power_w = HEATER_W if heat and not is_dead else 0.0
            into_wall_w = INSIDE_W_K * (air_c - wall_c)
            air_c += STEP_S * (power_w - into_wall_w - LEAK_W_K * (air_c - outdoor_c)) / AIR_J_K
            wall_c += STEP_S * (into_wall_w - OUTSIDE_W_K * (wall_c - outdoor_c)) / WALL_J_K
            on_s += STEP_S * heat
            said = [*said[1:], round(air_c + 0.3 + chance.gauss(0.0, 0.1), 1)]
            judged_c = sorted(said)[2]
            if judged_c <= low_c:
                heat = True
            elif judged_c >= high_c:
                heat = False
            if step % 3:
                continue
            line = {
                "t": (begins + timedelta(seconds=now_s)).isoformat(timespec="milliseconds")[:-6] + "Z",
                "up": now_s,
                "boot": "0b1c6f2e-7f6f-4d57-9a3c-2f1e0a9b8c7d",
                "event": "sample",
                "temperature_c": judged_c,
                "humidity_pct": round(75.0 + chance.gauss(0.0, 0.5), 1),
                "flag": 1,
                "heat": round(on_s / 60.0, 4),
                "mode": "freeze",
                "low_c": low_c,
                "high_c": high_c,
                "sensors": {"in the pit": [said[-1], round(75.0 + chance.gauss(0.0, 0.5), 1), 1]},
            }
            if outdoor:
                line["outdoor_c"] = round(outdoor_c + chance.gauss(0.0, 0.1), 1)
            on_s = 0.0
            file.write(json.dumps(line) + "\n")


SITE = """
[site]
name = "elsewhere"
unit = "C"
[[sensor]]
name = "in the pit"
role = "control"
kind = "dht22"
pin = 4
[relay]
pin = 17
[heater]
watts = 750.0
kind = "air"
limiter = true
[tariff]
per_kwh = 0.2
currency = "EUR"
[[pipe]]
name = "riser"
length_m = 1.5
bore_mm = 20.2
outside_mm = 22.0
"""

"""Reading a whole winter back, and drawing it: 172,800 samples, one a minute for 120 days.

The floor is the quickest plain reader of JSON lines that can be installed here: it parses every line and
looks at nothing. Ours also finds torn lines, puts dates right and keeps the order.
"""

import importlib
import math
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from overwinter.cli.history import quick_loads
from overwinter.store.lines import NAME, encode, stamp
from overwinter.store.timeline import read_placed
from tests.bench.rig import command
from tests.bench.table import Row

BEGIN = datetime(2025, 11, 10, tzinfo=UTC)
DAYS = 120
SAMPLES = DAYS * 1440
FILES = 8  # as the guard turns them over
TIMES = 5  # the best of so many counts


def rows(folder: Path) -> list[Row]:
    """How long it takes."""
    logs = folder / "winter"
    write_winter(logs)
    ways: dict[str, Callable[[], int]] = {
        name: lambda loads=loads: _plain(logs, loads)  # type: ignore[misc]
        for name, loads in _decoders().items()
    }
    ours = {
        "all": lambda: sum(1 for _ in read_placed(logs, loads=quick_loads())),
        "span": lambda: sum(1 for _ in read_placed(logs, since=BEGIN, loads=quick_loads())),
        "standard": lambda: sum(1 for _ in read_placed(logs)),
    }
    best = _best_s({**ways, **ours})
    quickest = min(ways, key=lambda name: best[name])
    floor_s, ours_s, spanned_s, standard_s = (best[name] for name in (quickest, "all", "span", "standard"))
    floor = f"{floor_s * 1000:.0f} ms, {quickest} alone"
    page = folder / "winter.html"
    drawn_s = min(_draw_s(logs, page) for _ in range(2))
    return [
        Row(
            what="read a winter, 172,800 samples",
            value=f"{ours_s * 1000:.0f} ms",
            floor=floor,
            ratio=ours_s / floor_s,
            goal=2.0,
        ),
        Row(
            what="the same, of a span",
            value=f"{spanned_s * 1000:.0f} ms",
            floor=floor,
            ratio=spanned_s / floor_s,
        ),
        Row(
            what="the same with the standard decoder",
            value=f"{standard_s * 1000:.0f} ms",
            floor=floor,
            ratio=standard_s / floor_s,
        ),
        Row(
            what="chart -o of a winter, whole process",
            value=f"{drawn_s:.2f} s",
            judged=drawn_s,
            goal=3.0,
            sign=" s",
        ),
        Row(
            what="its file",
            value=f"{page.stat().st_size / 1e6:.2f} MB",
            judged=page.stat().st_size / 1e6,
            goal=3.0,
            is_strict=True,
            sign=" MB",
        ),
    ]


def write_winter(logs: Path) -> None:
    """A logbook as the guard leaves it, with a control sensor and one outdoors."""
    logs.mkdir()
    boot = "3f2c1d6e-9a5b-4c1e-8f7a-0123456789ab"
    start = {
        "t": stamp(BEGIN),
        "up": 5.0,
        "boot": boot,
        "event": "start",
        "version": "x",
        "synchronised": True,
    }
    lines = [encode(start)]
    for minute in range(SAMPLES):
        inside_c = round(3.3 + 1.1 * math.sin(minute / 37) + 0.01 * (minute % 7), 2)
        outdoor_c = round(
            -6 + 9 * math.sin(minute / 27_000) + 4 * math.sin(minute / 229) + 0.01 * (minute % 11), 2
        )
        humidity_pct = round(74 + 8 * math.sin(minute / 900), 1)
        at = BEGIN + timedelta(minutes=minute + 1, milliseconds=minute * 7 % 180)
        fields = {"t": stamp(at), "up": 65.0 + 60 * minute, "boot": boot, "event": "sample"}
        fields |= {"temperature_c": inside_c, "humidity_pct": humidity_pct, "outdoor_c": outdoor_c, "flag": 1}
        fields |= {"heat": float(minute % 60 < 13), "mode": "freeze", "low_c": 2.222, "high_c": 4.444}
        fields |= {"sensors": {"by the pump": [inside_c, humidity_pct, 1], "yard": [outdoor_c, None, 1]}}
        lines.append(encode(fields))
    size = -(-len(lines) // FILES)
    for number in range(FILES):
        part = lines[(FILES - 1 - number) * size : (FILES - number) * size]
        (logs / (f"{NAME}.{number}" if number else NAME)).write_bytes(b"".join(part))


def _decoders() -> dict[str, Callable[[bytes], Any]]:
    found: dict[str, Callable[[bytes], Any]] = {"json": importlib.import_module("json").loads}
    with suppress(ImportError):
        found["orjson"] = importlib.import_module("orjson").loads
    with suppress(ImportError):
        found["msgspec"] = importlib.import_module("msgspec").json.Decoder().decode
    return found


def _plain(logs: Path, loads: Callable[[bytes], Any]) -> int:
    count = 0
    for path in sorted(logs.iterdir(), reverse=True):
        with path.open("rb") as file:
            for line in file:
                loads(line)
                count += 1
    return count


def _best_s(ways: dict[str, Callable[[], int]]) -> dict[str, float]:
    """Processor time, which what else runs disturbs least; in turn, so that it disturbs all alike."""
    best_s = dict.fromkeys(ways, math.inf)
    for _ in range(TIMES):
        for name, read in ways.items():
            began_s = time.process_time()
            found = read()
            best_s[name] = min(best_s[name], time.process_time() - began_s)
            assert found == SAMPLES + 1
    return best_s


def _draw_s(logs: Path, page: Path) -> float:
    span = ["--since", BEGIN.isoformat(), "--until", (BEGIN + timedelta(days=DAYS, minutes=2)).isoformat()]
    began_s = time.perf_counter()
    subprocess.run(
        [*command(), "chart", "--logs", str(logs), *span, "--unit", "F", "-o", str(page)],
        check=True,
        capture_output=True,
    )
    return time.perf_counter() - began_s

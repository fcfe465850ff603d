"""A winter rehearsed, 1.04 million turns, by the command that an owner types; and the core's share."""

import subprocess
import time
from pathlib import Path

from tests.bench.rig import command
from tests.bench.table import Row
from tests.bench.turn_cost import WINTER_TURNS, readings, run

TURNS = 100_000


def rows(_folder: Path) -> list[Row]:
    """How long both take, within the same minute."""
    inboxes = [[reading] for reading in readings(TURNS)]
    core_s = min(run(inboxes)[0] for _ in range(3)) / TURNS * WINTER_TURNS
    began_s = time.perf_counter()
    subprocess.run([*command(), "rehearse", "quiet-winter", "--json"], check=True, capture_output=True)
    took_s = time.perf_counter() - began_s
    return [
        Row(
            what="rehearse a winter, 1.04 million turns",
            value=f"{took_s:.1f} s",
            floor=f"{core_s:.1f} s of core alone",
            ratio=took_s / core_s,
            judged=took_s,
            goal=40.0,
            stretch=20.0,
            sign=" s",
        )
    ]

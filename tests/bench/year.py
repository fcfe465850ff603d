"""A year of turns in one process, in counted time: whether memory and descriptors stay as they were."""

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from tests.bench.rig import memory_kib
from tests.bench.table import Row

DAYS, MONTHS = 365.0, 12
GROWS_MIB = 1.0
"""More than in the second month; by then all is imported and all windows are full."""


def rows(_folder: Path) -> list[Row]:
    """The same guard turns from a mild winter through spring, summer and autumn into the next."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.year", str(DAYS)], check=True, capture_output=True, text=True
    )
    months = json.loads(done.stdout)
    early, late = months[1], months[-1]
    grown_mib = (late["kib"] - early["kib"]) / 1024.0
    return [
        Row(
            what=f"{DAYS:.0f} days of turns: memory in the last month",
            value=f"{late['kib'] / 1024:.1f} MiB",
            floor=f"{early['kib'] / 1024:.1f} MiB in the second",
            ratio=late["kib"] / early["kib"],
            judged=grown_mib,
            goal=GROWS_MIB,
            sign=" MiB more",
        ),
        Row(
            what="... descriptors in the last month",
            value=f"{late['descriptors']:g}",
            floor=f"{early['descriptors']:g} in the second",
            judged=late["descriptors"] - early["descriptors"],
            goal=0.0,
            sign=" more",
        ),
    ]


def lived(days: float) -> list[dict[str, float]]:
    """Memory [KiB] and open descriptors at the end of each twelfth of the time."""
    from overwinter.rehearse.file import parse_scenario, shipped
    from overwinter.rehearse.run import rehearse
    from overwinter.rehearse.weather import weather_of

    scenario = replace(parse_scenario(shipped()["quiet-winter"], "quiet-winter"), days=days)
    months: list[dict[str, float]] = []

    def look(share: float) -> None:
        if share * MONTHS >= len(months) + 1:
            resident_kib, _ = memory_kib(os.getpid())
            months.append({"kib": resident_kib, "descriptors": len(list(Path("/proc/self/fd").iterdir()))})

    with tempfile.TemporaryDirectory() as folder:
        rehearse(
            scenario,
            seed=1,
            folder=Path(folder) / "year",
            weather=weather_of(scenario, seed=1),
            progress=look,
        )
    return months


if __name__ == "__main__":
    json.dump(lived(float(sys.argv[1])), sys.stdout)

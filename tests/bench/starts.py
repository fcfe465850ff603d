"""What a start costs: `overwinter status` as an owner types it, and a guard from its exec to READY=1."""

import subprocess
import time
from pathlib import Path

from tests.bench.rig import AS_SERVICE, BARE_START, Manager, command, house_on, median_ms, timed_s
from tests.bench.table import Row

STATUS_RUNS = 41
READY_RUNS = 11
STATUS_GOAL, STATUS_STRETCH = 3.0, 2.0


def rows(folder: Path) -> list[Row]:
    """Both, each run next to a bare interpreter's."""
    return [_status(folder), _ready(folder)]


def _status(folder: Path) -> Row:
    with house_on(folder, "status") as house:
        house.start()
        ours_s, bare_s = [], []
        words = [*command(), "status"]
        timed_s(words, house.environment)  # whatever a first run compiles and caches is not counted
        for _ in range(STATUS_RUNS):
            bare_s.append(timed_s(BARE_START))
            ours_s.append(timed_s(words, house.environment))
    ours_ms, bare_ms = median_ms(ours_s), median_ms(bare_s)
    return Row(
        what=f"overwinter status, median of {STATUS_RUNS}",
        value=f"{ours_ms:.1f} ms",
        floor=f"{bare_ms:.1f} ms, python -c pass",
        ratio=ours_ms / bare_ms,
        goal=STATUS_GOAL,
        stretch=STATUS_STRETCH,
    )


def _ready(folder: Path) -> Row:
    manager = Manager(folder)
    ours_s, bare_s = [], []
    words = [*command(), "guard"]
    try:
        with house_on(folder, "ready") as house:
            environment = {**house.environment, **AS_SERVICE, "NOTIFY_SOCKET": str(manager.path)}
            for _ in range(READY_RUNS):
                bare_s.append(timed_s(BARE_START))
                with house.said.open("ab") as said:
                    began_s = time.perf_counter()
                    house.process = subprocess.Popen(words, env=environment, stdout=said, stderr=said)
                    manager.wait_for_ready()
                    ours_s.append(time.perf_counter() - began_s)
                house.stop()
                manager.drain()
    finally:
        manager.close()
    ours_ms, bare_ms = median_ms(ours_s), median_ms(bare_s)
    return Row(
        what=f"guard, exec to READY=1, median of {READY_RUNS}",
        value=f"{ours_ms:.0f} ms",
        floor=f"{bare_ms:.1f} ms, python -c pass",
        ratio=ours_ms / bare_ms,
    )

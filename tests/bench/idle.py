"""What a guard costs while nothing happens: memory after twenty seconds, CPU time over a minute and more."""

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.bench.rig import (
    AS_SERVICE,
    BARE_ASYNCIO,
    FIVE_PACKAGES,
    Manager,
    cpu_s,
    house_on,
    memory_kib,
    ticks_s,
)
from tests.bench.table import Row

SENSE_S = 2.0
SETTLED_S = 20.0
WATCHED_S = 80.0
MEMORY_GOAL = 2.0
CPU_GOAL_PCT = 0.3


def rows(folder: Path) -> list[Row]:
    """The packages alone; then the guard and a bare asyncio process, alive at the same time."""
    # Before, since the pages they share with the others would make those look smaller.
    packages = _packages_row(_imported_kib(FIVE_PACKAGES), _imported_kib("pass"))
    bare = subprocess.Popen([sys.executable, "-c", BARE_ASYNCIO])
    manager = Manager(folder)
    try:
        with house_on(folder, "idle", sense_s=SENSE_S) as house:
            house.environment |= {**AS_SERVICE, "NOTIFY_SOCKET": str(manager.path)}
            house.start(wait=False)
            manager.wait_for_ready()
            assert house.process is not None
            pids = (house.process.pid, bare.pid)
            _live(SETTLED_S, house.reads, manager)
            settled = [memory_kib(pid) for pid in pids]
            before = [(cpu_s(pid), ticks_s(pid)) for pid in pids]
            since_s = time.monotonic()
            _live(WATCHED_S, house.reads, manager)
            watched_s = time.monotonic() - since_s
            used = [
                (cpu_s(pid) - clock_s, ticks_s(pid) - tick_s)
                for pid, (clock_s, tick_s) in zip(pids, before, strict=True)
            ]
            answer = house.call("set", {"changes": {"band.low": 35.9}})
            assert answer["changes"], answer
            changed = [memory_kib(pid) for pid in pids]
    finally:
        manager.close()
        bare.kill()
        bare.wait()
    (guard_s, guard_ticks_s), (bare_s, _) = used
    assert abs(guard_s - guard_ticks_s) <= 0.03, (guard_s, guard_ticks_s)  # two clocks of one thing
    return [
        *_memory_rows(f"after {SETTLED_S:.0f} s", settled),
        *_memory_rows("after a change of settings", changed),
        packages,
        _cpu_row(guard_s, bare_s, watched_s),
    ]


def _live(for_s: float, reads: Callable[[float], None], manager: Manager) -> None:
    """Let time go by; the sensor says something else at the pace at which it is read."""
    began_s = time.monotonic()
    for number in range(1, round(for_s / SENSE_S) + 1):
        time.sleep(max(began_s + SENSE_S * number - time.monotonic(), 0.0))
        reads(3.0 + 0.1 * (number % 3))
        manager.drain()


def _imported_kib(source: str) -> float:
    """RSS of an interpreter that has imported so much and waits [KiB]."""
    waits = f"{source}\nprint(flush=True)\ninput()"
    with subprocess.Popen(
        [sys.executable, "-c", waits], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        resident_kib, _ = memory_kib(process.pid)
        process.communicate(b"\n")
    return resident_kib


def _memory_rows(when: str, memory: list[tuple[float, float]]) -> list[Row]:
    guard, bare = memory
    return [
        Row(
            what=f"memory of the guard {when}, {name}",
            value=f"{guard[which] / 1024:.1f} MiB",
            floor=f"{bare[which] / 1024:.1f} MiB, asyncio that wakes every 2 s",
            ratio=guard[which] / bare[which],
            goal=MEMORY_GOAL,
        )
        for which, name in enumerate(("RSS", "PSS"))
    ]


def _packages_row(five_kib: float, none_kib: float) -> Row:
    return Row(
        what="memory of the five packages alone, RSS",
        value=f"{five_kib / 1024:.1f} MiB",
        floor=f"{none_kib / 1024:.1f} MiB, the interpreter asleep",
        ratio=five_kib / none_kib,
    )


def _cpu_row(guard_s: float, bare_s: float, watched_s: float) -> Row:
    share_pct = 100.0 * guard_s / watched_s
    return Row(
        what=f"CPU of the guard over {watched_s:.0f} s, read every {SENSE_S:g} s",
        value=f"{share_pct:.3f} % of a core",
        floor=f"{100.0 * bare_s / watched_s:.3f} %, asyncio that wakes every 2 s",
        ratio=guard_s / bare_s,
        judged=share_pct,
        goal=CPU_GOAL_PCT,
        is_strict=True,
        sign=" %",
    )

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
    NO_PACKAGE,
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
    """The guard, a bare asyncio process and the packages alone, all alive at the same time."""
    others = [
        subprocess.Popen([sys.executable, "-c", source])
        for source in (BARE_ASYNCIO, FIVE_PACKAGES, NO_PACKAGE)
    ]
    manager = Manager(folder)
    try:
        with house_on(folder, "idle", sense_s=SENSE_S) as house:
            house.environment |= {**AS_SERVICE, "NOTIFY_SOCKET": str(manager.path)}
            house.start(wait=False)
            manager.wait_for_ready()
            assert house.process is not None
            pids = [house.process.pid, *(other.pid for other in others)]
            begin_s = time.monotonic()
            _live(house_seconds(SETTLED_S, begin_s), house.reads, manager)
            memory = [memory_kib(pid) for pid in pids]
            before = [(cpu_s(pid), ticks_s(pid)) for pid in pids[:2]]
            since_s = time.monotonic()
            _live(house_seconds(WATCHED_S, since_s), house.reads, manager)
            watched_s = time.monotonic() - since_s
            used = [
                (cpu_s(pid) - clock_s, ticks_s(pid) - tick_s)
                for pid, (clock_s, tick_s) in zip(pids[:2], before, strict=True)
            ]
            answer = house.call("set", {"changes": {"band.low": 35.9}})
            assert answer["changes"], answer
            changed = [memory_kib(pid) for pid in pids]
    finally:
        manager.close()
        for other in others:
            other.kill()
            other.wait()
    (guard_s, guard_ticks_s), (bare_s, _) = used
    assert abs(guard_s - guard_ticks_s) <= 0.03, (guard_s, guard_ticks_s)  # two clocks of one thing
    return [
        *_memory_rows(f"after {SETTLED_S:.0f} s", memory),
        *_memory_rows("after a change of settings", changed),
        _packages_row(memory),
        _cpu_row(guard_s, bare_s, watched_s),
    ]


def house_seconds(for_s: float, begin_s: float) -> list[float]:
    """The moments at which the sensor says something else: at the pace at which it is read."""
    return [begin_s + SENSE_S * number for number in range(1, round(for_s / SENSE_S) + 1)]


def _live(moments_s: list[float], reads: Callable[[float], None], manager: Manager) -> None:
    for number, moment_s in enumerate(moments_s):
        time.sleep(max(moment_s - time.monotonic(), 0.0))
        reads(3.0 + 0.1 * (number % 3))
        manager.drain()


def _memory_rows(when: str, memory: list[tuple[float, float]]) -> list[Row]:
    guard, bare, *_ = memory
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


def _packages_row(memory: list[tuple[float, float]]) -> Row:
    *_, five, none = memory
    return Row(
        what="memory of the five packages alone, RSS",
        value=f"{five[0] / 1024:.1f} MiB",
        floor=f"{none[0] / 1024:.1f} MiB, the interpreter asleep",
        ratio=five[0] / none[0],
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

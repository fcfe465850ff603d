"""What a day costs the card, at default settings: bytes and fsyncs that strace sees in the real guard."""

import re
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from overwinter.store.lines import read_lines
from tests.rigs import strace
from tests.rigs.bench import IS_LONG

DAY_S = 86_400.0
SPEED = 1440.0  # a day a minute: a reading each 7 ms
HOURS = 24.0 if IS_LONG else 8.0
BYTES_A_DAY_MOST = 1_000_000
FSYNCS_A_DAY_MOST = 400
HALF_CYCLE_S = 1800.0

WRITES = ("write", "pwrite64", "writev", "pwritev", "pwritev2")
SYNCS = ("fsync", "fdatasync", "sync", "syncfs", "sync_file_range", "msync")
OTHERS = ("rename", "renameat", "renameat2", "unlink", "ftruncate", "mkdir")

_CALL = re.compile(r"^\d+ +([\d.]+) +(?:<\.\.\. )?(\w+)(?: resumed>.*|\(.*)\) += (-?\d+)")
_FILE = re.compile(r"^\d+ +[\d.]+ +\w+\(\d+<(/[^>]*)>")  # not a socket, a pipe, a device


@dataclass(frozen=True)
class Wear:
    """What a stretch of the guard's life cost the two folders."""

    hours: float
    calls: Counter[str]
    written: int  # bytes
    elsewhere: set[str]  # other files that were written
    lines: list[dict[str, Any]]

    @property
    def syncs(self) -> int:
        return sum(self.calls[name] for name in SYNCS)

    def a_day(self, count: float) -> float:
        return count * 24.0 / self.hours

    def count(self, event: str) -> int:
        return sum(line["event"] == event for line in self.lines)

    def told(self, title: str) -> str:
        calls = ", ".join(f"{name} {self.a_day(count):.0f}" for name, count in sorted(self.calls.items()))
        return (
            f"{title}: {self.hours:.1f} h measured; a day: {self.a_day(self.written) / 1000:.0f} kB, "
            f"{self.a_day(self.syncs):.0f} fsyncs; samples {self.a_day(self.count('sample')):.0f}, "
            f"heat events {self.a_day(self.count('heat')):.0f}; calls: {calls}"
        )


def live(folder: Path, *, half_cycle_s: float) -> Wear:
    """Let a guard live for some simulated hours under strace; its start and its end are not counted."""
    output = folder / "strace.txt"
    words = [strace.command(), "-D", "-f", "-y", "-ttt", "-s", "0", "--seccomp-bpf", "-o", str(output)]
    words += ["-e", f"trace={','.join((*WRITES, *SYNCS, *OTHERS))}"]
    words += [sys.executable, "-m", "tests.rigs.fast", str(folder), str(SPEED), str(half_cycle_s)]
    with (folder / "said.txt").open("wb") as said:
        guard = subprocess.Popen(words, stdout=said, stderr=said, cwd=Path(__file__).parents[2])
    try:
        logs = folder / "logs"
        wait_for(lambda: any(line["event"] == "sample" for line in lines_in(logs)), guard, folder)
        begins_s = time.time()
        time.sleep(HOURS * 3600.0 / SPEED)
        ends_s = time.time()
        guard.send_signal(signal.SIGTERM)
        assert guard.wait(30) == 0, (folder / "said.txt").read_text()[-2000:]
    finally:
        if guard.poll() is None:
            guard.kill()
            guard.wait(20)
    calls, written, elsewhere = count(output, folder, begins_s, ends_s)
    inside = lines_in(logs)
    first = next(line["up"] for line in inside if line["event"] == "sample")
    hours = (ends_s - begins_s) * SPEED / 3600.0
    lines = [line for line in inside if first < line["up"] <= first + hours * 3600.0]
    return Wear(hours=hours, calls=calls, written=written, elsewhere=elsewhere, lines=lines)


def lines_in(logs: Path) -> list[dict[str, Any]]:
    return list(read_lines(logs))


def wait_for(holds: Any, guard: "subprocess.Popen[bytes]", folder: Path) -> None:
    ends = time.monotonic() + 30.0
    while not holds():
        said = (folder / "said.txt").read_text()
        if guard.poll() is not None and "ptrace" in said.lower():
            pytest.skip(f"ptrace is not allowed here: {said.strip()[-200:]}")
        assert guard.poll() is None, said
        assert time.monotonic() < ends, said
        time.sleep(0.05)


def count(output: Path, folder: Path, begins_s: float, ends_s: float) -> tuple[Counter[str], int, set[str]]:
    """Calls on the two folders between two moments, the bytes that were written, and files elsewhere."""
    calls: Counter[str] = Counter()
    written, elsewhere = 0, set()
    pending: dict[str, str] = {}  # by thread: the first half of a call that another thread cut in two
    ours = tuple(str(folder / name) for name in ("state", "logs"))
    for line in output.read_text(errors="replace").splitlines():
        thread = line.split(" ", 1)[0]
        if line.endswith("<unfinished ...>"):
            pending[thread] = line
            continue
        matched = _CALL.match(line)
        if matched is None:
            continue
        whole = pending.pop(thread, "") + line if "resumed>" in line else line
        at_s, name, result = float(matched[1]), matched[2], int(matched[3])
        if not begins_s <= at_s < ends_s:
            continue
        if any(place in whole for place in ours):
            calls[name] += 1
            written += result if name in WRITES and result > 0 else 0
        elif name in WRITES and (file := _FILE.search(whole)):
            elsewhere.add(file[1])
    return calls, written, elsewhere


@pytest.fixture(scope="module")
def wears() -> Iterator[tuple[Wear, Wear]]:
    """A quiet house, and one whose heater goes on and off each hour, at the same time."""
    strace.command()
    with (
        tempfile.TemporaryDirectory(prefix="ow-") as quiet,
        tempfile.TemporaryDirectory(prefix="ow-") as busy,
        ThreadPoolExecutor(2) as houses,
    ):
        lives = [
            houses.submit(live, Path(folder), half_cycle_s=half_cycle_s)
            for folder, half_cycle_s in ((quiet, 0.0), (busy, HALF_CYCLE_S))
        ]
        yield lives[0].result(), lives[1].result()


def test_a_quiet_day_spares_the_card(wears: tuple[Wear, Wear]) -> None:
    quiet, _ = wears
    print(quiet.told("a quiet day"))

    assert quiet.count("heat") == 0
    assert quiet.a_day(quiet.count("sample")) == pytest.approx(1440, rel=0.1), "a sample a minute"
    assert quiet.syncs > 0, "strace saw them"
    assert quiet.a_day(quiet.written) <= BYTES_A_DAY_MOST
    assert quiet.a_day(quiet.syncs) <= FSYNCS_A_DAY_MOST


def test_a_heat_event_or_an_alarm_costs_one_more_fsync_at_most(wears: tuple[Wear, Wear]) -> None:
    quiet, busy = wears
    print(busy.told("a busy day"))
    events = busy.count("heat")
    # Air that jumps every half hour is no pump house: what is said of that has its price too.
    alarms = busy.count("alarm")

    assert events >= HOURS
    # One more each, beside what a quiet time of that length costs, and one for where the stretch was cut.
    assert busy.syncs <= quiet.syncs * busy.hours / quiet.hours + events + alarms + 1


def test_no_other_file_on_a_disk_is_written(wears: tuple[Wear, Wear]) -> None:
    """The blind clock is kept with every reading, but in the runtime folder, which is memory."""
    for wear in wears:
        assert {Path(path).name for path in wear.elsewhere} <= {"last-believed.draft", "said.txt"}
        assert {Path(path).parent.name for path in wear.elsewhere if "believed" in path} == {"run"}

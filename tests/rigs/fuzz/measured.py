"""Two guards on one machine, one of them stormed: what it is late beyond the other is its own lateness."""

import bisect
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

from tests.rigs.fuzz.guarded import TURN

SPEED = 10.0
"""Of the guards' clock: a reading and a turn each 0.1 s: ten times as many as in life that can be late."""
HALF_CYCLE_S = 60.0
"""Of their clock: heat goes on or off each 6 s, for a watcher to hear of."""
SETTINGS = "[sampling]\nsense_s = 1.0\nrecord_s = 1.0\n"
SAMPLES = 10_000
"""In the logbook before it starts: an answer to `samples` is as long as it may be."""
NICE = -20
BESIDE_S = 0.05
"""The machine's hiccup is looked for so far before and after a turn: two processes do not wake at once."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One turn [s, CLOCK_MONOTONIC]."""

    due_s: float
    done_s: float
    read_s: float

    @property
    def late_s(self) -> float:
        return self.done_s - self.due_s


class Measured:
    """A guard as a process, in a folder short enough for a socket."""

    def __init__(self, *, samples: int = 0) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="ow-"))
        self.folder.chmod(0o755)  # for another user to reach the socket
        for name in ("state", "logs"):
            (self.folder / name).mkdir()
        # As /run is: in memory. On a disk that others keep busy, a turn would wait for them.
        self.runtime = Path(tempfile.mkdtemp(prefix="ow-", dir="/dev/shm"))
        self.runtime.chmod(0o755)
        (self.folder / "run").symlink_to(self.runtime)
        self.socket = self.folder / "run" / "s"
        self.settings = self.folder / "state" / "settings.toml"
        self.settings.write_text(SETTINGS)
        self.logs = self.folder / "logs"
        (self.logs / "logbook.jsonl").write_text("".join(_past(samples)))
        self.said = self.folder / "said"
        environment = {name: value for name, value in os.environ.items() if name != "NOTIFY_SOCKET"}
        with self.said.open("wb") as said:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "tests.rigs.fuzz.guarded", self.folder, str(SPEED), str(HALF_CYCLE_S)],
                env=environment,
                stdout=said,
                stderr=said,
                stdin=subprocess.DEVNULL,
            )
        if os.geteuid() == 0:
            # What other programs take is not its lateness; its own threads still wait for one another.
            os.setpriority(os.PRIO_PROCESS, self.process.pid, NICE)

    def wait_until_up(self) -> None:
        ends_s = time.monotonic() + 20.0
        while len(self.turns()) < 20:
            assert self.process.poll() is None, self.said.read_text()
            assert time.monotonic() < ends_s, "the guard does not turn"
            time.sleep(0.05)

    def turns(self) -> list[Turn]:
        try:
            data = (self.folder / "turns").read_bytes()
        except FileNotFoundError:
            return []
        return [Turn(*stamp) for stamp in TURN.iter_unpack(data[: len(data) // TURN.size * TURN.size])]

    def memory_mib(self, what: str = "VmRSS") -> float:
        """`VmHWM`: the most there ever was."""
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            name, _, value = line.partition(":")
            if name == what:
                return int(value.split()[0]) / 1024
        raise LookupError(what)

    def stop(self) -> int:
        self.process.terminate()
        return self.process.wait(20)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(20)
        shutil.rmtree(self.folder)
        shutil.rmtree(self.runtime)


def _past(samples: int) -> Iterable[str]:
    now = datetime.now(UTC)
    for minutes in range(samples, 0, -1):
        stamp = (now - timedelta(minutes=minutes)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        line = {
            "t": stamp,
            "up": float(100_000 - minutes),
            "boot": "0d1f7f0e-5b0c-4c7e-9a59-3f1f0f3f7a11",
            "event": "sample",
            "temperature_c": 3.3,
            "humidity_pct": 70.1,
            "flag": 1,
            "heat": 0.25,
            "mode": "freeze",
            "low_c": 2.222222,
            "high_c": 4.444444,
            "sensors": {"by the pump": [3.3, 70.1, 1]},
        }
        yield json.dumps(line, separators=(",", ":")) + "\n"


def own_lateness_s(stormed: list[Turn], quiet: list[Turn]) -> list[float]:
    """How late each turn of a guard was, less what the quiet one was late at that moment."""
    ends = [turn.done_s for turn in quiet]
    own = []
    for turn in stormed:
        at = bisect.bisect_left(ends, turn.due_s - BESIDE_S)
        beside = 0.0
        while at < len(quiet) and quiet[at].due_s <= turn.done_s + BESIDE_S:
            beside = max(beside, quiet[at].late_s)
            at += 1
        own.append(turn.late_s - beside)
    return own


def readings(turns: list[Turn]) -> list[Turn]:
    """Each reading as a turn that was due one period after the one before."""
    read = [turn.read_s for turn in turns if turn.read_s]
    return [Turn(due_s=before + 1.0 / SPEED, done_s=now, read_s=now) for before, now in pairwise(read)]


def share(values: Iterable[float], part: float) -> float:
    """The value that this part of them does not exceed."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(part * len(ordered)))]

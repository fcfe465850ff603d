"""strace(1) on a guard that runs: which system calls it makes on its folders, and what if one fails.

Only calls that touch the state and the logs folder are traced, so that nothing else is hit. strace counts
`when=N` by thread and by kind of call; all writing happens in one thread.
"""

import os
import re
import shutil
import signal
import subprocess
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from overwinter.guard.files import SETTINGS, SETTINGS_COPY, SITE_COPY
from overwinter.store.atomic import draft_of
from overwinter.store.keeper import STATE_NAME
from overwinter.store.lines import NAME
from tests.guard.house import House

CALLS = ("openat", "write", "fsync", "fdatasync", "rename", "ftruncate", "unlink", "mkdir")
"""Those by which a disk is changed; `openat` also reads."""

_CALL = re.compile(r"^(\d+) +(?:[\d.]+ +)?(\w+)\((.*)\) += (-?\d+)")


@dataclass(frozen=True)
class Call:
    """One finished system call."""

    thread: int
    name: str
    arguments: str
    result: int
    line: str


@dataclass
class Trace:
    """What strace wrote."""

    path: Path

    def calls(self) -> list[Call]:
        """The calls so far, those cut in two by another thread left out."""
        matches = map(_CALL.match, self.path.read_text(errors="replace").splitlines())
        return [Call(int(m[1]), m[2], m[3], int(m[4]), m[0]) for m in matches if m]

    def steps(self, kinds: tuple[str, ...]) -> list[tuple[str, int]]:
        """Each step that strace can be told to hit: the n-th call of a kind, counted by thread."""
        counts = Counter((call.name, call.thread) for call in self.calls())
        most = {
            kind: max((n for (name, _), n in counts.items() if name == kind), default=0) for kind in kinds
        }
        return [(kind, number) for kind in kinds for number in range(1, most[kind] + 1)]

    def injected(self) -> list[str]:
        """The lines of calls that were made to fail, to wait or to kill."""
        lines = self.path.read_text(errors="replace").splitlines()
        return [line for line in lines if line.rstrip().endswith(("(INJECTED)", "(DELAYED)"))]


def command() -> str:
    """Where strace is; the test is skipped without it."""
    found = shutil.which("strace")
    if found is None:
        pytest.skip("strace is not installed (apt-get install strace)")
    return found


def touching(house: House) -> list[str]:
    """The options that keep strace to the house's two folders and everything that lies in them."""
    state = [house.state / name for name in (SETTINGS, SETTINGS_COPY, SITE_COPY, STATE_NAME, ".probe")]
    logs = [house.logs / name for name in (NAME, f"{NAME}.1", ".probe")]
    paths = [house.state, house.logs, *state, *map(draft_of, state), *logs, *map(draft_of, logs)]
    return [word for path in paths for word in ("-P", str(path))]


def options(house: House, output: Path, *injections: str, calls: tuple[str, ...] = CALLS) -> list[str]:
    """A command line up to what is to be traced."""
    words = [command(), "-f", "-y", "-s", "0", "-o", str(output), "-e", f"trace={','.join(calls)}"]
    for injection in injections:
        words += ["-e", f"inject={injection}"]
    return words + touching(house)


def launched(house: House, output: Path, *injections: str) -> tuple[str, ...]:
    """What stands before the guard's command line to start it traced; it stays our own child."""
    return (*options(house, output, *injections), "-D", "--")


@contextmanager
def attached(house: House, *injections: str, calls: tuple[str, ...] = CALLS) -> Iterator[Trace]:
    """Hold on to the running guard, and let go again; the test is skipped where ptrace is not allowed."""
    assert house.process is not None
    descriptor, name = tempfile.mkstemp(prefix="strace-", dir=house.folder)
    os.close(descriptor)
    output = Path(name)
    tracer = subprocess.Popen(
        [*options(house, output, *injections, calls=calls), "-p", str(house.process.pid)],
        stderr=subprocess.PIPE,
        text=True,
    )
    assert tracer.stderr is not None
    try:
        said = tracer.stderr.readline()
        if "attached" not in said:
            pytest.skip(f"ptrace is not allowed here: {said.strip()}")
        yield Trace(output)
    finally:
        if tracer.poll() is None:
            tracer.send_signal(signal.SIGINT)
        tracer.wait(20)
        tracer.stderr.close()

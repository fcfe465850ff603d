"""What the measurements share: a house on a real disk, a service manager's ear, and what /proc tells."""

import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import overwinter
from overwinter.settings.values import default_text
from tests.guard.house import House

IN_MEMORY = frozenset({"tmpfs", "ramfs", "overlay"})
"""File systems whose fsync may cost nothing; a measurement of storing on them would mean nothing."""

AS_SERVICE = {"JOURNAL_STREAM": "0:0", "WATCHDOG_USEC": "30000000"}
"""What a service manager adds to the guard's surroundings, besides its own socket."""

BARE_START = (sys.executable, "-c", "pass")

BARE_ASYNCIO = """
import asyncio
async def wake():
    while True:
        await asyncio.sleep(2.0)
asyncio.run(wake())
"""

FIVE_PACKAGES = "import asyncio, gpiozero, sdnotify, structlog, tomlkit"


def file_system(folder: Path) -> str:
    """The kind of file system that a folder lies on, or `unknown`."""
    kind, longest = "unknown", -1
    path = str(folder.resolve())
    for line in Path("/proc/self/mounts").read_text().splitlines():
        mounted, named = line.split(" ")[1:3]
        if (path == mounted or path.startswith(mounted.rstrip("/") + "/")) and len(mounted) >= longest:
            kind, longest = named, len(mounted)
    return kind


@contextmanager
def workplace() -> Iterator[Path]:
    """A folder on a disk, gone afterwards: where reboots keep files, else beside the sources."""
    beside = Path(__file__).parents[2] / "build"
    for parent in (Path("/var/tmp"), beside):
        if parent == beside:
            parent.mkdir(exist_ok=True)
        if os.access(parent, os.W_OK) and file_system(parent) not in IN_MEMORY:
            break
    else:
        print("note: no folder on a real disk was found; what storing costs means little", file=sys.stderr)
        parent = beside
    folder = Path(tempfile.mkdtemp(prefix="ow-bench-", dir=parent))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


class Manager:
    """Takes what the guard tells its service manager."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "notify"
        self.path.unlink(missing_ok=True)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(self.path))

    def wait_for_ready(self, within_s: float = 30.0) -> None:
        """Return as soon as the guard says so."""
        self._socket.settimeout(within_s)
        while b"READY=1" not in self._socket.recv(4096):
            pass

    def drain(self) -> None:
        """Throw away what has come, so that the guard is never refused."""
        self._socket.setblocking(False)
        try:
            while True:
                self._socket.recv(4096)
        except BlockingIOError:
            return

    def close(self) -> None:
        self._socket.close()
        self.path.unlink(missing_ok=True)


@contextmanager
def house_on(folder: Path, name: str, *, sense_s: float = 10.0) -> Iterator[House]:
    """A bench house at 3 °C whose settings file says how often to read; the guard is not yet started."""
    home = folder / name
    home.mkdir()
    house = House(home)
    house.reads(3.0)
    house.state.mkdir()
    text = default_text()
    usual = "sense_s = 10.0"
    assert usual in text
    house.settings.write_text(text.replace(usual, f"sense_s = {sense_s}"))
    try:
        yield house
    finally:
        if house.process is not None:
            house.stop()
        house.close()


def command() -> tuple[str, ...]:
    """How an owner calls the program: the installed command; from a source tree, the module."""
    script = Path(sys.executable).with_name("overwinter")
    installed = Path(overwinter.__file__).is_relative_to(sys.prefix)
    return (str(script),) if installed and script.exists() else (sys.executable, "-m", "overwinter")


def timed_s(words: Sequence[str], environment: Mapping[str, str] | None = None) -> float:
    """How long one process takes, from before its start to its end [s]."""
    began_s = time.perf_counter()
    done = subprocess.run(
        words, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False
    )
    took_s = time.perf_counter() - began_s
    assert done.returncode == 0, done.stderr.decode()
    return took_s


def memory_kib(pid: int) -> tuple[float, float]:
    """Resident and proportional set size [KiB]; the latter shares out pages that several processes use."""
    fields = {}
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]:
        name, _, rest = line.partition(":")
        fields[name] = float(rest.split()[0])
    return fields["Rss"], fields["Pss"]


def cpu_s(pid: int) -> float:
    """CPU time of all threads so far, in user and kernel [s].

    The kernel's clock of that process, to the nanosecond; /proc/PID/stat shows the same in hundredths, too
    coarse for a process that uses a few milliseconds a minute. The number of the clock is Linux's
    (clock_getcpuclockid(3) computes it so; Python does not offer that call).
    """
    return time.clock_gettime(~pid << 3 | 2)


def ticks_s(pid: int) -> float:
    """utime and stime of /proc/PID/stat [s], in hundredths: to hold `cpu_s` against."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def peak_kib(pid: int | str) -> float:
    """The most that was ever resident [KiB]; 0 for a process that has ended.

    Not ru_maxrss: that of a child begins with what its parent had.
    """
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return float(line.split()[1])
    return 0.0


def median_ms(times_s: Sequence[float]) -> float:
    return statistics.median(times_s) * 1000.0

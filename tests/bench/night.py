"""What the demonstration costs: two simulated hours at the highest speed."""

import contextlib
import os
import subprocess
import sys
import time
from pathlib import Path

from tests.bench.rig import command, peak_kib
from tests.bench.table import Row

SPEED, HOURS = 3000.0, 2.0
LOOK_S = 0.02


def rows(folder: Path) -> list[Row]:
    """One demonstration, and the peak of a bare interpreter."""
    own_peak = "print(*[w.split()[1] for w in open('/proc/self/status') if w.startswith('VmHWM:')])"
    bare_mib = float(subprocess.check_output([sys.executable, "-c", own_peak])) / 1024
    peak_mib, cpu_s, wall_s = _demo(folder)
    due_s = HOURS * 3600.0 / SPEED
    return [
        Row(
            what="demo, peak RSS",
            value=f"{peak_mib:.1f} MiB",
            floor=f"{bare_mib:.1f} MiB, a bare interpreter",
            ratio=peak_mib / bare_mib,
        ),
        Row(
            what=f"demo, {HOURS:g} h at {SPEED:g} times life, wall time",
            value=f"{wall_s:.2f} s",
            floor=f"{due_s:.2f} s, the simulated time at that speed",
            ratio=wall_s / due_s,
        ),
        Row(
            what="demo with its second shell, CPU time",
            value=f"{cpu_s:.2f} s",
            floor=f"{wall_s:.2f} s, its wall time",
            ratio=cpu_s / wall_s,
        ),
    ]


def _demo(folder: Path) -> tuple[float, float, float]:
    """Peak memory [MiB], CPU time and wall time [s]."""
    words = (*command(), "demo", "--speed", f"{SPEED:g}", "--hours", f"{HOURS:g}")
    began_s = time.perf_counter()
    process = subprocess.Popen(
        words,
        env={**os.environ, "TMPDIR": str(folder)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    most_kib = 0.0
    # Looked at until it ends, but not reaped: what it used is told only once.
    while os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
        with contextlib.suppress(OSError):
            most_kib = max(most_kib, peak_kib(process.pid))
        time.sleep(LOOK_S)
    _, status, usage = os.wait4(process.pid, 0)
    wall_s = time.perf_counter() - began_s
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, f"{words}: exit code {process.returncode}"
    return most_kib / 1024, usage.ru_utime + usage.ru_stime, wall_s

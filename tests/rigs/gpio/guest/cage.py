"""The unit's cage, as the kernel enforces it: rights, devices, memory, tasks.

A process of root's that is put into the unit's control group meets the group's limits like the guard does.
"""

import subprocess
import sys
import time
from pathlib import Path

from tests.rigs.gpio.guest.rig import COLD_C, RELAY, Rig
from tests.rigs.gpio.guest.service import (
    CGROUP,
    GUARD,
    START_S,
    Broken,
    drop_in,
    journal,
    main_pid,
    no_drop_in,
    show,
    status,
    until,
)

MINUTES_S = 180.0
MEMORY_SHARE = 0.6
"""Of MemoryMax: a peak above it would leave too little for what no rig thinks of."""

OPEN_ALL = """
import os, sys
for path in sys.argv[1:]:
    try:
        os.close(os.open(path, os.O_RDWR))
        print(path, "open")
    except OSError as error:
        print(path, error.strerror)
"""

EAT = """
eaten = []
while True:
    eaten.append(b"x" * (1 << 20))  # not zeros: those take no memory
    print(len(eaten), flush=True)
"""

FORK = """
import os, signal
children = []
try:
    while len(children) < 500:
        child = os.fork()
        if not child:
            signal.pause()
        children.append(child)
except OSError as error:
    print(len(children), error.strerror, flush=True)
finally:
    for child in children:
        os.kill(child, signal.SIGKILL)
"""


def closed(rig: Rig) -> str:
    """What the kernel says of the guard's process; the unit's words are checked elsewhere."""
    process = Path("/proc") / str(main_pid())
    facts = dict(
        line.split(":\t", 1) for line in (process / "status").read_text().splitlines() if ":\t" in line
    )
    wrong = [
        f"{key}: {facts[key]}"
        for key, wanted in (("NoNewPrivs", "1"), ("Seccomp", "2"), ("CapEff", "0" * 16), ("CapBnd", "0" * 16))
        if facts[key].strip() != wanted
    ]
    if facts["Uid"].split()[0] == "0":
        wrong.append("it runs as root")
    try:
        (process / "root/etc/overwinter-was-here").write_text("")
        wrong.append("/etc can be written")
    except OSError:
        pass
    networks = [line.split(":")[0].strip() for line in (process / "net/dev").read_text().splitlines()[2:]]
    if networks != ["lo"]:
        wrong.append(f"networks {networks}")
    if wrong:
        raise Broken("; ".join(wrong))
    return "no capability, seccomp, no new privileges, not root, a read-only /etc, no network but its own lo"


def devices(rig: Rig) -> str:
    wanted = {
        "/dev/gpiochip0": "open",
        "/dev/vda": "Operation not permitted",
        "/dev/mem": "Operation not permitted",
    }
    (bus,) = sorted(Path("/dev").glob("i2c-*"))[-1:]
    wanted[str(bus)] = "Operation not permitted"
    done = _inside(OPEN_ALL, *wanted)
    found = dict(line.split(" ", 1) for line in done.stdout.splitlines())
    if found != wanted:
        raise Broken(f"{found} {done.stderr}")
    return f"root in the unit's group: {', '.join(f'{path} {words}' for path, words in found.items())}"


def memory_use(rig: Rig) -> str:
    """After minutes of readings, changes and questions."""
    until(
        lambda: status().get("uptime_s", 0.0) >= MINUTES_S, f"it runs for {MINUTES_S:.0f} s", MINUTES_S + 60.0
    )
    limit = int((CGROUP / "memory.max").read_text())
    peak = int((CGROUP / "memory.peak").read_text())
    current = int(show("MemoryCurrent")["MemoryCurrent"])
    words = (Path("/proc") / str(main_pid()) / "status").read_text().split()
    resident = int(words[words.index("VmRSS:") + 1]) << 10
    text = (
        f"after {status()['uptime_s']:.0f} s: group {_mib(current)}, peak {_mib(peak)} of {_mib(limit)}; "
        f"process {_mib(resident)} (VmRSS, its libraries' pages included)"
    )
    if limit != 128 << 20 or peak > MEMORY_SHARE * limit:
        raise Broken(text)
    return text


def tasks(rig: Rig) -> str:
    limit = int((CGROUP / "pids.max").read_text())
    before = int((CGROUP / "pids.current").read_text())
    done = _inside(FORK)
    count, said = done.stdout.strip().split(" ", 1)
    if before + 1 + int(count) != limit:
        raise Broken(f"{count} more beside {before} with a limit of {limit}: {said} {done.stderr}")
    if not status():
        raise Broken("the guard is gone")
    return f"the guard's own {before}, a stranger and its {count} children: {limit}, then {said!r}"


def memory(rig: Rig) -> str:
    """A stranger in the group eats until the kernel kills; the guard may fall with it, and comes back."""
    rig.sensor.reads(COLD_C)
    before = main_pid()
    restarts = int(show("NRestarts")["NRestarts"])
    done = _inside(EAT)
    eaten = int((done.stdout.split() or ["0"])[-1])
    limit = int((CGROUP / "memory.max").read_text()) >> 20
    if done.returncode != -9 or not 0 < eaten < limit:
        raise Broken(f"exit code {done.returncode} after {eaten} MiB, limit {limit} MiB: {done.stderr}")
    began = time.monotonic()
    time.sleep(2.0)  # what systemd makes of it comes a moment later
    until(lambda: show("ActiveState")["ActiveState"] == "active" and bool(status()), "a guard runs", START_S)
    rig.heats(True, within_s=START_S)
    after = main_pid()
    again = int(show("NRestarts")["NRestarts"]) - restarts
    what = (
        "the same guard ran on"
        if after == before
        else f"{again} restart, heat again {time.monotonic() - began:.1f} s later"
    )
    return f"a stranger in the group was killed at {eaten} MiB of {limit}; {what}"


def forbidden(rig: Rig) -> str:
    """As shipped but for that line."""
    rig.record.forget()
    drop_in("forbidden", "[Service]\nDeviceAllow=\nRestart=no\nExecStopPost=\n")
    try:
        done = subprocess.run(["systemctl", "start", GUARD], capture_output=True, text=True, check=False)
        facts = show("ActiveState", "Result", "ExecMainStatus")
        said = next((line for line in journal(12).split(" | ") if "gpiochip" in line), "")
    finally:
        no_drop_in("forbidden")
        subprocess.run(["systemctl", "stop", GUARD, "overwinter.socket"], capture_output=True, check=False)
        subprocess.run(["systemctl", "reset-failed", GUARD], capture_output=True, check=False)
    if done.returncode == 0 or facts["Result"] != "exit-code" or "DeviceAllow" not in said:
        raise Broken(f"start's exit code {done.returncode}, {facts}; {journal(12)}")
    if calls := [call for call in rig.record.calls() if call.pin == RELAY]:
        raise Broken(f"the line was touched: {calls}")
    return f"exit code {facts['ExecMainStatus']}, no line is touched: {said}"


def _inside(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run some Python as root, in the unit's control group."""
    join = f"import os; open('{CGROUP}/cgroup.procs', 'w').write(str(os.getpid()))\n"
    words = [sys.executable, "-I", "-S", "-c", join + code, *arguments]
    # The kernel shall take the stranger, not the guard: their scores are 1000 and -900.
    return subprocess.run(
        ["choom", "-n", "1000", "--", *words], capture_output=True, text=True, check=False, timeout=120
    )


def _mib(size: int) -> str:
    return f"{size / (1 << 20):.1f} MiB"

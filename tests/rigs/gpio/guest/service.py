"""The unit as the project ships it, under the system's own systemd, and what a drop-in changes for the rig.

Changed is only what stands in for the board (its model, which no simulated machine has) and the patience of
the service manager, since a simulated processor is some twenty times slower than a real one.
"""

import shutil
import subprocess
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from overwinter.wire.client import Unreachable, call
from tests.rigs.gpio.guest.board import run

UNITS = Path("/etc/systemd/system")
GUARD = "overwinter.service"
SOCKET_UNIT = "overwinter.socket"
SOCKET = "/run/overwinter/control.sock"
SYSUSERS = Path("overwinter.sysusers")
SITE = Path("/etc/overwinter/site.toml")
CGROUP = Path("/sys/fs/cgroup/system.slice") / GUARD
COMMAND = "/opt/overwinter/bin/overwinter"

CPUINFO = Path("/etc/rig-cpuinfo")
MODEL = "Hardware\t: BCM2835\nRevision\t: c03114\nSerial\t\t: 0\nModel\t\t: Raspberry Pi 4 Model B Rev 1.4\n"

STAND_IN = f"""\
[Service]
# A bind inside the unit: ProtectProc= gives it a /proc of its own.
BindReadOnlyPaths={CPUINFO}:/proc/cpuinfo
WatchdogSec=180
TimeoutStartSec=300
TimeoutStopSec=60
"""

START_S = 120.0  # a simulated processor: seconds where a board takes parts of one

SITE_TEXT = """\
[site]
name = "a chip of glass"
unit = "C"

[[sensor]]
name = "by the pump"
role = "control"
kind = "iio"
path = "{sensor}"

[relay]
kind = "gpio"
pin = {pin}
active_high = {active_high}
contact = "{contact}"
feedback_pin = 27

[heater]
watts = 250.0
limiter = true

[[contact]]
name = "pump"
kind = "pump"
pin = 22
active_high = true

[[contact]]
name = "floor"
kind = "wet"
pin = 23
active_high = false
"""


class Broken(Exception):
    """A promise is not kept; the text says how."""


def install(units: Path) -> None:
    """The units and the user as they are shipped, the command where they look for it."""
    for path in units.iterdir():
        if path.suffix != SYSUSERS.suffix:
            shutil.copy(path, UNITS)
    run("systemd-sysusers", units / SYSUSERS)
    CPUINFO.write_text(MODEL)
    for link in _commands():
        link.parent.mkdir(parents=True, exist_ok=True)
        if link != Path(COMMAND):
            link.symlink_to(COMMAND)
    drop_in("rig", STAND_IN)


def _commands() -> set[Path]:
    found = set()
    for line in (UNITS / GUARD).read_text().splitlines():
        key, _, value = line.partition("=")
        if key.startswith("Exec") and "overwinter" in value:
            found.add(Path(value.lstrip("-@:+!").split()[0]))
    return found


def drop_in(name: str, text: str) -> None:
    """Add to the unit."""
    folder = UNITS / f"{GUARD}.d"
    folder.mkdir(exist_ok=True)
    (folder / f"{name}.conf").write_text(text)
    run("systemctl", "daemon-reload")


def no_drop_in(name: str) -> None:
    """Take it away again."""
    (UNITS / f"{GUARD}.d" / f"{name}.conf").unlink()
    run("systemctl", "daemon-reload")


def wired(*, pin: int, active_high: bool, contact: str, sensor: Path) -> None:
    """What site.toml says."""
    SITE.parent.mkdir(exist_ok=True)
    SITE.write_text(
        SITE_TEXT.format(pin=pin, active_high=str(active_high).lower(), contact=contact, sensor=sensor)
    )


def start() -> float:
    """Until systemd has heard READY; how long that took [s]."""
    began = time.monotonic()
    done = subprocess.run(
        ["systemctl", "start", SOCKET_UNIT, GUARD],
        capture_output=True,
        text=True,
        timeout=START_S * 2,
        check=False,
    )
    if done.returncode:
        raise Broken(f"systemctl start: {done.stderr.strip()}; the journal's end: {journal(6)}")
    return time.monotonic() - began


def stop() -> float:
    """Until it is gone; how long that took [s]."""
    began = time.monotonic()
    run("systemctl", "stop", GUARD)
    return time.monotonic() - began


def show(*names: str) -> dict[str, str]:
    """What systemd knows of the guard."""
    text = run("systemctl", "show", GUARD, f"--property={','.join(names)}")
    return dict(line.split("=", 1) for line in text.splitlines())


def main_pid() -> int:
    return int(show("MainPID")["MainPID"])


def journal(lines: int) -> str:
    """Its last words."""
    text = run("journalctl", "--unit", GUARD, "--output=cat", "--no-pager", f"--lines={lines}")
    return " | ".join(text.splitlines())


def ask(method: str, params: Mapping[str, object] | None = None) -> Any:
    """The guard, over its socket, as root."""
    return call(SOCKET, method, dict(params) if params is not None else None, timeout_s=30.0)


def status() -> dict[str, Any]:
    """Its status; empty while it cannot be reached."""
    try:
        answer: dict[str, Any] = ask("status")
    except Unreachable:
        return {}
    return answer


def change(changes: Mapping[str, object]) -> None:
    """Settings, all of them or none."""
    ask("set", {"changes": dict(changes)})


def typed(*words: str) -> str:
    """The command, as an owner types it."""
    done = subprocess.run([COMMAND, *words], capture_output=True, text=True, check=False)
    if done.returncode:
        raise Broken(f"overwinter {' '.join(words)}: exit code {done.returncode}: {done.stderr.strip()}")
    return done.stdout


def until(holds: Callable[[], bool], what: str, within_s: float) -> float:
    """Wait for it; how long that took [s]."""
    began = time.monotonic()
    while not holds():
        if time.monotonic() - began > within_s:
            raise Broken(f"not within {within_s:.0f} s: {what}; status: {_brief()}")
        time.sleep(0.02)
    return time.monotonic() - began


def keeps(holds: Callable[[], bool], what: str, for_s: float) -> None:
    """It must hold all the time."""
    ends = time.monotonic() + for_s
    while time.monotonic() < ends:
        if not holds():
            raise Broken(f"not kept for {for_s:.0f} s: {what}; status: {_brief()}")
        time.sleep(0.02)


def _brief() -> str:
    facts = status()
    if not facts:
        return f"not reachable; {journal(3)}"
    names = ("temperature_c", "blind", "heat", "sensors", "contacts")
    return str({name: facts.get(name) for name in names})

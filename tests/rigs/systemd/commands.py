"""What the chapters do to the machine and ask of it, and where everything lies in it."""

import json
import pwd
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from overwinter.wire.client import call

UNITS = Path("/etc/systemd/system")
SITE, STATE, LOGS = (
    Path("/etc/overwinter/site.toml"),
    Path("/var/lib/overwinter"),
    Path("/var/log/overwinter"),
)
RUNTIME = Path("/run/overwinter")
SOCKET = str(RUNTIME / "control.sock")
SENSOR = Path("/srv/sensor")
DROP_IN = UNITS / "overwinter.service.d" / "rig.conf"

SITE_TEXT = """
[site]
name = "{name}"
unit = "C"

[[sensor]]
name = "by the pump"
role = "control"
kind = "iio"
path = "{sensor}"

[relay]
kind = "simulated"
"""


def run(*words: str, within_s: float = 60.0) -> subprocess.CompletedProcess[str]:
    """A command; its outcome whatever it is."""
    return subprocess.run(words, capture_output=True, text=True, timeout=within_s, check=False)


def must(*words: str) -> str:
    """A command that has to succeed; what it says."""
    done = run(*words)
    if done.returncode != 0:
        raise RuntimeError(f"{' '.join(words)}: {done.returncode}: {done.stdout}{done.stderr}")
    return done.stdout


def told(done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    return {"code": done.returncode, "out": done.stdout, "err": done.stderr}


def systemctl(*words: str) -> subprocess.CompletedProcess[str]:
    return run("systemctl", "--no-pager", *words)


def shown(unit: str, *names: str) -> dict[str, str]:
    """Properties of a unit."""
    lines = must("systemctl", "show", unit, *(f"--property={name}" for name in names)).splitlines()
    return dict(line.split("=", 1) for line in lines)


def states() -> dict[str, str]:
    """Of the service, and of its socket."""
    units = ("overwinter.service", "overwinter.socket")
    return {unit.split(".")[1]: shown(unit, "ActiveState")["ActiveState"] for unit in units}


def main_pid(unit: str = "overwinter") -> int:
    return int(shown(unit, "MainPID")["MainPID"])


def is_active(unit: str = "overwinter") -> bool:
    """A start has told READY."""
    return shown(unit, "ActiveState")["ActiveState"] == "active"


def ask(method: str = "status", *, within_s: float = 20.0, **params: object) -> Any:
    return call(SOCKET, method, params or None, timeout_s=within_s)


def until(holds: Callable[[], object], what: str, within_s: float = 15.0) -> float:
    """Wait for it; how long that took [s]."""
    began_s = time.monotonic()
    while not holds():
        if time.monotonic() - began_s > within_s:
            raise TimeoutError(f"not within {within_s} s: {what}")
        time.sleep(0.02)
    return time.monotonic() - began_s


def reads(temperature_c: float | None) -> None:
    """What the sensor says from now on; None: it is gone."""
    file = SENSOR / "in_temp_input"
    if temperature_c is None:
        file.unlink(missing_ok=True)
        return
    draft = file.with_suffix(".draft")
    draft.write_text(f"{temperature_c * 1000:.0f}\n")
    draft.replace(file)


def writes_site(text: str) -> None:
    SITE.parent.mkdir(exist_ok=True)
    SITE.write_text(text)


def named(name: str) -> str:
    return SITE_TEXT.format(name=name, sensor=SENSOR)


def drop_in(*texts: str) -> None:
    """Other words for the unit from now on; none: as it is shipped."""
    DROP_IN.parent.mkdir(exist_ok=True)
    DROP_IN.write_text("\n".join(texts))
    must("systemctl", "daemon-reload")


def events(name: str) -> list[dict[str, Any]]:
    """The lines of the logbook, oldest first."""
    lines = [json.loads(line) for line in (LOGS / "logbook.jsonl").read_text().splitlines()]
    return [line for line in lines if line["event"] == name]


def as_user(user: str, *words: str) -> dict[str, Any]:
    """A command as this user would type it after logging in."""
    who = (f"--reuid={user}", f"--regid={pwd.getpwnam(user).pw_gid}", "--init-groups")
    return told(run("setpriv", *who, *words))

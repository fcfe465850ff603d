"""Where the commands of the pages are run: a real guard on the example's site, and stand-ins on the path."""

import json
import os
import re
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.docs.pages import ROOT
from tests.guard.house import House

EXAMPLE = (ROOT / "etc/site.toml").read_text(encoding="utf-8")
SECONDS_MAX = 50

# What an owner has on the path of the house's computer, and a machine for tests has not.
STAND_INS = {
    # A rehearsal takes the house's own settings, and those of this one are in a hurry.
    "overwinter": """test "$1" != rehearse || unset OVERWINTER_SITE OVERWINTER_STATE
exec "{python}" -m overwinter "$@\"""",
    "sudo": 'exec "$@"',
    # Every host that is named answers with the one guard that there is.
    "ssh": 'for word in "$@"; do :; done; exec sh -c "$word"',
}

SETTINGS = """mode = "freeze"
unit = "F"

[sampling]
sense_s = 1.0

[filter]
window = 3
"""


class Stage:
    """A pump house as the pages have it, a day of records in its logbook, and a folder to stand in."""

    def __init__(self, folder: Path) -> None:
        self.house = House(folder / "house")
        self.folder = folder / "here"
        self.folder.mkdir()
        self._wire()
        self.house.state.mkdir()
        self.house.settings.write_text(SETTINGS)
        self._furnish(folder / "path")
        self._remember()
        self.house.start()
        self.house.until(self._is_settled, "three good sensors")

    def _is_settled(self) -> bool:
        return all(sensor["flag"] == 1 for sensor in self.house.status()["sensors"])

    def _wire(self) -> None:
        """The example's three sensors, as files like the kernel's."""
        line, wall = self.house.folder / "28-0000000000a1", self.house.folder / "wall"
        for path, name in ((line, "temperature"), (wall, "in_temp_input")):
            path.mkdir()
            (path / name).write_text("2900\n" if path == line else "-4500\n")
        site = EXAMPLE.replace('kind = "dht22"', 'kind = "iio"', 1)
        site = re.sub(r"^pin = 4 .*$", f'path = "{self.house.sensor}"', site, count=1, flags=re.MULTILINE)
        site = re.sub(r"/sys/bus/w1/devices/28-\w+", str(line), site)
        site = site.replace("/sys/bus/iio/devices/iio:device0", str(wall))
        assert site.count(str(self.house.folder)) == 3, "the example's sensors are not as they were"
        self.house.site.write_text(site)
        self.house.reads(3.4, 74.0)

    def _furnish(self, path: Path) -> None:
        path.mkdir()
        for name, does in STAND_INS.items():
            stand_in = path / name
            stand_in.write_text(f"#!/bin/sh\n{does.format(python=sys.executable)}\n")
            stand_in.chmod(0o755)
        self.environment = {
            **self.house.environment,
            "PATH": f"{path}:{os.environ['PATH']}",
            "PYTHONPATH": os.pathsep.join(sys.path),
            "PYTHON": sys.executable,
            "TZ": "UTC",
            "COLUMNS": "100",
            "XDG_CONFIG_HOME": str(path),
            "XDG_STATE_HOME": str(path),
        }
        (self.folder / "houses.txt").write_text("orchard\nmill  # the far one\n")
        (self.folder / "docs").symlink_to(ROOT / "docs")
        (self.folder / "etc").symlink_to(ROOT / "etc")
        self._weather()

    def _weather(self) -> None:
        """A winter of hours, for what asks for a file of weather; its kind is told by its first lines."""
        hours = (datetime(2025, 11, 1, tzinfo=UTC) + timedelta(hours=hour) for hour in range(24 * 150))
        lines = [f"{hour:%Y-%m-%dT%H:%M:%SZ},{-4.0 + 5.0 * (hour.hour > 10)}" for hour in hours]
        (self.folder / "typical-year.epw").write_text("\n".join(["time,outdoor_c", *lines, ""]))

    def _remember(self) -> None:
        """The days of docs/pictures, moved so that they end just now."""
        words = ["rehearse", str(ROOT / "docs/pictures/cold-night.toml"), "--seed", "8", "--keep", "kept"]
        kept = self.run(f"overwinter {' '.join(words)}")
        assert kept.returncode == 0, kept.stderr
        lines = [
            json.loads(line) for line in (self.folder / "kept/logs/logbook.jsonl").read_text().splitlines()
        ]
        by = datetime.now(UTC) - timedelta(minutes=5) - datetime.fromisoformat(lines[-1]["t"])
        for line in lines:
            moment = datetime.fromisoformat(line["t"]) + by
            line["t"] = f"{moment:%Y-%m-%dT%H:%M:%S}.000Z"
        self.house.logs.mkdir(exist_ok=True)
        text = "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in lines)
        (self.house.logs / "logbook.jsonl").write_text(text)

    def run(self, line: str) -> subprocess.CompletedProcess[str]:
        """One line, as a shell would take it."""
        return subprocess.run(
            ["sh", "-c", line],
            cwd=self.folder,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=SECONDS_MAX,
            input="",
            check=False,
        )

    def settle(self) -> None:
        """As it was at the beginning, for the next page."""
        self.run("overwinter heat off --for 1m && overwinter heat release")
        done = self.run("overwinter set mode=freeze unit=F band.low=36F band.high=40F limits.alarm_low=34.5F")
        assert done.returncode == 0, done.stderr

    def close(self) -> None:
        """End the guard."""
        self.house.close()

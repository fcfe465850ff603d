"""A fake machine: a folder of files laid out like a board's, and stand-ins for what only a kernel answers.

Everything that reads a file, finds a name or asks the guard's socket is the true code.
"""

import shutil
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from overwinter.guard.files import SITE_COPY
from overwinter.store.atomic import write_copy
from overwinter.store.keeper import STATE_NAME
from overwinter.store.small import save_state
from overwinter.survey.machine import CannotLook, Line, Machine, Node, Space
from overwinter.survey.report import Report, survey
from overwinter.survey.scene import Installation

NOW = datetime(2027, 1, 10, 12, 0, tzinfo=UTC)

SITE = """
[site]
name = "orchard pump house"
unit = "C"

[[sensor]]
name = "by the pump"
role = "control"
kind = "iio"
path = "{sensors}/iio:device0"

[[sensor]]
name = "by the riser"
role = "control"
kind = "iio"
path = "{sensors}/iio:device1"

[[sensor]]
name = "north wall"
role = "outdoor"
kind = "iio"
path = "{sensors}/iio:device2"

[relay]
kind = "gpio"
pin = 17

[heater]
watts = 250.0
kind = "lamp"
limiter = true

[building]
volume_m3 = 10.7
air_changes_h = 0.5
[[building.part]]
name = "walls and roof"
area_m2 = 23.0
u_w_m2k = 0.6
[[building.part]]
name = "slab and door"
area_m2 = 7.0
u_w_m2k = 1.1

[circuit]
volts = 120.0
breaker_a = 15.0
relay_resistive_a = 30.0

[notices]
command = ["/usr/local/bin/tell-me"]
"""

SYS_SENSORS = "/sys/bus/iio/devices"

SETTINGS = 'mode = "freeze"\nunit = "C"\n[band]\nlow = 2.0\nhigh = 5.0\n'

# What the kernel, systemd and the firmware of a board in good order have in these files.
FILES: Mapping[str, str] = {
    "/boot/firmware/config.txt": "# orchard\n[all]\ndtoverlay=vc4-kms-v3d\ndtparam=watchdog=on\n\n",
    "/proc/device-tree/model": "Raspberry Pi 3 Model B Plus Rev 1.3\0",
    "/proc/self/mountinfo": (
        "21 26 0:20 / /sys rw,nosuid,nodev,noexec,relatime shared:6 - sysfs sysfs rw\n"
        "26 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw\n"
        "28 26 0:23 / /run rw,nosuid,nodev shared:5 - tmpfs tmpfs rw,size=185276k,mode=755\n"
        "40 26 179:1 / /boot/firmware rw,relatime shared:20 - vfat /dev/mmcblk0p1 rw,fmask=0022\n"
    ),
    "/proc/swaps": "Filename\t\t\t\tType\t\tSize\t\tUsed\t\tPriority\n",
    "/sys/fs/ext4/mmcblk0p2/errors_count": "0\n",
    "/sys/bus/mmc/devices/mmc0:0001/type": "MMC\n",
    "/sys/bus/mmc/devices/mmc0:0001/life_time": "0x02 0x01\n",
    "/sys/bus/mmc/devices/mmc0:0001/pre_eol_info": "0x01\n",
    "/sys/devices/platform/soc/soc:firmware/get_throttled": "0\n",
    "/run/systemd/timesync/synchronized": "",
    "/run/systemd/system/.there": "",
    "/var/log/journal/.there": "",
    "/etc/systemd/journald.conf": "[Journal]\n#Storage=auto\n",
    "/etc/passwd": "root:x:0:0:root:/root:/bin/bash\noverwinter:x:997:997::/nonexistent:/usr/sbin/nologin\n"
    "ada:x:1000:1000:,,,:/home/ada:/bin/bash\n",
    "/etc/group": "root:x:0:\ngpio:x:986:ada,overwinter\noverwinter:x:997:\nada:x:1000:\n",
    "/dev/gpiochip0": "",
    "/dev/watchdog": "",
    f"{SYS_SENSORS}/iio:device0/in_temp_input": "3100\n",
    f"{SYS_SENSORS}/iio:device1/in_temp_input": "3300\n",
    f"{SYS_SENSORS}/iio:device2/in_temp_input": "4500\n",
}

PASSED: Mapping[str, object] = {
    "t": "2026-10-20T09:00:00Z",
    "boot": "6f1d2c6e-1b7a-4f0e-9a39-5a0d1f6f2a11",
    "verdict": "passed",
    "steps": [{"step": "heater", "verdict": "passed", "by": None, "text": "it got warmer"}],
}


class Fake(Machine):
    """The machine; what only a kernel or systemd answers stands in plain fields, for a test to spoil."""

    def __init__(self, root: Path, socket: Path) -> None:
        super().__init__(root)
        self.at = Installation(
            unit="overwinter",
            site="/etc/overwinter/site.toml",
            state="/var/lib/overwinter",
            logs="/var/log/overwinter",
            socket=str(socket),
            site_copy=f"/var/lib/overwinter/{SITE_COPY}",
            state_file=f"/var/lib/overwinter/{STATE_NAME}",
        )
        self.units: dict[str, dict[str, str]] = {
            "overwinter.service": {
                "LoadState": "loaded",
                "ActiveState": "active",
                "UnitFileState": "enabled",
                "WatchdogUSec": "30s",
                "User": "overwinter",
                "SupplementaryGroups": "gpio",
                "Environment": "LG_WD=/run/overwinter GPIOZERO_PIN_FACTORY=lgpio",
                "MainPID": "417",
            },
            "overwinter.socket": {
                "LoadState": "loaded",
                "ActiveState": "active",
                "UnitFileState": "enabled",
            },
            "overwinter-notifier.service": {
                "LoadState": "loaded",
                "ActiveState": "active",
                "UnitFileState": "enabled",
            },
        }
        self.manager: dict[str, str] = {"RuntimeWatchdogUSec": "15s"}
        self.lines: dict[int, Line] = {17: Line(used=True, consumer="lg")}
        self.nodes: dict[str, Node] = {"/dev/gpiochip0": Node(uid=0, gid=986, mode=0o660)}
        self.spaces: dict[str, Space] = {}
        self.forbidden: set[str] = set()
        self.caller_is: tuple[int, frozenset[int]] = (0, frozenset({0}))
        self.variables: dict[str, str] = {}
        self.ran: list[tuple[str, ...]] = []
        self.looked_at: list[int] = []
        for path, text in FILES.items():
            self.put(path, text)
        self.put(self.at.site, SITE.format(sensors=SYS_SENSORS))
        self.put(self.at.settings, SETTINGS)
        self.put(f"{self.at.logs}/logbook.jsonl", "")
        self.keep_proof(PASSED)

    # Spoiling.

    def put(self, path: str, text: str) -> None:
        """Write a file of the machine."""
        real = self.root / path.lstrip("/")
        real.parent.mkdir(parents=True, exist_ok=True)
        real.write_text(text)

    def add(self, path: str, text: str) -> None:
        """Write on at the end of a file."""
        self.put(path, (self.root / path.lstrip("/")).read_text() + text)

    def drop(self, path: str) -> None:
        """Take a file or folder away."""
        real = self.root / path.lstrip("/")
        shutil.rmtree(real) if real.is_dir() else real.unlink()

    def edit(self, path: str, old: str, new: str) -> None:
        """Change a file of the machine."""
        text = (self.root / path.lstrip("/")).read_text()
        assert old in text
        self.put(path, text.replace(old, new, 1))

    def edit_site(self, old: str, new: str) -> None:
        """Change site.toml, and have it run already."""
        self.edit(self.at.site, old, new)
        self.take_site()

    def take_site(self) -> None:
        """What is in site.toml is what runs."""
        text = (self.root / self.at.site.lstrip("/")).read_bytes()
        write_copy(self.root / self.at.site_copy.lstrip("/"), text)

    def unit(self, name: str, **properties: str) -> None:
        """What systemd tells of a unit."""
        self.units[f"overwinter{name}"].update(properties)

    def keep_proof(self, proof: Mapping[str, object] | None) -> None:
        """What the guard's state file has of a proof."""
        state = {} if proof is None else {"proof": proof}
        save_state(self.root / self.at.state_file.lstrip("/"), state)

    def survey(self) -> Report:
        """All of it."""
        return survey(self, self.at)

    # What only a kernel, systemd or a clock answers.

    def run(self, *argv: str) -> str | None:
        self.ran.append(argv)
        if argv[:2] == ("systemctl", "show"):
            names = argv[-1].removeprefix("--property=").split(",")
            told = self.units.get(argv[2], {"LoadState": "not-found", "ActiveState": "inactive"})
            if len(argv) == 3:
                told = self.manager
            return "".join(f"{name}={told[name]}\n" for name in names if name in told)
        if argv[0] == "timedatectl":
            return "no\n"
        raise AssertionError(f"nobody thought of {argv}")

    def content(self, path: str) -> bytes | None:
        if path in self.forbidden:
            raise CannotLook(f"{path}: Permission denied")
        return super().content(path)

    def node(self, path: str) -> Node:
        return self.nodes[path] if path in self.nodes else super().node(path)

    def space(self, path: str) -> Space:
        usual = Space(free_bytes=20 * 10**9, total_bytes=30 * 10**9, free_files=10**6, total_files=2 * 10**6)
        return self.spaces.get(path, usual)

    def line(self, chip: str, pin: int) -> Line:
        self.looked_at.append(pin)
        if chip in self.forbidden:
            raise CannotLook(f"{chip}: Permission denied")
        return self.lines.get(pin, Line(used=False, consumer=""))

    def caller(self) -> tuple[int, frozenset[int]]:
        return self.caller_is

    def variable(self, name: str) -> str | None:
        return self.variables.get(name)

    def now(self) -> datetime:
        return NOW

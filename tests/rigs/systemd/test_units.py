"""What systemd says of the units without running them, and that it would say it if they were wrong."""

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.rigs.systemd.machine import UNITS

EXPOSURE_AT_MOST = 0.6
"""As `systemd-analyze security` counts, 0 to 10; what is left is for the GPIO lines, the socket and /proc."""

WITH_NETWORK_AT_MOST = 1.2
"""For who tells others and for the page: both have to be on the network, and touch no device."""

SYSTEM_UNITS = Path("/usr/lib/systemd/system")
ALL = sorted(path.name for path in UNITS.iterdir() if path.suffix in (".service", ".socket", ".target"))
SERVICES = [name for name in ALL if name.endswith(".service")]


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A system with our units, the system's own, and something executable where the units look for it."""
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed (apt-get install systemd)")
    if not SYSTEM_UNITS.is_dir():
        pytest.skip(f"no {SYSTEM_UNITS}: this is no Debian")
    shutil.copytree(SYSTEM_UNITS, tmp_path / SYSTEM_UNITS.relative_to("/"), symlinks=True)
    ours = tmp_path / "etc/systemd/system"
    ours.mkdir(parents=True)
    for name in ALL:
        shutil.copy(UNITS / name, ours / name)
    for name in ("usr/local/bin/overwinter", "bin/kill"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("#!/bin/sh\n")
        path.chmod(0o755)
    return tmp_path


def verified(root: Path, name: str) -> tuple[int, str]:
    """Exit code and every word of `systemd-analyze verify`; a template is tried as one house."""
    name = name.replace("@.", "@barn.")
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", f"--root={root}", name],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


def exposure(root: Path, name: str, *, at_most: float = EXPOSURE_AT_MOST) -> float:
    """How exposed it is; and the tool's own gate says the same."""
    path = root / "etc/systemd/system" / name
    threshold = round(at_most * 10)
    command = [
        "systemd-analyze",
        "security",
        "--no-pager",
        "--offline=true",
        f"--threshold={threshold}",
        str(path),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    last = done.stdout.strip().splitlines()[-1]
    figure = float(last.split(": ")[1].split()[0])
    assert (done.returncode == 0) == (figure <= at_most), done.stdout + done.stderr
    return figure


def spoil(root: Path, name: str, old: str, new: str) -> None:
    path = root / "etc/systemd/system" / name
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


@pytest.mark.parametrize("name", ALL)
def test_systemd_has_nothing_to_say_of_a_unit(root: Path, name: str) -> None:
    assert verified(root, name) == (0, "")


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        pytest.param("overwinter.service", "WatchdogSec=", "WatchDogSec=", id="misspelt in the service"),
        pytest.param("overwinter.socket", "ListenStream=", "ListenStreams=", id="misspelt in the socket"),
        pytest.param("overwinter-door.target", "\nPartOf=", "\nPartsOf=", id="misspelt in the target"),
        pytest.param(
            "overwinter.service", "/usr/local/bin/", "/usr/local/bim/", id="a program that is not there"
        ),
        pytest.param("overwinter.service", "Restart=always", "Restart=allways", id="a value that is none"),
    ],
)
def test_a_slip_in_a_unit_is_heard(root: Path, name: str, old: str, new: str) -> None:
    spoil(root, name, old, new)

    assert verified(root, name)[1] != ""


@pytest.mark.parametrize(
    "name", [name for name in SERVICES if name.startswith(("overwinter.", "overwinter@."))]
)
def test_the_guard_is_exposed_to_little(root: Path, name: str) -> None:
    assert exposure(root, name) <= EXPOSURE_AT_MOST


@pytest.mark.parametrize(
    "name", [name for name in SERVICES if not name.startswith(("overwinter.", "overwinter@."))]
)
def test_who_is_on_the_network_touches_no_device_and_is_exposed_to_little_else(root: Path, name: str) -> None:
    text = (UNITS / name).read_text()

    assert exposure(root, name, at_most=WITH_NETWORK_AT_MOST) <= WITH_NETWORK_AT_MOST
    assert "PrivateDevices=yes" in text
    assert "User=overwinter" not in text, "it may ask the guard and change nothing"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("PrivateNetwork=yes", "PrivateNetwork=no"),
        ("CapabilityBoundingSet=\n", "\n"),
        ("User=overwinter\n", "\n"),
        ("ProtectSystem=strict", "ProtectSystem=no"),
    ],
)
def test_a_weakened_guard_is_noticed(root: Path, old: str, new: str) -> None:
    spoil(root, "overwinter.service", old, new)

    assert exposure(root, "overwinter.service") > EXPOSURE_AT_MOST

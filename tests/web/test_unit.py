"""What systemd says of the page's unit without running it."""

import shutil
import subprocess
from pathlib import Path

import pytest

UNIT = Path(__file__).parents[2] / "systemd" / "overwinter-web.service"
EXPOSURE_AT_MOST = 1.2
"""As `systemd-analyze security` counts, 0 to 10; more than the guard's, because it speaks to a network."""


def exposure(unit: Path) -> float:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed (apt-get install systemd)")
    asked = ["systemd-analyze", "security", "--no-pager", "--offline=true", str(unit)]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    return float(done.stdout.strip().splitlines()[-1].split(": ")[1].split()[0])


def test_it_is_exposed_to_little() -> None:
    assert exposure(UNIT) <= EXPOSURE_AT_MOST


@pytest.mark.parametrize("line", ["DynamicUser=yes", "PrivateDevices=yes", "CapabilityBoundingSet=\n"])
def test_a_weakened_one_is_noticed(tmp_path: Path, line: str) -> None:
    text = UNIT.read_text()
    assert line in text
    weak = tmp_path / UNIT.name
    weak.write_text(text.replace(line, "", 1))

    assert exposure(weak) > EXPOSURE_AT_MOST


def test_it_is_off_unless_enabled_and_touches_no_device_and_nothing_of_the_guards() -> None:
    lines = UNIT.read_text().splitlines()

    assert "WantedBy=multi-user.target" in lines
    assert "PrivateDevices=yes" in lines
    assert not any(
        line.startswith(("ReadWritePaths", "DeviceAllow", "User=", "Requires", "BindsTo")) for line in lines
    )
    for other in UNIT.parent.iterdir():
        assert other == UNIT or UNIT.name not in other.read_text(), f"{other.name} starts it"

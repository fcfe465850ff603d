"""The script of `make install`: sound shell, and the same facts as the program has elsewhere."""

import os
import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from types import SimpleNamespace

import pytest
from packaging.requirements import Requirement

from overwinter.settings.site import parse_site
from overwinter.show.text import NOT_ISOLATED
from tests.install.machine import ROOT

SCRIPT = ROOT / "tools/install.sh"
TEXT = SCRIPT.read_text()


def test_any_posix_shell_parses_it() -> None:
    done = subprocess.run(["sh", "-n", str(SCRIPT)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_shellcheck_finds_nothing() -> None:
    if shutil.which("shellcheck") is None:
        pytest.skip("shellcheck is not installed")
    done = subprocess.run(["shellcheck", str(SCRIPT)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")


def test_the_caution_is_the_one_that_the_program_says() -> None:
    assert f"NOT_ISOLATED='{NOT_ISOLATED}'\n" in TEXT


@pytest.mark.parametrize("version", ["3.11", "3.12", "3.13", "3.14"])
@pytest.mark.parametrize("machine", ["x86_64", "aarch64", "armv7l", "armv6l"])
def test_the_systems_lgpio_is_seen_exactly_where_pip_is_not_asked_for_one(version: str, machine: str) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    lgpio = next(row for row in map(Requirement, project["dependencies"]) if row.name == "lgpio")
    assert lgpio.marker is not None
    from_pip = lgpio.marker.evaluate({"python_version": version, "platform_machine": machine})
    condition = re.search(r"has_wheel = (.*)", TEXT)
    assert condition is not None
    here = {
        "sys": SimpleNamespace(version_info=tuple(map(int, version.split(".")))),
        "platform": SimpleNamespace(machine=lambda: machine),
    }
    assert eval(condition[1], here) is from_pip  # our own script's line


def test_the_site_file_that_is_placed_claims_neither_the_relays_pin_nor_a_limiter() -> None:
    """The guard refuses it, and for no other reason; with the pin it is a whole one."""
    program = re.search(r"awk '\n(.*?)' \"\$tree/etc/site.toml\"", TEXT, re.DOTALL)
    assert program is not None
    asked = ["awk", program[1], str(ROOT / "etc/site.toml")]
    placed = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    assert [problem.key for problem in parse_site(placed).problems] == ["relay.pin"]
    with_pin = parse_site(re.sub(r"(?m)^# (pin = 17 )", r"\1", placed)).site
    assert with_pin is not None
    # What protects from fire is said by the owner, never by an example that was copied.
    assert (with_pin.heater.limiter, with_pin.heater.backup_thermostat_c) == (False, None)
    owners = re.sub(r"(?m)^# ((pin = 17|limiter|backup_thermostat) )", r"\1", placed)
    assert parse_site(owners) == parse_site((ROOT / "etc/site.toml").read_text())
    assert parse_site(owners).problems == ()


def test_an_ordinary_user_is_told_what_to_type(tmp_path: Path) -> None:
    nobody = None if os.geteuid() else 65534
    asked = ["sh", "-s", "install"]  # read from standard input: not every user may look into this folder
    done = subprocess.run(
        asked, input=TEXT, capture_output=True, text=True, check=False, user=nobody, cwd=tmp_path.anchor
    )
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "overwinter: this needs root: sudo make install\n"

"""The units of a further house are those of the first, but for the house; and systemd takes all of them."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.install.machine import ROOT

UNITS = ROOT / "systemd"
THE_HOUSE = (
    (r"overwinter-door\.target", "overwinter-door@%i.target"),
    (r"overwinter\.(service|socket)", r"overwinter@%i.\1"),
    (r"^(Configuration|State|Logs|Runtime)Directory=overwinter$", r"\1Directory=overwinter@%i"),
    (r"%t/overwinter(?=[/ \n])", "%t/overwinter@%i"),
    (r"/overwinter guard", "/overwinter guard --house %i"),
    (r"^Description=(.*)", r"Description=\1 (%i)"),
)
"""All that is another one's where there is another house."""


def of_a_house(text: str) -> str:
    """The unit of the first house made one of any house; its comments stay as they are."""
    for plain, ours in THE_HOUSE:
        text = re.sub(rf"(?m)(?!^#){plain}" if plain.startswith("^") else plain, ours, text)
    return text


def without_comments(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if not line.startswith("#"))


@pytest.mark.parametrize("name", ["overwinter.service", "overwinter.socket", "overwinter-door.target"])
def test_a_template_differs_from_the_plain_unit_only_in_the_house(name: str) -> None:
    stem, _, kind = name.rpartition(".")
    plain, template = (UNITS / name).read_text(), (UNITS / f"{stem}@.{kind}").read_text()
    assert without_comments(template) == without_comments(of_a_house(plain))


def test_what_belongs_to_one_house_is_named_in_every_line_of_a_template() -> None:
    """No folder, socket or command of the first house is left in it: that would be two guards on one
    relay."""
    shared = ("User=", "Group=", "Documentation=")
    for template in UNITS.glob("overwinter*@.*"):
        for line in without_comments(template.read_text()).splitlines():
            if "overwinter" in line.partition("=")[2] and not line.startswith(shared):
                assert "%i" in line, f"{template.name}: {line}"


def test_systemd_takes_every_unit(tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("systemd-analyze is not installed")
    for unit in UNITS.glob("overwinter*.*"):
        if unit.suffix == ".sysusers":
            continue
        # The program lies elsewhere while this runs; that it is executable is asked of an installation.
        text = unit.read_text().replace("/usr/local/bin/overwinter", "/bin/true")
        (tmp_path / unit.name).write_text(text)
    names = [str(path) for path in sorted(tmp_path.iterdir())]
    asked = ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", *names]
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    ours = [line for line in done.stderr.splitlines() if "overwinter" in line]
    assert (done.returncode, ours) == (0, []), done.stderr

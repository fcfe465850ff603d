"""`check`, as typed."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from overwinter.cli import check
from overwinter.schemas import load
from tests.cli.conftest import FakeGuard, Ran
from tests.survey.machine import Fake

Run = Callable[..., Ran]


@pytest.fixture
def fake(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Fake:
    """A machine in good order, on which no guard runs, behind the command."""
    machine = Fake(tmp_path / "root", tmp_path / "none")
    machine.unit(".service", ActiveState="inactive", MainPID="0", WatchdogUSec="infinity")
    machine.unit(".socket", ActiveState="inactive")
    machine.lines = {}
    monkeypatch.setattr(check, "MACHINE", lambda: machine)
    return machine


def places(machine: Fake) -> list[str]:
    at = machine.at
    return ["--site", at.site, "--state", at.state, "--logs", at.logs, "--socket", at.socket]


def test_a_fault_ends_with_1_and_its_fix(run: Run, fake: Fake) -> None:
    ran = run("check", *places(fake))

    assert ran.code == 1
    assert "overwinter.service: is inactive  [service-inactive]\n" in ran.out
    assert "      sudo systemctl restart overwinter.service\n" in ran.out
    assert ran.out.splitlines()[-1].startswith("1 fault, 1 thing not known, ")
    assert ran.out.splitlines()[-1].endswith(" things looked at are sound")
    assert "LOOKED AT AND SOUND" not in ran.out


def test_verbose_shows_also_what_is_sound(run: Run, fake: Fake) -> None:
    ran = run("check", *places(fake), "--verbose")

    assert "LOOKED AT AND SOUND\n\n" in ran.out
    assert "  extension cord: there is none\n" in ran.out


def test_json_is_for_programs(run: Run, fake: Fake) -> None:
    ran = run("check", *places(fake), "--json")

    facts = json.loads(ran.out)
    assert ran.code == 1
    assert (facts["faults"], facts["cannot_tell"]) == (1, 1)
    assert facts["findings"][0]["code"] == "service-inactive"
    assert [error.message for error in Draft202012Validator(load("check")).iter_errors(facts)] == []


def test_what_could_not_be_looked_at_is_said_on_stderr_too(run: Run, fake: Fake) -> None:
    fake.forbidden.add("/dev/gpiochip0")

    ran = run("check", *places(fake), "--json")

    assert json.loads(ran.out)["cannot_tell"] == 2
    assert ran.err == "overwinter: 2 of the things to look at are not known, which is not sound\n"


def test_a_guard_on_another_socket_is_asked(run: Run, fake: Fake, guard: FakeGuard) -> None:
    ran = run("check", *places(fake)[:-1], str(guard.path), "--json")

    assert [method for method, _ in guard.asked] == ["status", "settings"]
    found = json.loads(ran.out)["findings"]
    assert [one["value"] for one in found if (one["code"], one["grade"]) == ("sensor-silent", "fault")] == [
        "has not been believed ever: no such device"
    ]


def test_a_house_has_its_own_units_folders_and_commands(
    run: Run, fake: Fake, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("overwinter.cli.places._is_root", lambda: True)
    monkeypatch.setattr("overwinter.cli.places.SYSTEM_ROOT", "")

    ran = run("check", "--house", "cabin", "--json")

    asked = {argv[2] for argv in fake.ran if len(argv) > 3}
    assert asked == {"overwinter@cabin.service", "overwinter@cabin.socket"}
    found = {one["code"]: one for one in json.loads(ran.out)["findings"]}
    assert found["site-missing"]["thing"] == "/etc/overwinter@cabin/site.toml"
    assert found["guard-stopped"]["command"] == "overwinter guard --house cabin"


@pytest.mark.parametrize("is_root", [True, False])
def test_the_system_s_house_is_looked_at_although_its_guard_and_so_its_socket_is_gone(
    run: Run, fake: Fake, monkeypatch: pytest.MonkeyPatch, is_root: bool
) -> None:
    monkeypatch.setattr("overwinter.cli.places._is_root", lambda: is_root)

    ran = run("check", "--json")

    found = {one["code"]: one for one in json.loads(ran.out)["findings"]}
    assert found["site"]["thing"] == "/etc/overwinter/site.toml"
    assert found["logbook-place"]["thing"] == "/var/log/overwinter"


def test_wrong_usage_is_2(run: Run, fake: Fake) -> None:
    assert run("check", "everything").code == 2
    assert run("check", "--house", "../x").code == 2
    assert run("check", "--help").code == 0


def test_on_this_very_machine_it_ends_with_a_verdict_and_changes_nothing(tmp_path: Path) -> None:
    """Whatever this machine is: no board, perhaps no systemd, perhaps no rights."""
    before = sorted(tmp_path.rglob("*"))
    names = {"HOME": str(tmp_path), "PATH": os.environ["PATH"], "PYTHONPATH": os.pathsep.join(sys.path)}
    words = ["check", "--site", str(tmp_path / "s"), "--state", str(tmp_path), "--logs", str(tmp_path)]
    with tempfile.TemporaryDirectory(prefix="ow-") as folder:
        done = subprocess.run(
            [sys.executable, "-m", "overwinter", *words, "--socket", f"{folder}/none"],
            env=names,
            cwd=tmp_path,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert f"{tmp_path}/s: is not there" in " ".join(done.stdout.split())
    assert "looked at are sound" in done.stdout.splitlines()[-1]
    assert "unforeseen" not in done.stdout
    assert sorted(tmp_path.rglob("*")) == before

"""What a guard says of itself, and that it says nothing, is found."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from overwinter.survey.finding import Grade
from tests.guard.house import House
from tests.survey.conftest import beside, start
from tests.survey.machine import PASSED, Fake
from tests.survey.spoiling import exit_code, faults


@pytest.mark.parametrize(
    ("changes", "code", "value", "fix"),
    [
        pytest.param({"version": "0.0.9"}, "version", "version 0.0.9", "restart", id="another version runs"),
        pytest.param(
            {"mode": "observe"}, "observe", "3.1 C inside", "mode freeze", id="observe while it is cold"
        ),
        pytest.param(
            {"mode": "observe", "temperature_c": 20.0, "outdoor_c": -4.0},
            "observe",
            "-4.0 C outdoors",
            "overwinter mode freeze",
            id="observe while it freezes outdoors",
        ),
        pytest.param(
            {"alarms": [{"code": "cold", "acknowledged": False}, {"code": "damp", "acknowledged": True}]},
            "alarms",
            "cold",
            "overwinter status",
            id="an alarm that nobody has acknowledged",
        ),
        pytest.param({"health": "failure"}, "health", "failure", "overwinter status", id="health"),
        pytest.param(
            {"disk": {"settings": "ok", "logbook": "full"}}, "guard-disk", "logbook", "df -h", id="disk"
        ),
        pytest.param(
            {"watchdog_s": None}, "watchdog", "does not feed", "WatchdogSec", id="an unfed watchdog"
        ),
        pytest.param(
            {"proof": {**PASSED, "verdict": "failed"}},
            "proof",
            "failed on 2026-10-20",
            "prove",
            id="proof failed",
        ),
        pytest.param(
            {"sensors": [{"name": "north wall", "flag": 9, "age_s": None, "error": "no such device"}]},
            "sensor-silent",
            '"north wall" has not been believed ever: no such device',
            "/sys/bus/iio/devices",
            id="a sensor that never answered",
        ),
    ],
)
def test_what_the_guard_says_of_itself_is_found(
    says: Callable[..., Fake],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    changes: dict[str, object],
    code: str,
    value: str,
    fix: str,
) -> None:
    machine = says(uptime_s=9000.0, **changes)

    found = faults(machine)

    assert list(found) == [code]
    assert value in f"{found[code].thing} {found[code].value}", found[code]
    assert fix in f"{found[code].fix} {found[code].command}", found[code]
    assert exit_code(machine, monkeypatch) == 1


def test_a_sensor_that_goes_is_found_through_the_running_guard(tmp_path: Path) -> None:
    quick = "[sampling]\nsense_s = 1.0\nrecord_s = 60.0\n[failsafe]\nlost_after_s = 3.0\n"
    house = start(tmp_path / "house", settings=f'unit = "C"\n[band]\nlow = 2.0\nhigh = 5.0\n{quick}')
    try:
        machine = beside(house, tmp_path / "root")
        assert "sensor-silent" not in faults(machine)
        (tmp_path / "house" / "sensors" / "iio:device1" / "in_temp_input").unlink()
        house.until(lambda: house.status()["sensors"][1]["age_s"] > 3.0, "the sensor is old")

        found = [one for one in machine.survey().of(Grade.FAULT) if one.code == "sensor-silent"]
    finally:
        house.close()

    assert [one.thing for one in found] == ['sensor "by the riser"']
    assert "No such file" in found[0].value


def test_a_guard_that_is_up_and_silent_is_a_fault(machine: Fake, tmp_path: Path) -> None:
    machine.at = replace(machine.at, socket=str(tmp_path / "none"))

    found = faults(machine)

    assert list(found) == ["guard-silent"]
    assert found["guard-silent"].value.startswith("runs but does not answer")
    assert "restart overwinter.service" in found["guard-silent"].command


def test_a_guard_that_starts_again_and_again_is_not_said_to_run(machine: Fake, tmp_path: Path) -> None:
    machine.at = replace(machine.at, socket=str(tmp_path / "none"))
    machine.unit(".service", ActiveState="activating")

    found = faults(machine)

    assert list(found) == ["guard-silent"]
    assert found["guard-silent"].value.startswith("does not get through its start")
    assert "journalctl -u overwinter -n 20" in found["guard-silent"].fix


def test_contact_nc_with_mode_observe_is_a_fault(says: Callable[..., Fake]) -> None:
    machine = says(mode="observe", temperature_c=20.0, outdoor_c=18.0)
    machine.edit_site("pin = 17", 'pin = 17\ncontact = "NC"')

    assert list(faults(machine)) == ["contact-nc"]


def test_the_guarded_house_is_left_as_it_was(guarded_house: House) -> None:
    """All the spoiling above was done to copies."""
    assert guarded_house.status()["alarms"] == []

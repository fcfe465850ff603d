"""The relay of a guard that has gone, on gpiozero's real lgpio backend over a recorder."""

import os
from pathlib import Path

import pytest

from overwinter.guard.files import SITE_COPY, CannotStart
from overwinter.guard.let_go import let_go
from overwinter.guard.memory import lock
from overwinter.guard.paths import Paths
from overwinter.store.atomic import write_copy
from tests.devices.conftest import RecordingLgpio
from tests.guard.house import House

SITE = """
[[sensor]]
name = "by the pump"
role = "control"
kind = "iio"
path = "/sys/bus/iio/devices/iio:device0"

[relay]
kind = "{kind}"
pin = {pin}
active_high = {active_high}
contact = "{contact}"
"""


def site(kind: str = "gpio", pin: int = 17, *, active_high: bool = True, contact: str = "NO") -> str:
    return SITE.format(kind=kind, pin=pin, active_high=str(active_high).lower(), contact=contact)


@pytest.fixture
def paths(tmp_path: Path) -> Paths:
    (tmp_path / "state").mkdir()
    return Paths(
        site=tmp_path / "site.toml",
        state=tmp_path / "state",
        logs=tmp_path / "logs",
        socket=tmp_path / "run" / "control.sock",
    )


@pytest.mark.parametrize("contact", ["NO", "NC"])
@pytest.mark.parametrize("active_high", [True, False])
def test_the_line_goes_to_its_released_level_and_is_pulled_towards_it(
    paths: Paths, lgpio: RecordingLgpio, active_high: bool, contact: str
) -> None:
    paths.site.write_text(site(active_high=active_high, contact=contact))

    said = let_go(paths)

    released = int(not active_high)
    assert lgpio.outputs(17), "the line was driven"
    assert set(lgpio.outputs(17)) == {released}, "and never to the other level"
    pull = lgpio.SET_PULL_UP if released else lgpio.SET_PULL_DOWN
    assert lgpio.of(17)[-1] == ("input", pull)
    assert ("heat is ON" in said) == (contact == "NC"), said


def test_what_the_gone_guard_had_claimed_counts_and_not_a_later_edit(
    paths: Paths, lgpio: RecordingLgpio
) -> None:
    write_copy(paths.state / SITE_COPY, site(pin=17).encode())
    paths.site.write_text(site(pin=27))

    let_go(paths)

    assert set(lgpio.outputs(17)) == {0}
    assert lgpio.of(27) == [], "may be an input now: not ours to drive"


def test_a_running_guard_keeps_its_relay(paths: Paths, lgpio: RecordingLgpio) -> None:
    paths.site.write_text(site())
    held = lock(paths.state)
    assert held is not None
    try:
        with pytest.raises(CannotStart, match="another guard is running"):
            let_go(paths)
    finally:
        os.close(held)
    assert lgpio.of(17) == []


def test_a_simulated_relay_has_no_line(paths: Paths) -> None:
    paths.site.write_text(site(kind="simulated"))

    assert "no line" in let_go(paths)


def test_the_command_says_what_it_did_and_fails_beside_a_running_guard(house: House) -> None:
    done = house.run("guard", "--let-go")
    assert done.returncode == 0, done.stderr
    assert "GPIO 17 is released" in done.stderr
    house.start()
    assert house.heat() is False

    refused = house.run("guard", "--let-go")

    assert refused.returncode == 1
    assert "another guard is running" in refused.stderr

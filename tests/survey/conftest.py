"""A machine in good order, with a real guard that answers over its real socket, or with none."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from overwinter.store.keeper import STATE_NAME
from overwinter.store.small import save_state
from tests.cli.conftest import FakeGuard
from tests.guard.house import House
from tests.survey.machine import PASSED, SETTINGS, SITE, Fake

TEMPERATURES_MILLI_C = {"iio:device0": 3100, "iio:device1": 3300, "iio:device2": 4500}


def start(folder: Path, *, settings: str = SETTINGS) -> House:
    """A real guard whose sensors are files."""
    house = House(folder)
    for name, milli_c in TEMPERATURES_MILLI_C.items():
        (folder / "sensors" / name).mkdir(parents=True)
        (folder / "sensors" / name / "in_temp_input").write_text(f"{milli_c}\n")
    house.site.write_text(SITE.format(sensors=folder / "sensors"))
    house.state.mkdir()
    save_state(house.state / STATE_NAME, {"proof": PASSED})
    house.settings.write_text(settings)
    house.start(WATCHDOG_USEC="30000000")
    house.until(
        lambda: all(sensor["age_s"] is not None for sensor in house.status()["sensors"]),
        "sensors are believed",
    )
    return house


def beside(house: House, root: Path) -> Fake:
    """A machine in good order whose guard is that house's: the same files, the same socket."""
    fake = Fake(root, house.socket)
    for path, real in ((fake.at.site, house.site), (fake.at.settings, house.settings)):
        fake.put(path, real.read_text())
    shutil.copy(house.state / "site.last-good", root / fake.at.site_copy.lstrip("/"))
    return fake


@pytest.fixture(scope="session")
def guarded_house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """One guard for all tests that only look at it."""
    house = start(tmp_path_factory.mktemp("house"))
    yield house
    house.close()


@pytest.fixture
def machine(guarded_house: House, tmp_path: Path) -> Fake:
    """A machine in good order; its guard runs."""
    return beside(guarded_house, tmp_path / "root")


@pytest.fixture
def dark(tmp_path: Path) -> Fake:
    """The same machine while no guard runs: stopped in good order, to be started at the next boot."""
    fake = Fake(tmp_path / "root", tmp_path / "none")
    # As systemd 252 tells it, although the unit asks for 30 s:
    fake.unit(".service", ActiveState="inactive", MainPID="0", WatchdogUSec="infinity")
    fake.unit(".socket", ActiveState="inactive")
    fake.lines = {}
    return fake


@pytest.fixture
def says(machine: Fake, guarded_house: House) -> Iterator[Callable[..., Fake]]:
    """The same machine; its guard's answer to `status` is changed in these keys, over another real socket."""
    with tempfile.TemporaryDirectory(prefix="ow-") as folder:
        guard = FakeGuard(Path(folder) / "s")

        def says(**changes: object) -> Fake:
            guard.answers["status"] = {**guarded_house.status(), **changes}
            guard.answers["settings"] = guarded_house.call("settings")
            machine.at = replace(machine.at, socket=str(guard.path))
            return machine

        yield says
        guard.close()

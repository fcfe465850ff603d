from pathlib import Path

import pytest

from overwinter.core.nouns import OverwinterError, Role, SensorSpec
from overwinter.devices.dht import Dht
from overwinter.devices.iio import Iio
from overwinter.devices.kinds import UnknownKind, driver_for
from overwinter.devices.w1 import W1


def spec(kind: str, *, pin: int | None = None, path: str | None = None) -> SensorSpec:
    return SensorSpec(name="by the pump", role=Role.CONTROL, kind=kind, pin=pin, path=path)


@pytest.mark.parametrize(("kind", "driver_class"), [("dht22", Dht), ("dht11", Dht), ("iio", Iio), ("w1", W1)])
def test_each_kind_has_its_driver_under_the_sensors_name(
    kind: str, driver_class: type, tmp_path: Path
) -> None:
    driver = driver_for(spec(kind, pin=4, path="/sys/x"), root=tmp_path)

    assert isinstance(driver, driver_class)
    assert driver.name == "by the pump"


def test_kernel_files_are_looked_for_below_the_root(tmp_path: Path) -> None:
    (tmp_path / "in_temp_input").write_text("2100")

    assert driver_for(spec("iio", path="/"), root=tmp_path).read(0.0).temperature_c == 2.1


@pytest.mark.parametrize("kind", ["simulated", "thermocouple"])
def test_a_kind_without_a_driver_is_refused_with_what_is_allowed(kind: str, tmp_path: Path) -> None:
    with pytest.raises(UnknownKind, match=rf"kind = '{kind}' has no driver; allowed: dht22, dht11, iio, w1$"):
        driver_for(spec(kind), root=tmp_path)


@pytest.mark.parametrize(
    ("kind", "key"), [("dht22", "pin"), ("dht11", "pin"), ("iio", "path"), ("w1", "path")]
)
def test_a_missing_key_is_named(kind: str, key: str, tmp_path: Path) -> None:
    with pytest.raises(OverwinterError, match=rf"sensor 'by the pump': kind = '{kind}' needs {key}"):
        driver_for(spec(kind), root=tmp_path)


@pytest.mark.parametrize("kind", ["iio", "w1"])
def test_waking_and_closing_an_idle_driver_twice_does_nothing(kind: str, tmp_path: Path) -> None:
    driver = driver_for(spec(kind, path="/"), root=tmp_path)

    for _ in range(2):
        driver.unstick()
        driver.close()

    assert driver.read(0.0).sensor == "by the pump"

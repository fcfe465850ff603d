import errno
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from overwinter.core.nouns import Reading
from overwinter.devices import iio
from overwinter.devices.iio import Iio


def read(folder: Path, temperature: str | bytes | None, humidity: str | None = None) -> Reading:
    for name, content in (("in_temp_input", temperature), ("in_humidityrelative_input", humidity)):
        if content is not None:
            (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    return Iio("by the pump", folder).read(7.0)


@pytest.mark.parametrize(
    ("temperature", "expected_c"),
    [
        pytest.param("21500\n", 21.5, id="as the interface says"),
        pytest.param("-100\n", -0.1, id="just below zero"),
        pytest.param("0\n", 0.0, id="zero"),
        pytest.param("23712.500000\n", 23.7125, id="decimals"),
        pytest.param("-3276700", -3276.7, id="absurd, which is for the judge"),
        pytest.param("85000", 85.0, id="a power-on value, which is for the judge"),
    ],
)
def test_temperature_comes_in_milli_degrees(device_folder: Path, temperature: str, expected_c: float) -> None:
    reading = read(device_folder, temperature)

    assert reading == Reading(sensor="by the pump", taken_s=7.0, temperature_c=pytest.approx(expected_c))


@pytest.mark.parametrize(
    ("humidity", "expected_pct"),
    [
        pytest.param("35000\n", 35.0, id="milli-percent, the kernel's interface documentation"),
        pytest.param("41.074000000\n", 41.074, id="plain percent with decimals, as one driver prints"),
        pytest.param("41074.218750000", 41.07421875, id="milli-percent with decimals"),
        pytest.param("100000", 100.0, id="saturated, milli-percent"),
        pytest.param("100", 100.0, id="saturated, percent"),
        pytest.param("0", 0.0, id="zero, which is for the judge"),
        pytest.param("100001", None, id="too much, milli-percent"),
        pytest.param("120.0", None, id="too much, percent"),
        pytest.param("-1000", None, id="negative"),
        pytest.param("nan", None, id="not a number"),
        pytest.param("", None, id="empty"),
        pytest.param(None, None, id="a sensor without"),
    ],
)
def test_a_humidity_is_percent_or_absent_and_never_costs_the_temperature(
    device_folder: Path, humidity: str | None, expected_pct: float | None
) -> None:
    reading = read(device_folder, "2100", humidity)

    assert (reading.temperature_c, reading.error) == (2.1, None)
    assert reading.humidity_pct == (None if expected_pct is None else pytest.approx(expected_pct))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        pytest.param(None, "No such file or directory", id="missing"),
        pytest.param("", "empty", id="empty"),
        pytest.param("\n", "empty", id="an empty line"),
        pytest.param("nan", "'nan' is no number", id="not a number"),
        pytest.param("inf", "'inf' is no number", id="infinite"),
        pytest.param("warm", "'warm' is no number", id="a word"),
        pytest.param(b"\xff\xfe\x00", "is no text", id="bytes"),
    ],
)
def test_a_file_without_a_number_is_an_error_that_names_it(
    device_folder: Path, content: str | bytes | None, words: str
) -> None:
    reading = read(device_folder, content, "35000")

    assert (reading.temperature_c, reading.humidity_pct, reading.taken_s) == (None, None, 7.0)
    assert reading.error is not None
    assert str(device_folder / "in_temp_input") in reading.error
    assert words in reading.error


def test_a_broken_frame_is_the_kernels_input_output_error(device_folder: Path) -> None:
    # The first byte of a process's memory cannot be read: a true EIO without a sensor.
    (device_folder / "in_temp_input").symlink_to("/proc/self/mem")

    assert read(device_folder, None).error == f"{device_folder / 'in_temp_input'}: Input/output error"


def test_a_silent_sensor_is_the_kernels_time_out(
    device_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def silent(path: Path) -> str:
        raise OSError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT), str(path))

    monkeypatch.setattr(iio, "attribute", silent)

    assert read(device_folder, None).error == f"{device_folder / 'in_temp_input'}: Connection timed out"


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(temperature=st.binary(max_size=40), humidity=st.binary(max_size=40))
def test_no_content_makes_a_read_raise_or_leave_the_range(
    device_folder: Path, temperature: bytes, humidity: bytes
) -> None:
    (device_folder / "in_humidityrelative_input").write_bytes(humidity)

    reading = read(device_folder, temperature)

    assert (reading.temperature_c is None) == (reading.error is not None)
    assert reading.humidity_pct is None or 0.0 <= reading.humidity_pct <= 100.0


def test_the_path_of_the_site_file_is_looked_for_below_the_root(tmp_path: Path) -> None:
    folder = tmp_path / "sys/bus/iio/devices/iio:device0"
    folder.mkdir(parents=True)
    (folder / "in_temp_input").write_text("4400\n")

    driver = Iio("by the pump", Path("/sys/bus/iio/devices/iio:device0"), root=tmp_path)

    assert driver.read(0.0).temperature_c == 4.4

"""The metrics text, read by the reference parser and linted by the metrics store's own tool."""

import shutil
import subprocess
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from overwinter.notify.metrics import openmetrics

STATUS: dict[str, Any] = {
    "version": "0.1.0",
    "uptime_s": 812.0,
    "blind": False,
    "temperature_c": 2.1,
    "outdoor_c": -11.25,
    "humidity_pct": 71.0,
    "dew_point_c": -2.6,
    "age_s": 3.0,
    "band": {"low_c": 2.22, "high_c": 4.44},
    "heat": {"on": True, "cycles": 41, "on_s": 90_210.0},
    "health": "out-of-specification",
    "sensors": [
        {"name": "by the pump", "role": "control", "flag": 1, "temperature_c": 2.1},
        {"name": "north wall", "role": "outdoor", "flag": 9, "temperature_c": None},
    ],
    "alarms": [
        {"code": "cold", "acknowledged": False},
        {"code": "sensor-lost", "acknowledged": True},
        {"code": "sensor-lost", "acknowledged": True},
    ],
}


def read(text: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """Every sample by name and labels, as the reference parser reads them."""
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def at(house: str, **labels: str) -> tuple[tuple[str, str], ...]:
    return tuple(sorted({"house": house, **labels}.items()))


def test_every_fact_arrives_with_its_unit_in_the_name() -> None:
    found = read(openmetrics(STATUS, house="orchard"))

    here = at("orchard")
    assert found["overwinter_up", here] == 1
    assert found["overwinter_temperature_celsius", here] == 2.1
    assert found["overwinter_outdoor_celsius", here] == -11.25
    assert found["overwinter_humidity_ratio", here] == pytest.approx(0.71)
    assert found["overwinter_heat_on", here] == 1
    assert found["overwinter_heat_cycles_total", here] == 41
    assert found["overwinter_heat_seconds_total", here] == 90_210
    assert found["overwinter_alarms", at("orchard", code="cold", acknowledged="no")] == 1
    assert found["overwinter_alarms", at("orchard", code="sensor-lost", acknowledged="yes")] == 2
    assert found["overwinter_health", at("orchard", category="out-of-specification")] == 1
    assert found["overwinter_health", at("orchard", category="normal")] == 0
    assert found["overwinter_sensor_flag", at("orchard", sensor="north wall", role="outdoor")] == 9


def test_what_is_not_known_is_left_out() -> None:
    text = openmetrics({**STATUS, "temperature_c": None, "blind": True, "outdoor_c": None}, house="orchard")

    assert "overwinter_temperature_celsius" not in text
    assert "outdoor_celsius" not in text
    assert 'sensor="north wall",role="outdoor"} 9' in text
    assert read(text)["overwinter_blind", at("orchard")] == 1


def test_a_silent_guard_is_one_number_and_nothing_stale() -> None:
    assert read(openmetrics(None, house="orchard")) == {("overwinter_up", at("orchard")): 0}


def test_the_stores_own_tool_finds_nothing_to_complain_about() -> None:
    """`promtool check metrics`, of Debian's package prometheus."""
    promtool = shutil.which("promtool")
    if promtool is None:
        pytest.skip("promtool is not installed (Debian: prometheus)")
    done = subprocess.run(
        [promtool, "check", "metrics"],
        input=openmetrics(STATUS, house='the "old" mill\\'),
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )

    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@given(st.text(max_size=40), st.text(max_size=40))
def test_no_name_breaks_the_text(house: str, sensor: str) -> None:
    sensors = [{"name": sensor, "role": "control", "flag": 1, "temperature_c": 1.0}]
    # The format has no escape for a carriage return or the odd line separators; they stand for themselves.
    found = read(openmetrics({**STATUS, "sensors": sensors}, house=house))

    assert found["overwinter_sensor_celsius", at(house, sensor=sensor, role="control")] == 1.0

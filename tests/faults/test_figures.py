"""A fault that lasts is a few lines and one alarm, not a flood; a reload costs no turn."""

import signal
from itertools import pairwise
from pathlib import Path

import pytest

from tests.faults.guarded import quick
from tests.faults.rehearsed import Rehearsed, trembles
from tests.guard.house import House
from tests.rehearse.lived import events, fault, live, scenario

DAY_H = 24.0


def test_a_sensor_that_is_unplugged_for_a_day_is_at_most_ten_lines_in_the_logbook(tmp_path: Path) -> None:
    """Samples go on at their pace; of what happened there is one alarm and one switch of the heater."""
    live(scenario(fault("sensor-lost", 0.0, DAY_H)), tmp_path)

    names = ("alarm", "heat", "clock", "gap", "settings", "refused", "hand", "note", "start", "stop")
    lines = [line for name in names for line in events(tmp_path, name)]
    assert [line["code"] for line in lines if line["event"] == "alarm"] == ["sensor-lost"]
    assert len(lines) <= 10
    assert len(events(tmp_path, "sample")) == 1440


@pytest.mark.parametrize("by_k", [0.1, 0.2])
def test_a_day_at_the_limit_of_the_cold_alarm_rings_once(tmp_path: Path, by_k: float) -> None:
    """34.5 F, half of the time above it and half below."""
    day = Rehearsed(told="alarm cold", prepare=trembles(1.389, by_k, every=30), hours=DAY_H + 2.0)

    seen = day(tmp_path)

    assert seen.told_after_s is not None
    told = [line["state"] for line in events(tmp_path, "alarm") if line["code"] == "cold"]
    assert told == ["raised"]


def test_a_day_that_swings_across_the_limit_rings_at_most_once_in_ten_minutes(tmp_path: Path) -> None:
    """2 K to and fro, past every dead zone, five minutes each way."""
    day = Rehearsed(told="alarm cold", prepare=trembles(1.389, 1.0, every=30), hours=DAY_H + 2.0)

    day(tmp_path)

    told = [line for line in events(tmp_path, "alarm") if line["code"] == "cold"]
    raised_s = [line["up"] for line in told if line["state"] == "raised"]
    assert len(raised_s) > 24
    assert min(later - sooner for sooner, later in pairwise(raised_s)) >= 600.0


def test_a_reload_costs_no_sample(tmp_path: Path) -> None:
    house = House(tmp_path)
    house.reads(3.0)
    try:
        quick(house)
        house.set("sampling.record_s=1")
        before = len(house.events("sample"))
        for number in range(5):
            house.site.write_text(house.site.read_text().replace('name = "bench', f'name = "bench{number}'))
            assert house.process is not None
            house.process.send_signal(signal.SIGHUP)
            wanted = before + 2 * (number + 1)
            house.until(lambda wanted=wanted: len(house.events("sample")) >= wanted, "samples go on")  # type: ignore[misc]

        ups = [line["up"] for line in house.events("sample")[before:]]
        assert len(ups) >= ups[-1] - ups[0], "a turn was left out"
    finally:
        house.close()

"""Sun and pump in a rehearsal: what they bring, and that both follow from the seed."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from overwinter.rehearse.nouns import Scenario
from overwinter.rehearse.run import Run
from overwinter.rehearse.weather import sun_of, weather_of
from overwinter.twin.pump import Pump, pump_runs
from tests.rehearse.lived import fault, live, scenario

DAY_S = 86_400.0


def test_a_sunny_winter_costs_less_than_a_dark_one(tmp_path: Path) -> None:
    dark = scenario(hours=48.0)
    sunny = replace(dark, sun_w_m2=400.0)

    assert live(sunny, tmp_path / "sun").kwh < 0.97 * live(dark, tmp_path / "dark").kwh


def test_a_pump_warms_with_its_motor_and_brings_the_well_s_water(tmp_path: Path) -> None:
    waters_c: list[float] = []

    def look(run: Run) -> None:
        waters_c.append(run.stage.house.pipe_c)

    pump = Pump(runs_a_day=24, run_s=600.0, well_c=9.0, motor_w=500.0)
    still = live(scenario(hours=24.0), tmp_path / "still")
    pumped = live(scenario(hours=24.0, pump=pump), tmp_path / "pumped", watch=look)

    assert max(waters_c) == pytest.approx(9.0, abs=0.3)
    assert pumped.kwh < 0.9 * still.kwh


def test_without_power_no_pump_runs(tmp_path: Path) -> None:
    pump = Pump(runs_a_day=24, run_s=3600.0)  # always
    outcome = live(scenario(fault("power-cut", 0.0, 24.0), pump=pump), tmp_path)

    assert outcome.froze


def test_a_pipe_frozen_solid_is_not_flushed_and_slush_is_melted(tmp_path: Path) -> None:
    pump = Pump(runs_a_day=24, run_s=3600.0)
    cold = {"evening_c": -15.0, "dawn_c": -20.0}
    outcome = live(
        scenario(fault("heater-dead", 0.0, 24.0), pump=pump, weather_options=cold), tmp_path / "flowing"
    )

    assert not outcome.froze  # a pipe through which a well flows does not freeze
    blocked = live(
        scenario(fault("power-cut", 0.0, 40.0), hours=48.0, pump=pump, weather_options=cold),
        tmp_path / "blocked",
    )
    assert blocked.ice_share == 1.0


def test_pump_runs_are_a_function_of_time_and_seed() -> None:
    pump = Pump(runs_a_day=6, run_s=300.0)
    runs, again, other = pump_runs(pump, 1), pump_runs(pump, 1), pump_runs(pump, 2)
    times_s = [10.0 * step for step in range(2 * 8640)]
    forward = [runs(time_s) for time_s in times_s]

    assert [again(time_s) for time_s in reversed(times_s)] == forward[::-1]
    assert [other(time_s) for time_s in times_s] != forward
    assert sum(forward) == pytest.approx(2 * 6 * 30, abs=12)
    begins = [now and not before for before, now in pairwise([False, *forward])]
    assert sum(begins) in (11, 12)


def test_a_pump_that_never_runs_never_runs() -> None:
    assert not pump_runs(Pump(runs_a_day=0), 1)(0.0)


def test_the_sun_of_a_scenario_shines_by_day_alone_and_through_clouds() -> None:
    sun = sun_of(Scenario(name="x", sun_w_m2=400.0), seed=1)
    assert sun is not None
    by_hour = [[sun(day * DAY_S + hour * 3600.0) for day in range(60)] for hour in range(24)]

    assert max(max(by_hour[hour]) for hour in (*range(8), *range(17, 24))) == 0.0
    assert 300.0 < max(by_hour[12]) <= 400.0
    assert min(by_hour[12]) < 120.0
    assert sun_of(Scenario(name="x"), seed=1) is None


def test_a_file_s_sun_goes_with_its_temperatures() -> None:
    """The coldest stretch is taken of both alike."""
    one = Scenario(name="x", days=2.0)
    temperatures_c = [0.0] * 240
    temperatures_c[96:144] = [-20.0] * 48
    radiation_w_m2 = [float(hour) for hour in range(240)]
    weather = weather_of(one, seed=1, recorded=temperatures_c)
    sun = sun_of(one, seed=1, recorded=temperatures_c, radiation_w_m2=radiation_w_m2)

    assert sun is not None
    assert (weather(3600.0), sun(3600.0)) == (-20.0, 97.0)

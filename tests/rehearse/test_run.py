"""The real wheel in counted time: what breaks, what the guard makes of it, and that it is always the same."""

import hashlib
import os
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from overwinter.core.nouns import HeaterSpec, Refused, RelaySpec, Role, SensorSpec, Site
from overwinter.rehearse.nouns import Must, Scenario
from overwinter.rehearse.run import Run
from overwinter.store.timeline import read_placed
from tests.rehearse.lived import events, fault, live, logbook, scenario

TWO = (
    SensorSpec(name="by the pump", role=Role.CONTROL, kind="simulated"),
    SensorSpec(name="on the pipe", role=Role.CONTROL, kind="simulated", at="pipe"),
)


def eventful() -> Scenario:
    return scenario(
        fault("sensor-spiking", 1.0, 20.0, by=0.1),
        fault("owner-nonsense", 2.0, 10.0),
        fault("power-cut", 5.0, 0.5),
        fault("guard-killed", 8.0, 0.01),
        fault("disk-full", 9.0, 1.0),
        fault("clock-jump", 11.0, 20.0, by=-7200.0),
    )


def test_the_same_seed_writes_the_same_logbook_byte_by_byte(tmp_path: Path) -> None:
    first = live(eventful(), tmp_path / "one")
    second = live(eventful(), tmp_path / "two")

    assert first == second
    assert logbook(tmp_path / "one") == logbook(tmp_path / "two")
    assert len(logbook(tmp_path / "one")) > 300_000


def test_another_seed_writes_another_logbook(tmp_path: Path) -> None:
    live(scenario(hours=6.0), tmp_path / "one", seed=1)
    live(scenario(hours=6.0), tmp_path / "two", seed=2)

    assert logbook(tmp_path / "one") != logbook(tmp_path / "two")


def test_two_processes_write_the_same_logbook(tmp_path: Path) -> None:
    """Neither the order of hashes nor the process's number nor the time of day may show."""
    program = (
        "import sys; from pathlib import Path; from tests.rehearse.test_run import eventful; "
        "from tests.rehearse.lived import live; live(eventful(), Path(sys.argv[1]))"
    )
    sums = []
    for hashes in ("1", "2"):
        folder = tmp_path / hashes
        subprocess.run(
            [sys.executable, "-c", program, str(folder)],
            env={**os.environ, "PYTHONHASHSEED": hashes},
            check=True,
            timeout=120,
        )
        sums.append(hashlib.sha256(logbook(folder)).hexdigest())

    assert sums[0] == sums[1]


def test_no_thread_is_started(tmp_path: Path) -> None:
    before = threading.active_count()
    seen: list[int] = []

    live(eventful(), tmp_path, watch=lambda _: seen.append(threading.active_count()))

    assert set(seen) == {before}


def test_a_day_has_a_turn_for_each_reading_and_a_sample_for_each_minute(tmp_path: Path) -> None:
    outcome = live(scenario(), tmp_path)

    assert outcome.turns == 8640
    assert len(events(tmp_path, "sample")) == 1440


def test_in_a_cold_night_the_band_is_kept_and_nothing_is_told(tmp_path: Path) -> None:
    outcome = live(scenario(), tmp_path)

    assert not outcome.froze
    assert outcome.coldest_water_c > 1.0
    assert outcome.alarms == ()
    assert outcome.told_after_s is None
    assert outcome.cycles == len([line for line in events(tmp_path, "heat") if line["heat"]]) > 3
    assert outcome.kwh == pytest.approx(0.75 * 24.0 * outcome.duty)


def test_a_dead_heater_uses_no_current_freezes_the_pipe_and_is_told(tmp_path: Path) -> None:
    outcome = live(scenario(fault("heater-dead", 0.0, 24.0)), tmp_path)

    assert outcome.froze
    assert outcome.kwh == 0.0
    assert outcome.hours_below_0c > 1.0
    assert {"heater-dead", "cold"} <= {alarm.code for alarm in outcome.alarms}
    # The air falls before the pipe does, so it is told before there is ice.
    assert outcome.alarms[0].at_s < (24.0 - outcome.hours_below_0c) * 3600.0


def test_a_welded_contact_heats_whatever_is_decided(tmp_path: Path) -> None:
    outcome = live(scenario(fault("contact-welded", 0.0, 24.0)), tmp_path)

    assert outcome.duty == pytest.approx(1.0)
    assert outcome.hottest_air_c > 8.0


def test_a_lost_sensor_is_told_after_ten_minutes_and_heat_goes_on_without_it(tmp_path: Path) -> None:
    outcome = live(scenario(fault("sensor-lost", 6.0, 12.0)), tmp_path)

    assert [told.code for told in outcome.alarms] == ["sensor-lost"]
    assert 600.0 <= (outcome.told_after_s or 0.0) <= 600.0 + 130.0
    assert not outcome.froze
    blind = [line for line in events(tmp_path, "sample") if 6.1 * 3600.0 < line["up"] < 17.9 * 3600.0]
    assert {line["heat"] for line in blind} == {1.0}
    assert {line["temperature_c"] for line in blind} == {None}


def test_of_two_sensors_one_that_reads_far_too_high_costs_no_pipe(tmp_path: Path) -> None:
    wrong = fault("sensor-wrong", 4.0, 18.0, by=30.0)
    outcome = live(scenario(wrong, sensors=TWO), tmp_path)

    assert not outcome.froze
    assert "sensors-disagree" in {told.code for told in outcome.alarms}


def test_a_sensor_that_drifts_to_too_cold_makes_the_house_warmer(tmp_path: Path) -> None:
    true = live(scenario(hours=12.0), tmp_path / "true")
    drifted = live(scenario(fault("sensor-drifting", 0.0, 12.0, by=-4.0), hours=12.0), tmp_path / "drifted")

    assert drifted.kwh > true.kwh * 1.05
    assert true.hottest_air_c < drifted.hottest_air_c < true.hottest_air_c + 5.0


def test_an_open_door_cools_the_air_at_the_pipe(tmp_path: Path) -> None:
    shut = live(scenario(hours=6.0), tmp_path / "shut")
    ajar = live(scenario(fault("door-open", 3.0, 0.5, by=20.0), hours=6.0), tmp_path / "open")

    assert ajar.coldest_air_c < shut.coldest_air_c - 2.0


def test_a_power_cut_stops_guard_and_heat_and_is_told_as_a_gap(tmp_path: Path) -> None:
    outcome = live(scenario(fault("power-cut", 6.0, 2.0)), tmp_path)

    assert outcome.starts == 2
    gap, *others = events(tmp_path, "gap")
    assert others == []
    assert gap["cause"] == "power"
    assert gap["length_s"] == pytest.approx(2 * 3600.0, abs=400.0)
    assert len({line["boot"] for line in events(tmp_path, "start")}) == 2


def test_what_a_power_cut_tears_off_is_less_than_six_minutes_of_samples(tmp_path: Path) -> None:
    cuts = [fault("power-cut", 1.0 + 2.0 * number, 0.2) for number in range(10)]
    outcome = live(scenario(*cuts), tmp_path)
    samples = len(events(tmp_path, "sample"))

    assert outcome.starts == 11
    assert 22 * 60 - 10 * 7 <= samples < 22 * 60


def test_torn_cuts_cost_minutes_of_records_and_no_start(tmp_path: Path) -> None:
    cuts = [fault("power-cut-torn", 1.0 + 2.0 * number, 0.2) for number in range(10)]
    outcome = live(scenario(*cuts), tmp_path)
    samples = len(events(tmp_path, "sample"))

    assert outcome.starts == 11
    assert len(events(tmp_path, "start")) == 11
    assert 22 * 60 - 10 * 7 <= samples < 22 * 60
    assert not outcome.froze


def test_cuts_that_overlap_are_one(tmp_path: Path) -> None:
    one = scenario(fault("power-cut", 3.0, 2.0), fault("power-cut-torn", 4.0, 3.0), hours=12.0)

    assert live(one, tmp_path).starts == 2
    assert [line["length_s"] for line in events(tmp_path, "gap")] == [pytest.approx(4 * 3600.0, abs=400.0)]


def test_a_slow_disk_makes_lines_late_and_the_wheel_never(tmp_path: Path) -> None:
    """The same house turn by turn, whether a job takes no time or a minute."""
    seen: dict[str, list[tuple[float, bool]]] = {"quick": [], "slow": []}
    waits: dict[str, list[int]] = {"quick": [], "slow": []}
    for name, kept in seen.items():
        late = waits[name]

        def look(run: Run, kept: list[tuple[float, bool]] = kept, late: list[int] = late) -> None:
            kept.append((run.stage.house.air_c, run.stage.relay.heat))
            late.append(run.logbook_bytes())

        faults = [fault("disk-slow", 0.0, 24.0, by=60.0)] * (name == "slow")
        live(scenario(*faults), tmp_path / name, watch=look)

    assert seen["slow"] == seen["quick"]
    late_turns = sum(one < other for one, other in zip(waits["slow"], waits["quick"], strict=True))
    assert late_turns > 50
    assert len(events(tmp_path / "slow", "sample")) == len(events(tmp_path / "quick", "sample"))
    assert len(events(tmp_path / "slow", "heat")) == len(events(tmp_path / "quick", "heat"))


def test_of_two_slow_disks_the_slower_counts_until_both_are_over(tmp_path: Path) -> None:
    faults = [fault("disk-slow", 1.0, 4.0, by=5.0), fault("disk-slow", 2.0, 1.0, by=500.0)]
    slow: list[float] = []

    def look(run: Run) -> None:
        slow.append(max(run.slow_disk_s, default=0.0))

    live(scenario(*faults, hours=6.0), tmp_path, watch=look)

    assert [slow[hour * 360 + 180] for hour in range(6)] == [0.0, 5.0, 500.0, 5.0, 5.0, 0.0]


def test_a_disk_that_grew_slow_while_the_power_was_away_is_slow_for_the_next_guard(tmp_path: Path) -> None:
    cut, slow = fault("power-cut", 1.0, 1.0), fault("disk-slow", 1.5, 2.0, by=600.0)
    seen: list[int] = []
    live(scenario(cut, slow, hours=6.0), tmp_path, watch=lambda run: seen.append(run.logbook_bytes()))

    # 10 minutes after its start nothing that it said has reached the card yet.
    first_hour = 3600 // 10
    assert seen[first_hour] == seen[first_hour + 50]
    assert seen[-1] > seen[first_hour + 50]


def test_what_was_answered_on_a_slow_disk_outlives_kills(tmp_path: Path) -> None:
    kills = [fault("guard-killed", 1.0 + number, 0.003) for number in range(8)]
    nonsense, slow = fault("owner-nonsense", 0.0, 10.0), fault("disk-slow", 0.0, 10.0, by=30.0)
    outcome = live(scenario(nonsense, slow, *kills, hours=10.0), tmp_path)

    assert outcome.starts == 9  # each of which was held against what was answered last
    assert len(events(tmp_path, "settings")) > 2


def test_a_killed_guard_goes_on_within_the_same_boot_and_counts_on(tmp_path: Path) -> None:
    outcome = live(scenario(fault("guard-killed", 12.0, 0.003)), tmp_path)
    cycles = [line["cycles"] for line in events(tmp_path, "heat")]

    assert outcome.starts == 2
    assert len({line["boot"] for line in events(tmp_path, "start")}) == 1
    assert cycles == sorted(cycles)
    assert max(cycles) == outcome.cycles


@pytest.mark.parametrize(("contact", "duty"), [("NO", 0.0), ("NC", 1.0)])
def test_without_a_guard_the_released_contact_decides(tmp_path: Path, contact: str, duty: float) -> None:
    """The first guard is killed at once, and none comes after it."""
    site = Site(relay=RelaySpec(kind="simulated", contact=contact))
    killed = scenario(fault("guard-killed", 0.0, 24.0), hours=6.0)

    assert live(killed, tmp_path, site=site).duty == pytest.approx(duty, abs=0.01)


@pytest.mark.parametrize("kind", ["disk-full", "disk-read-only"])
def test_a_disk_that_refuses_is_told_and_costs_no_line(tmp_path: Path, kind: str) -> None:
    outcome = live(scenario(fault(kind, 3.0, 2.0), hours=8.0), tmp_path)
    at_s = [line["up"] for line in events(tmp_path, "sample")]

    assert [told.code for told in outcome.alarms] == ["disk"]
    assert (outcome.told_after_s or 0.0) < 330.0
    assert len(at_s) == 480
    assert at_s == sorted(at_s)
    assert not outcome.froze


def test_a_disk_that_does_not_answer_stops_no_turn(tmp_path: Path) -> None:
    outcome = live(scenario(fault("disk-stuck", 3.0, 2.0), hours=8.0), tmp_path)

    assert outcome.turns == 8 * 360
    assert len(events(tmp_path, "sample")) == 480


def test_a_wall_clock_that_is_set_changes_no_decision_and_is_put_right_by_readers(tmp_path: Path) -> None:
    live(scenario(hours=6.0), tmp_path / "right")
    live(scenario(fault("clock-jump", 3.0, 24.0, by=-86_400.0), hours=6.0), tmp_path / "wrong")

    right = [(line["up"], line["heat"]) for line in events(tmp_path / "right", "heat")]
    wrong = [(line["up"], line["heat"]) for line in events(tmp_path / "wrong", "heat")]
    assert right == wrong
    assert [line["step_s"] for line in events(tmp_path / "wrong", "clock")] == [-86_400.0]
    dates = [line["t"] for line in read_placed(tmp_path / "wrong" / "logs")]
    assert dates == sorted(dates)


def test_an_owner_s_nonsense_is_refused_and_their_changes_outlive_kills(tmp_path: Path) -> None:
    kills = [fault("guard-killed", 3.0 + number, 0.003) for number in range(8)]
    outcome = live(scenario(fault("owner-nonsense", 0.0, 12.0), *kills, hours=12.0), tmp_path)

    assert len(events(tmp_path, "refused")) > 10
    assert len(events(tmp_path, "settings")) > 3
    assert outcome.starts == 9  # each of which was held against what was answered last
    assert not outcome.froze


def test_a_logbook_keeps_to_its_bound(tmp_path: Path) -> None:
    sizes: list[int] = []

    def look(run: Run) -> None:
        if run.turns % 60 == 0:
            sizes.append(run.logbook_bytes())

    outcome = live(scenario(max_bytes=100_000), tmp_path, watch=look)

    assert 50_000 < max(sizes) <= 100_000
    assert outcome.failed == ()


def test_the_scenario_s_settings_are_what_the_guard_runs_on(tmp_path: Path) -> None:
    warmer = {"band.low": "45F", "band.high": "50F"}
    outcome = live(scenario(settings=warmer, hours=6.0, start_c=9.0), tmp_path)

    assert outcome.coldest_air_c > 6.0


def test_settings_that_are_not_allowed_are_refused_with_their_reasons(tmp_path: Path) -> None:
    with pytest.raises(Refused) as refused:
        live(scenario(settings={"band.low": "99F", "filter.window": 0}), tmp_path)

    assert {problem.key for problem in refused.value.problems} == {"band.low", "filter.window"}


def test_the_owner_s_heater_and_tariff_are_reckoned_with(tmp_path: Path) -> None:
    site = Site(heater=HeaterSpec(watts=1500.0, kind="air"), per_kwh=0.5)
    weak = live(scenario(hours=6.0), tmp_path / "weak", site=replace(site, heater=HeaterSpec(watts=800.0)))
    strong = live(scenario(hours=6.0), tmp_path / "strong", site=site)

    assert strong.duty < weak.duty * 0.7
    assert strong.cost == pytest.approx(strong.kwh * 0.5)


def test_what_must_hold_and_does_not_is_said(tmp_path: Path) -> None:
    must = Must(
        froze=True,
        alarms=("cold",),
        no_alarms=("sensor-lost",),
        told_within_s=60.0,
        coldest_water_c=30.0,
        hottest_air_c=0.0,
    )
    outcome = live(scenario(fault("sensor-lost", 1.0, 4.0), hours=6.0, must=must), tmp_path)

    assert len(outcome.failed) == 6

"""The scripted night, with a hand on its clock."""

import threading
import time

import pytest

from overwinter.core.nouns import Reading
from overwinter.twin.clock import ScaledClock
from overwinter.twin.house import House
from overwinter.twin.play import STEP_S, Play
from tests.twin.site import CONTROL, SITE


class Night:
    """A play whose time moves when the test says so."""

    def __init__(self, seed: int = 1, *, lost_h: tuple[float, float] = (0.0, 0.0)) -> None:
        self.s = 0.0
        clock = ScaledClock(1.0, monotonic=lambda: self.s)
        self.play = Play(SITE, clock, seed, lost={CONTROL: (lost_h[0] * 3600.0, lost_h[1] * 3600.0)})

    def live(
        self, hours: float, *, every_s: float = 10.0, low_c: float = 2.2, high_c: float = 4.4
    ) -> list[Reading]:
        """Read the control sensor and drive the relay by it, as the simplest of thermostats would."""
        said = []
        for _ in range(round(hours * 3600.0 / every_s)):
            self.s += every_s
            reading = self.play.drivers["by the pump"].read(self.s)
            said.append(reading)
            if reading.temperature_c is not None:
                if reading.temperature_c <= low_c:
                    self.play.relay.drive(heat=True)
                elif reading.temperature_c >= high_c:
                    self.play.relay.drive(heat=False)
        return said


def test_the_house_is_never_more_than_a_step_off_the_clock() -> None:
    night = Night()
    for now_s in (0.0, 0.1, 7.0, 7.1, 3600.0):
        night.s = now_s
        night.play.relay.drive(heat=False)

        assert now_s < night.play.house.elapsed_s <= now_s + STEP_S


def test_heat_counts_from_the_moment_it_is_driven_and_until_it_is_released() -> None:
    night = Night()
    for now_s, heat in ((3600.0, True), (7200.0, False), (10_800.0, False)):
        night.s = now_s
        night.play.relay.drive(heat=heat)
        assert night.play.relay.heat is heat

    # 750 W for one hour, to within a step.
    assert night.play.house.energy_kwh == pytest.approx(0.75, abs=0.75 * STEP_S / 3600.0 + 1e-9)


def test_closing_releases_the_relay() -> None:
    night = Night()
    night.play.relay.drive(heat=True)

    night.play.relay.close()
    night.play.relay.close()

    assert night.play.relay.heat is False


def test_the_control_sensor_is_lost_and_found_by_the_timetable() -> None:
    said = Night(lost_h=(1.0, 2.0)).live(3.0)
    missing = [reading.temperature_c is None for reading in said]
    before, during, after = missing[:359], missing[359:719], missing[719:]

    assert all(during)
    assert sum(before) < 0.15 * len(before)
    assert sum(after) < 0.15 * len(after)


def test_only_the_control_sensor_is_lost() -> None:
    night = Night(lost_h=(0.0, 1.0))
    said = {name: driver.read(1800.0).temperature_c for name, driver in night.play.drivers.items()}

    assert said["by the pump"] is None
    assert said["on the pipe"] == pytest.approx(night.play.house.pipe_c, abs=0.5)
    assert said["outdoors"] == pytest.approx(night.play.house.outdoor_c, abs=0.5)
    assert said["outdoors"] < 0.0


def test_every_simulated_sensor_of_the_site_has_its_driver() -> None:
    assert set(Night().play.drivers) == {spec.name for spec in SITE.sensors if spec.kind == "simulated"}


def test_a_night_of_it_needs_heat_and_with_a_thermostat_nothing_freezes() -> None:
    guarded, unguarded = Night(), Night()
    guarded.live(14.0)
    unguarded.live(14.0, low_c=-99.0, high_c=-98.0)

    assert guarded.play.house.ice_share == 0.0
    assert 1.0 < guarded.play.house.energy_kwh < 10.0
    assert unguarded.play.house.ice_share > 0.0


def test_who_looks_when_does_not_change_the_night() -> None:
    seldom, often = Night(), Night()
    for tenths in range(36_000):
        often.s = tenths / 10.0
        if tenths % 17 == 0:
            often.play.drivers["outdoors"].read(often.s)
    seldom.s = often.s
    for night in (seldom, often):
        night.play.relay.drive(heat=False)

    assert seldom.play.house.air_c == often.play.house.air_c
    assert seldom.play.house.pipe_c == often.play.house.pipe_c


def test_the_same_seed_plays_the_same_night_and_another_does_not() -> None:
    assert Night(seed=4).live(1.0) == Night(seed=4).live(1.0)
    assert Night(seed=4).live(1.0) != Night(seed=5).live(1.0)


class Watched:
    """A house that notices a second thread inside, and invites it in."""

    def __init__(self, house: House) -> None:
        self.house, self.inside, self.trespassed, self.steps = house, 0, False, 0

    @property
    def elapsed_s(self) -> float:
        return self.house.elapsed_s

    def advance(self, dt_s: float, heat: bool, outdoor_c: float) -> None:
        self.inside += 1
        time.sleep(0)  # gives way to another thread, no longer
        self.trespassed = self.trespassed or self.inside > 1
        self.house.advance(dt_s, heat, outdoor_c)
        self.steps += 1
        self.inside -= 1


def test_many_threads_may_read_and_drive_at_once() -> None:
    clock = ScaledClock(20_000.0)
    play = Play(SITE, clock, 1)
    house = play.house = Watched(play.house)
    until_s = clock.now_s() + 4 * 3600.0  # the curtain rose a moment ago, long at this pace
    ended: list[bool] = []

    def work(act) -> None:
        while (now_s := clock.now_s()) < until_s:
            act(now_s)
        ended.append(True)

    acts = [lambda now_s, d=driver: d.read(now_s) for driver in play.drivers.values()]
    acts.append(lambda now_s: play.relay.drive(heat=now_s % 600.0 < 300.0))
    threads = [threading.Thread(target=work, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30.0)
    play.relay.close()

    assert len(ended) == len(threads)
    assert not house.trespassed
    assert house.steps * STEP_S == house.elapsed_s > 4 * 3600.0

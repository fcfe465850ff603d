"""Heat stuck on: when it is said and gone, and what warms a house without being it."""

from dataclasses import replace

import pytest

from overwinter.core.nouns import Code
from overwinter.know.answers import BUMP_K, KNOWN
from overwinter.know.find_heater import HeaterFaults
from overwinter.know.nouns import Span
from overwinter.know.phases import Course
from tests.know.heaters import QUICK, QUICK_NAMES, SEEDS
from tests.know.plant import HIGH_C, LOW_C, PUMP, SHED_HOUSE, SITE, House, Watch, codes, learned


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("house", QUICK, ids=QUICK_NAMES)
def test_a_welded_contact_is_found_after_switch_off_and_cleared_when_it_cools(
    house: House, seed: int
) -> None:
    watch = learned(house, seed=seed)
    watch.until_heat(is_on=True)
    watch.plant.is_welded = True
    assert watch.until(lambda: not watch.plant.is_on, within_min=120) <= 120
    assert not watch.codes
    assert watch.until_said(Code.HEAT_STUCK_ON, within_min=12) <= 12
    assert watch.codes == {Code.HEAT_STUCK_ON}
    for _ in range(120):
        watch.minute()
        assert Code.HEAT_STUCK_ON in watch.codes
    watch.plant.is_welded = False
    assert watch.until_gone(Code.HEAT_STUCK_ON, within_min=60) <= 60
    assert Code.HEAT_STUCK_ON not in watch.run(1440)


def test_the_feedback_input_finds_a_welded_contact_with_the_next_whole_span() -> None:
    watch = learned(has_feedback=True)
    watch.until_heat(is_on=True)
    watch.plant.is_welded = True
    assert watch.until(lambda: not watch.plant.is_on, within_min=120) <= 120
    assert not watch.codes
    watch.minute()
    assert watch.codes == {Code.HEAT_STUCK_ON}
    watch.plant.is_welded = False
    watch.minute()
    assert not watch.codes


def heats_on_at_switch_off(watch: Watch) -> set[Code]:
    """All that is said while a second heater goes on heating after the first has gone off, up to 4.9 C."""
    watch.until_heat(is_on=True)
    watch.plant.thermostat = (3.0, 4.9)
    said = watch.run(180)
    assert watch.plant.air_c > LOW_C
    return said


def test_a_declared_backup_thermostat_is_not_called_welded() -> None:
    declared = replace(SITE, heater=replace(SITE.heater, backup_thermostat_c=3.0))
    assert Code.HEAT_STUCK_ON not in heats_on_at_switch_off(learned(site=declared))
    assert Code.HEAT_STUCK_ON in heats_on_at_switch_off(learned())


def test_heat_far_above_the_backup_thermostat_is_none_of_its() -> None:
    declared = replace(SITE, heater=replace(SITE.heater, backup_thermostat_c=1.0))
    watch = learned(site=declared)
    watch.until_heat(is_on=False)
    watch.plant.is_welded = True
    assert watch.until_said(Code.HEAT_STUCK_ON, within_min=15) <= 15


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("house", QUICK, ids=QUICK_NAMES)
def test_a_warm_sunny_afternoon_is_not_a_welded_contact(house: House, seed: int) -> None:
    """The air fell first, as it does when heat really goes off, and rises then, by sun and a thaw."""
    watch = learned(house, seed=seed)
    watch.until_heat(is_on=False)
    assert watch.until(lambda: watch.plant.sensed_c < HIGH_C - 0.6, within_min=60) <= 60
    watch.plant.out_shift_k, watch.plant.extra_w = 14.0, house.watts
    assert not watch.run(360)
    assert watch.plant.air_c > HIGH_C + 1.0


@pytest.mark.parametrize(("fell_k", "is_welded"), [(0.2, False), (0.05, True)])
def test_a_slow_house_that_cooled_a_little_before_the_sun_came_is_not_welded(
    fell_k: float, is_welded: bool
) -> None:
    """Its usual fall is so small that a morning's sun soon takes it back; a weld lets none of it be."""
    finder, course, said = HeaterFaults(SITE), Course(), set()
    for minute, usual_k in {10: -0.05, 20: -0.15, 30: -0.25, 45: -0.33}.items():
        for _ in range(3 * KNOWN):
            finder.answers.falls[minute].take(usual_k, memory=30.0)
    cooling_c = [4.4 - fell_k * share for share in (0.2, 0.5, 0.8, *[1.0] * 30)]
    risen_c = [min(cooling_c[-1] + 0.02 * minute, 5.0) for minute in range(90)]
    for at, air_c in enumerate([4.4, 4.4, *cooling_c, *risen_c]):
        span = Span(
            ends_s=60.0 * at, lasts_s=60.0, temperature_c=air_c, heat=float(at < 2), low_c=2.0, high_c=4.4
        )
        course.take(span)
        found = finder.take(span, course, is_open=False, is_cooling=False, is_pumped=False)
        said |= codes(found)

    assert said == ({Code.HEAT_STUCK_ON} if is_welded else set())


def test_the_heat_of_a_running_pump_is_not_a_welded_contact() -> None:
    def said_of(runs: float) -> set[Code]:
        watch = learned()
        watch.until_heat(is_on=False)
        watch.plant.extra_w, watch.plant.contacts = SHED_HOUSE.watts, {PUMP.name: runs}
        said = watch.run(60)
        assert watch.plant.air_c > HIGH_C
        return said

    assert not said_of(1.0)
    assert said_of(0.0) == {Code.HEAT_STUCK_ON}


def test_a_pump_that_nobody_declared_is_learned_and_a_weld_is_still_found() -> None:
    """Its motor warms the air as the heater does, for some minutes, and at any time."""
    watch = learned(seed=2)

    def motor() -> set[Code]:
        watch.plant.extra_w = SHED_HOUSE.watts
        said = watch.run(7)
        watch.plant.extra_w = 0.0
        return said | watch.run(20)

    for after_min in (9, 12, 15):  # when the air has fallen a good deal
        watch.until_heat(is_on=False)
        assert not watch.run(after_min)
        assert not motor()
    for _ in range(5):  # at the moment of the release it looks like a weld
        watch.until_heat(is_on=False)
        assert not motor()

    watch.until_heat(is_on=False)
    watch.plant.is_welded = True
    assert watch.until_said(Code.HEAT_STUCK_ON, within_min=25) <= 25


def test_a_pump_that_an_input_tells_of_is_not_learned_as_what_the_air_does_by_itself() -> None:
    """So a weld is found as soon as where no pump is, and not only after what a motor may do."""

    def rises_by_itself(runs: float) -> float:
        watch = learned(seed=2)
        for _ in range(3):
            watch.until_heat(is_on=False)
            watch.run(9)
            watch.plant.extra_w, watch.plant.contacts = SHED_HOUSE.watts, {PUMP.name: runs}
            watch.run(7)
            watch.plant.extra_w, watch.plant.contacts = 0.0, {PUMP.name: 0.0}
            watch.run(20)
        return watch.finder._heater.answers.bump_k

    assert rises_by_itself(1.0) == 0.0
    assert rises_by_itself(0.0) > BUMP_K[0]

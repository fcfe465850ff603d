"""Heater dead, heater too small: when they are said and gone, what is none of them, what is not judged."""

import re
from collections.abc import Mapping
from dataclasses import replace

import pytest

from overwinter.core.nouns import Code, HeaterSpec, Mode
from overwinter.core.units import Unit
from overwinter.know.answers import KNOWN
from overwinter.know.find import Finder
from overwinter.know.find_heater import HeaterFaults
from overwinter.know.nouns import Finding, Span
from overwinter.know.phases import Course
from overwinter.know.running import Usual
from tests.know.heaters import QUICK, QUICK_NAMES, SEEDS
from tests.know.plant import (
    ALARM_LOW_C,
    BLOCK_HOUSE,
    LOW_C,
    OIL_HOUSE,
    SHED_HOUSE,
    SITE,
    House,
    Plant,
    Watch,
    learned,
)

OF_THE_HEATER = {Code.HEATER_DEAD, Code.HEAT_STUCK_ON, Code.HEATER_TOO_SMALL}
WEAK = replace(BLOCK_HOUSE, mass_j_k=4e6, watts=450.0, swing_k=0.0)
"""Enough heat for every day, and so heavy that what lacks on the coldest shows over hours."""


# No heat although it is called for.


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("house", QUICK, ids=QUICK_NAMES)
def test_a_dead_heater_is_found_within_ten_minutes_of_switch_on(house: House, seed: int) -> None:
    watch = learned(house, seed=seed)
    watch.until_heat(is_on=False)
    watch.plant.heater_share = 0.0
    assert watch.until(lambda: watch.plant.is_on, within_min=600) <= 600
    assert not watch.codes
    assert watch.until_said(Code.HEATER_DEAD, within_min=10) <= 10
    assert watch.codes == {Code.HEATER_DEAD}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_dead_oil_heater_is_found_within_sixteen_minutes_of_switch_on(seed: int) -> None:
    """It answers late even when it is well."""
    watch = learned(OIL_HOUSE, seed=seed)
    watch.until_heat(is_on=False)
    watch.plant.heater_share = 0.0
    assert watch.until(lambda: watch.plant.is_on, within_min=600) <= 600
    assert watch.until_said(Code.HEATER_DEAD, within_min=16) <= 16
    assert watch.plant.air_c > ALARM_LOW_C


@pytest.mark.parametrize("house", QUICK, ids=QUICK_NAMES)
def test_a_heater_that_dies_while_it_heats_is_found_before_it_is_cold(house: House) -> None:
    watch = learned(house)
    watch.until_heat(is_on=True)
    watch.run(6)
    watch.plant.heater_share = 0.0
    assert watch.until_said(Code.HEATER_DEAD, within_min=120) <= 120
    assert watch.plant.air_c > ALARM_LOW_C


@pytest.mark.parametrize("house", QUICK, ids=QUICK_NAMES)
def test_a_dead_heater_stays_found_until_it_heats_again(house: House) -> None:
    watch = learned(house)
    watch.until_heat(is_on=True)
    watch.plant.heater_share = 0.0
    watch.until_said(Code.HEATER_DEAD, within_min=10)
    for _ in range(240):
        watch.minute()
        assert Code.HEATER_DEAD in watch.codes
    watch.plant.heater_share = 1.0
    assert watch.until_gone(Code.HEATER_DEAD, within_min=30) <= 30
    assert Code.HEATER_DEAD not in watch.run(1440)


def test_a_dead_heater_says_what_the_air_did_and_what_is_usual() -> None:
    watch = learned(site=replace(SITE, unit=Unit.C))
    watch.until_heat(is_on=True)
    watch.plant.heater_share = 0.0
    watch.until_said(Code.HEATER_DEAD, within_min=10)
    text = watch.text(Code.HEATER_DEAD)
    assert re.search(r"\d+ min", text)
    assert "is usual" in text
    assert "unplug it before touching" in text


def test_a_heater_that_is_dead_from_the_first_day_is_found() -> None:
    watch = Watch(Plant(air_c=LOW_C, sensed_c=LOW_C, mass_c=LOW_C, heater_share=0.0))
    assert watch.until_said(Code.HEATER_DEAD, within_min=60) <= 60


def test_a_weak_heater_of_the_first_day_is_no_dead_one() -> None:
    """It slows the fall, which a dead one does not; but whether it heats is better looked at."""
    house = replace(SHED_HOUSE, mean_out_c=-25.0, swing_k=0.0)
    watch = Watch(Plant(house=house, air_c=3.0, sensed_c=3.0, mass_c=3.0, heater_share=0.35))
    assert watch.until_said(Code.HEATER_TOO_SMALL, within_min=120) <= 120
    assert watch.codes == {Code.HEATER_TOO_SMALL}
    assert "see whether it heats at all" in watch.text(Code.HEATER_TOO_SMALL)

    dead = Watch(Plant(house=house, air_c=3.0, sensed_c=3.0, mass_c=3.0, heater_share=0.0))
    assert dead.until_said(Code.HEATER_DEAD, within_min=45) <= 45


def test_the_feedback_input_finds_a_dead_heater_with_the_next_span() -> None:
    watch = learned(has_feedback=True)
    watch.until_heat(is_on=True)
    watch.run(3)
    watch.plant.heater_share = 0.0
    watch.minute()
    assert watch.codes == {Code.HEATER_DEAD}
    watch.plant.heater_share = 1.0
    watch.minute()
    assert not watch.codes


def test_the_feedback_input_needs_no_learning() -> None:
    watch = Watch(Plant(has_feedback=True, air_c=1.0, sensed_c=1.0, heater_share=0.0))
    assert watch.until_said(Code.HEATER_DEAD, within_min=3) <= 3


@pytest.mark.parametrize("has_feedback", [False, True])
def test_a_cable_is_never_judged_by_the_air(has_feedback: bool) -> None:
    site = replace(SITE, heater=HeaterSpec(watts=250.0, kind="cable"))
    watch = learned(site=site, has_feedback=has_feedback)
    watch.until_heat(is_on=True)
    watch.plant.heater_share = 0.0
    said = watch.run(600)
    assert (Code.HEATER_DEAD in said) is has_feedback
    assert not (said - {Code.HEATER_DEAD}) & OF_THE_HEATER


MOTOR_STOPPED_C = (
    4.3, 4.4, 4.6, 4.5, 4.2, 4.1, 3.8, 3.5, 3.0, 2.6, 2.3, 2.0, 2.1, 2.2, 2.4, 2.7, 2.7, 2.9, 2.9
)  # fmt: skip
"""Of a simulated winter: heat goes off with the third minute, a pump's motor stops with the seventh, heat
comes on with the twelfth."""


@pytest.mark.parametrize("rises_by_itself_k", [0.0, 1.1])
def test_a_motor_that_stops_as_heat_comes_on_is_no_dead_heater(rises_by_itself_k: float) -> None:
    """In a house whose air is known to rise without heat; where it never did, it would be a dead one."""
    finder = HeaterFaults(SITE)
    finder.answers.bump_k = rises_by_itself_k
    _know(finder.answers.rises, {3: 0.25, 4: 0.44, 5: 0.7, 6: 0.9}, times=KNOWN)
    course = Course()
    said: set[Code] = set()
    for at, air_c in enumerate(MOTOR_STOPPED_C):
        heat = {2: 0.67}.get(at, float(not 2 < at < 11))
        span = Span(ends_s=60.0 * at, lasts_s=60.0, temperature_c=air_c, heat=heat, low_c=2.0, high_c=4.5)
        course.take(span)
        said |= {finding.code for finding in _take(finder, span, course)}

    assert said == (set() if rises_by_itself_k else {Code.HEATER_DEAD})


def _know(usuals: Mapping[int, Usual], changes_k: Mapping[int, float], *, times: int) -> None:
    """Let it be usual, of so many phases, that the air changes by so much until these minutes."""
    for minute, change_k in changes_k.items():
        for _ in range(times):
            usuals[minute].take(change_k, memory=30.0)


def _take(
    finder: HeaterFaults,
    span: Span,
    course: Course,
    *,
    is_cooling: bool = False,
) -> list[Finding]:
    return finder.take(span, course, is_open=is_cooling, is_cooling=is_cooling, is_pumped=False)


@pytest.mark.parametrize(("after_min", "is_dead"), [(3, False), (9, False), (12, True)])
def test_a_heater_called_dead_is_none_where_a_door_shows_within_ten_minutes(
    after_min: int, is_dead: bool
) -> None:
    finder, course = HeaterFaults(SITE), Course()
    _know(finder.answers.rises, {minute: 0.2 * minute for minute in finder.answers.rises}, times=KNOWN)
    dead_min = None
    for at in range(30):
        air_c = 4.0 - 0.1 * at
        span = Span(
            ends_s=60.0 * at, lasts_s=60.0, temperature_c=air_c, heat=float(at > 2), low_c=2.0, high_c=4.5
        )
        course.take(span)
        shows = dead_min is not None and at >= dead_min + after_min
        said = {finding.code for finding in _take(finder, span, course, is_cooling=shows)}
        if dead_min is None and Code.HEATER_DEAD in said:
            dead_min = at

    assert dead_min is not None
    assert (Code.HEATER_DEAD in said) is is_dead


@pytest.mark.parametrize(
    ("usual_k", "airs_c", "is_dead"),
    [
        (0.4, (3.0, 3.0, 3.0), True),  # nothing where a heater of oil would show
        (0.2, (3.0, 2.9, 3.0), True),  # a lamp in a large house: the air must fall as well
        (0.2, (3.0, 3.0, 3.0), False),
        (0.4, (3.2, 3.1, 3.2), False),  # it comes late
    ],
)
def test_a_slow_heater_is_dead_when_what_little_it_gives_is_missing(
    usual_k: float, airs_c: tuple[float, float, float], is_dead: bool
) -> None:
    finder, course, said = HeaterFaults(SITE), Course(), set()
    _know(finder.answers.rises, {5: 0.0, 10: 0.0, 12: 0.0, 15: usual_k}, times=KNOWN)
    for at in range(21):
        air_c = 3.0 if at <= 3 else airs_c[at % 3]
        span = Span(
            ends_s=60.0 * at, lasts_s=60.0, temperature_c=air_c, heat=float(at > 2), low_c=2.0, high_c=4.5
        )
        course.take(span)
        said |= {finding.code for finding in _take(finder, span, course)}

    assert said == ({Code.HEATER_DEAD} if is_dead else set())


@pytest.mark.parametrize(("fell_k", "is_dead"), [(1.5, True), (0.8, False)])
def test_where_a_rise_is_seldom_any_air_that_falls_far_below_is_not_heated(
    fell_k: float, is_dead: bool
) -> None:
    """A leaky shed in a gale: heat only ever slows the fall."""
    finder, course, said = HeaterFaults(SITE), Course(), set()
    _know(finder.answers.rises, {3: -0.5, 5: -0.5, 8: 0.1}, times=3 * KNOWN)
    for at in range(9):
        air_c = 3.0 - fell_k * max(at - 2, 0) / 5.0
        span = Span(
            ends_s=60.0 * at, lasts_s=60.0, temperature_c=air_c, heat=float(at > 2), low_c=2.0, high_c=4.5
        )
        course.take(span)
        said |= {finding.code for finding in _take(finder, span, course)}

    assert said == ({Code.HEATER_DEAD} if is_dead else set())


# Too little heat.


def too_cold() -> Watch:
    """A sound heater from near the high end on, in a cold that it is too small for."""
    watch = learned(WEAK)
    watch.until_heat(is_on=False)
    assert watch.until(lambda: watch.plant.is_on, within_min=600) <= 600
    watch.plant.mass_c, watch.plant.out_shift_k = 2.8, -14.0
    return watch


def test_a_heater_too_small_is_said_before_the_low_end_is_passed_with_a_number_of_hours() -> None:
    watch = too_cold()
    assert watch.until_said(Code.HEATER_TOO_SMALL, within_min=600) <= 600
    assert watch.plant.said_c > LOW_C
    hours = re.search(r"in about (\d+) h", watch.text(Code.HEATER_TOO_SMALL))
    assert hours is not None
    passed_min = watch.until(lambda: watch.plant.sensed_c <= LOW_C, within_min=3000)
    assert int(hours[1]) * 60 / 2 <= passed_min <= (int(hours[1]) + 1) * 60 * 2


def test_a_heater_too_small_goes_when_the_band_is_reached() -> None:
    watch = too_cold()
    assert watch.until_said(Code.HEATER_TOO_SMALL, within_min=600) <= 600
    watch.plant.out_shift_k = 6.0
    assert watch.until(lambda: not watch.plant.is_on, within_min=3000) <= 3000
    watch.minute()
    assert Code.HEATER_TOO_SMALL not in watch.codes


@pytest.mark.parametrize("seed", SEEDS)
def test_a_long_climb_from_far_below_is_no_heater_too_small(seed: int) -> None:
    """Begun in a house that is cold through, heat is on for a day, and the air rises all the while."""
    watch = Watch(Plant(house=WEAK, seed=seed, air_c=-3.0, sensed_c=-3.0, mass_c=-3.0))
    said = watch.run(1200)
    assert watch.plant.is_on
    assert Code.HEATER_TOO_SMALL not in said


@pytest.mark.parametrize("seed", SEEDS)
def test_a_heater_that_just_holds_the_air_is_not_too_small(seed: int) -> None:
    """All that falls is the noise of the sensor, and a gust by less than a tenth."""
    held = replace(WEAK, mass_j_k=1e12, mean_out_c=-14.0)
    watch = Watch(Plant(house=held, seed=seed, air_c=3.1, sensed_c=3.1, mass_c=2.8, is_on=True))
    said = watch.run(1440)
    assert watch.plant.is_on
    assert watch.plant.air_c > LOW_C + 0.5
    assert Code.HEATER_TOO_SMALL not in said


# What teaches nothing, and what is not judged.


def taught(finder: Finder) -> list[object]:
    """What is kept as usual after a switch."""
    heater = finder.facts()["heater"]
    assert isinstance(heater, dict)
    return [heater["rises"], heater["falls"]]


def test_forced_heat_teaches_nothing() -> None:
    watch = learned()
    before = taught(watch.finder)
    watch.until_heat(is_on=True)
    watch.plant.is_forced = True
    watch.minute()  # the phase before it was the band's, and may teach
    begun = taught(watch.finder)
    watch.run(600)
    assert taught(watch.finder) == begun
    watch.plant.is_forced = False
    watch.run(600)
    assert taught(watch.finder) != before


@pytest.mark.parametrize("heat", [0.0, 1.0])
@pytest.mark.parametrize("extra_w", [0.0, 500.0])
def test_while_only_observing_nothing_is_said_of_the_heater(heat: float, extra_w: float) -> None:
    watch = learned()
    watch.until_heat(is_on=heat == 0.0)
    watch.plant.is_on = bool(heat)
    watch.plant.mode, watch.plant.heater_share, watch.plant.extra_w = Mode.OBSERVE, 0.0, extra_w
    assert not watch.run(240) & OF_THE_HEATER


@pytest.mark.parametrize("cools_k", [0.5, 1.5, 3.0])
@pytest.mark.parametrize("is_on", [False, True])
def test_after_a_gap_nothing_is_said_of_the_stretch_before(is_on: bool, cools_k: float) -> None:
    """The house cooled while nothing was recorded, and all is well again."""
    watch = learned()
    watch.until_heat(is_on=is_on)
    watch.run(3)
    watch.plant.now_s += 7200.0
    watch.plant.air_c -= cools_k
    watch.plant.sensed_c -= cools_k
    watch.minute(gap_s=7200.0)
    assert not watch.codes
    assert not watch.run(300)


def test_a_heater_that_died_in_a_gap_is_found_after_it() -> None:
    watch = learned()
    watch.until_heat(is_on=False)
    watch.plant.heater_share = 0.0
    watch.plant.now_s += 7200.0
    watch.minute(gap_s=7200.0)
    assert watch.until(lambda: watch.plant.is_on, within_min=600) <= 600
    assert watch.until_said(Code.HEATER_DEAD, within_min=20) <= 20


@pytest.mark.parametrize("code", [Code.HEATER_DEAD, Code.HEAT_STUCK_ON])
def test_a_standing_fault_of_the_heater_outlasts_a_restart(code: Code) -> None:
    watch = learned()
    watch.until_heat(is_on=code is Code.HEATER_DEAD)
    if code is Code.HEATER_DEAD:
        watch.plant.heater_share = 0.0
    else:
        watch.plant.is_welded = True
    assert watch.until_said(code, within_min=15) <= 15
    watch.finder = Finder.recalled(SITE, watch.finder.facts())
    watch.minute(gap_s=120.0)
    assert code in watch.codes
    for _ in range(60):
        watch.minute()
        assert code in watch.codes
    watch.plant.heater_share, watch.plant.is_welded = 1.0, False
    assert watch.until_gone(code, within_min=120) <= 120


@pytest.mark.parametrize("house", QUICK, ids=QUICK_NAMES)
def test_what_was_learned_outlasts_a_restart(house: House) -> None:
    watch = learned(house)
    watch.finder = Finder.recalled(SITE, watch.finder.facts())
    watch.until_heat(is_on=False)
    watch.plant.heater_share = 0.0
    assert watch.until(lambda: watch.plant.is_on, within_min=600) <= 600
    assert watch.until_said(Code.HEATER_DEAD, within_min=10) <= 10

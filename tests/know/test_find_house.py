"""An open door, damp, too much switching, and the owner's inputs: when they are said and when they go."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest

from overwinter.core.nouns import Code, Mode
from overwinter.know.answers import KNOWN
from overwinter.know.find import Finder
from overwinter.know.find_house import HouseFaults
from overwinter.know.nouns import Span
from overwinter.know.phases import Course
from tests.know.plant import (
    DOOR,
    FLOOR,
    HIGH_C,
    HOUSES,
    LOW_C,
    PUMP,
    SITE,
    House,
    Plant,
    Watch,
    codes,
    fed,
    learned,
    minutes,
)

SEEDS = (1, 2)
WINDY = {"shed": 60.0, "block": 250.0, "box": 15.0}
"""What goes out by an open door, by house [W/K]."""
QUICK = [pytest.param(HOUSES[name], WINDY[name], id=name) for name in WINDY]


# An open door.


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("house", "open_w_k"), QUICK)
def test_an_open_door_is_cooling_fast_until_it_is_warm_again(
    house: House, open_w_k: float, seed: int
) -> None:
    watch = learned(house, seed=seed)
    watch.until_heat(is_on=False)
    watch.run(3)
    watch.plant.open_w_k = open_w_k
    assert watch.until_said(Code.COOLING_FAST, within_min=12) <= 12
    assert watch.codes == {Code.COOLING_FAST}
    for _ in range(60):
        watch.minute()
        assert Code.COOLING_FAST in watch.codes
    watch.plant.open_w_k = 0.0
    assert watch.until(lambda: watch.plant.sensed_c > LOW_C + 0.3, within_min=180) <= 180
    assert Code.COOLING_FAST not in watch.run(1) | watch.codes
    assert not watch.run(600)


@pytest.mark.parametrize("after_min", [0, 6])
@pytest.mark.parametrize(("house", "open_w_k"), QUICK)
def test_a_door_opened_at_any_moment_is_cooling_fast_and_not_a_dead_heater(
    house: House, open_w_k: float, after_min: int
) -> None:
    watch = learned(house)
    watch.until_heat(is_on=False)
    watch.run(after_min)
    watch.plant.open_w_k = open_w_k
    said = watch.run(45)
    assert Code.HEATER_DEAD not in said
    assert Code.COOLING_FAST in said


@pytest.mark.parametrize("after_min", [0, 3])
@pytest.mark.parametrize(("house", "open_w_k"), QUICK)
def test_cooling_fast_stays_said_while_the_air_still_falls(
    house: House, open_w_k: float, after_min: int
) -> None:
    """A door half open; nothing that comes and goes every minute is worth telling."""
    watch = learned(house)
    watch.until_heat(is_on=False)
    watch.run(after_min)
    watch.plant.open_w_k = open_w_k / 2.0
    assert watch.until_said(Code.COOLING_FAST, within_min=15) <= 15
    for _ in range(30):
        before_c = watch.plant.sensed_c
        watch.minute()
        assert Code.COOLING_FAST in watch.codes or watch.plant.sensed_c > before_c - 0.05


def test_cooling_fast_goes_when_something_else_than_the_heater_warms_the_house() -> None:
    watch = learned()
    watch.until_heat(is_on=False)
    watch.plant.mode, watch.plant.open_w_k = Mode.OBSERVE, 60.0
    assert watch.until_said(Code.COOLING_FAST, within_min=12) <= 12
    watch.plant.open_w_k, watch.plant.extra_w = 0.0, 400.0
    assert watch.until_gone(Code.COOLING_FAST, within_min=30) <= 30
    assert not watch.plant.is_on


def test_a_door_opened_while_heat_is_on_is_cooling_fast_and_not_a_dead_heater() -> None:
    watch = learned()
    watch.until_heat(is_on=True)
    watch.run(4)
    watch.plant.open_w_k = 150.0
    assert watch.until_said(Code.COOLING_FAST, within_min=15) <= 15
    assert Code.HEATER_DEAD not in watch.run(60)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("name", "open_w_k"), [("shed", 60.0), ("box", 12.0)])
def test_what_falls_faster_in_heat_than_pauses_do_is_a_door_and_not_a_dead_heater(
    name: str, open_w_k: float, seed: int
) -> None:
    """A fall that a dead heater cannot make, though not so deep that heat would be no matter."""
    watch = learned(HOUSES[name], seed=seed)
    watch.until_heat(is_on=True)
    watch.run(8)
    watch.plant.open_w_k = open_w_k
    assert watch.until_said(Code.COOLING_FAST, within_min=10) <= 10
    assert Code.HEATER_DEAD not in watch.run(1)


def fallen_somewhat_deeper_than_pauses() -> Watch:
    """A door that is opened under heat, as little as a dead heater would explain too."""
    watch = learned(seed=2)
    watch.until_heat(is_on=True)
    watch.run(8)
    watch.plant.open_w_k = 37.0
    watch.run(9)
    return watch


def test_a_fall_that_a_dead_heater_explains_as_well_as_a_door_is_told_as_both() -> None:
    """Whoever goes to look will see which it is."""
    watch = fallen_somewhat_deeper_than_pauses()
    assert watch.codes == {Code.COOLING_FAST, Code.HEATER_DEAD}
    said = {finding.code: finding.text for finding in watch.found}
    assert "or whether the heater has stopped" in said[Code.COOLING_FAST]
    assert "an open door" in said[Code.HEATER_DEAD]


def test_a_fall_told_as_both_is_a_door_alone_once_it_is_too_deep_for_a_dead_heater() -> None:
    watch = fallen_somewhat_deeper_than_pauses()
    assert Code.HEATER_DEAD in watch.codes
    watch.plant.open_w_k = 150.0
    watch.run(3)
    assert watch.codes == {Code.COOLING_FAST}
    assert "the heater has stopped" not in watch.found[0].text


def paused(
    airs_c: Sequence[float],
    *,
    deepest_k: float,
    late_k: float,
    heated_from: int | None = None,
    is_bumpy: bool = False,
    is_pumped: bool = False,
) -> set[Code]:
    """All that is said of these minutes after heat, which comes back with that one, where falls are known."""
    faults, course, said = HouseFaults(SITE, is_replay=False), Course(), set()
    for _ in range(KNOWN):
        faults._deepest.take(deepest_k, memory=30.0)
    for _ in range(300):
        faults._late.take(late_k, memory=300.0)
    for at, air_c in enumerate(airs_c):
        heat = float(at == 0 or (heated_from is not None and at >= heated_from))
        span = Span(ends_s=60.0 * at, lasts_s=60.0, temperature_c=air_c, heat=heat)
        course.take(span)
        said |= codes(faults.take(span, course, door_times=None, is_bumpy=is_bumpy, is_pumped=is_pumped))
    return said


@pytest.mark.parametrize(
    ("rise_k", "still_min", "is_pumped", "is_open"),
    [(1.0, 5, False, False), (1.0, 90, False, False), (0.0, 5, False, True), (0.0, 5, True, False)],
)
def test_air_that_falls_back_after_a_pumps_motor_is_no_open_door(
    rise_k: float, still_min: int, is_pumped: bool, is_open: bool
) -> None:
    """Whether the motor is seen by the rise that it made, even an hour ago, or by an input."""
    before_c = [4.4, 4.2, 4.0, 3.8, 3.6, 3.5, 3.4, 3.3, 3.2, 3.2, 3.2, 3.2, 3.2, 3.2]
    motor_c = [before_c[-1] + rise_k * share for share in (0.4, 0.7, 0.9, *[1.0] * still_min)]
    after_c = [motor_c[-1] - fall_k for fall_k in (0.5, 0.9, 1.2, 1.4, 1.5, 1.5)]
    said = paused([4.4, *before_c, *motor_c, *after_c], deepest_k=-0.9, late_k=-0.1, is_pumped=is_pumped)

    assert said == ({Code.COOLING_FAST} if is_open else set())


@pytest.mark.parametrize(
    ("fell_k", "is_pumped", "is_open"), [(1.7, False, False), (1.9, False, True), (1.9, True, False)]
)
def test_a_fall_just_after_heat_is_a_door_where_it_is_deeper_than_any_pause(
    fell_k: float, is_pumped: bool, is_open: bool
) -> None:
    """Pauses fall by 1.2 K at their deepest; where a motor stopped as well, more is usual."""
    airs_c = [4.4, 4.4, 4.4, *[4.4 - fell_k * share for share in (0.2, 0.4, 0.6, 0.8, 1.0, 1.2)]]
    said = paused(airs_c, deepest_k=-1.2, late_k=-0.1, is_pumped=is_pumped)

    assert said == ({Code.COOLING_FAST} if is_open else set())


@pytest.mark.parametrize(("is_bumpy", "is_open"), [(False, True), (True, False)])
def test_where_a_motor_may_have_put_off_the_fall_after_heat_a_fall_is_a_door_only_later(
    is_bumpy: bool, is_open: bool
) -> None:
    fallen_c = [4.2, 4.0, 3.7, 3.5, 3.4, 3.3]
    said = paused([*[4.4] * 18, *fallen_c], deepest_k=-1.2, late_k=-0.1, is_bumpy=is_bumpy)

    assert said == ({Code.COOLING_FAST} if is_open else set())


@pytest.mark.parametrize(
    ("paused_min", "fall_k_min", "is_open"), [(40, 0.2, True), (40, 0.08, False), (8, 0.2, False)]
)
def test_heat_that_warms_nothing_after_a_long_pause_is_a_door_where_the_air_falls_faster_than_before(
    paused_min: int, fall_k_min: float, is_open: bool
) -> None:
    """Not so deep as just after a release; after a short pause that may still be going on."""
    pause_c = [4.0, 3.5, 3.1, 2.8, 2.6, *[2.5] * (paused_min - 5)]
    heated_c = [round(2.5 - fall_k_min * minute, 1) for minute in range(1, 9)]
    said = paused([4.4, *pause_c, *heated_c], deepest_k=-1.2, late_k=-0.05, heated_from=len(pause_c) + 1)

    assert said == ({Code.COOLING_FAST} if is_open else set())


def test_cooling_fast_says_how_fast_and_what_is_usual() -> None:
    watch = learned()
    watch.until_heat(is_on=False)
    watch.plant.open_w_k = 60.0
    watch.until_said(Code.COOLING_FAST, within_min=12)
    assert re.search(
        r"fell by \d+\.\d F in 5 min .* is the most that is usual", watch.text(Code.COOLING_FAST)
    )


@pytest.mark.parametrize("name", HOUSES)
def test_a_cold_front_is_no_open_door(name: str) -> None:
    watch = learned(HOUSES[name])
    for _ in range(180):
        watch.plant.out_shift_k -= 0.08
        watch.minute()
        assert Code.COOLING_FAST not in watch.codes


def test_a_known_open_door_is_not_a_dead_heater() -> None:
    watch = learned()
    watch.until_heat(is_on=True)
    watch.plant.contacts, watch.plant.open_w_k = {DOOR.name: 1.0}, 40.0
    assert Code.HEATER_DEAD not in watch.run(120)


# The owner's inputs.


def test_a_door_is_cooling_fast_after_ten_minutes_open_and_no_longer_when_shut() -> None:
    watch = learned()
    watch.plant.contacts = {DOOR.name: 1.0}
    assert Code.COOLING_FAST not in watch.run(9)
    watch.minute()
    assert [found.subject for found in watch.found if found.code is Code.COOLING_FAST] == [DOOR.name]
    assert "10 min" in watch.text(Code.COOLING_FAST)
    watch.plant.contacts = {DOOR.name: 0.0}
    watch.minute()
    assert not watch.codes


def test_a_door_that_people_go_in_and_out_by_is_not_said() -> None:
    watch = learned()
    for minute in range(240):
        watch.plant.contacts = {DOOR.name: 0.3 if minute % 8 == 7 else 1.0}
        watch.minute()
        assert not [found for found in watch.found if found.subject == DOOR.name]


def test_a_door_seen_open_before_a_gap_and_after_it_is_not_known_to_have_been_open_in_it() -> None:
    watch = learned()
    watch.plant.contacts = {DOOR.name: 1.0}
    watch.run(6)
    watch.minute(gap_s=3 * 86_400.0)
    assert not [found for found in watch.found if found.subject == DOOR.name]
    for _ in range(4):
        watch.minute()
        assert not [found for found in watch.found if found.subject == DOOR.name]
    for _ in range(6):
        watch.minute()
    assert [found for found in watch.found if found.subject == DOOR.name]


def test_a_pump_that_runs_for_hours_is_a_wet_floor_until_it_rests() -> None:
    watch = learned()
    watch.plant.contacts = {PUMP.name: 1.0}
    assert Code.WET_FLOOR not in watch.run(119)
    watch.minute()
    assert [found.subject for found in watch.found if found.code is Code.WET_FLOOR] == [PUMP.name]
    watch.plant.contacts = {PUMP.name: 0.0}
    watch.minute()
    assert Code.WET_FLOOR not in watch.codes


def pumping(every_min: int, hours: int) -> set[Code]:
    """All that is said while a pump runs for half a minute so often."""
    watch = learned()
    said = set()
    for minute in range(hours * 60):
        watch.plant.contacts = {PUMP.name: 0.5 if minute % every_min == 0 else 0.0}
        watch.minute()
        said |= {found.code for found in watch.found if found.subject == PUMP.name}
    return said


def test_a_pump_that_starts_often_is_short_cycling_and_one_that_does_not_is_not() -> None:
    assert pumping(3, 6) == {Code.SHORT_CYCLING}
    assert pumping(10, 12) == set()


def test_water_on_the_floor_is_said_in_a_replay_alone_for_the_guard_says_it_itself() -> None:
    for is_replay in (True, False):
        watch = Watch(Plant(), is_replay=is_replay)
        watch.plant.contacts = {FLOOR.name: 1.0}
        watch.minute()
        assert watch.codes == ({Code.WET_FLOOR} if is_replay else set())
        watch.plant.contacts = {FLOOR.name: 0.0}
        watch.minute()
        assert not watch.codes


def test_an_input_that_the_site_does_not_know_says_nothing() -> None:
    watch = learned()
    watch.plant.contacts = {"attic": 1.0}
    assert not watch.run(300)


# Damp.


def wet(*hours_and_pct: tuple[float, float]) -> Iterator[Span]:
    """So many hours of one humidity after another, in a house without heat at one temperature."""
    ends_s = 0.0
    for hours, humidity_pct in hours_and_pct:
        for _ in range(round(hours * 60)):
            ends_s += 60.0
            yield Span(
                ends_s=ends_s,
                lasts_s=60.0,
                temperature_c=3.0,
                humidity_pct=humidity_pct,
                low_c=LOW_C,
                high_c=HIGH_C,
            )


def is_damp(*hours_and_pct: tuple[float, float]) -> bool:
    """Whether it is said at the end of these hours."""
    return Code.DAMP in codes(fed(Finder(SITE), wet(*hours_and_pct))[-1])


def test_water_in_the_air_is_damp_only_after_hours() -> None:
    assert not is_damp((48, 80.0), (7, 99.0))
    assert is_damp((48, 80.0), (10, 99.0))


def test_humidity_far_above_the_usual_is_damp_before_it_is_wet() -> None:
    assert not is_damp((96, 60.0), (3.5, 90.0))
    assert is_damp((96, 60.0), (6, 90.0))
    assert not is_damp((96, 80.0), (6, 90.0))


def test_damp_goes_when_the_air_dries() -> None:
    assert is_damp((48, 80.0), (10, 99.0), (1, 96.0))
    assert not is_damp((48, 80.0), (10, 99.0), (8, 70.0))


def test_one_wet_reading_is_not_damp() -> None:
    assert not is_damp((48, 80.0), (5, 96.0), (0.1, 100.0), (5, 96.0))


# Switched too often.


def cycled(minutes_each: int, *, days: float) -> Iterator[Span]:
    """Heat on for half of the time, in turns of so many minutes; the air goes to and fro."""
    air_c = LOW_C
    half = minutes_each // 2
    for minute in range(round(days * 1440)):
        is_on = minute % minutes_each < half
        air_c += (HIGH_C - LOW_C) / half * (1.0 if is_on else -1.0)
        yield Span(
            ends_s=(minute + 1) * 60.0,
            lasts_s=60.0,
            temperature_c=round(air_c, 1),
            heat=float(is_on),
            low_c=LOW_C,
            high_c=HIGH_C,
        )


def test_heat_is_short_cycling_far_above_a_hundred_a_day_and_not_at_sixty() -> None:
    fast = fed(Finder(SITE), cycled(8, days=2.0))
    assert codes(fast[-1]) == {Code.SHORT_CYCLING}
    assert re.search(r"1[78]\d times a day", fast[-1][0].text)
    slow = fed(Finder(SITE), cycled(24, days=2.0))
    assert not any(slow)


def test_short_cycling_takes_hours_and_ends_when_the_turns_are_long_again() -> None:
    finder = Finder(SITE)
    assert not any(fed(finder, list(cycled(8, days=2.0))[:120]))
    spans = list(cycled(8, days=2.0))
    assert Code.SHORT_CYCLING in codes(fed(finder, spans)[-1])
    later = [replace(span, ends_s=span.ends_s + 3 * 86_400.0) for span in cycled(48, days=2.0)]
    assert Code.SHORT_CYCLING not in codes(fed(finder, later)[-1])


# What is not judged.


def test_while_only_observing_a_still_house_says_nothing() -> None:
    assert not any(fed(Finder(SITE), minutes(*[3.0, 3.1, 2.9] * 400, mode=Mode.OBSERVE)))


def test_a_fall_across_a_gap_is_no_open_door() -> None:
    watch = learned()
    watch.until_heat(is_on=False)
    watch.plant.air_c -= 4.0
    watch.plant.sensed_c -= 4.0
    watch.plant.now_s += 3600.0
    watch.minute(gap_s=3600.0)
    assert Code.COOLING_FAST not in watch.codes | watch.run(20)

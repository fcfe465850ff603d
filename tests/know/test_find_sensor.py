"""Sensors that are stuck, lost or at odds: when it is said, and what only looks like it."""

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from overwinter.core.nouns import Code, Flag, Role, SensorSpec
from overwinter.know.find import Finder
from overwinter.know.nouns import Finding, Seen, Span
from tests.know.plant import HIGH_C, HOUSES, LOW_C, SHED, SHELF, SITE, House, Plant, Watch, fed, learned

SEEDS = (1, 2)
BEAM = SensorSpec(name="beam", role=Role.EXTRA, kind="simulated")
THREE = replace(SITE, sensors=(SHED, SHELF, BEAM))


def said_by(spans: Iterator[Span], *, is_replay: bool = False) -> list[tuple[Finding, ...]]:
    """What is said after each."""
    return fed(Finder(SITE, is_replay=is_replay), spans)


def readings(of_minute: Callable[[int], Seen], count: int) -> Iterator[Span]:
    """Spans of a minute of one sensor in a house that is left alone."""
    for minute in range(count):
        seen = of_minute(minute)
        yield Span(
            ends_s=60.0 * (minute + 1),
            lasts_s=60.0,
            temperature_c=seen.temperature_c,
            flag=seen.flag,
            low_c=LOW_C,
            high_c=HIGH_C,
            sensors={SHED.name: seen},
        )


MISSING = Seen(temperature_c=None, flag=int(Flag.MISSING))


# Flat.


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("house", HOUSES.values(), ids=HOUSES)
def test_a_stuck_sensor_is_found_within_35_minutes_and_cleared_when_it_moves(house: House, seed: int) -> None:
    watch = learned(house, seed=seed)
    watch.plant.is_flat = True
    assert watch.until_said(Code.SENSOR_DOUBTFUL, within_min=35) <= 35
    assert [found.subject for found in watch.found if found.code is Code.SENSOR_DOUBTFUL] == [SHED.name]
    watch.plant.is_flat = False
    assert watch.until_gone(Code.SENSOR_DOUBTFUL, within_min=5) <= 5


def test_a_sensor_that_is_stuck_from_the_start_is_found_within_35_minutes() -> None:
    watch = Watch(Plant(is_flat=True))
    watch.plant.stuck = Seen(temperature_c=3.4, humidity_pct=70.3)
    assert watch.until_said(Code.SENSOR_DOUBTFUL, within_min=35) <= 35


def test_a_second_sensor_that_is_stuck_is_named() -> None:
    watch = learned(sensors=2)
    stuck = Seen(temperature_c=3.4, humidity_pct=71.0)
    for _ in range(35):
        span = watch.plant.span()
        watch.found = watch.finder.take(replace(span, sensors={**span.sensors, SHELF.name: stuck}))
    assert [found.subject for found in watch.found if found.code is Code.SENSOR_DOUBTFUL] == [SHELF.name]


def coarse(humidity_pct: float | None, *still_min_and_days: tuple[int, float]) -> Iterator[Span]:
    """A sensor of whole degrees and whole percents in a still place, that changes once in so many minutes."""
    turns: list[int] = []
    for still_min, days in still_min_and_days:
        turns += [minute // still_min % 2 for minute in range(round(days * 1440))]
    return readings(
        lambda minute: Seen(temperature_c=8.0 + turns[minute], humidity_pct=humidity_pct), len(turns)
    )


@pytest.mark.parametrize("humidity_pct", [None, 60.0])
def test_a_coarse_sensor_in_a_place_that_falls_still_is_not_stuck(humidity_pct: float | None) -> None:
    assert not any(said_by(coarse(humidity_pct, (12, 2.0), (110, 5.0))))


@pytest.mark.parametrize("humidity_pct", [None, 60.0])
def test_a_coarse_sensor_is_not_stuck_on_its_first_day_in_a_still_place(humidity_pct: float | None) -> None:
    assert not any(said_by(coarse(humidity_pct, (90, 2.0))))


def test_a_sensor_without_humidity_that_speaks_in_tenths_and_repeats_itself_is_not_stuck() -> None:
    still = readings(lambda minute: Seen(temperature_c=round(8.0 + math.sin(minute / 400.0), 1)), 4 * 1440)
    assert not any(said_by(still))


def test_two_equal_readings_with_failed_ones_between_are_not_a_stuck_sensor() -> None:
    watch = learned()
    stuck = watch.plant.stuck
    assert stuck is not None
    watch.run(30)
    for read in [stuck] * 5 + [MISSING] * 120 + [stuck] * 5:
        watch.minute(sensors={SHED.name: read})
        assert Code.SENSOR_DOUBTFUL not in watch.codes


def test_the_same_reading_before_a_gap_and_after_it_is_not_a_stuck_sensor() -> None:
    watch = learned()
    stuck = watch.plant.stuck
    assert stuck is not None
    for place in range(12):
        watch.minute(sensors={SHED.name: stuck}, gap_s=86_400.0 if place == 6 else 0.0)
        assert Code.SENSOR_DOUBTFUL not in watch.codes


def test_a_sensor_whose_humidity_alone_moves_is_not_stuck() -> None:
    moves = readings(lambda minute: Seen(temperature_c=3.0, humidity_pct=60.0 + minute % 7 / 10.0), 1440)
    assert not any(said_by(moves))


# Leapt.


def leaping(
    from_c: float, by_k: float, *, lasts_min: int = 40, flag: Flag = Flag.PASS, heat: float = 0.0
) -> Iterator[Span]:
    """Ten minutes at one temperature, so many at another, then back; a tenth up and down all the time."""
    for minute in range(10 + lasts_min + 10):
        is_up = 10 <= minute < 10 + lasts_min
        temperature_c = from_c + by_k * is_up + 0.1 * (minute % 2)
        seen = Seen(temperature_c=temperature_c, humidity_pct=70.0, flag=int(flag if is_up else Flag.PASS))
        yield Span(
            ends_s=60.0 * (minute + 1),
            lasts_s=60.0,
            temperature_c=temperature_c,
            heat=heat,
            low_c=LOW_C,
            high_c=HIGH_C,
            sensors={SHED.name: seen},
        )


def doubted(said: list[tuple[Finding, ...]]) -> list[int]:
    """The minutes in which a sensor is doubted."""
    return [at for at, all_of in enumerate(said) if Code.SENSOR_DOUBTFUL in {one.code for one in all_of}]


def test_a_sensor_that_leaps_to_warmth_without_heat_and_stays_is_said_until_it_is_back() -> None:
    said = said_by(leaping(4.0, 30.0))
    assert doubted(said) == list(range(21, 50))
    (found,) = said[30]
    assert (found.code, found.subject) == (Code.SENSOR_DOUBTFUL, SHED.name)
    assert "leapt from 39.4 F" in found.text
    assert "says 93" in found.text


@pytest.mark.parametrize(
    "spans",
    [
        pytest.param(leaping(4.0, 8.0), id="sun or a motor may do that"),
        pytest.param(leaping(20.0, 15.0), id="a door that is opened to a summer's day"),
        pytest.param(leaping(4.0, 30.0, lasts_min=9), id="held in a hand"),
        pytest.param(leaping(4.0, 30.0, flag=Flag.SUSPECT), id="doubted by the guard already"),
        pytest.param(leaping(4.0, 30.0, heat=1.0), id="heated"),
        pytest.param(leaping(4.0, -30.0, lasts_min=1), id="back from one wrong cold"),
    ],
)
def test_what_may_be_true_is_not_called_a_leap(spans: Iterator[Span]) -> None:
    assert not doubted(said_by(spans))


def test_a_leap_is_still_said_after_a_restart() -> None:
    spans = list(leaping(4.0, 30.0))
    finder = Finder(SITE)
    fed(finder, iter(spans[:30]))
    again = Finder.recalled(SITE, finder.facts())
    said = fed(again, iter(spans[30:]))
    assert doubted(said) == list(range(20))


# Lost.


def test_a_lost_sensor_is_said_in_a_replay_within_ten_minutes_and_gone_with_the_next_reading() -> None:
    watch = learned(is_replay=True)
    watch.plant.is_lost = True
    assert watch.until_said(Code.SENSOR_LOST, within_min=10) <= 10
    assert [found.subject for found in watch.found] == [SHED.name]
    assert "min" in watch.text(Code.SENSOR_LOST)
    watch.plant.is_lost = False
    watch.run(1)
    assert Code.SENSOR_LOST not in watch.codes


def test_a_lost_sensor_is_never_said_by_the_guards_finder_for_the_guard_says_it_itself() -> None:
    watch = learned()
    watch.plant.is_lost = True
    assert not watch.run(120)


def test_a_sensor_that_misses_some_minutes_is_not_lost() -> None:
    spans = readings(
        lambda minute: Seen(temperature_c=3.0 + minute % 3 / 10.0) if minute % 6 == 0 else MISSING, 1440
    )
    assert not any(said_by(spans, is_replay=True))


def test_silence_on_both_sides_of_a_gap_is_not_one_silence() -> None:
    watch = learned(is_replay=True)
    watch.plant.is_lost = True
    watch.run(6)  # a temperature is borne for two of them
    watch.minute(gap_s=86_400.0)
    watch.run(2)
    assert Code.SENSOR_LOST not in watch.codes


# At odds.


def shelf_says(watch: Watch, off_k: float) -> None:
    """The second sensor from now on differs by so much from what it used to."""
    assert watch.plant.second_off_k is not None
    watch.plant.second_off_k += off_k


@pytest.mark.parametrize("off_k", [-3.0, 3.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_two_sensors_that_part_are_said_to_disagree_without_a_liar(seed: int, off_k: float) -> None:
    watch = learned(sensors=2, seed=seed)
    shelf_says(watch, off_k)
    assert watch.until_said(Code.SENSORS_DISAGREE, within_min=60) <= 60
    assert "one of them lies, and it cannot be told which" in watch.text(Code.SENSORS_DISAGREE)
    watch.run(300)
    assert Code.SENSORS_DISAGREE in watch.codes
    shelf_says(watch, -off_k)
    assert watch.until_gone(Code.SENSORS_DISAGREE, within_min=180) <= 180


def test_two_sensors_that_have_always_differed_agree() -> None:
    watch = Watch(Plant(second_off_k=2.5))
    assert not watch.run(3 * 1440)


@pytest.mark.parametrize("per_day_k", [2.0 / 7.0, 1.0, 8.0])
def test_a_drift_is_found_before_it_is_four_degrees(per_day_k: float) -> None:
    """One sensor alone cannot tell; the second is the cure."""
    watch = learned(sensors=2)
    drifted_k = 0.0
    while drifted_k < 4.0 and Code.SENSORS_DISAGREE not in watch.codes:
        shelf_says(watch, per_day_k / 1440.0)
        drifted_k += per_day_k / 1440.0
        watch.minute()
    assert watch.codes == {Code.SENSORS_DISAGREE}


@pytest.mark.parametrize("off_k", [-3.0, 3.0])
def test_of_three_sensors_the_liar_is_named(off_k: float) -> None:
    watch = learned(site=THREE, sensors=3)
    shelf_says(watch, off_k)
    assert watch.until_said(Code.SENSORS_DISAGREE, within_min=60) <= 60
    watch.run(60)
    text = watch.text(Code.SENSORS_DISAGREE)
    assert repr(SHELF.name) in text
    assert repr(SHED.name) not in text
    assert repr(BEAM.name) not in text
    assert "the one to replace" in text


def test_a_sensor_outdoors_or_on_a_pipe_is_no_witness() -> None:
    for other in (replace(SHELF, role=Role.OUTDOOR), replace(SHELF, at="pipe")):
        watch = learned(site=replace(SITE, sensors=(SHED, other)), sensors=2)
        shelf_says(watch, 4.0)
        assert not watch.run(240)


def test_a_reading_that_was_flagged_is_no_witness() -> None:
    watch = learned(sensors=2)
    for _ in range(180):
        span = watch.plant.span()
        wild = Seen(temperature_c=35.0 + span.ends_s % 7.0 / 10.0, flag=int(Flag.FAIL))
        watch.found = watch.finder.take(replace(span, sensors={**span.sensors, SHELF.name: wild}))
        assert not watch.codes


def test_what_two_sensors_usually_differ_by_outlasts_a_restart() -> None:
    watch = learned(sensors=2)
    watch.finder = Finder.recalled(SITE, watch.finder.facts())
    shelf_says(watch, 3.0)
    assert watch.until_said(Code.SENSORS_DISAGREE, within_min=60) <= 60

"""The finder as a whole: silent in health, steady, and proof against whatever comes or was kept."""

import json
import math
import pickle
import random
from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overwinter.core.nouns import Code, HeaterSpec, Mode, Site
from overwinter.core.units import Unit
from overwinter.know.find import Finder
from overwinter.know.nouns import Seen, Span
from tests.know.plant import (
    ALARM_LOW_C,
    DOOR,
    FLOOR,
    HOUSES,
    PUMP,
    SHED,
    SHED_HOUSE,
    SHELF,
    SITE,
    Plant,
    Watch,
    codes,
    fed,
    learned,
    minutes,
)

LARGEST_BYTES = 2048
FORTNIGHT = 14


# Health.


@pytest.mark.parametrize(
    ("name", "seed"), [("shed", 11), ("shed", 12), ("block", 13), ("box", 14), ("oil", 15)]
)
def test_of_a_healthy_fortnight_nothing_is_said(name: str, seed: int) -> None:
    """Cold days and thaws, sun at noon, a pump that heats the house now and then, a second sensor."""
    house = HOUSES[name]
    plant = Plant(house=house, seed=seed, second_off_k=0.4)
    watch = Watch(plant, is_replay=True)
    weather = random.Random(seed)
    wanted_k, sun = 0.0, 0.0
    for minute in range(FORTNIGHT * 1440):
        hour = minute / 60.0 % 24.0
        if minute % 1440 == 0:
            wanted_k, sun = weather.uniform(-5.0, 7.0), weather.uniform(0.0, 0.6)
        plant.out_shift_k += (wanted_k - plant.out_shift_k) / 360.0
        is_pumping = minute % 95 < 4
        plant.contacts = {PUMP.name: float(is_pumping), DOOR.name: 0.0, FLOOR.name: 0.0}
        shine = max(0.0, math.sin(math.pi * (hour - 9.0) / 7.0)) if 9.0 <= hour <= 16.0 else 0.0
        plant.extra_w = house.watts * (sun * shine + 0.1 * is_pumping)
        plant.humidity_pct = 72.0 + 8.0 * math.sin(minute / 900.0)
        watch.minute()
        assert not watch.codes, f"day {minute // 1440}, {hour:.1f} h: {watch.found}"


# Cold, which the guard says by itself.


def colds(*temperatures_c: float | None, is_replay: bool = True) -> list[bool]:
    """Whether it is said to be cold, minute by minute."""
    finder = Finder(SITE, is_replay=is_replay, alarm_low_c=ALARM_LOW_C)
    return [Code.COLD in codes(found) for found in fed(finder, minutes(*temperatures_c))]


def test_cold_is_said_in_a_replay_alone() -> None:
    assert colds(0.0, 0.0, 0.0) == [False, True, True]
    assert colds(0.0, 0.0, 0.0, is_replay=False) == [False] * 3
    assert not any(fed(Finder(SITE, is_replay=True), minutes(0.0, 0.0, 0.0)))


def test_one_cold_reading_is_not_cold() -> None:
    assert colds(3.0, 0.0, 3.0, 0.0, 3.0) == [False] * 5


def test_cold_at_its_limit_does_not_flutter() -> None:
    around = [ALARM_LOW_C, ALARM_LOW_C, ALARM_LOW_C + 0.1, ALARM_LOW_C, ALARM_LOW_C + 0.2]
    assert colds(*around) == [False, True, True, True, True]


def test_cold_goes_when_it_is_clearly_warmer() -> None:
    assert colds(0.0, 0.0, ALARM_LOW_C + 0.4, ALARM_LOW_C + 0.1) == [False, True, False, False]


def test_cold_says_both_temperatures_in_the_unit_of_the_site() -> None:
    for unit, said in ((Unit.C, ("0.5 C", "1.4 C")), (Unit.F, ("32.9 F", "34.5 F"))):
        finder = Finder(replace(SITE, unit=unit), is_replay=True, alarm_low_c=ALARM_LOW_C)
        text = fed(finder, minutes(0.5, 0.5))[-1][0].text
        assert all(figure in text for figure in said), text


# Whatever comes.

ODD_NAMES = (SHED.name, SHELF.name, "", "\x00", "a\nb", "\x1b[2J", "'", "ü" * 300, "repeats", "7")
temperatures_c = st.one_of(
    st.none(),
    st.floats(0.0, 6.0),
    st.sampled_from([2.0, 3.0, 4.0, math.nan, math.inf, -math.inf, 85.0, -127.0, 1e308, -1e308, 1e9]),
)
percents = st.one_of(st.none(), st.floats(0.0, 100.0), st.sampled_from([math.nan, math.inf, -1.0, 1e308]))
shares = st.one_of(st.sampled_from([0.0, 1.0, 1.0, 0.0, 0.5]), st.floats(0.0, 1.0))
seens = st.builds(
    Seen,
    temperature_c=temperatures_c,
    humidity_pct=percents,
    flag=st.sampled_from([1, 2, 3, 4, 9, 0, -1, 77]),
)


@st.composite
def stretches(draw: st.DrawFn) -> list[Span]:
    """Spans of any length, some many times the same, with anything in them."""
    now_s = 0.0
    spans = []
    for _ in range(draw(st.integers(1, 8))):
        lasts_s = draw(st.sampled_from([10.0, 60.0, 60.0, 60.0, 300.0, 3600.0]))
        gap_s = draw(st.sampled_from([0.0, 0.0, 1.0, 60.0, 7200.0, 1e7]))
        step_k = draw(st.sampled_from([0.0, 0.0, 0.1, -0.1, 1.0, -1.0]))
        first = Span(
            ends_s=now_s,
            lasts_s=lasts_s,
            gap_s=gap_s,
            temperature_c=draw(temperatures_c),
            humidity_pct=draw(percents),
            outdoor_c=draw(temperatures_c),
            heat=draw(shares),
            mode=draw(st.sampled_from(Mode)),
            low_c=2.0,
            high_c=4.0,
            is_forced=draw(st.booleans()),
            current=draw(st.one_of(st.none(), shares)),
            sensors=draw(st.dictionaries(st.sampled_from(ODD_NAMES), seens, max_size=3)),
            contacts=draw(
                st.dictionaries(
                    st.sampled_from([DOOR.name, PUMP.name, FLOOR.name, "", "odd"]), shares, max_size=3
                )
            ),
        )
        for place in range(draw(st.sampled_from([1, 2, 5, 30, 100]))):
            now_s += lasts_s + (gap_s if place == 0 else 0.0)
            air_c = first.temperature_c
            spans.append(
                replace(
                    first,
                    ends_s=now_s,
                    gap_s=gap_s if place == 0 else 0.0,
                    temperature_c=None if air_c is None else air_c + place * step_k,
                )
            )
    return spans


sites = st.sampled_from(
    [
        SITE,
        replace(SITE, unit=Unit.C, heater=HeaterSpec(kind="cable")),
        replace(SITE, heater=HeaterSpec(backup_thermostat_c=1.0)),
        replace(SITE, sensors=(), contacts=()),
    ]
)


@settings(max_examples=50)
@given(stretches(), sites, st.booleans())
def test_whatever_comes_the_same_spans_say_the_same_and_nothing_twice(
    spans: list[Span], site: Site, is_replay: bool
) -> None:
    first, second = (Finder(site, is_replay=is_replay, alarm_low_c=ALARM_LOW_C) for _ in range(2))
    said = fed(first, spans)
    assert said == fed(second, spans)
    for found in said:
        kept = [(finding.code, finding.subject) for finding in found]
        assert len(kept) == len(set(kept))


@settings(max_examples=50)
@given(stretches(), sites)
def test_whatever_came_what_is_kept_is_small_and_json(spans: list[Span], site: Site) -> None:
    finder = Finder(site)
    fed(finder, spans)
    assert len(json.dumps(finder.facts(), allow_nan=False)) < LARGEST_BYTES


@pytest.mark.parametrize("odd_c", [math.nan, math.inf, -math.inf, 1e308])
def test_one_odd_temperature_undoes_nothing_of_what_was_learned(odd_c: float) -> None:
    watch = learned(sensors=2)
    odd = Seen(temperature_c=odd_c, humidity_pct=odd_c)
    watch.minute(temperature_c=odd_c, humidity_pct=odd_c, sensors={SHED.name: odd, SHELF.name: odd})
    assert json.dumps(watch.finder.facts(), allow_nan=False)
    assert not watch.run(2 * 1440) - {Code.DAMP}
    watch.until_heat(is_on=False)
    watch.plant.heater_share = 0.0
    assert watch.until(lambda: watch.plant.is_on, within_min=600) <= 600
    assert watch.until_said(Code.HEATER_DEAD, within_min=10) <= 10


def test_a_span_that_lasts_no_time_is_not_taken() -> None:
    watch = learned()
    before = watch.finder.facts()
    for lasts_s in (0.0, -60.0, math.nan):
        assert watch.finder.take(replace(watch.plant.span(), lasts_s=lasts_s)) == ()
    assert watch.finder.facts() == before


def test_names_without_end_take_no_memory_without_end() -> None:
    watch = learned()

    def size_after(spans: int, first: int) -> int:
        for place in range(spans):
            seen = Seen(temperature_c=3.0 + place % 5 / 10.0)
            watch.minute(
                sensors={f"sensor-{first + place}": seen}, contacts={f"contact-{first + place}": 1.0}
            )
        return len(pickle.dumps(watch.finder))

    few = size_after(300, 0)
    assert size_after(3000, 300) < 1.2 * few


# What is kept.


@pytest.mark.parametrize("name", HOUSES)
def test_what_is_kept_is_small_and_json(name: str) -> None:
    watch = learned(HOUSES[name], sensors=2)
    watch.until_heat(is_on=True)
    watch.plant.heater_share = 0.0
    watch.until_said(Code.HEATER_DEAD, within_min=30)
    assert Code.HEATER_DEAD in watch.codes
    assert len(json.dumps(watch.finder.facts(), allow_nan=False)) < LARGEST_BYTES


def test_what_is_kept_is_the_same_after_a_restart() -> None:
    watch = learned(sensors=2)
    kept = json.loads(json.dumps(watch.finder.facts()))
    assert json.loads(json.dumps(Finder.recalled(SITE, kept).facts())) == kept


anything = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.just(10**400),
        st.floats(),
        st.text(max_size=8),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=8), inner, max_size=4)
    ),
    max_leaves=8,
)


def places(kept: object) -> list[tuple[str | int, ...]]:
    """The way to everything that stands in a piece of JSON."""
    if isinstance(kept, dict):
        inside = list(kept.items())
    elif isinstance(kept, list):
        inside = list(enumerate(kept))
    else:
        return [()]
    return [(), *((key, *way) for key, value in inside for way in places(value))]


def put(kept: object, way: tuple[str | int, ...], value: object) -> object:
    """The same, with something else there."""
    if not way:
        return value
    key = way[0]
    if isinstance(kept, dict):
        return {**kept, key: put(kept[key], way[1:], value)}
    assert isinstance(kept, list)
    assert isinstance(key, int)
    return [*kept[:key], put(kept[key], way[1:], value), *kept[key + 1 :]]


@settings(max_examples=200)
@given(st.data())
def test_of_anything_odd_that_was_kept_nothing_is_taken_and_nothing_raises(data: st.DataObject) -> None:
    """A true state with one thing in it, or all of it, replaced by something else."""
    kept: object = {**learned(sensors=2).finder.facts()}
    way = data.draw(st.sampled_from(places(json.loads(json.dumps(kept)))))
    kept = put(json.loads(json.dumps(kept)), way, data.draw(anything))
    finder = Finder.recalled(SITE, kept if isinstance(kept, Mapping) else None, is_replay=True)
    fed(finder, minutes(*[3.0, 3.1, 2.9] * 4))
    fed(finder, minutes(*[3.0, 3.1, 2.9] * 4, heat=1.0))
    assert len(json.dumps(finder.facts(), allow_nan=False)) < LARGEST_BYTES


@pytest.mark.parametrize("kept", [None, {}, {"version": 0}, {"version": 10**9}, {"version": "1"}])
def test_of_another_version_or_nothing_it_begins_afresh(kept: Mapping[str, object] | None) -> None:
    real = {**learned().finder.facts(), **kept} if kept else kept
    assert Finder.recalled(SITE, real).facts() == Finder(SITE).facts()


@pytest.mark.parametrize(
    "sentence", ["\x1b[2J\x07 all is well", "one line\nand another", "a" * 5000, "", "\ud800"], ids=ascii
)
@pytest.mark.parametrize("code", [Code.HEATER_DEAD, Code.HEAT_STUCK_ON])
def test_of_a_stored_fault_a_sentence_is_said_whatever_was_stored(code: Code, sentence: str) -> None:
    """The fault stands; nothing of what else stood there is said."""
    facts = learned().finder.facts()
    heater = facts["heater"]
    assert isinstance(heater, dict)
    kept = {**facts, "heater": {**heater, "found": [sentence, code.value, 7, None, [sentence]]}}
    found = fed(Finder.recalled(SITE, kept), minutes(3.9, 3.9))[-1]
    assert codes(found) == {code}
    assert found[0].text.isprintable()
    assert 10 < len(found[0].text) <= 500


def test_in_health_a_restart_changes_nothing_that_is_said() -> None:
    watch = learned(SHED_HOUSE, sensors=2)
    for _ in range(24):
        watch.finder = Finder.recalled(SITE, json.loads(json.dumps(watch.finder.facts())))
        watch.minute(gap_s=60.0)
        assert not watch.codes | watch.run(59)

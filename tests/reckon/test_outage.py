"""How long pipes last without heat: closed forms, the published method at its limit, and simulated houses."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import PipeSpec
from overwinter.core.units import c_from_f
from overwinter.physics.cycle import cooling_s
from overwinter.physics.pipe import freezing
from overwinter.physics.ranges import Range
from overwinter.reckon.outage import Before, Room, _Course, freezing_in_room, room_zero_h
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from tests.reckon.houses import LINE, RISER, pipes

LOW_C, HIGH_C = c_from_f(36.0), c_from_f(40.0)
BEFORE = Before(low_c=LOW_C, high_c=HIGH_C, error_k=0.55, spread_k=1.0)
SURE = Before(low_c=LOW_C, high_c=HIGH_C, error_k=0.0, spread_k=0.0)
SHED = Room.of_volume(volume_m3=13.8, ua_w_k=15.7)

BUILT = {  # volume, walls and roof, their U-value and air changes, as the simulated houses were drawn
    "insulated box": (1.0, 6.0, 0.7, 0.5),
    "insulated shed": (13.8, 33.0, 0.4, 0.5),
    "timber shed": (15.0, 36.0, 0.9, 1.5),
    "leaky metal shed": (12.0, 32.0, 2.0, 4.0),
    "uninsulated block house": (18.0, 42.0, 2.0, 1.0),
    "brick house with oil heater": (20.0, 45.0, 0.9, 0.7),
}
"""Without the vault, which hangs on the ground and hardly knows what is outdoors."""

THEIR_PIPE = PipeSpec(name="bare copper", length_m=3.0, bore_m=0.020, outside_m=0.022)


def lump(heat_j_k: float, ua_w_k: float) -> Room:
    return Room(ua_w_k=ua_w_k, heat_j_k=Range(best=heat_j_k, low=heat_j_k, high=heat_j_k))


def simulated_first_ice_h(house: str, outdoor_c: float) -> float:
    """From a failure at the low end, after five days of that weather under heat."""
    built = House(HOUSES[house], 1, start_c=3.3)
    is_on, elapsed_s = False, 0.0
    while elapsed_s < 5 * 86_400 or built.air_c > LOW_C + 0.1:
        is_on = built.air_c <= LOW_C or (is_on and built.air_c < HIGH_C)
        built.advance(30.0, is_on, outdoor_c)
        elapsed_s += 30.0
        assert elapsed_s < 12 * 86_400, "it comes down to its low end"
    failed_s = elapsed_s
    while built.pipe_c > 0.0:
        built.advance(30.0, False, outdoor_c)
        elapsed_s += 30.0
    return (elapsed_s - failed_s) / 3600.0


@pytest.mark.parametrize("outdoor_f", [30.0, 20.0, 10.0])
@pytest.mark.parametrize("house", BUILT)
def test_first_ice_in_a_simulated_house_lies_within_the_range_and_is_never_promised_late(
    house: str, outdoor_f: float
) -> None:
    volume_m3, area_m2, u_w_m2k, changes_h = BUILT[house]
    outdoor_c = c_from_f(outdoor_f)
    ua_w_k = area_m2 * u_w_m2k + 1300.0 * volume_m3 * changes_h / 3600.0
    if LOW_C - HOUSES[house].heater_w / ua_w_k > outdoor_c - 2.0:
        pytest.skip("its heater does not hold the band in this cold, so it never failed from there")

    simulated_h = simulated_first_ice_h(house, outdoor_c)
    room = Room.of_volume(volume_m3=volume_m3, ua_w_k=ua_w_k)
    reckoned = freezing_in_room(THEIR_PIPE, room, BEFORE, outdoor_c=outdoor_c).start_h

    if outdoor_f < 30.0:  # hardly below freezing the ground decides, and holds it for days
        assert reckoned.low <= simulated_h <= reckoned.high
    assert reckoned.low <= simulated_h
    assert reckoned.best <= 1.3 * simulated_h


def test_the_water_follows_the_two_stores_of_the_textbook() -> None:
    """Against steps of a second through the two differential equations."""
    course = _Course(outdoor_c=-10.0, air_c=3.0, water_c=4.0, room_s=5000.0, pipe_s=1700.0)
    air_c, water_c = course.air_c, course.water_c
    for step in range(1, 6001):
        middle_c = course.air_at_c(step - 0.5)
        water_c += (middle_c - water_c) / course.pipe_s
        air_c += (course.outdoor_c - air_c) / course.room_s
        if step % 1500 == 0:
            assert course.water_at_c(step) == pytest.approx(water_c, abs=0.01)
            assert course.air_at_c(step) == pytest.approx(air_c, abs=0.01)


def test_stores_that_are_as_slow_as_each_other_make_no_jump() -> None:
    nearly = [
        _Course(outdoor_c=-10.0, air_c=3.0, water_c=3.0, room_s=2000.0 * (1.0 + off), pipe_s=2000.0).start_s()
        for off in (-1e-5, -1e-10, 0.0, 1e-10, 1e-5)
    ]

    # Equal: 1 + t/T is what the water lags behind exp(t/T).
    assert (1.0 + nearly[2] / 2000.0) * math.exp(-nearly[2] / 2000.0) == pytest.approx(10.0 / 13.0)
    assert nearly == sorted(nearly)
    assert nearly[-1] == pytest.approx(nearly[0], rel=1e-4)


@pytest.mark.parametrize("pipe", [LINE, RISER], ids=["line", "riser"])
def test_a_room_without_heat_of_its_own_leaves_the_published_method(pipe: PipeSpec) -> None:
    """2021 ASHRAE Handbook - Fundamentals, ch. 23, eqs. 1 and 2, as `physics.pipe` has them."""
    alone = freezing(pipe, water_c=LOW_C, air_c=-12.0)
    in_nothing = freezing_in_room(pipe, lump(1e-3, 1000.0), SURE, outdoor_c=-12.0)

    assert in_nothing.start_h.best == pytest.approx(alone.start_h.best, rel=1e-6)
    assert in_nothing.solid_h.best == pytest.approx(alone.solid_h.best, rel=1e-6)
    assert in_nothing.start_h.low == pytest.approx(alone.start_h.low, rel=1e-6)


def test_a_pipe_without_insulation_to_speak_of_freezes_with_the_air() -> None:
    thin = replace(LINE, bore_m=0.0005, outside_m=0.0006)
    room = lump(400_000.0, 20.0)

    start_h = freezing_in_room(thin, room, SURE, outdoor_c=-10.0).start_h.best

    air_h = cooling_s(ua_w_k=20.0, heat_j_k=400_000.0, outdoor_c=-10.0, from_c=LOW_C, to_c=0.0) / 3600.0
    assert room_zero_h(room, SURE, outdoor_c=-10.0).best == pytest.approx(air_h)
    assert start_h == pytest.approx(air_h, rel=0.01)


def test_the_air_of_the_worked_example_reaches_freezing_in_its_time() -> None:
    """5 to 0 C, outdoors -10 C, 400 kJ/K, 20 W/K: 8109.3 s, closed form checked with a solver."""
    before = Before(low_c=5.0, high_c=6.0, error_k=0.0, spread_k=0.0)

    assert room_zero_h(lump(400_000.0, 20.0), before, outdoor_c=-10.0).best * 3600.0 == pytest.approx(
        8109.302
    )


@pytest.mark.parametrize("outdoor_c", [0.0, 5.0])
def test_nothing_freezes_unless_it_freezes_outdoors(outdoor_c: float) -> None:
    times = freezing_in_room(RISER, SHED, BEFORE, outdoor_c=outdoor_c)

    assert times.start_h.low == times.solid_h.low == math.inf
    assert room_zero_h(SHED, BEFORE, outdoor_c=outdoor_c).low == math.inf


def test_water_that_is_at_freezing_already_has_no_time_left() -> None:
    late = Before(low_c=-1.0, high_c=1.0, error_k=0.5, spread_k=1.0)
    times = freezing_in_room(RISER, SHED, late, outdoor_c=-10.0)

    assert times.start_h.best == times.start_h.low == 0.0
    assert times.solid_h.best > 0.0
    assert room_zero_h(SHED, late, outdoor_c=-10.0).best == 0.0


@given(
    pipe=pipes(),
    volume_m3=st.floats(min_value=0.1, max_value=1e5),
    ua_w_k=st.floats(min_value=0.01, max_value=1e4),
    outdoor_c=st.floats(min_value=-60.0, max_value=-0.01),
    low_c=st.floats(min_value=-5.0, max_value=-0.001) | st.floats(min_value=0.001, max_value=30.0),
)
def test_for_any_pipe_in_any_room_solid_comes_later_and_a_better_wall_helps(
    pipe: PipeSpec, volume_m3: float, ua_w_k: float, outdoor_c: float, low_c: float
) -> None:
    before = replace(BEFORE, low_c=low_c, high_c=low_c + 2.0)
    worse = Room.of_volume(volume_m3=volume_m3, ua_w_k=ua_w_k)
    better = Room.of_volume(volume_m3=volume_m3, ua_w_k=0.5 * ua_w_k)

    times = freezing_in_room(pipe, worse, before, outdoor_c=outdoor_c)
    helped = freezing_in_room(pipe, better, before, outdoor_c=outdoor_c)
    colder = freezing_in_room(pipe, worse, before, outdoor_c=outdoor_c - 5.0)

    assert 0.0 <= times.start_h.low < times.solid_h.low < math.inf
    assert times.start_h.high < times.solid_h.high < math.inf
    assert helped.start_h.best >= times.start_h.best * (1.0 - 1e-9)
    assert colder.start_h.best <= times.start_h.best * (1.0 + 1e-9)

"""What an open door, the sun and a running pump bring into the house or take out of it."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overwinter.twin.house import STEPS_KEPT, House
from overwinter.twin.houses import HOUSES
from overwinter.twin.pump import Pump
from tests.twin.first_order import FIRST_ORDER, STEPS_S


def test_an_open_door_adds_its_air_to_the_draught() -> None:
    """At rest, what flows to the outside is the draught's conductance times one and a half."""
    drawn = replace(HOUSES["timber shed"], gust_share=0.0, spread_share=0.0)
    leakier = replace(
        drawn,
        upper_outdoor_w_k=drawn.upper_outdoor_w_k * 1.5,
        lower_outdoor_w_k=drawn.lower_outdoor_w_k * 1.5,
    )
    open_, leaky, shut = House(drawn, 1), House(leakier, 1), House(drawn, 1)
    open_.open_door(0.5 * drawn.air_changes_h)
    for house in (open_, leaky, shut):
        for _ in range(8640):
            house.advance(10.0, True, -10.0)

    assert open_.air_c == pytest.approx(leaky.air_c, abs=0.01)
    assert open_.air_c < shut.air_c - 0.2
    open_.open_door(0.0)
    for _ in range(8640 * 10):
        open_.advance(10.0, True, -10.0)
        shut.advance(10.0, True, -10.0)
    assert open_.air_c == pytest.approx(shut.air_c, abs=0.05)


@pytest.mark.parametrize("air_changes_h", [-1.0, 61.0, math.nan])
def test_a_door_wider_than_any_is_refused(air_changes_h: float) -> None:
    with pytest.raises(ValueError, match="must be 0 to 60"):
        House(HOUSES["timber shed"], 1).open_door(air_changes_h)


@given(
    sun_w=st.floats(0.0, 2000.0),
    start_c=st.floats(-8.0, 8.0),
    dt_s=st.sampled_from(STEPS_S),
    motor_w=st.floats(0.0, 500.0),
)
@settings(max_examples=40, deadline=None)
def test_what_sun_and_pump_bring_is_what_a_house_without_losses_holds(
    sun_w: float, start_c: float, dt_s: float, motor_w: float
) -> None:
    closed = replace(
        HOUSES["timber shed"],
        upper_outdoor_w_k=0.0,
        lower_outdoor_w_k=0.0,
        envelope_outdoor_w_k=0.0,
        contents_ground_w_k=0.0,
        gust_share=0.0,
        spread_share=0.0,
    )
    house, pump = House(closed, 1, start_c=start_c), Pump(motor_w=motor_w)
    before_j = house.stored_j
    for step in range(200):
        house.advance(dt_s, False, -20.0)
        house.gain(dt_s, sun_w=sun_w, pump=pump if step % 3 else None)

    assert house.stored_j - before_j == pytest.approx(house.brought_j, rel=1e-6, abs=5.0)


def test_a_pump_of_a_pipe_of_ice_warms_with_its_motor_alone() -> None:
    house = House(FIRST_ORDER, 1, start_c=-5.0)
    house.advance(10.0, False, -5.0)
    house.gain(10.0, pump=Pump(motor_w=300.0))

    assert house.ice_share == 1.0
    assert house.brought_j == pytest.approx(3000.0)


def test_a_house_without_sun_and_pump_does_not_prepare_for_them() -> None:
    house = House(HOUSES["timber shed"], 1)
    house.advance(10.0, True, 0.0)

    assert house._gains == {}
    assert house.brought_j == 0.0


def test_gains_of_many_lengths_of_step_are_not_kept_for_ever() -> None:
    house = House(HOUSES["timber shed"], 1)
    for number in range(3 * STEPS_KEPT):
        house.advance(1.0 + number, False, 0.0)
        house.gain(1.0 + number, sun_w=1.0)

    assert len(house._gains) <= STEPS_KEPT

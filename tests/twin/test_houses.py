"""The ready-made houses: invented, but none that a builder would laugh at."""

from dataclasses import replace

import pytest

from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES


def settled(name: str, *, heat: bool, outdoor_c: float) -> House:
    """After three weeks of the same."""
    house = House(replace(HOUSES[name], gust_share=0.0, spread_share=0.0), 1)
    for _ in range(21 * 1440):
        house.advance(60.0, heat, outdoor_c)
    return house


def test_there_are_seven_with_heaters_from_a_lamp_to_1500_watts() -> None:
    watts = [house.heater_w for house in HOUSES.values()]

    assert len(watts) == 7
    assert min(watts) == 250.0
    assert max(watts) == 1500.0


@pytest.mark.parametrize("name", HOUSES)
def test_its_heater_keeps_the_pipe_liquid_at_minus_12(name: str) -> None:
    assert settled(name, heat=True, outdoor_c=-12.0).pipe_c > 1.0


@pytest.mark.parametrize("name", HOUSES)
def test_without_heat_its_pipe_freezes_solid_at_minus_15(name: str) -> None:
    house = settled(name, heat=False, outdoor_c=-15.0)

    assert house.ice_share == 1.0
    assert house.pipe_c < 0.0


@pytest.mark.parametrize("name", HOUSES)
def test_heated_or_not_it_settles_where_losses_equal_the_heater(name: str) -> None:
    """A second way to the same number: the sum of all flows to the outside."""
    for heat in (False, True):
        house = settled(name, heat=heat, outdoor_c=-10.0)
        made = house.parameters
        lost_w = (
            made.upper_outdoor_w_k * (house.upper_c + 10.0)
            + made.lower_outdoor_w_k * (house.lower_c + 10.0)
            + made.envelope_outdoor_w_k * (house.envelope_c + 10.0)
            + made.contents_ground_w_k * (house.contents_c - made.ground_c)
        )

        assert lost_w == pytest.approx(made.heater_w * heat, abs=0.5)


@pytest.mark.parametrize("name", HOUSES)
def test_guarded_by_a_band_its_air_moves_as_true_air_does(name: str) -> None:
    """Far from the 5 K/min at which a reading is doubted, and with no more than a few cycles an hour."""
    house, heat, cycles, fastest_k_min = House(HOUSES[name], 1, start_c=4.0), False, 0, 0.0
    for _ in range(2 * 8640):
        before_c, was_on = house.air_c, heat
        heat = before_c <= 2.2 or (heat and before_c < 4.4)
        cycles += heat and not was_on
        house.advance(10.0, heat, -8.0)
        fastest_k_min = max(fastest_k_min, abs(house.air_c - before_c) * 6.0)

    assert fastest_k_min < 1.5
    assert 1 <= cycles / 2 < 120

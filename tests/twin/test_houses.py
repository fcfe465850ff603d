"""The ready-made houses: invented, but none that a builder would laugh at."""

import math
from dataclasses import replace

import pytest

from overwinter.core.nouns import Refused
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES, parameters_learned


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


@pytest.mark.parametrize("name", HOUSES)
def test_a_house_bent_into_what_was_learned_rises_and_cools_so(name: str) -> None:
    """Lived through step by step, which is another way than the one it was bent by."""
    ready = replace(HOUSES[name], gust_share=0.0, spread_share=0.0)
    slow_s = 30.0 * 3600.0
    made = parameters_learned(ready, heater_w=600.0, rise_k=25.0, slow_s=slow_s)
    warm, cold = House(made, 1, start_c=3.0), House(made, 1, start_c=3.0)
    for _ in range(15 * 1440):
        warm.advance(60.0, True, 3.0)
        cold.advance(60.0, False, 3.0)

    assert warm.air_c - cold.air_c == pytest.approx(25.0, rel=0.002)

    warmer_k = []
    for _ in range(2):
        for _ in range(20 * 60):
            warm.advance(60.0, False, 3.0)
            cold.advance(60.0, False, 3.0)
        warmer_k.append(warm.air_c - cold.air_c)
    # 20 h apart, the second long after everything quicker has gone; the pipe's water is not reckoned with.
    assert 20.0 * 3600.0 / math.log(warmer_k[0] / warmer_k[1]) == pytest.approx(slow_s, rel=0.05)


def test_learned_air_answers_as_fast_as_it_was_seen_to() -> None:
    """Walls and things are made so heavy that they stand still."""
    made = parameters_learned(
        replace(HOUSES["timber shed"], gust_share=0.0, spread_share=0.0, contents_j_k=1e9, envelope_j_k=1e9),
        heater_w=750.0,
        rise_k=25.0,
        fast_s=500.0,
    )
    house = House(made, 1, start_c=0.0, water_c=0.0)
    for _ in range(50):
        house.advance(10.0, False, -10.0)
    falls_to_c = (
        -10.0
        * (made.upper_outdoor_w_k + made.lower_outdoor_w_k)
        / ((made.upper_j_k + made.lower_j_k) / 500.0)
    )

    mean_c = (house.upper_c + house.lower_c) / 2.0
    assert mean_c / falls_to_c == pytest.approx(1.0 - math.exp(-1.0), rel=0.05)


@pytest.mark.parametrize(
    ("key", "value"),
    [("rise_k", 1e5), ("rise_k", math.nan), ("heater_w", 0.0), ("fast_s", -1.0), ("slow_s", 1e9)],
)
def test_what_no_such_house_does_is_refused_by_name(key: str, value: float) -> None:
    learned = {"heater_w": 750.0, "rise_k": 25.0, "fast_s": 600.0, "slow_s": 1e5, key: value}

    with pytest.raises(Refused) as refused:
        parameters_learned(HOUSES["timber shed"], **learned)

    assert [problem.key for problem in refused.value.problems] == [key]

"""The house against closed forms and published constants: a twin that breaks these teaches wrong lessons."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from overwinter.twin.parameters import ICE_J_KGK, WATER_J_KGK
from tests.twin.first_order import FIRST_ORDER, STEPS_S

# Water in an air that nothing moves: all heat the pipe loses is its conductance times a constant.
PLATEAU = replace(
    FIRST_ORDER,
    upper_j_k=1e8,
    lower_j_k=1e8,
    upper_outdoor_w_k=1e3,
    lower_outdoor_w_k=1e3,
    pipe_water_kg=2.0,
    pipe_air_w_k=5.0,
)


def seconds_until(house: House, reached, *, dt_s: float, heat: bool, outdoor_c: float) -> float:
    """From now until `reached(house)`, at most a simulated week."""
    began_s = house.elapsed_s
    while not reached(house):
        assert house.elapsed_s - began_s < 7 * 86400.0
        house.advance(dt_s, heat, outdoor_c)
    return house.elapsed_s - began_s


@pytest.mark.parametrize("dt_s", STEPS_S)
@pytest.mark.parametrize(
    ("heat", "outdoor_c", "start_c", "end_c", "expected_s"),
    [
        # tau ln(...) with UA 20 W/K, C 400 kJ/K, P 1000 W; closed form, agreed with scipy to 1e-9.
        pytest.param(True, -10.0, 4.0, 6.0, 1143.168, id="on"),
        pytest.param(False, -10.0, 6.0, 4.0, 2670.628, id="off"),
        pytest.param(True, 0.0, 4.0, 6.0, 889.04, id="on at 0"),
        pytest.param(False, 3.0, 6.0, 4.0, 21972.25, id="off at 3"),
        pytest.param(False, -10.0, 5.0, 0.0, 8109.302, id="heater fails"),
    ],
)
def test_one_store_follows_the_closed_form(
    dt_s: float, heat: bool, outdoor_c: float, start_c: float, end_c: float, expected_s: float
) -> None:
    house = House(FIRST_ORDER, 1, start_c=start_c)
    sign = 1.0 if heat else -1.0

    took_s = seconds_until(
        house, lambda h: sign * (h.air_c - end_c) >= 0.0, dt_s=dt_s, heat=heat, outdoor_c=outdoor_c
    )

    # It is looked at once a step, and the heater lags by its shortest second.
    assert expected_s - 0.01 * expected_s <= took_s <= expected_s + dt_s + 0.01 * expected_s


def test_hysteresis_cycles_at_the_period_duty_and_mean_of_the_closed_form() -> None:
    house, heat, dt_s = House(FIRST_ORDER, 1, start_c=4.0), True, 1.0
    starts_s, on_s, sum_c, steps = [0.0], 0.0, 0.0, 0
    while len(starts_s) < 11:
        if heat and house.air_c >= 6.0:
            heat = False
        elif not heat and house.air_c <= 4.0:
            heat = True
            starts_s.append(house.elapsed_s)
        house.advance(dt_s, heat, -10.0)
        on_s += dt_s * heat
        sum_c, steps = sum_c + house.air_c, steps + 1

    period_s = starts_s[-1] / 10
    assert period_s == pytest.approx(3813.796, rel=0.01)
    assert on_s / house.elapsed_s == pytest.approx(0.2997455, rel=0.01)
    assert sum_c / steps == pytest.approx(4.98728, abs=0.03)


@pytest.mark.parametrize("dt_s", STEPS_S)
def test_air_and_water_cool_like_the_eigensolution(dt_s: float) -> None:
    # Air 400 kJ/K, 20 W/K to -10 °C; water 200 kg x 4186 J/(kg K), 8 W/K to the air; air 5, water 8 °C.
    # Eigenvalues, agreed with scipy to 1e-8: air reaches 0 °C after 2.77793 h, water after 27.99668 h.
    parameters = replace(FIRST_ORDER, pipe_water_kg=200.0 * 4186.0 / WATER_J_KGK, pipe_air_w_k=8.0)
    house = House(parameters, 1, start_c=5.0, water_c=8.0)

    air_s = seconds_until(house, lambda h: h.air_c <= 0.0, dt_s=dt_s, heat=False, outdoor_c=-10.0)
    water_s = air_s + seconds_until(house, lambda h: h.pipe_c <= 0.0, dt_s=dt_s, heat=False, outdoor_c=-10.0)

    assert air_s == pytest.approx(2.77793 * 3600.0, abs=dt_s + 2.0)
    assert water_s == pytest.approx(27.99668 * 3600.0, abs=dt_s + 30.0)


@pytest.mark.parametrize("dt_s", STEPS_S)
def test_freezing_lasts_mass_times_heat_of_fusion_over_heat_flow(dt_s: float) -> None:
    # 333.43 kJ/kg: IAPWS-95 less IAPWS R10-06; ASHRAE Handbook - Fundamentals 2021, ch. 1, table 3.
    house = House(PLATEAU, 1, start_c=-10.0, water_c=0.5)
    seconds_until(house, lambda h: h.ice_share > 0.0, dt_s=dt_s, heat=False, outdoor_c=-10.0)

    assert house.pipe_c == 0.0
    froze_s = seconds_until(house, lambda h: h.pipe_c < 0.0, dt_s=dt_s, heat=False, outdoor_c=-10.0)

    assert house.ice_share == 1.0
    assert froze_s == pytest.approx(2.0 * 333_430.0 / (5.0 * 10.0), abs=2 * dt_s)


def test_ice_thaws_at_the_same_zero_and_takes_as_long() -> None:
    house = House(PLATEAU, 1, start_c=10.0, water_c=-0.5)
    seconds_until(house, lambda h: h.pipe_c == 0.0, dt_s=10.0, heat=False, outdoor_c=10.0)

    thawed_s = seconds_until(house, lambda h: h.ice_share == 0.0, dt_s=10.0, heat=False, outdoor_c=10.0)

    assert thawed_s == pytest.approx(2.0 * 333_430.0 / (5.0 * 10.0), abs=20.0)


@pytest.mark.parametrize(
    ("water_c", "outdoor_c", "j_kgk"),
    [pytest.param(5.0, 5.5, WATER_J_KGK, id="water"), pytest.param(-5.0, -5.5, ICE_J_KGK, id="ice")],
)
def test_water_and_ice_hold_their_own_heat(water_c: float, outdoor_c: float, j_kgk: float) -> None:
    house = House(PLATEAU, 1, start_c=outdoor_c, water_c=water_c)

    house.advance(10.0, False, outdoor_c)

    flow_w = 5.0 * (outdoor_c - water_c)
    assert house.pipe_c - water_c == pytest.approx(10.0 * flow_w / (2.0 * j_kgk), rel=1e-3)


def test_the_heats_of_water_and_ice_are_the_published_ones() -> None:
    # J/(kg K). Ice at -10 °C: 2030, CRC Handbook, more when warmer; water at 5 and 0 °C: IAPWS-95.
    assert 2030.0 < ICE_J_KGK < 2110.0
    assert 4205.0 < WATER_J_KGK < 4219.4


@pytest.mark.parametrize("name", HOUSES)
def test_in_a_sealed_house_no_heat_is_made_or_lost(name: str) -> None:
    """Through freezing, thawing and a lagging heater the stores gain what the meter counts, exactly."""
    sealed = replace(
        HOUSES[name],
        upper_outdoor_w_k=0.0,
        lower_outdoor_w_k=0.0,
        envelope_outdoor_w_k=0.0,
        contents_ground_w_k=0.0,
        pipe_envelope_w_k=0.3,
    )
    house = House(sealed, 3, start_c=-3.0, water_c=0.2)
    before_j, had_ice = house.stored_j, False

    for step in range(4000):
        house.advance(10.0, step // 50 % 2 == 1, -20.0)
        had_ice = had_ice or house.ice_share > 0.0

    assert had_ice
    assert house.energy_kwh == pytest.approx(sealed.heater_w * 20_000.0 / 3.6e6)
    assert house.stored_j - before_j == pytest.approx(house.energy_kwh * 3.6e6, rel=1e-9)


@pytest.mark.parametrize("name", HOUSES)
def test_what_an_open_house_loses_is_its_conductances_times_its_differences(name: str) -> None:
    parameters = replace(HOUSES[name], gust_share=0.0, spread_share=0.0, pipe_envelope_w_k=0.2)
    house, outdoor_c, lost_j = House(parameters, 1, start_c=3.0), -12.0, 0.0
    before_j = house.stored_j

    def loss_w() -> float:
        return (
            parameters.upper_outdoor_w_k * (house.upper_c - outdoor_c)
            + parameters.lower_outdoor_w_k * (house.lower_c - outdoor_c)
            + parameters.envelope_outdoor_w_k * (house.envelope_c - outdoor_c)
            + parameters.contents_ground_w_k * (house.contents_c - parameters.ground_c)
        )

    for step in range(6 * 360):
        first_w = loss_w()
        house.advance(10.0, step % 360 < 120, outdoor_c)
        lost_j += 10.0 * (first_w + loss_w()) / 2  # trapezium: the only error in here

    gained_j = house.stored_j - before_j
    assert gained_j + lost_j == pytest.approx(house.energy_kwh * 3.6e6, rel=1e-3)


@given(
    name=st.sampled_from(sorted(HOUSES)),
    seed=st.integers(0, 1000),
    dt_s=st.sampled_from([1.0, 2.5, 10.0, 60.0]),
    hours=st.lists(st.tuples(st.booleans(), st.floats(-40.0, 30.0)), min_size=1, max_size=8),
    start_c=st.floats(-20.0, 30.0),
)
@settings(deadline=None, max_examples=60)
def test_no_weather_and_no_switching_makes_the_impossible(
    name: str, seed: int, dt_s: float, hours: list[tuple[bool, float]], start_c: float
) -> None:
    """Unheated it stays between the coldest and the warmest it has met; heat only adds; ice is a share."""
    house, unheated = (House(HOUSES[name], seed, start_c=start_c) for _ in range(2))
    met_c = [start_c, HOUSES[name].ground_c, *(outdoor_c for _, outdoor_c in hours)]
    for heat, outdoor_c in hours:
        for _ in range(round(3600.0 / dt_s)):
            house.advance(dt_s, heat, outdoor_c)
            unheated.advance(dt_s, False, outdoor_c)

        assert 0.0 <= house.ice_share <= unheated.ice_share <= 1.0
        assert 0.0 <= house.humidity_pct <= 100.0
        for cold_c, warm_c in (
            (unheated.upper_c, house.upper_c),
            (unheated.lower_c, house.lower_c),
            (unheated.envelope_c, house.envelope_c),
            (unheated.contents_c, house.contents_c),
            (unheated.pipe_c, house.pipe_c),
        ):
            assert min(met_c) - 1e-6 <= cold_c <= max(met_c) + 1e-6
            assert cold_c <= warm_c + 1e-6


def test_warm_air_rises_and_the_sensor_reads_its_own_height() -> None:
    parameters = replace(HOUSES["leaky metal shed"], sensor_height_share=0.25)
    house = House(parameters, 1)
    for _ in range(360):
        house.advance(10.0, True, -10.0)

    assert house.upper_c > house.lower_c + 1.0
    assert house.air_c == pytest.approx(0.75 * house.lower_c + 0.25 * house.upper_c)


def test_a_pipe_on_the_outer_wall_freezes_though_the_air_by_the_sensor_does_not() -> None:
    free = HOUSES["uninsulated block house"]
    on_wall = replace(free, pipe_air_w_k=0.0, pipe_envelope_w_k=free.pipe_air_w_k)
    ice = []
    for parameters in (free, on_wall):
        house, heat = House(parameters, 2, start_c=4.0), False
        for _ in range(5 * 8640):
            heat = house.air_c <= 2.2 or (heat and house.air_c < 4.4)
            house.advance(10.0, heat, -14.0)
        ice.append(house.ice_share)

    assert ice[0] == 0.0
    assert ice[1] > 0.5


def test_the_heater_warms_up_and_cools_down_by_its_lag() -> None:
    house = House(HOUSES["brick house with oil heater"], 1)
    for _ in range(90):
        house.advance(10.0, True, 0.0)
    warm_w = house.heater_w
    for _ in range(90):
        house.advance(10.0, False, 0.0)

    # After one time constant of 900 s: 1 - 1/e, then 1/e of that.
    assert warm_w == pytest.approx(1000.0 * (1.0 - math.exp(-1.0)))
    assert house.heater_w == pytest.approx(warm_w * math.exp(-1.0))


def test_moisture_follows_outdoors_at_the_pace_of_the_draught() -> None:
    # 200 W hold 10 °C against 0 °C; 611.15 and 1228.2 Pa: ASHRAE Fundamentals 2021, ch. 1, table 3.
    parameters = replace(FIRST_ORDER, heater_w=200.0, outdoor_humidity_pct=80.0, damp_pa=0.0)
    house, settled_pct = House(parameters, 1, start_c=10.0), 80.0 * 611.15 / 1228.2
    for _ in range(360):
        house.advance(10.0, True, 0.0)
    hour_pct = house.humidity_pct
    for _ in range(10 * 360):
        house.advance(10.0, True, 0.0)

    assert hour_pct == pytest.approx(settled_pct + (80.0 - settled_pct) / math.e, rel=0.005)
    assert house.humidity_pct == pytest.approx(settled_pct, rel=0.005)

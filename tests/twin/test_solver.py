"""The house against scipy's solver on its own equations, written anew: within 1 %."""

from dataclasses import replace

import pytest

from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from overwinter.twin.parameters import HouseParameters
from overwinter.twin.pump import Pump

scipy_integrate = pytest.importorskip("scipy.integrate", reason="scipy is not installed")

FUSION_J_KG, WATER_J_KGK, ICE_J_KGK = 333_430.0, 4210.0, 2096.7
HOURS = 48.0


def pipe_c(made: HouseParameters, joule: float) -> float:
    if joule >= 0.0:
        return joule / (made.pipe_water_kg * WATER_J_KGK + made.pipe_metal_j_k)
    solid_j = -made.pipe_water_kg * FUSION_J_KG
    if joule >= solid_j:
        return 0.0
    return (joule - solid_j) / (made.pipe_water_kg * ICE_J_KGK + made.pipe_metal_j_k)


def rates(made: HouseParameters, y: list[float], power_w: float, outdoor_c: float) -> list[float]:
    """Six balances of heat, straight from the drawing; the last is the pipe's heat content."""
    upper, lower, envelope, contents, heater_w, joule = y
    pipe = pipe_c(made, joule)
    mixing = made.mixing_w_k * (lower - upper)
    to_air = made.heater_to_air_share * heater_w
    up_wall = made.upper_envelope_w_k * (envelope - upper)
    low_wall = made.lower_envelope_w_k * (envelope - lower)
    low_things = made.contents_air_w_k * (contents - lower)
    pipe_air = made.pipe_air_w_k * (lower - pipe)
    pipe_wall = made.pipe_envelope_w_k * (envelope - pipe)
    return [
        (mixing + made.upper_outdoor_w_k * (outdoor_c - upper) + up_wall + to_air) / made.upper_j_k,
        (-mixing + made.lower_outdoor_w_k * (outdoor_c - lower) + low_wall + low_things - pipe_air)
        / made.lower_j_k,
        (-up_wall - low_wall + made.envelope_outdoor_w_k * (outdoor_c - envelope) - pipe_wall)
        / made.envelope_j_k,
        (-low_things + made.contents_ground_w_k * (made.ground_c - contents) + heater_w - to_air)
        / made.contents_j_k,
        (power_w - heater_w) / made.heater_lag_s,
        pipe_air + pipe_wall,
    ]


@pytest.mark.parametrize("dt_s", [10.0, 60.0])
@pytest.mark.parametrize("name", HOUSES)
def test_two_days_of_heat_and_of_none_are_as_the_solver_has_them(name: str, dt_s: float) -> None:
    """Half a day of heat, a day without (the pipe freezes), half a day of heat (it thaws)."""
    drawn = replace(HOUSES[name], gust_share=0.0, spread_share=0.0)
    outdoor_c, start_c = -15.0, 6.0
    house = House(drawn, 1, start_c=start_c)
    pipe_j = start_c * (drawn.pipe_water_kg * WATER_J_KGK + drawn.pipe_metal_j_k)
    y = [start_c] * 4 + [0.0, pipe_j]
    furthest_k, ice_off = 0.0, 0.0
    for hour in range(int(HOURS)):
        heat = not 12 <= hour < 36
        for _ in range(round(3600.0 / dt_s)):
            house.advance(dt_s, heat, outdoor_c)
        power_w = drawn.heater_w if heat else 0.0
        solved = scipy_integrate.solve_ivp(
            lambda _, now, power_w=power_w: rates(drawn, now, power_w, outdoor_c),
            (0.0, 3600.0),
            y,
            method="LSODA",
            rtol=1e-8,
            atol=1e-6,
            max_step=60.0,
        )
        y = list(solved.y[:, -1])
        mine = (house.upper_c, house.lower_c, house.envelope_c, house.contents_c, house.pipe_c)
        theirs = (*y[:4], pipe_c(drawn, y[5]))
        furthest_k = max(furthest_k, *(abs(a - b) for a, b in zip(mine, theirs, strict=True)))
        ice = min(max(-y[5] / (drawn.pipe_water_kg * FUSION_J_KG), 0.0), 1.0)
        ice_off = max(ice_off, abs(house.ice_share - ice))

    # 1 % of the 21 K between start and outdoors, and of all the ice.
    assert furthest_k < 0.01 * (start_c - outdoor_c)
    assert ice_off < 0.01


@pytest.mark.parametrize("dt_s", [10.0, 60.0])
@pytest.mark.parametrize("name", HOUSES)
def test_two_days_of_sun_and_pump_runs_are_as_the_solver_has_them(name: str, dt_s: float) -> None:
    """Ten minutes of pump every two hours, sun by day; what froze between is melted by the well."""
    drawn = replace(HOUSES[name], gust_share=0.0, spread_share=0.0)
    pump, outdoor_c, start_c = Pump(), -15.0, 4.0
    house = House(drawn, 1, start_c=start_c)
    pipe_j = start_c * (drawn.pipe_water_kg * WATER_J_KGK + drawn.pipe_metal_j_k)
    y = [start_c] * 4 + [0.0, pipe_j]
    furthest_k, ice_off, flow_w_k = 0.0, 0.0, pump.flow_kg_s * WATER_J_KGK
    solid_j = -drawn.pipe_water_kg * FUSION_J_KG

    def rates_with(now: list[float], *, sun_w: float, is_running: bool, is_blocked: bool) -> list[float]:
        changes = rates(drawn, now, 0.0, outdoor_c)
        changes[2] += sun_w / drawn.envelope_j_k
        if is_running:
            changes[3] += pump.motor_w / drawn.contents_j_k
        if is_running and not is_blocked:
            changes[3] += pump.tank_w_k * (pump.well_c - now[3]) / drawn.contents_j_k
            changes[5] += flow_w_k * (pump.well_c - pipe_c(drawn, now[5]))
        return changes

    for part in range(int(HOURS * 6)):
        is_running = part % 12 == 6
        sun_w = 400.0 if 48 <= part % 144 < 90 else 0.0
        for _ in range(round(600.0 / dt_s)):
            house.advance(dt_s, False, outdoor_c)
            house.gain(dt_s, sun_w=sun_w, pump=pump if is_running else None)
        is_blocked = y[5] <= solid_j
        solved = scipy_integrate.solve_ivp(
            lambda _, now, sun_w=sun_w, on=is_running, blocked=is_blocked: rates_with(
                now, sun_w=sun_w, is_running=on, is_blocked=blocked
            ),
            (0.0, 600.0),
            y,
            method="LSODA",
            rtol=1e-8,
            atol=1e-6,
            max_step=60.0,
        )
        y = list(solved.y[:, -1])
        mine = (house.upper_c, house.lower_c, house.envelope_c, house.contents_c, house.pipe_c)
        theirs = (*y[:4], pipe_c(drawn, y[5]))
        furthest_k = max(furthest_k, *(abs(a - b) for a, b in zip(mine, theirs, strict=True)))
        ice_off = max(ice_off, abs(house.ice_share - min(max(y[5] / solid_j, 0.0), 1.0)))

    assert furthest_k < 0.01 * (start_c - outdoor_c)
    assert ice_off < 0.01

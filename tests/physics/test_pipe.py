"""Time to 0 °C and to ice: what must always hold, an independent way to the same figures, and refusals."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import PipeSpec
from overwinter.physics.constants import ICE_W_MK, WATER_J_KGK, WATER_KG_M3
from overwinter.physics.film import draught_w_m2k, radiation_w_m2k, still_air_w_m2k
from overwinter.physics.pipe import (
    NEVER,
    cooling_h,
    freezing,
    freezing_h,
    latent_j_m,
    layer_m_kw,
    resistances_m_kw,
    surface_m_kw,
)
from overwinter.physics.ranges import Range

RISER = PipeSpec(
    name="riser", length_m=1.5, bore_m=0.026, outside_m=0.028, insulation_m=0.025, insulation_w_mk=0.035
)
SWITCH_LINE = PipeSpec(name="line to the pressure switch", length_m=0.3, bore_m=0.005, outside_m=0.00635)

bores_m = st.floats(min_value=0.004, max_value=0.1)
walls_m = st.floats(min_value=0.0005, max_value=0.006)
insulations_m = st.floats(min_value=0.0, max_value=0.1)
cold_c = st.floats(min_value=-50.0, max_value=-0.5)
water_c = st.floats(min_value=0.0, max_value=20.0)


def pipe(bore_m: float, wall_m: float, insulation_m: float) -> PipeSpec:
    return PipeSpec(
        name="pipe", length_m=None, bore_m=bore_m, outside_m=bore_m + 2 * wall_m, insulation_m=insulation_m
    )


@pytest.mark.parametrize(
    ("bore_m", "resistance_m_kw", "start_c", "air_c", "cool_h", "lumped_h", "shell_h"),
    [
        pytest.param(0.0136, 6.668, 5.0, -10.0, 0.458, 8.987, 9.035, id="15 mm copper, 25 mm"),
        pytest.param(0.02664, 3.407, 5.5, -28.0, 0.397, 6.291, 6.358, id="NPS 1, 25.4 mm"),
        pytest.param(0.05248, 3.890, 10.0, -20.0, 3.984, 39.066, 39.429, id="NPS 2, 50 mm"),
        pytest.param(0.0202, 1.809, 5.0, -10.0, 0.274, 5.377, 5.485, id="22 mm copper, bare"),
    ],
)
def test_four_pipes_that_were_reckoned_elsewhere(
    bore_m: float,
    resistance_m_kw: float,
    start_c: float,
    air_c: float,
    cool_h: float,
    lumped_h: float,
    shell_h: float,
) -> None:
    """The lumped balance and Stefan's inward solution, worked out outside this project with 1000 kg/m3,
    4200 J/kgK and 334 kJ/kg (so 0.3 % apart from ours): no publication, only another hand."""
    shell_alone_h = latent_j_m(bore_m) / (4.0 * math.pi * ICE_W_MK) / -air_c / 3600.0
    ours_h = freezing_h(bore_m=bore_m, resistance_m_kw=resistance_m_kw, air_c=air_c)

    assert cooling_h(
        bore_m=bore_m, resistance_m_kw=resistance_m_kw, water_c=start_c, air_c=air_c
    ) == pytest.approx(cool_h, rel=0.006)
    assert ours_h == pytest.approx(shell_h, rel=0.004)
    assert ours_h - shell_alone_h == pytest.approx(lumped_h, rel=0.004)
    assert shell_alone_h == pytest.approx(shell_h - lumped_h, abs=0.006)


def test_a_quarter_of_ice_agrees_with_a_finite_difference_run() -> None:
    """NPS 1 under 25.4 mm: 1.9724 h to 25 % by an enthalpy method run outside this project."""
    cool_h = cooling_h(bore_m=0.02664, resistance_m_kw=3.407, water_c=5.5, air_c=-28.0)
    quarter_h = freezing_h(bore_m=0.02664, resistance_m_kw=3.407, air_c=-28.0, share=0.25)

    assert cool_h + quarter_h == pytest.approx(1.9724, rel=0.004)


def test_cooling_agrees_with_small_steps_of_time() -> None:
    """Euler's method on the same balance: tells a slip in the closed form."""
    bore_m, resistance_m_kw, temperature_c, air_c, step_s = 0.0202, 1.809, 5.0, -10.0, 0.05
    stored_j_mk = WATER_KG_M3 * WATER_J_KGK * math.pi / 4.0 * bore_m**2
    elapsed_s = 0.0
    while temperature_c > 0.0:
        temperature_c += (air_c - temperature_c) / (resistance_m_kw * stored_j_mk) * step_s
        elapsed_s += step_s

    closed_h = cooling_h(bore_m=bore_m, resistance_m_kw=resistance_m_kw, water_c=5.0, air_c=air_c)
    assert elapsed_s / 3600.0 == pytest.approx(closed_h, rel=0.001)


def test_the_thin_bare_line_freezes_first() -> None:
    """The line to the pressure switch is at 0 °C within minutes, when the riser has more than an hour."""
    line = freezing(SWITCH_LINE, water_c=7.0, air_c=-12.0)
    riser = freezing(RISER, water_c=7.0, air_c=-12.0)

    assert line.start_h.high < 0.25 * riser.start_h.low
    assert line.solid_h.high < riser.start_h.best


@given(bores_m, walls_m, insulations_m, water_c, cold_c)
def test_solid_comes_after_the_start_and_ranges_hold(
    bore_m: float, wall_m: float, insulation_m: float, start_c: float, air_c: float
) -> None:
    found = freezing(pipe(bore_m, wall_m, insulation_m), water_c=start_c, air_c=air_c)

    for hours in (found.start_h, found.solid_h):
        assert 0.0 <= hours.low <= hours.best <= hours.high < math.inf
    assert found.solid_h.low > found.start_h.low
    assert found.solid_h.best > found.start_h.best
    assert found.solid_h.high > found.start_h.high


@given(bores_m, walls_m, insulations_m, st.floats(min_value=0.0005, max_value=0.05), cold_c)
def test_more_insulation_is_never_quicker(
    bore_m: float, wall_m: float, insulation_m: float, more_m: float, air_c: float
) -> None:
    """Also from none to a little, where the published method by itself would say the contrary."""
    thin = freezing(pipe(bore_m, wall_m, insulation_m), water_c=5.0, air_c=air_c)
    thick = freezing(pipe(bore_m, wall_m, insulation_m + more_m), water_c=5.0, air_c=air_c)

    assert thick.start_h.best >= thin.start_h.best
    assert thick.start_h.low >= thin.start_h.low


@given(bores_m, walls_m, insulations_m, water_c, cold_c, st.floats(min_value=0.5, max_value=10.0))
def test_colder_air_is_never_slower(
    bore_m: float, wall_m: float, insulation_m: float, start_c: float, air_c: float, colder_k: float
) -> None:
    one = pipe(bore_m, wall_m, insulation_m)
    mild = freezing(one, water_c=start_c, air_c=air_c)
    cold = freezing(one, water_c=start_c, air_c=air_c - colder_k)

    assert cold.start_h.best <= mild.start_h.best
    assert cold.solid_h.best < mild.solid_h.best


@given(bores_m, st.floats(min_value=0.1, max_value=30.0), cold_c, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_ice_takes_longer(
    bore_m: float, resistance_m_kw: float, air_c: float, one: float, other: float
) -> None:
    def hours(share: float) -> float:
        return freezing_h(bore_m=bore_m, resistance_m_kw=resistance_m_kw, air_c=air_c, share=share)

    assert hours(min(one, other)) <= hours(max(one, other))
    assert hours(0.0) == 0.0


@pytest.mark.parametrize("air_c", [0.0, 0.1, 20.0])
def test_air_that_is_not_below_zero_never_freezes_it(air_c: float) -> None:
    found = freezing(RISER, water_c=5.0, air_c=air_c)

    assert found.start_h == found.solid_h == NEVER
    assert cooling_h(bore_m=0.02, resistance_m_kw=1.0, water_c=5.0, air_c=air_c) == math.inf
    assert freezing_h(bore_m=0.02, resistance_m_kw=1.0, air_c=air_c) == math.inf


def test_water_that_is_at_zero_already_has_no_time_left() -> None:
    assert freezing(RISER, water_c=0.0, air_c=-5.0).start_h == Range(best=0.0, low=0.0, high=0.0)


def test_a_draught_takes_more_than_still_air() -> None:
    still = still_air_w_m2k(diameter_m=0.022, surface_c=0.0, air_c=-10.0, emissivity=0.8)

    def blown(speed_m_s: float) -> float:
        return draught_w_m2k(
            diameter_m=0.022, speed_m_s=speed_m_s, surface_c=0.0, air_c=-10.0, emissivity=0.8
        )

    assert blown(0.0) == still
    assert still < blown(0.5) < blown(1.0) < blown(5.0)


def test_a_bare_pipes_resistance_is_its_film() -> None:
    film_w_m2k = still_air_w_m2k(diameter_m=0.00635, surface_c=0.0, air_c=-10.0, emissivity=0.8)
    found = resistances_m_kw(SWITCH_LINE, air_c=-10.0)

    assert found.best == pytest.approx(surface_m_kw(outside_m=0.00635, film_w_m2k=film_w_m2k))
    assert found.low < found.best


def test_an_insulated_pipes_resistance_is_its_insulation() -> None:
    insulation = layer_m_kw(bore_m=0.028, outside_m=0.078, conductivity_w_mk=0.035)
    found = resistances_m_kw(RISER, air_c=-10.0)

    assert found.best == pytest.approx(insulation)
    assert found.low == pytest.approx(0.8 * insulation)
    assert found.high > found.best


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        pytest.param(lambda: freezing(RISER, water_c=-0.1, air_c=-5.0), "water_c", id="ice at the start"),
        pytest.param(lambda: freezing(RISER, water_c=math.nan, air_c=-5.0), "water_c", id="no water"),
        pytest.param(lambda: freezing(RISER, water_c=5.0, air_c=-91.0), "air_c", id="air too cold"),
        pytest.param(lambda: freezing(RISER, water_c=5.0, air_c=61.0), "air_c", id="air too hot"),
        pytest.param(
            lambda: freezing(replace(RISER, outside_m=0.02), water_c=5.0, air_c=-5.0),
            "outside_m",
            id="no wall",
        ),
        pytest.param(
            lambda: freezing(replace(RISER, insulation_m=-0.01), water_c=5.0, air_c=-5.0),
            "insulation_m",
            id="insulation below nothing",
        ),
        pytest.param(
            lambda: freezing(replace(RISER, insulation_w_mk=0.0), water_c=5.0, air_c=-5.0),
            "conductivity_w_mk",
            id="perfect insulation",
        ),
        pytest.param(
            lambda: freezing_h(bore_m=0.02, resistance_m_kw=1.0, air_c=-5.0, share=1.1), "share", id="share"
        ),
        pytest.param(
            lambda: cooling_h(bore_m=0.0, resistance_m_kw=1.0, water_c=5.0, air_c=-5.0),
            "bore_m",
            id="no bore",
        ),
        pytest.param(lambda: latent_j_m(0.0), "bore_m", id="no water to freeze"),
        pytest.param(lambda: surface_m_kw(outside_m=0.02, film_w_m2k=0.0), "film_w_m2k", id="no film"),
        pytest.param(
            lambda: radiation_w_m2k(surface_c=0.0, air_c=0.0, emissivity=1.1), "emissivity", id="emissivity"
        ),
        pytest.param(lambda: Range(best=3.0, low=1.0, high=2.0), "best", id="best guess outside its range"),
    ],
)
def test_a_figure_out_of_range_is_refused_by_name(wrong: Callable[[], object], named: str) -> None:
    with pytest.raises(ValueError, match=rf"{named} = .*: must be"):
        wrong()

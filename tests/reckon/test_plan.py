"""The figures of a plan: a hut by hand, published examples, and what holds for any site."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Building, BuildingPart, Circuit, HeaterSpec, PipeSpec, Settings, Site
from overwinter.core.units import c_from_f
from overwinter.reckon.facts import facts
from overwinter.reckon.plan import Band, Outdoors, plan
from tests.reckon.houses import BARE, HUT, HUT_W_K, LINE, RISER, SITE, sites

BAND = Band(low_c=2.0, high_c=4.0, source="asked")


def weather(*temperatures_c: float, step_h: float = 1.0) -> Outdoors:
    return Outdoors(name="test", temperatures_c=temperatures_c, step_h=step_h)


# --- by hand ------------------------------------------------------------------------------------------------


def test_the_hut_by_hand() -> None:
    """11.30047 W/K: 22 K ask for 248.61 W, and 200 W carry 17.698 K, so down to -15.70 C."""
    found = plan(SITE, band=BAND)

    assert found.ua_w_k == pytest.approx(HUT_W_K, abs=1e-4)
    assert found.loss_w == pytest.approx(248.610, abs=1e-2)
    assert found.heater_limit_c == pytest.approx(-15.698, abs=1e-3)
    assert found.is_heater_enough is False
    assert plan(replace(SITE, heater=HeaterSpec(watts=249.0)), band=BAND).is_heater_enough is True


def test_a_winter_by_hand() -> None:
    """Held are 3 C: 10 h at -7, 1 and 20 C are 120 K h; 60 F are 15.5556 C: 225.556 + 145.556 K h."""
    found = plan(SITE, band=BAND, outdoors=weather(*[-7.0] * 10, *[1.0] * 10, *[20.0] * 10)).winter

    assert found is not None
    assert found.kwh == pytest.approx(120.0 * HUT_W_K / 1000.0, abs=1e-6)
    assert found.held_kwh == pytest.approx(371.1111 * HUT_W_K / 1000.0, abs=1e-4)
    assert found.held_kwh is not None
    assert found.cost == pytest.approx(0.25 * found.kwh)
    assert found.saved_cost == pytest.approx(0.25 * (found.held_kwh - found.kwh))
    assert (found.hours, found.heating_h, found.coldest_c, found.short_h) == (30.0, 20.0, -7.0, 0.0)


def test_the_hours_that_are_too_cold_are_counted_with_what_is_wanting() -> None:
    """-18 C is 2.302 K below the limit for the low end: 5 x 2.302 x 11.30047 Wh."""
    found = plan(SITE, band=BAND, outdoors=weather(*[-18.0] * 5, *[-15.0] * 20)).winter

    assert found is not None
    assert found.short_h == 5.0
    assert found.short_kwh == pytest.approx(5.0 * 2.302 * HUT_W_K / 1000.0, abs=1e-4)
    assert found.kwh == pytest.approx((5.0 * 21.0 + 20.0 * 18.0) * HUT_W_K / 1000.0, abs=1e-6)


def test_readings_every_quarter_of_an_hour_count_a_quarter() -> None:
    hourly = plan(SITE, band=BAND, outdoors=weather(*[-5.0] * 24)).winter
    quarterly = plan(SITE, band=BAND, outdoors=weather(*[-5.0] * 96, step_h=0.25)).winter

    assert hourly is not None
    assert quarterly is not None
    assert quarterly.kwh == pytest.approx(hourly.kwh)


def test_degree_days_give_energy_but_not_what_60_f_would_take() -> None:
    found = plan(SITE, band=BAND, degree_days_kd=100.0).winter

    assert found is not None
    assert found.kwh == pytest.approx(2.4 * HUT_W_K)
    assert found.cost == pytest.approx(0.6 * HUT_W_K)
    assert (found.held_kwh, found.saved_kwh, found.saved_cost) == (None, None, None)
    assert plan(SITE, band=BAND, degree_days_kd=100.0).savings[0].saved_kwh == pytest.approx(
        8.99023, abs=1e-4
    )


def test_the_relay_lasts_as_long_as_its_pace_lets_it() -> None:
    """6 x 1300.47 x 3.6 J/K of air and 8000 x 6 x 3.6^(2/3) of lining, 2 K wide, 200 W."""
    contact = plan(SITE, band=BAND).contact

    assert contact is not None
    heat_j_k = 6.0 * 1300.47 * 3.6 + 8000.0 * 6.0 * 3.6 ** (2 / 3)
    assert contact.cycles_h == pytest.approx(3600.0 * 200.0 / (4.0 * heat_j_k * 2.0), rel=1e-4)
    assert contact.life_years == pytest.approx(100_000 / (contact.cycles_h * 4000.0))


def test_blind_heat_is_judged_with_a_house_that_loses_less_than_reckoned() -> None:
    blind = plan(SITE, band=BAND, settings=Settings(blind_duty=0.5, ceiling_c=20.0)).blind

    assert blind is not None
    assert blind.rise_k == pytest.approx(100.0 / (0.7 * HUT_W_K), rel=1e-5)
    assert blind.outdoor_limit_c == pytest.approx(20.0 - blind.rise_k)


# --- published ----------------------------------------------------------------------------------------------


def test_the_house_of_the_handbook_loses_what_is_printed() -> None:
    """2021 ASHRAE Handbook - Fundamentals, ch. 17 table 22, 23 K: each row within 1 W."""
    rows = {
        "ceiling": (195.3, 0.18, 809.0),
        "wall": (108.5, 0.51, 1273.0),
        "garage wall": (35.0, 0.51, 411.0),
        "doors": (3.8, 2.3, 201.0),
    }
    house = Building(
        design_outdoor_c=-3.0,
        parts=tuple(BuildingPart(name=name, area_m2=row[0], u_w_m2k=row[1]) for name, row in rows.items()),
    )
    found = plan(Site(building=house), band=Band(low_c=20.0, high_c=21.0, source="asked"))

    assert found.loss_w == pytest.approx(sum(row[2] for row in rows.values()), abs=2.0)
    for part in found.conductance.parts:
        assert part.ua_w_k * 23.0 == pytest.approx(rows[part.name][2], abs=1.0)
    assert not found.conductance.is_complete


def test_degree_days_as_in_the_handbook() -> None:
    """2021 ASHRAE Handbook - Fundamentals, ch. 19 example 1: 200 + 0.7 x 400 x 1210 / 3600 W/K, 3300 K d;
    there 33 200 kWh at an efficiency of 0.78 x 0.9, so 23 306 kWh of heat."""
    house = Building(parts=(BuildingPart(name="all", area_m2=100.0, u_w_m2k=(200.0 + 94.111) / 100.0),))
    winter = plan(Site(building=house), degree_days_kd=3300.0).winter

    assert winter is not None
    assert winter.kwh == pytest.approx(33_200.0 * 0.78 * 0.9, rel=1e-3)


def test_a_pipe_in_open_air_takes_the_printed_time() -> None:
    """2021 ASHRAE Handbook - Fundamentals, ch. 23 table 6: 50 mm pipe, 38 mm insulation, 5.5 to 0 C in -28 C,
    1.4 h; its insulation is really 40.35 mm thick (table 13)."""
    pipe = PipeSpec(
        name="NPS 2",
        length_m=None,
        bore_m=0.05248,
        outside_m=0.0603,
        insulation_m=0.04035,
        insulation_w_mk=0.0432,
    )
    site = Site(building=Building(design_outdoor_c=-28.0), pipes=(pipe,))
    (found,) = plan(site, band=Band(low_c=5.5, high_c=8.0, source="asked")).pipes

    assert found.open_air is not None
    assert found.open_air.start_h.best == pytest.approx(1.4, abs=0.06)
    assert found.in_room is None


def test_a_heater_on_a_breaker_as_in_the_code() -> None:
    """1500 W at 120 V take 12.5 A; 80 % of 15 A are 12 A (NEC's rule for continuous loads, as quoted)."""
    site = Site(heater=HeaterSpec(watts=1500.0), circuit=Circuit(volts=120.0, breaker_a=15.0))
    load = plan(site).circuit

    assert load is not None
    assert load.current_a == 12.5
    assert [problem.key for problem in load.problems] == ["circuit.breaker_a"]


def test_a_cold_lamp_draws_ten_times_its_current() -> None:
    """Omron, "Load Types & Ratings": 250 W at 120 V ask for a contact of 20.8 A."""
    assert plan(Site(heater=HeaterSpec(watts=250.0, kind="lamp"))).inrush_a == pytest.approx(20.83, abs=0.01)
    assert plan(Site(heater=HeaterSpec(watts=250.0, kind="air"))).inrush_a is None


# --- what is not known --------------------------------------------------------------------------------------


def test_of_nothing_only_the_band_is_known() -> None:
    found = plan(BARE)

    assert (found.band.low_c, found.band.high_c) == pytest.approx((c_from_f(36.0), c_from_f(40.0)))
    assert found.band.source == "advice"
    for figure in (
        found.ua_w_k,
        found.loss_w,
        found.heater_limit_c,
        found.winter,
        found.circuit,
        found.blind,
    ):
        assert figure is None
    assert (found.savings, found.pipes) == ((), ())
    assert set(found.missing) == {
        *("building", "heater.watts", "pipe", "circuit", "relay.rated_cycles", "tariff.per_kwh"),
        "--weather",
    }


def test_of_all_nothing_is_missing() -> None:
    assert plan(SITE, outdoors=weather(*[-5.0] * 24)).missing == ()


def test_without_the_whole_building_pipes_are_reckoned_from_the_pipe_alone() -> None:
    """A lower bound of the loss would promise more time than there is."""
    found = plan(replace(SITE, building=replace(HUT, air_changes_h=None)), band=BAND)

    assert found.room is None
    assert all(pipe.in_room is None for pipe in found.pipes)
    whole = plan(SITE, band=BAND)
    for alone, in_room in zip(found.outages, whole.outages, strict=True):
        for one, other in zip(alone.pipes, in_room.pipes, strict=True):
            assert one.start_h.best < other.start_h.best


def test_the_pipe_that_freezes_first_stands_first() -> None:
    assert [pipe.name for pipe in plan(SITE).pipes] == [LINE.name, RISER.name]


def test_a_cable_does_not_hold_the_room() -> None:
    found = plan(replace(SITE, heater=HeaterSpec(watts=200.0, kind="cable")), band=BAND)

    assert found.loss_w is not None
    assert (found.heater_limit_c, found.is_heater_enough, found.blind, found.contact) == (None,) * 4


# --- for any site -------------------------------------------------------------------------------------------

temperatures_c = st.lists(st.floats(min_value=-60.0, max_value=40.0), min_size=1, max_size=50)


@given(site=sites, outdoor_c=temperatures_c)
def test_any_site_has_a_plan_of_finite_figures(site: Site, outdoor_c: list[float]) -> None:
    found = plan(site, outdoors=weather(*outdoor_c))

    def see(value: object) -> None:
        if isinstance(value, dict):
            for inner in value.values():
                see(inner)
        elif isinstance(value, list):
            for inner in value:
                see(inner)
        elif isinstance(value, float):
            assert math.isfinite(value)

    see(facts(found))
    assert len(found.outages) == 4


@given(site=sites, outdoor_c=temperatures_c, factor=st.floats(min_value=0.1, max_value=1.0))
def test_more_insulation_never_costs_more_energy_nor_raises_the_limit(
    site: Site, outdoor_c: list[float], factor: float
) -> None:
    if site.building is None or not site.building.parts:
        site = replace(site, building=HUT)
    assert site.building is not None
    better_parts = tuple(
        replace(part, u_w_m2k=factor * part.u_w_m2k) if part.u_w_m2k is not None else part
        for part in site.building.parts
    )
    better = replace(site, building=replace(site.building, parts=better_parts))
    as_is, insulated = (plan(one, band=BAND, outdoors=weather(*outdoor_c)) for one in (site, better))

    assert as_is.winter is not None
    assert insulated.winter is not None
    assert insulated.winter.kwh <= as_is.winter.kwh
    if as_is.heater_limit_c is not None and insulated.heater_limit_c is not None:
        assert insulated.heater_limit_c <= as_is.heater_limit_c


@given(site=sites, colder_k=st.floats(min_value=0.0, max_value=20.0))
def test_a_colder_design_never_asks_for_less_nor_moves_the_limit(site: Site, colder_k: float) -> None:
    building = replace(site.building or HUT, design_outdoor_c=-20.0)
    mild = plan(replace(site, building=building), band=BAND)
    cold = plan(replace(site, building=replace(building, design_outdoor_c=-20.0 - colder_k)), band=BAND)

    assert cold.heater_limit_c == mild.heater_limit_c
    if mild.loss_w is not None and cold.loss_w is not None:
        assert cold.loss_w >= mild.loss_w
    assert not (cold.is_heater_enough and mild.is_heater_enough is False)


@given(site=sites)
def test_the_heater_is_enough_exactly_where_its_limit_is_not_warmer_than_the_design(site: Site) -> None:
    found = plan(site, band=BAND)

    if found.is_heater_enough is None:
        return
    assert found.heater_limit_c is not None
    assert found.design_c is not None
    if abs(found.heater_limit_c - found.design_c) > 1e-6 and found.design_c < BAND.low_c:
        assert found.is_heater_enough == (found.heater_limit_c < found.design_c)

"""Which band is advised, why, and whether it keeps simulated pipes from freezing."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import (
    Building,
    BuildingPart,
    HeaterSpec,
    RelaySpec,
    Role,
    SensorSpec,
    Settings,
    Site,
)
from overwinter.core.units import Unit, c_from_f, f_from_c
from overwinter.physics.advice import (
    FREEZE_LOW_C,
    advise,
    cycle_heat_j_k,
    low_end_c,
    on_wall_low_end_c,
    rounded_up_c,
    sag_k,
    width_k,
)
from overwinter.physics.cycle import fastest_cycles_h
from overwinter.physics.envelope import heater_limit_c, ua_w_k
from overwinter.settings.schema import LOW_SAFE_C
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES

ORDINARY = Site(sensors=(SensorSpec(name="by the pump", role=Role.CONTROL, kind="dht22"),))

DRAWN: dict[str, tuple[float, float, float, float]] = {
    # volume, area, U, air changes: the builder's words of twin/houses.py, as an owner would write them
    "insulated box": (1.0, 6.0, 0.7, 0.5),
    "insulated shed": (13.8, 33.0, 0.4, 0.5),
    "timber shed": (15.0, 36.0, 0.9, 1.5),
    "leaky metal shed": (12.0, 32.0, 2.0, 4.0),
    "uninsulated block house": (18.0, 42.0, 2.0, 1.0),
    "brick house with oil heater": (20.0, 45.0, 0.9, 0.7),
    "underground vault": (8.0, 7.0, 1.5, 0.5),
}


def site_of(house: str, outdoor_c: float) -> Site:
    volume_m3, area_m2, u_w_m2k, air_changes_h = DRAWN[house]
    return replace(
        ORDINARY,
        heater=HeaterSpec(watts=HOUSES[house].heater_w),
        relay=RelaySpec(rated_cycles=100_000),
        building=Building(
            volume_m3=volume_m3,
            air_changes_h=air_changes_h,
            design_outdoor_c=outdoor_c,
            parts=(BuildingPart(name="walls and roof", area_m2=area_m2, u_w_m2k=u_w_m2k),),
        ),
    )


def outdoor_within_reach_c(house: str) -> float:
    """The coldest that its heater still masters with 3 K to spare, but no colder than -20 °C."""
    building = site_of(house, -20.0).building
    assert building is not None
    total_w_k = ua_w_k(building).total_w_k
    assert total_w_k is not None
    limit_c = heater_limit_c(ua_w_k=total_w_k, inside_c=5.0, watts=HOUSES[house].heater_w)
    return max(-20.0, limit_c + 3.0)


def live(house: str, *, low_c: float, high_c: float, outdoor_c: float, on_wall: bool) -> tuple[float, int]:
    """Most ice in the pipe, and how often heat came on: three steady days, a sensor that reads 0.5 K high."""
    drawn = HOUSES[house]
    pipe_w_k = drawn.pipe_air_w_k + drawn.pipe_envelope_w_k
    built = House(
        replace(
            drawn,
            gust_share=0.0,
            spread_share=0.0,
            pipe_air_w_k=0.0 if on_wall else pipe_w_k,
            pipe_envelope_w_k=pipe_w_k if on_wall else 0.0,
        ),
        seed=1,
        start_c=(low_c + high_c) / 2.0,
    )
    heat, felt_c, ice, switched = False, built.air_c, 0.0, 0
    for step in range(3 * 8640):
        built.advance(10.0, heat, outdoor_c)
        felt_c += (built.air_c + 0.5 - felt_c) * (10.0 / 60.0)
        if step % 6 == 0:
            if felt_c <= low_c and not heat:
                heat, switched = True, switched + 1
            elif felt_c >= high_c:
                heat = False
        ice = max(ice, built.ice_share)
    return ice, switched


@pytest.mark.parametrize("house", DRAWN)
def test_the_advised_band_keeps_a_pipe_by_the_sensor_from_freezing(house: str) -> None:
    outdoor_c = outdoor_within_reach_c(house)
    advice = advise(site_of(house, outdoor_c))

    ice, switched = live(house, low_c=advice.low_c, high_c=advice.high_c, outdoor_c=outdoor_c, on_wall=False)

    assert ice == 0.0
    assert c_from_f(36.0) - 1e-9 <= advice.low_c <= c_from_f(38.0) + 1e-9
    assert switched / 3 < 60  # short cycling is told from 60 a day on


@pytest.mark.parametrize("house", [house for house in DRAWN if house != "uninsulated block house"])
def test_the_advised_low_end_keeps_a_pipe_on_the_outer_wall_from_freezing(house: str) -> None:
    """Not the block house, whose heater cannot hold what its wall asks for (no band protects it)."""
    outdoor_c = max(-10.0, outdoor_within_reach_c(house))
    low_c = advise(site_of(house, outdoor_c)).on_wall_low_c
    assert low_c is not None

    ice, _ = live(house, low_c=low_c, high_c=low_c + 2.2, outdoor_c=outdoor_c, on_wall=True)

    assert ice == 0.0


@pytest.mark.parametrize("house", ["insulated shed", "underground vault"])
def test_a_low_end_of_32_f_would_freeze_it(house: str) -> None:
    """That these houses can freeze: at the outdoors of the test above, with the sensor 0.5 K high."""
    ice, _ = live(house, low_c=0.0, high_c=2.2, outdoor_c=outdoor_within_reach_c(house), on_wall=True)

    assert ice > 0.0


def test_the_default_band_comes_out_of_an_ordinary_site() -> None:
    advice = advise(ORDINARY)

    assert (advice.low_c, advice.high_c) == pytest.approx((Settings().low_c, Settings().high_c))
    assert (f_from_c(advice.low_c), f_from_c(advice.high_c)) == pytest.approx((36.0, 40.0))
    assert "not described" in " ".join(advice.why)
    assert advice.on_wall_low_c is None
    assert advice.cautions


def test_a_sensor_on_the_pipe_needs_less_than_one_in_the_air() -> None:
    (sensor,) = ORDINARY.sensors
    on_pipe = advise(replace(ORDINARY, sensors=(replace(sensor, at="pipe"),)))

    assert f_from_c(on_pipe.low_c) == pytest.approx(35.0)
    assert on_pipe.low_c < advise(ORDINARY).low_c


def test_the_worst_control_sensor_decides_and_no_other() -> None:
    (good,) = ORDINARY.sensors
    coarse = replace(good, name="coarse", kind="dht11")

    assert advise(replace(ORDINARY, sensors=(good, coarse))).low_c == pytest.approx(
        advise(replace(ORDINARY, sensors=(coarse,))).low_c
    )
    only_watched = replace(coarse, role=Role.EXTRA)
    assert advise(replace(ORDINARY, sensors=(good, only_watched))).low_c == advise(ORDINARY).low_c


def test_a_coarse_sensor_asks_for_more() -> None:
    """A DHT11: 2 K and whole degrees, so 2.5 K instead of 0.55."""
    (sensor,) = ORDINARY.sensors
    coarse = advise(replace(ORDINARY, sensors=(replace(sensor, kind="dht11"),)))

    assert f_from_c(coarse.low_c) == pytest.approx(40.0)


def test_a_strong_heater_in_a_small_room_asks_for_a_wider_band() -> None:
    building = Building(volume_m3=1.0)
    strong = advise(replace(ORDINARY, building=building, heater=HeaterSpec(watts=3000.0)))

    assert strong.high_c - strong.low_c > 4.0
    assert "cycles an hour" in " ".join(strong.why)


def test_a_short_lived_relay_asks_for_a_wider_band() -> None:
    building, heater = Building(volume_m3=3.0), HeaterSpec(watts=1500.0)
    durable = advise(replace(ORDINARY, building=building, heater=heater))
    short = advise(replace(ORDINARY, building=building, heater=heater, relay=RelaySpec(rated_cycles=20_000)))

    assert short.high_c > durable.high_c


@pytest.mark.parametrize(
    ("u_w_m2k", "told"),
    [
        pytest.param(7.5, "no band protects it", id="tin"),
        pytest.param(5.0, "freezes with any sensible band", id="a board"),
    ],
)
def test_a_wall_that_is_hardly_one_is_told(u_w_m2k: float, told: str) -> None:
    shack = Building(design_outdoor_c=-10.0, parts=(BuildingPart(name="wall", area_m2=9.0, u_w_m2k=u_w_m2k),))
    advice = advise(replace(ORDINARY, building=shack))

    assert advice.on_wall_low_c is None
    assert told in " ".join(advice.cautions)


def test_a_relay_that_no_band_can_save_is_told() -> None:
    worn = replace(
        ORDINARY,
        building=Building(volume_m3=3.0),
        heater=HeaterSpec(watts=1500.0),
        relay=RelaySpec(rated_cycles=1000),
    )
    advice = advise(worn)

    assert advice.high_c - advice.low_c <= 10.0 + 1 / 1.8
    assert "longer-lived relay is the cure" in " ".join(advice.cautions)


parts = st.builds(
    BuildingPart, name=st.just("part"), area_m2=st.floats(0.001, 1e5), u_w_m2k=st.floats(0.01, 100.0)
)
buildings = st.builds(
    Building,
    volume_m3=st.none() | st.floats(0.1, 1e5),
    air_changes_h=st.none() | st.floats(0.0, 100.0),
    design_outdoor_c=st.none() | st.floats(-60.0, 30.0),
    parts=st.lists(parts, max_size=3).map(tuple),
)


@given(
    st.none() | buildings,
    st.none() | st.floats(1.0, 20_000.0),
    st.none() | st.integers(1, 10**9),
    st.sampled_from(Unit),
)
def test_whatever_a_site_may_say_it_gets_a_band(
    building: Building | None, watts: float | None, rated_cycles: int | None, unit: Unit
) -> None:
    """All that site.toml allows, at its ends too."""
    advice = advise(
        replace(
            ORDINARY,
            unit=unit,
            building=building,
            heater=HeaterSpec(watts=watts),
            relay=RelaySpec(rated_cycles=rated_cycles),
        )
    )

    assert FREEZE_LOW_C <= advice.low_c < advice.high_c
    assert 4 / 1.8 - 1e-9 <= advice.high_c - advice.low_c <= 10.6
    assert advice.on_wall_low_c is None or FREEZE_LOW_C <= advice.on_wall_low_c <= 15.6
    assert len(advice.why) >= 4


@given(
    st.floats(0.0, 3.0), st.floats(0.0, 1.0), st.floats(0.0, 3.0), st.floats(0.0, 3.0), st.floats(0.0, 1.0)
)
def test_more_that_can_go_wrong_never_lowers_the_low_end(
    error_k: float, resolution_k: float, sag: float, spread_k: float, more_k: float
) -> None:
    low_c = low_end_c(error_k=error_k, resolution_k=resolution_k, sag_k=sag, spread_k=spread_k)

    assert low_c >= max(FREEZE_LOW_C, error_k + sag + spread_k)
    assert (
        low_end_c(error_k=error_k, resolution_k=resolution_k, sag_k=sag + more_k, spread_k=spread_k) >= low_c
    )


@given(st.floats(0.0, 10.0), st.floats(0.05, 6.0), st.floats(-50.0, 10.0))
def test_a_pipe_on_the_wall_is_just_as_warm_as_asked(low_c: float, u_w_m2k: float, outdoor_c: float) -> None:
    """The wall's inside is colder than the air by U x 0.13 of the whole drop (ISO 6946)."""
    air_c = on_wall_low_end_c(low_c=low_c, u_w_m2k=u_w_m2k, outdoor_c=outdoor_c)
    wall_c = air_c - u_w_m2k * 0.13 * (air_c - outdoor_c)

    assert air_c >= low_c
    if outdoor_c < low_c:
        assert wall_c == pytest.approx(low_c, abs=1e-9)


@given(st.floats(50.0, 3000.0), st.floats(0.5, 100.0), st.floats(1.0, 20.0))
def test_the_advised_width_keeps_to_its_cycles(watts: float, volume_m3: float, most_h: float) -> None:
    heat_j_k = cycle_heat_j_k(volume_m3)
    width = width_k(watts=watts, heat_j_k=heat_j_k, cycles_h_max=most_h)

    assert fastest_cycles_h(heat_j_k=heat_j_k, watts=watts, width_k=width) == pytest.approx(most_h)


@given(st.floats(-20.0, 40.0), st.sampled_from(Unit))
def test_rounding_is_never_down_and_less_than_a_step(temperature_c: float, unit: Unit) -> None:
    rounded_c = rounded_up_c(temperature_c, unit)

    assert -1e-9 <= rounded_c - temperature_c < (0.5 if unit is Unit.C else 1 / 1.8) + 1e-9
    assert rounded_up_c(rounded_c, unit) == pytest.approx(rounded_c)


def test_no_advice_is_below_what_is_refused() -> None:
    assert FREEZE_LOW_C == LOW_SAFE_C


def test_sag_is_loss_over_heat_times_delay() -> None:
    assert sag_k(loss_w=1000.0, heat_j_k=100e3, delay_s=60.0) == pytest.approx(0.6)


@pytest.mark.parametrize("value", [-0.1, 20.1, float("nan")], ids=str)
def test_a_figure_out_of_range_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match=r"spread_k = .*: must be 0 to 20 K"):
        low_end_c(error_k=0.5, resolution_k=0.1, sag_k=0.5, spread_k=value)

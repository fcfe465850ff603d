"""The heater's circuit: what is judged, what is told, and what cannot be judged for want of a figure."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Circuit, HeaterSpec
from overwinter.physics.circuit import circuit_load, cord_ampacity_a, cord_drop_v, current_a, heat_share
from overwinter.physics.duty import blind_duty_limit, blind_outdoor_limit_c, contact_life_years, steady_rise_k
from overwinter.settings.site import area_of_gauge_mm2

LAMP = HeaterSpec(watts=250.0, kind="lamp")
HEATER = HeaterSpec(watts=1500.0, kind="air")
GOOD = Circuit(volts=120.0, breaker_a=20.0, relay_resistive_a=30.0)


def keys(circuit: Circuit, heater: HeaterSpec) -> list[str]:
    return [problem.key for problem in circuit_load(circuit, heater).problems]


def test_a_heater_on_a_fitting_circuit_has_no_problem() -> None:
    found = circuit_load(GOOD, HEATER)

    assert (found.current_a, found.drop_v, found.drop_pct) == (12.5, 0.0, 0.0)
    assert found.problems == ()
    assert found.unknown == ()


@pytest.mark.parametrize(
    ("circuit", "heater", "found"),
    [
        pytest.param(replace(GOOD, breaker_a=15.0), HEATER, ["circuit.breaker_a"], id="1500 W on 15 A"),
        pytest.param(replace(GOOD, breaker_a=15.625), HEATER, [], id="exactly 80 %"),
        pytest.param(
            replace(GOOD, relay_resistive_a=10.0), LAMP, ["circuit.relay_resistive_a"], id="lamp, 10 A"
        ),
        pytest.param(
            replace(GOOD, relay_resistive_a=20.8), LAMP, ["circuit.relay_resistive_a"], id="lamp, 20.8 A"
        ),
        pytest.param(replace(GOOD, relay_resistive_a=20.9), LAMP, [], id="lamp, 20.9 A"),
        pytest.param(
            replace(GOOD, relay_resistive_a=10.0), HEATER, ["circuit.relay_resistive_a"], id="heater, 10 A"
        ),
        pytest.param(replace(GOOD, relay_resistive_a=13.0), HEATER, [], id="heater, 13 A"),
        pytest.param(
            replace(GOOD, cord_length_m=3.0, cord_mm2=area_of_gauge_mm2(14)), HEATER, [], id="10 ft of AWG 14"
        ),
        pytest.param(
            replace(GOOD, cord_length_m=30.0, cord_mm2=area_of_gauge_mm2(14)),
            HEATER,
            ["circuit.cord_length_m"],
            id="100 ft of AWG 14",
        ),
        pytest.param(
            replace(GOOD, cord_length_m=3.0, cord_mm2=area_of_gauge_mm2(16)),
            replace(HEATER, watts=500.0),
            ["circuit.cord_mm2"],
            id="a thin cord, although the current is small",
        ),
        pytest.param(
            replace(GOOD, cord_length_m=1.0, cord_mm2=area_of_gauge_mm2(18)),
            HEATER,
            ["circuit.cord_mm2", "circuit.cord_mm2"],
            id="a lamp's cord at a heater: too thin, and beyond its current",
        ),
    ],
)
def test_what_is_wrong_is_named(circuit: Circuit, heater: HeaterSpec, found: list[str]) -> None:
    assert keys(circuit, heater) == found


def test_a_problem_says_value_limit_and_cure() -> None:
    (problem,) = circuit_load(replace(GOOD, breaker_a=15.0), HEATER).problems

    assert problem.value == 15.0
    assert problem.allowed == "at most 12.0 A, 80 % of the breaker, for a load that runs for hours"
    assert "takes 12.5 A from a breaker of 15 A" in problem.text
    assert "1440 W or less" in problem.text


@pytest.mark.parametrize(
    ("circuit", "heater", "told"),
    [
        pytest.param(GOOD, replace(HEATER, watts=None), "heater.watts", id="no watts"),
        pytest.param(replace(GOOD, breaker_a=None), HEATER, "circuit.breaker_a", id="no breaker"),
        pytest.param(
            replace(GOOD, relay_resistive_a=None), HEATER, "circuit.relay_resistive_a", id="no relay"
        ),
        pytest.param(replace(GOOD, cord_length_m=5.0), HEATER, "circuit.cord_awg", id="no gauge"),
        pytest.param(
            replace(GOOD, cord_length_m=5.0, cord_mm2=0.5), LAMP, "0.50 mm2", id="thinner than the table"
        ),
    ],
)
def test_what_is_not_given_is_told_as_unknown_and_never_as_good(
    circuit: Circuit, heater: HeaterSpec, told: str
) -> None:
    found = circuit_load(circuit, heater)

    assert len(found.unknown) == 1
    assert told in found.unknown[0]


def test_no_watts_means_no_figures() -> None:
    found = circuit_load(GOOD, replace(HEATER, watts=None))

    assert (found.current_a, found.drop_v, found.drop_pct, found.problems) == (None, None, None, ())


def test_a_cord_without_a_gauge_has_no_drop() -> None:
    found = circuit_load(replace(GOOD, cord_length_m=5.0), HEATER)

    assert (found.drop_v, found.drop_pct) == (None, None)


def test_three_per_cent_less_voltage_is_six_per_cent_less_heat() -> None:
    """P goes with the square of V."""
    assert 1.0 - heat_share(0.03) == pytest.approx(0.059, abs=0.001)


@pytest.mark.parametrize(
    ("area_mm2", "most_a"),
    [(0.5, None), (0.75, None), (1.0, 10.0), (1.5, 13.0), (2.5, 18.0), (4.0, 25.0), (10.0, 25.0)],
)
def test_between_two_gauges_the_thinner_one_counts(area_mm2: float, most_a: float | None) -> None:
    assert cord_ampacity_a(area_mm2) == most_a


@given(st.floats(0.1, 30.0), st.floats(0.1, 100.0), st.floats(0.5, 20.0))
def test_a_longer_or_thinner_cord_never_drops_less(amperes: float, length_m: float, area_mm2: float) -> None:
    drop = cord_drop_v(current_a=amperes, length_m=length_m, area_mm2=area_mm2)

    assert cord_drop_v(current_a=amperes, length_m=2 * length_m, area_mm2=area_mm2) == pytest.approx(2 * drop)
    assert cord_drop_v(current_a=amperes, length_m=length_m, area_mm2=area_mm2 / 2) == pytest.approx(2 * drop)
    assert cord_drop_v(current_a=amperes, length_m=length_m, area_mm2=area_mm2, temperature_c=20.0) < drop


@given(
    st.none() | st.floats(1.0, 20_000.0),
    st.sampled_from(["lamp", "air", "cable"]),
    st.builds(
        Circuit,
        volts=st.floats(5.0, 500.0),
        breaker_a=st.none() | st.floats(0.1, 200.0),
        cord_length_m=st.floats(0.0, 500.0),
        cord_mm2=st.none() | st.floats(0.05, 150.0),
        relay_resistive_a=st.none() | st.floats(0.1, 500.0),
    ),
)
def test_whatever_a_site_may_say_it_is_judged(watts: float | None, kind: str, circuit: Circuit) -> None:
    """All that site.toml allows, at its ends too: every figure is judged or told as unknown."""
    found = circuit_load(circuit, HeaterSpec(watts=watts, kind=kind))

    assert (found.current_a is None) is (watts is None)
    if watts is not None:
        assert ("circuit.breaker_a" in " ".join(found.unknown)) is (circuit.breaker_a is None)
        assert ("circuit.relay_resistive_a" in " ".join(found.unknown)) is (circuit.relay_resistive_a is None)


def test_a_relay_lasts_its_rated_cycles() -> None:
    """100 000 at two an hour through 4000 h of each winter."""
    assert contact_life_years(rated_cycles=100_000, cycles_h=2.0, heated_h_year=4000.0) == 12.5


@given(st.floats(50.0, 3000.0), st.floats(0.1, 1.0), st.floats(1.0, 300.0), st.floats(0.0, 60.0))
def test_the_three_ways_to_ask_about_blind_heat_agree(
    watts: float, duty: float, ua_w_k: float, ceiling_c: float
) -> None:
    outdoor_c = blind_outdoor_limit_c(ceiling_c=ceiling_c, watts=watts, duty=duty, ua_w_k=ua_w_k)

    assert outdoor_c + steady_rise_k(watts=watts, duty=duty, ua_w_k=ua_w_k) == pytest.approx(ceiling_c)
    if outdoor_c >= -90.0:
        assert blind_duty_limit(
            ceiling_c=ceiling_c, outdoor_c=outdoor_c, watts=watts, ua_w_k=ua_w_k
        ) == pytest.approx(duty)


def test_a_duty_limit_is_a_duty() -> None:
    assert blind_duty_limit(ceiling_c=20.0, outdoor_c=25.0, watts=500.0, ua_w_k=10.0) == 0.0
    assert blind_duty_limit(ceiling_c=60.0, outdoor_c=-40.0, watts=500.0, ua_w_k=10.0) == 1.0


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        pytest.param(lambda: current_a(watts=-1.0, volts=120.0), "watts", id="watts"),
        pytest.param(lambda: current_a(watts=100.0, volts=0.0), "volts", id="volts"),
        pytest.param(
            lambda: cord_drop_v(current_a=1.0, length_m=math.nan, area_mm2=2.0), "length_m", id="length"
        ),
        pytest.param(lambda: cord_drop_v(current_a=1.0, length_m=1.0, area_mm2=0.0), "area_mm2", id="area"),
        pytest.param(lambda: heat_share(1.1), "drop_share", id="more than all"),
        pytest.param(
            lambda: contact_life_years(rated_cycles=0.0, cycles_h=1.0, heated_h_year=1.0),
            "rated_cycles",
            id="cycles",
        ),
        pytest.param(lambda: steady_rise_k(watts=1.0, duty=1.1, ua_w_k=1.0), "duty", id="duty"),
        pytest.param(lambda: steady_rise_k(watts=1.0, duty=1.0, ua_w_k=0.0), "ua_w_k", id="no building"),
    ],
)
def test_a_figure_out_of_range_is_refused_by_name(wrong: Callable[[], object], named: str) -> None:
    with pytest.raises(ValueError, match=rf"{named} = .*: must be"):
        wrong()

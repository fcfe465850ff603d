"""A house on and off in its band: closed forms against each other, against small steps, at their edges."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from overwinter.physics.cycle import cooling_s, cycle, fastest_cycles_h

houses = {
    "ua_w_k": st.floats(min_value=2.0, max_value=200.0),
    "heat_j_k": st.floats(min_value=1e4, max_value=1e7),
    "watts": st.floats(min_value=100.0, max_value=5000.0),
    "outdoor_c": st.floats(min_value=-40.0, max_value=3.0),
}


@given(**houses)
def test_over_a_cycle_the_heater_gives_what_the_house_loses(
    ua_w_k: float, heat_j_k: float, watts: float, outdoor_c: float
) -> None:
    found = cycle(ua_w_k=ua_w_k, heat_j_k=heat_j_k, watts=watts, outdoor_c=outdoor_c, low_c=4.0, high_c=6.0)
    assume(found is not None)
    assert found is not None

    assert 0.0 < found.duty < 1.0
    assert 4.0 - 1e-6 <= found.mean_c <= 6.0 + 1e-6
    assert found.duty * watts == pytest.approx(ua_w_k * (found.mean_c - outdoor_c), rel=1e-9)


@given(**houses)
def test_no_weather_cycles_faster_than_the_fastest(
    ua_w_k: float, heat_j_k: float, watts: float, outdoor_c: float
) -> None:
    found = cycle(ua_w_k=ua_w_k, heat_j_k=heat_j_k, watts=watts, outdoor_c=outdoor_c, low_c=4.0, high_c=6.0)
    assume(found is not None)
    assert found is not None

    assert found.cycles_h <= fastest_cycles_h(heat_j_k=heat_j_k, watts=watts, width_k=2.0) * (1 + 1e-9)


def test_it_agrees_with_small_steps_of_time() -> None:
    """Euler's method, half a second at a time."""
    temperature_c, step_s, heat, switched_s = 4.0, 0.5, True, []
    for at in range(30_000):
        temperature_c += (20.0 * (-10.0 - temperature_c) + 1000.0 * heat) / 400e3 * step_s
        if (temperature_c >= 6.0) if heat else (temperature_c <= 4.0):
            heat = not heat
            switched_s.append(at * step_s)
    found = cycle(ua_w_k=20.0, heat_j_k=400e3, watts=1000.0, outdoor_c=-10.0, low_c=4.0, high_c=6.0)
    assert found is not None

    assert switched_s[0] == pytest.approx(found.on_s, abs=2.0)
    assert switched_s[1] - switched_s[0] == pytest.approx(found.off_s, abs=2.0)


@pytest.mark.parametrize(
    "outdoor_c",
    [pytest.param(4.0, id="warm enough by itself"), pytest.param(-44.0, id="too cold for the heater")],
)
def test_where_nothing_cycles_there_is_no_cycle(outdoor_c: float) -> None:
    """1000 W into 20 W/K raise it by 50 K, so from -44 °C the high end of 6 °C is never passed."""
    assert (
        cycle(ua_w_k=20.0, heat_j_k=400e3, watts=1000.0, outdoor_c=outdoor_c, low_c=4.0, high_c=6.0) is None
    )


@given(
    st.floats(min_value=-40.0, max_value=-0.1),
    st.floats(min_value=0.0, max_value=20.0),
    st.floats(min_value=0.0, max_value=20.0),
)
def test_cooling_takes_longer_the_further_it_goes(outdoor_c: float, one_c: float, other_c: float) -> None:
    def seconds(to_c: float) -> float:
        return cooling_s(ua_w_k=20.0, heat_j_k=400e3, outdoor_c=outdoor_c, from_c=20.0, to_c=to_c)

    assert seconds(min(one_c, other_c)) >= seconds(max(one_c, other_c)) >= 0.0


def test_it_never_gets_colder_than_outdoors() -> None:
    assert cooling_s(ua_w_k=20.0, heat_j_k=400e3, outdoor_c=2.0, from_c=5.0, to_c=2.0) == math.inf


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"ua_w_k": 0.0}, "ua_w_k = 0: must be above 0"),
        ({"heat_j_k": math.nan}, "heat_j_k = nan"),
        ({"watts": 0.0}, "watts = 0: must be above 0"),
        ({"outdoor_c": -91.0}, "outdoor_c = -91"),
        ({"high_c": 4.0}, "high_c = 4: must be above 4"),
    ],
)
def test_a_figure_out_of_range_is_refused(changed: dict[str, float], told: str) -> None:
    house = {
        "ua_w_k": 20.0,
        "heat_j_k": 4e5,
        "watts": 1000.0,
        "outdoor_c": -10.0,
        "low_c": 4.0,
        "high_c": 6.0,
    }
    with pytest.raises(ValueError, match=told):
        cycle(**{**house, **changed})


def test_cooling_upwards_is_refused() -> None:
    with pytest.raises(ValueError, match="to_c = 6: must be -90 to 5"):
        cooling_s(ua_w_k=20.0, heat_j_k=4e5, outdoor_c=-10.0, from_c=5.0, to_c=6.0)

"""Our dew and frost points against psychrolib and CoolProp over ten thousand states of air.

Both libraries take relative humidity below 0 °C over ice and give a frost point where there is one, so that
is what is asked of ours. Neither knows the other convention, over water, which common sensors use: MetPy's
figures for it stand in `moist_air.py`.
"""

from collections.abc import Callable

import pytest

from overwinter.physics.air import Over, dew_point_c, frost_point_c

psychrolib = pytest.importorskip(
    "psychrolib", reason="psychrolib is not installed: pip install 'overwinter[published]'"
)
coolprop = pytest.importorskip(
    "CoolProp.CoolProp", reason="CoolProp is not installed: pip install 'overwinter[published]'"
)

STATES = [(-30.0 + 70.0 * i / 99.0, 1.0 + j) for i in range(100) for j in range(100)]
"""-30 to 40 °C and 1 to 100 %."""

MOST_K = 0.05


def ours_c(temperature_c: float, humidity_pct: float) -> float:
    over = Over.ICE if temperature_c < 0.0 else Over.WATER
    frost_c = frost_point_c(temperature_c, humidity_pct, over)
    return dew_point_c(temperature_c, humidity_pct) if frost_c is None else frost_c


def psychrolib_c(temperature_c: float, humidity_pct: float) -> float:
    psychrolib.SetUnitSystem(psychrolib.SI)
    return float(psychrolib.GetTDewPointFromRelHum(temperature_c, humidity_pct / 100.0))


def coolprop_c(temperature_c: float, humidity_pct: float) -> float:
    state = ("T", temperature_c + 273.15, "P", 101_325.0, "R", humidity_pct / 100.0)
    return float(coolprop.HAPropsSI("D", *state)) - 273.15


@pytest.mark.parametrize(
    ("theirs_c", "largest_k"),
    [
        pytest.param(psychrolib_c, 0.0399, id="psychrolib"),
        pytest.param(coolprop_c, 0.0462, id="CoolProp"),
    ],
)
def test_ten_thousand_dew_points_agree(theirs_c: Callable[[float, float], float], largest_k: float) -> None:
    """The largest difference is stated, so that a change in either is seen; all lie within 0.05 K."""
    worst_k = max(abs(ours_c(*state) - theirs_c(*state)) for state in STATES)

    assert len(STATES) == 10_000
    assert worst_k <= MOST_K
    assert worst_k == pytest.approx(largest_k, abs=0.0005)


def test_taken_over_water_the_frosty_states_would_not_agree() -> None:
    """The comparison can fail: over water, -10 °C and 80 % is a dew point 0.3 K lower."""
    assert abs(dew_point_c(-10.0, 80.0) - psychrolib_c(-10.0, 80.0)) > 0.25

"""A part of `python -m tests.bench.safety` that a test can wait for: what must hold in the worst houses."""

import pytest

from overwinter.core.nouns import Mode
from overwinter.core.units import f_from_c
from overwinter.physics.advice import advise
from tests.bench.safety import UNDERSHOOT_K, coldest_c, is_refused, live, site_of


@pytest.mark.parametrize("name", UNDERSHOOT_K)
def test_a_sensor_half_a_kelvin_high_costs_no_ice_in_the_usual_band(name: str) -> None:
    lived = live(name, days=3.0)

    assert lived.ice_h == 0.0
    assert lived.coldest_water_c > 1.0
    assert lived.undershoot_k <= UNDERSHOOT_K[name][0]


@pytest.mark.parametrize("name", ["insulated shed", "insulated box", "uninsulated block house"])
def test_a_reading_a_minute_lets_the_air_sag_no_further_than_allowed(name: str) -> None:
    assert live(name, days=3.0, sense_s=60.0).undershoot_k <= UNDERSHOOT_K[name][0]


def test_a_low_end_of_32_f_gives_ice_and_is_refused_where_pipes_are_guarded() -> None:
    assert live("timber shed", low_f=32.0, high_f=36.0, mode=Mode.WARM, days=4.0).ice_h > 0.0
    assert is_refused(32.0)
    assert not is_refused(36.0)


@pytest.mark.parametrize("name", ["leaky metal shed", "uninsulated block house"])
def test_a_pipe_on_the_outer_wall_freezes_in_the_usual_band_and_not_in_the_advised_one(name: str) -> None:
    outdoor_c = coldest_c(name, 2.2)
    low_c = advise(site_of(name, outdoor_c)).on_wall_low_c
    assert low_c is not None
    low_f = round(f_from_c(low_c))

    usual = live(name, is_on_wall=True, days=4.0, outdoor_c=outdoor_c)
    advised = live(name, is_on_wall=True, days=4.0, outdoor_c=outdoor_c, low_f=low_f, high_f=low_f + 4.0)
    assert usual.ice_h > 0.0
    assert advised.ice_h == 0.0

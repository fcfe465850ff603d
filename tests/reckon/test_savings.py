"""What a better building saves: by hand, and what holds for any."""

import pytest
from hypothesis import given

from overwinter.core.nouns import Building, BuildingPart
from overwinter.physics.envelope import ua_w_k
from overwinter.reckon.savings import MORE_M2K_W, TIGHTER_SHARE, WORTH_SHARE, better_u_w_m2k, savings
from overwinter.settings.site import R_US_M2K_W
from tests.reckon.houses import HUT, HUT_W_K, buildings


def test_the_hut_by_hand() -> None:
    """R-5 is 0.88055 m2 K/W. Walls: 8 x (1 - 1/1.88055); lid: 4 x (0.5 - 1/2.88055); air: half of 1.30047."""
    found, together = savings(ua_w_k(HUT), degree_hours_kh=10_000.0)

    assert [(one.what, one.is_air) for one in found] == [("walls", False), ("", True), ("lid", False)]
    assert [one.saved_w_k for one in found] == pytest.approx([3.74593, 0.65024, 0.61137], abs=1e-4)
    assert [one.saved_kwh for one in found] == pytest.approx([37.4593, 6.5024, 6.1137], abs=1e-3)
    assert found[0].left_w_k == pytest.approx(HUT_W_K - 3.74593, abs=1e-4)
    assert together is not None
    assert together.saved_w_k == pytest.approx(5.00754, abs=2e-4)


def test_r_5_is_that_of_the_shop() -> None:
    assert pytest.approx(5.0 * R_US_M2K_W, rel=1e-6) == MORE_M2K_W


def test_what_is_not_worth_it_has_no_line() -> None:
    hut = Building(
        parts=(
            BuildingPart(name="walls", area_m2=10.0, u_w_m2k=1.0),
            BuildingPart(name="hatch", area_m2=0.1, u_w_m2k=1.0),
        )
    )

    found, together = savings(ua_w_k(hut), degree_hours_kh=None)

    assert [one.what for one in found] == ["walls"]
    assert found[0].saved_kwh is None
    assert together is None


def test_a_building_that_is_not_described_has_nothing_to_save() -> None:
    assert savings(ua_w_k(Building()), degree_hours_kh=1000.0) == ((), None)


@given(building=buildings)
def test_more_insulation_never_costs_heat_and_never_saves_more_than_there_was(building: Building) -> None:
    conductance = ua_w_k(building)
    found, together = savings(conductance, degree_hours_kh=5000.0)
    total_w_k = conductance.total_w_k or 0.0

    for one in (*found, *([together] if together else [])):
        assert WORTH_SHARE * total_w_k <= one.saved_w_k < total_w_k
        assert one.left_w_k > 0.0
    assert [one.saved_w_k for one in found] == sorted((one.saved_w_k for one in found), reverse=True)


@pytest.mark.parametrize("u_w_m2k", [0.01, 0.3, 6.0, 100.0])
def test_a_part_with_more_on_it_lets_less_through(u_w_m2k: float) -> None:
    assert 0.0 < better_u_w_m2k(u_w_m2k) < min(u_w_m2k, 1.0 / MORE_M2K_W)


def test_closing_gaps_keeps_half_of_them() -> None:
    assert 0.0 < TIGHTER_SHARE < 1.0

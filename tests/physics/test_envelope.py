"""Conductance of a building: sums, what is missing, and that nothing is guessed."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Building, BuildingPart, Layer
from overwinter.physics.constants import AIR_J_M3K
from overwinter.physics.envelope import (
    INSIDE_FILM_M2K_W,
    OUTSIDE_FILM_M2K_W,
    air_w_k,
    heater_limit_c,
    loss_w,
    resistance_m2k_w,
    side_by_side_m2k_w,
    slab_edge_w_k,
    ua_w_k,
)

WALL = (
    Layer(material="plywood", thickness_m=0.012),
    Layer(material="mineral wool", thickness_m=0.090),
    Layer(material="plywood", thickness_m=0.012),
)
SHED = Building(
    volume_m3=10.0,
    air_changes_h=0.5,
    parts=(
        BuildingPart(name="walls", area_m2=20.0, layers=WALL),
        BuildingPart(name="door", area_m2=2.0, u_w_m2k=1.8),
    ),
)


def test_layers_add_up_by_hand() -> None:
    by_hand = INSIDE_FILM_M2K_W + 2 * 0.012 / 0.12 + 0.090 / 0.037 + OUTSIDE_FILM_M2K_W

    assert resistance_m2k_w(WALL) == pytest.approx(by_hand, rel=1e-12)


def test_a_building_adds_up_by_hand() -> None:
    found = ua_w_k(SHED)
    air = AIR_J_M3K * 10.0 * 0.5 / 3600.0

    assert found.air_w_k == pytest.approx(air)
    assert [part.name for part in found.parts] == ["walls", "door"]
    assert found.total_w_k == pytest.approx(20.0 / resistance_m2k_w(WALL) + 3.6 + air)
    assert found.is_complete
    assert found.missing == ()


@pytest.mark.parametrize(
    ("building", "told"),
    [
        pytest.param(replace(SHED, volume_m3=None), ["volume_m3"], id="no volume"),
        pytest.param(replace(SHED, air_changes_h=None), ["air_changes_h"], id="no air changes"),
        pytest.param(
            replace(SHED, volume_m3=None, air_changes_h=None), ["volume_m3", "air_changes_h"], id="neither"
        ),
    ],
)
def test_what_is_missing_is_told_and_not_guessed(building: Building, told: list[str]) -> None:
    """What is left is the parts alone, a lower bound that says so."""
    found = ua_w_k(building)

    assert found.air_w_k is None
    assert not found.is_complete
    assert [
        name for name in ("volume_m3", "air_changes_h") if any(name in one for one in found.missing)
    ] == told
    assert found.total_w_k == pytest.approx(sum(part.ua_w_k for part in found.parts))


def test_a_material_nobody_knows_leaves_its_part_out_by_name() -> None:
    strange = BuildingPart(name="roof", area_m2=5.0, layers=(Layer(material="moss", thickness_m=0.2),))
    found = ua_w_k(replace(SHED, parts=(*SHED.parts, strange)))

    assert [part.name for part in found.parts] == ["walls", "door"]
    assert not found.is_complete
    assert len(found.missing) == 1
    assert "part 'roof' is not counted: material 'moss' is not in the table" in found.missing[0]


def test_nothing_described_is_no_total_at_all() -> None:
    """Air change alone is no building."""
    assert ua_w_k(Building()).total_w_k is None
    assert ua_w_k(Building(volume_m3=10.0, air_changes_h=0.5)).total_w_k is None
    assert not ua_w_k(Building(volume_m3=10.0, air_changes_h=0.5)).is_complete


def test_no_air_change_is_an_answer_and_not_a_gap() -> None:
    found = ua_w_k(replace(SHED, air_changes_h=0.0))

    assert found.air_w_k == 0.0
    assert found.is_complete


def test_only_assumptions_that_were_made_are_told() -> None:
    layered, given_u = SHED.parts
    told = " ".join(ua_w_k(replace(SHED, parts=(given_u,), volume_m3=None)).assumptions)

    assert "layers" not in told
    assert "gaps" not in told
    assert "layers" in " ".join(ua_w_k(replace(SHED, parts=(layered,))).assumptions)


@given(st.lists(st.tuples(st.floats(0.1, 50.0), st.floats(0.05, 8.0)), min_size=1, max_size=8))
def test_more_building_loses_more(parts: list[tuple[float, float]]) -> None:
    built = [BuildingPart(name=str(at), area_m2=area, u_w_m2k=u) for at, (area, u) in enumerate(parts)]
    whole = ua_w_k(Building(parts=tuple(built))).total_w_k
    less = ua_w_k(Building(parts=tuple(built[1:]))).total_w_k or 0.0

    assert whole is not None
    assert whole > less


@given(st.lists(st.tuples(st.floats(0.05, 1.0), st.floats(0.05, 20.0)), min_size=1, max_size=6))
def test_paths_beside_each_other_lie_between_the_worst_and_the_best(paths: list[tuple[float, float]]) -> None:
    sum_of_shares = sum(share for share, _ in paths)
    shared = [(share / sum_of_shares, one_m2k_w) for share, one_m2k_w in paths]
    resistances = [one_m2k_w for _, one_m2k_w in paths]

    assert min(resistances) * (1 - 1e-9) <= side_by_side_m2k_w(shared) <= max(resistances) * (1 + 1e-9)


layers = st.builds(
    Layer, material=st.sampled_from(["plywood", "moss", "steel", "xps"]), thickness_m=st.floats(0.00001, 10.0)
)
parts = st.builds(
    BuildingPart, name=st.just("part"), area_m2=st.floats(0.001, 1e5), u_w_m2k=st.floats(0.01, 100.0)
) | st.builds(
    BuildingPart,
    name=st.just("part"),
    area_m2=st.floats(0.001, 1e5),
    layers=st.lists(layers, min_size=1, max_size=4).map(tuple),
)


@given(
    st.none() | st.floats(0.1, 1e5), st.none() | st.floats(0.0, 100.0), st.lists(parts, max_size=4).map(tuple)
)
def test_whatever_a_site_may_say_it_is_counted_or_told(
    volume_m3: float | None, air_changes_h: float | None, built: tuple[BuildingPart, ...]
) -> None:
    """All that site.toml allows: nothing raises, and what is not in the sum is named."""
    found = ua_w_k(Building(volume_m3=volume_m3, air_changes_h=air_changes_h, parts=built))
    absent = [one for one in (volume_m3, air_changes_h) if one is None]

    assert len(found.missing) == len(built) - len(found.parts) + len(absent) + (not built)
    assert (found.total_w_k is None) is (not found.parts)


@given(st.floats(1.0, 500.0), st.floats(-5.0, 20.0), st.floats(10.0, 5000.0))
def test_at_its_limit_the_heater_just_meets_the_loss(ua: float, inside_c: float, watts: float) -> None:
    limit_c = heater_limit_c(ua_w_k=ua, inside_c=inside_c, watts=watts)

    if limit_c >= -90.0:
        assert loss_w(ua_w_k=ua, inside_c=inside_c, outdoor_c=limit_c) == pytest.approx(watts, rel=1e-9)


def test_warmer_outdoors_needs_no_heat() -> None:
    assert loss_w(ua_w_k=20.0, inside_c=4.0, outdoor_c=10.0) == 0.0


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param(lambda: resistance_m2k_w([]), id="no layer"),
        pytest.param(lambda: resistance_m2k_w([Layer(material="brick", thickness_m=0.0)]), id="no thickness"),
        pytest.param(lambda: resistance_m2k_w(WALL, inside_film_m2k_w=-0.1), id="film below nothing"),
        pytest.param(lambda: side_by_side_m2k_w([(0.5, 1.0)]), id="half a wall"),
        pytest.param(lambda: side_by_side_m2k_w([(1.0, 0.0)]), id="no resistance"),
        pytest.param(lambda: slab_edge_w_k(perimeter_m=-1.0, factor_w_mk=0.85), id="perimeter"),
        pytest.param(lambda: slab_edge_w_k(perimeter_m=1.0, factor_w_mk=math.nan), id="factor"),
        pytest.param(lambda: air_w_k(volume_m3=math.inf, air_changes_h=1.0), id="volume"),
        pytest.param(lambda: air_w_k(volume_m3=1.0, air_changes_h=-1.0), id="air changes"),
        pytest.param(lambda: loss_w(ua_w_k=-1.0, inside_c=4.0, outdoor_c=0.0), id="conductance"),
        pytest.param(lambda: heater_limit_c(ua_w_k=0.0, inside_c=4.0, watts=100.0), id="no conductance"),
    ],
)
def test_a_figure_out_of_range_is_refused(wrong: Callable[[], float]) -> None:
    with pytest.raises(ValueError, match="must be"):
        wrong()

"""How far freezing went while the air was recorded."""

import math
from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import PipeSpec
from overwinter.physics.freezing import excursion
from overwinter.physics.pipe import freezing, freezing_h, resistances_m_kw

BARE = PipeSpec(name="bare", length_m=1.0, bore_m=0.0202, outside_m=0.022)
LAGGED = PipeSpec(
    name="lagged", length_m=1.0, bore_m=0.0202, outside_m=0.022, insulation_m=0.02, insulation_w_mk=0.035
)

HOUR_S = 3600.0

records = st.lists(
    st.tuples(st.floats(min_value=60.0, max_value=6 * HOUR_S), st.floats(min_value=-30.0, max_value=15.0)),
    min_size=2,
    max_size=40,
)


def steady(air_c: float, hours: float, step_s: float = 60.0) -> tuple[list[float], list[float]]:
    count = int(hours * HOUR_S / step_s) + 1
    return [step_s * at for at in range(count)], [air_c] * count


@pytest.mark.parametrize("pipe", [BARE, LAGGED], ids=lambda pipe: pipe.name)
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_in_steady_cold_it_is_the_closed_form(pipe: PipeSpec, share: float) -> None:
    """But for the shell of ice, which the record leaves out: at most 2.5 % more ice at the same hour."""
    start_h = freezing(pipe, water_c=5.0, air_c=-10.0).start_h.best
    resistance = resistances_m_kw(pipe, air_c=-10.0).best
    hours = start_h + freezing_h(bore_m=pipe.bore_m, resistance_m_kw=resistance, air_c=-10.0, share=share)
    times_s, air_c = steady(-10.0, hours)

    found = excursion(pipe, times_s, air_c, water_c=5.0)

    assert found.ice_share.best == pytest.approx(share, rel=0.03)
    assert found.coldest_c == -10.0
    assert found.below_h == pytest.approx(hours, abs=0.02)


def test_air_that_stays_above_zero_freezes_nothing() -> None:
    times_s, air_c = steady(0.6, 100.0, 600.0)

    found = excursion(BARE, times_s, air_c)

    assert (found.ice_share.low, found.ice_share.best, found.ice_share.high) == (0.0, 0.0, 0.0)
    assert found.below_h == 0.0


def test_within_the_sensors_error_of_zero_it_may_have_frozen() -> None:
    """0.4 °C by a sensor good to 0.5 K: the best guess is no ice, but it is not certain."""
    times_s, air_c = steady(0.4, 200.0, 600.0)

    found = excursion(BARE, times_s, air_c)

    assert found.ice_share.best == 0.0
    assert found.ice_share.high > 0.5
    assert excursion(BARE, times_s, air_c, error_k=0.3).ice_share.high == 0.0


def test_a_short_dip_does_not_freeze_what_is_insulated() -> None:
    """Half an hour at -6 °C: the bare pipe has begun to freeze, the lagged one has not."""
    times_s = [0.0, 600.0, 1200.0, 1800.0, 2400.0, 3000.0]
    air_c = [3.0, -6.0, -6.0, -6.0, -6.0, 3.0]

    assert excursion(BARE, times_s, air_c).ice_share.high > 0.0
    assert excursion(LAGGED, times_s, air_c).ice_share.best == 0.0


def test_the_most_ice_counts_and_not_what_is_left_after_the_thaw() -> None:
    times_s, air_c = steady(-10.0, 3.0, 600.0)
    most = excursion(BARE, times_s, air_c, water_c=2.0).ice_share.best
    # The step from cold to warm is a straight line whose mean is warm, so it adds no ice.
    later_s, warm_c = [times_s[-1] + 600.0 * at for at in range(1, 500)], [12.0] * 499

    thawed = excursion(BARE, times_s + later_s, air_c + warm_c, water_c=2.0)

    assert 0.0 < most < 1.0
    assert thawed.ice_share.best == pytest.approx(most)


def test_ice_that_has_thawed_is_not_counted_again() -> None:
    """Two equal frosts with a long thaw between: the second begins anew."""
    frost_s, frost_c = steady(-10.0, 2.0, 600.0)
    thaw_c = [10.0] * 300
    air_c = frost_c + thaw_c + frost_c
    times_s = [600.0 * at for at in range(len(air_c))]

    once = excursion(BARE, frost_s, frost_c, water_c=10.0, error_k=0.0).ice_share.best
    twice = excursion(BARE, times_s, air_c, water_c=10.0, error_k=0.0).ice_share.best

    assert once > 0.1
    assert twice == pytest.approx(once, rel=0.05)


def test_water_that_has_just_thawed_begins_at_zero() -> None:
    """As much warmth as there was cold melts the ice and no more: the next frost finds water of 0 °C."""
    times_s, air_c = [0.0], [-10.0]
    for at_c in (-10.0, 10.0, 10.0, -10.0, -10.0, -10.0):
        times_s.append(times_s[-1] + HOUR_S)
        air_c.append(at_c)

    one_hour = excursion(BARE, times_s[:2], air_c[:2], water_c=0.0).ice_share.best
    in_all = excursion(BARE, times_s, air_c, water_c=0.0).ice_share.best

    assert 0.1 < one_hour < 0.4
    assert in_all == pytest.approx(2.0 * one_hour)


def test_a_gap_in_the_record_widens_the_range() -> None:
    dense = excursion(BARE, [0.0, HOUR_S, 2 * HOUR_S, 3 * HOUR_S], [4.0, 2.0, 0.0, -2.0])
    gap = excursion(BARE, [0.0, 3 * HOUR_S], [4.0, -2.0])

    assert gap.ice_share.high >= dense.ice_share.high
    assert gap.ice_share.low <= dense.ice_share.low
    assert gap.ice_share.high - gap.ice_share.low > dense.ice_share.high - dense.ice_share.low


def test_without_a_start_the_water_begins_as_the_first_air() -> None:
    times_s, air_c = [0.0, HOUR_S, 2 * HOUR_S], [6.0, -8.0, -8.0]

    assert excursion(BARE, times_s, air_c) == excursion(BARE, times_s, air_c, water_c=6.0)
    assert excursion(BARE, times_s, [-3.0, -8.0, -8.0]) == excursion(
        BARE, times_s, [-3.0, -8.0, -8.0], water_c=0.0
    )


@given(records, st.floats(min_value=0.0, max_value=2.0))
def test_a_share_is_a_share_whatever_was_recorded(steps: list[tuple[float, float]], error_k: float) -> None:
    times_s = list(accumulate(span_s for span_s, _ in steps))
    found = excursion(BARE, times_s, [at_c for _, at_c in steps], error_k=error_k)

    assert 0.0 <= found.ice_share.low <= found.ice_share.best <= found.ice_share.high <= 1.0


@given(records, st.floats(min_value=0.1, max_value=5.0))
def test_colder_air_never_leaves_less_ice(steps: list[tuple[float, float]], colder_k: float) -> None:
    times_s = list(accumulate(span_s for span_s, _ in steps))
    air_c = [at_c for _, at_c in steps]
    mild = excursion(LAGGED, times_s, air_c, water_c=5.0)
    cold = excursion(LAGGED, times_s, [at_c - colder_k for at_c in air_c], water_c=5.0)

    assert cold.ice_share.best >= mild.ice_share.best - 1e-12


@given(records)
def test_cutting_a_step_in_two_changes_nothing(steps: list[tuple[float, float]]) -> None:
    """Exact within a step: air that stays the same over two records is one long step."""
    air_c = [at_c for _, at_c in steps for _ in range(3)]
    short_s = list(accumulate(span_s / 3.0 for span_s, _ in steps for _ in range(3)))
    # The same record without the middle one of each three.
    fewer = [at for at in range(len(air_c)) if at % 3 != 1]

    whole = excursion(BARE, short_s, air_c, water_c=5.0, error_k=0.0)
    thinned = excursion(
        BARE, [short_s[at] for at in fewer], [air_c[at] for at in fewer], water_c=5.0, error_k=0.0
    )

    assert thinned.ice_share.best == pytest.approx(whole.ice_share.best, abs=1e-6)


@pytest.mark.parametrize(
    ("times_s", "air_c", "told"),
    [
        pytest.param(
            [0.0], [1.0], "1 times and 1 temperatures; must be as many, at least 2", id="one record"
        ),
        pytest.param([0.0, 1.0], [1.0], "must be as many", id="one temperature short"),
        pytest.param(
            [0.0, 0.0], [1.0, 1.0], r"times_s\[1\] = 0: must be above the one before, 0", id="no step"
        ),
        pytest.param([5.0, 2.0], [1.0, 1.0], r"times_s\[1\] = 2", id="backwards"),
        pytest.param([0.0, math.nan], [1.0, 1.0], r"times_s\[1\] = nan", id="no time"),
        pytest.param([0.0, math.inf], [1.0, 1.0], r"times_s\[1\] = inf", id="for ever"),
        pytest.param([0.0, 1.0], [1.0, math.nan], "air_c = nan: must be -90 to 60 °C", id="no temperature"),
    ],
)
def test_a_record_that_makes_no_sense_is_refused(times_s: list[float], air_c: list[float], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        excursion(BARE, times_s, air_c)


def test_water_that_begins_as_ice_is_refused() -> None:
    with pytest.raises(ValueError, match=r"water_c = -1: must be 0 to 60 °C"):
        excursion(BARE, [0.0, 1.0], [1.0, 1.0], water_c=-1.0)

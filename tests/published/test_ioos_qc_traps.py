"""Ten traps of `ioos_qc`: what the reference implementation of QARTOD says, and what we say."""

from dataclasses import replace

import pytest

from tests.core.judging import FAIL, NOT_EVALUATED, SUSPECT
from tests.core.rig import BAND
from tests.published.judges import NAN, SENSOR_STEP_K, at_pace, library_flat, library_rate, np, ours, qartod


def test_trap_1_with_its_default_tolerance_the_library_finds_nothing_flat() -> None:
    still = [3.0] * 8
    times_s = at_pace(len(still))

    assert library_flat(still, times_s, 60.0, tolerance_k=0) == [1, 1, 1, 1, 1, 1, 1, 1]
    assert library_flat(still, times_s, 60.0, tolerance_k=SENSOR_STEP_K) == [1, 1, 1, 1, 1, 1, 4, 4]
    assert ours(still, replace(BAND, flat_after_s=60.0)) == [2, 1, 1, 1, 1, 1, 4, 4]


@pytest.mark.parametrize(
    ("values", "times_s", "library", "our"),
    [
        pytest.param(
            [3.0, 3.0, 3.0, 3.0, 3.0],
            [0.0, 10.0, 20.0, 120.0, 130.0],
            [1, 1, 1, 1, 1],
            [2, 1, 1, 4, 4],
            id="across a gap it counts samples: stuck for 130 s, and not found",
        ),
        pytest.param(
            [3.0, 3.1, 3.0, 3.1, 3.0, 3.1, 3.0, *[3.1] * 7],
            [*at_pace(8), *[70.0 + 5.0 * step for step in range(1, 7)]],
            [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 4],
            [2, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1],
            id="at an uneven pace: stuck for 30 s only",
        ),
        pytest.param(
            [4.0, 4.1, NAN, NAN, NAN, NAN, NAN, 3.0, 3.0],
            at_pace(9),
            [1, 1, 9, 9, 9, 9, 9, 1, 4],
            [2, 1, 9, 9, 9, 9, 9, 1, 1],
            id="two equal readings behind missing ones fail at once",
        ),
    ],
)
def test_trap_2_the_librarys_flat_window_is_counted_in_samples(
    values: list[float], times_s: list[float], library: list[int], our: list[int]
) -> None:
    assert library_flat(values, times_s, 60.0) == library
    assert ours(values, replace(BAND, flat_after_s=60.0), times_s=times_s) == our


@pytest.mark.parametrize(
    ("values", "times_s", "library", "our"),
    [
        pytest.param([3.0, 3.05], [0.0, 0.0], [1, 1], [2, 4], id="no time at all: good"),
        pytest.param([3.0, 3.05], [0.0, 0.5], [1, 1], [2, 3], id="half a second: 6 K/min are good"),
        pytest.param([3.0, 3.15], [0.0, 1.9], [1, 3], [2, 1], id="1.9 s count as 1: 4.7 K/min are suspect"),
        pytest.param([3.0, 60.0], [10.0, 7.0], [1, 3], [2, 4], id="backwards: only suspect"),
    ],
)
def test_trap_3_the_library_cuts_time_to_whole_seconds(
    values: list[float], times_s: list[float], library: list[int], our: list[int]
) -> None:
    """A step in no whole second divides by zero.

    What is left under numpy's mask is the step itself, so a large one reads as suspect with numpy 2.4 and a
    small one as good; that is chance, and here only the small one is held to.
    """
    assert library_rate(values, times_s, 5.0 / 60.0) == library
    assert ours(values, BAND, times_s=times_s) == our


def test_trap_4_the_library_averages_a_rate_over_a_gap() -> None:
    values, times_s = [3.0, 42.0], [0.0, 7200.0]

    assert library_rate(values, times_s, 0.05) == [1, 1]
    assert ours(values, replace(BAND, max_rate_k_min=3.0), times_s=times_s) == [2, 2]


def test_trap_5_the_library_calls_good_what_it_could_not_test() -> None:
    values = [20.0, NAN, 60.0]
    times_s = at_pace(3)

    assert library_rate(values, times_s, 5.0 / 60.0) == [1, 9, 1]
    assert library_flat(values[:1] * 2, times_s[:2], 1.0) == [1, 1]
    assert ours(values, BAND) == [2, 9, 3], "not evaluated; missing; and against the last that passed"


def test_trap_6_the_librarys_spike_tests_smear_or_miss() -> None:
    one, two = [3.0, 3.1, 9.0, 3.0, 3.1], [3.0, 3.1, 9.0, 9.1, 3.0]

    assert qartod.spike_test(one, 1.0, 2.5).tolist() == [2, 4, 4, 4, 2], "its neighbours fail too"
    assert qartod.spike_test(two, 1.0, 2.5, method="differential").tolist() == [2, 1, 1, 1, 2]
    assert library_rate(one, at_pace(5), 5.0 / 60.0) == [1, 1, 3, 3, 1], "nor does its rate tell them apart"
    assert ours(one, BAND) == [2, 1, 3, 1, 1]
    assert ours(two, BAND) == [2, 1, 3, 3, 1]


def test_trap_7_a_threshold_of_0_switches_the_librarys_spike_test_off() -> None:
    values = [3.0, 3.0, 60.0, 3.0, 3.0]

    assert qartod.spike_test(values, 0, 0).tolist() == [2, 1, 1, 1, 2]
    assert ours(values, replace(BAND, max_rate_k_min=0.0)) == [2, 1, 3, 1, 1], "a limit of 0 is the strictest"


def test_trap_8_in_the_library_one_passing_test_hides_what_was_not_evaluated() -> None:
    not_evaluated, passing = np.array([2]), np.array([1])

    assert qartod.qartod_compare([not_evaluated, passing]).tolist() == [1]
    assert ours([3.0], BAND) == [2]


@pytest.mark.parametrize("noise_k", [0.1, 0.7], ids=["a calm house", "a noisy one"])
def test_trap_9_both_rates_are_difference_by_time_and_not_deviations_of_the_series(noise_k: float) -> None:
    """The manual's N standard deviations over a window would pass 1 K after noise, and not after calm."""
    values = [3.0 + noise_k * (index % 2) for index in range(20)] + [3.0 + noise_k + 1.0]

    assert library_rate(values, at_pace(21), 5.0 / 60.0) == [1] * 20 + [3]
    assert ours(values, BAND) == [2] + [1] * 19 + [3]


def test_trap_10_the_librarys_spike_test_comes_one_sample_late() -> None:
    values = [3.0, 3.0, 60.0]

    assert qartod.spike_test(values, 1.0, 3.0).tolist()[-1] == NOT_EVALUATED
    assert qartod.spike_test([*values, 3.0], 1.0, 3.0).tolist()[-2] == FAIL
    assert ours(values, BAND)[-1] == SUSPECT

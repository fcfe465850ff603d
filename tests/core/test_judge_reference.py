"""One sensor: our flags beside those of the reference library, and its traps."""

import math
from dataclasses import replace

import pytest

from overwinter.core.judge import Track
from overwinter.core.nouns import Flag
from tests.core.judging import PASS, SUSPECT, flags
from tests.core.rig import BAND, reading

# --- against the reference library ---------------------------------------------------------------------

# Series, parameters and the two rows of the library: output of ioos_qc 3.0.0 (Apache-2.0, the reference
# implementation of QARTOD), run outside this project; 60-s steps, gross range fail -55..84.9, rate of change
# 0.5 (suspect) and 3 (fail) per minute, flat line 180 s (suspect) and 300 s (fail) with tolerance 0.05. `all`
# is the worst flag of its tests, with spike by its "differential" method, which here adds nothing to the
# others. Ours: 0.5 K/min, flat after 300 s.
_ = None
GOLDEN = [
    # value, library's `all`, ours, why they differ
    (3.0, 1, 2, "the first reading has nothing to be compared with: not evaluated, not good"),
    (3.1, 1, 1, _),
    (3.0, 1, 1, _),
    (85.0, 4, 4, _),
    (3.1, 4, 1, "the rate is taken against the last that passed, so a spike does not condemn its successor"),
    (3.0, 1, 1, _),
    (math.nan, 9, 9, _),
    (3.1, 1, 1, _),
    (3.0, 1, 1, _),
    (-127.0, 4, 4, _),
    (3.1, 4, 1, "as after 85"),
    (3.1, 1, 1, _),
    (3.1, 1, 1, _),
    (3.1, 3, 1, "flat has no suspect stage here: it would be one more way to lose a good sensor"),
    (3.1, 3, 1, "the same"),
    (3.1, 4, 4, _),
    (3.1, 4, 4, _),
    (3.2, 1, 1, _),
    (2.4, 3, 3, _),
    (1.6, 3, 3, _),
]


def test_the_golden_series_gets_our_flags_and_differs_from_the_library_only_where_explained(
    track: Track,
) -> None:
    settings = replace(BAND, sense_s=60.0, max_rate_k_min=0.5, flat_after_s=300.0)

    ours = flags(track, [value for value, *_ in GOLDEN], settings, step_s=60.0)

    assert ours == [flag for _, _, flag, _ in GOLDEN]
    assert [why is not None for *_, why in GOLDEN] == [theirs != flag for _, theirs, flag, _ in GOLDEN]


def test_the_fast_fall_at_the_end_of_the_golden_series_is_suspect_and_still_heats(track: Track) -> None:
    settings = replace(BAND, sense_s=60.0, max_rate_k_min=0.5, flat_after_s=300.0)
    values = [value for value, *_ in GOLDEN] + [0.8]

    flags(track, values, settings, step_s=60.0)
    assert track.flag is Flag.SUSPECT
    assert track.cold_c(20 * 60.0, settings) == 3.1, (
        "three suspects in a row may be a burst of damaged frames"
    )

    flags(track, [0.0], settings, start_s=21 * 60.0, step_s=60.0)
    assert track.flag is Flag.SUSPECT
    assert track.cold_c(21 * 60.0, settings) == 0.8  # of 1.6, 0.8, 0.0, the last three of the window
    assert track.believed_c == 3.2


# Ten traps of that library, found by running it. Its spike test (traps 6, 7 and 10) needs the next sample and
# is not used here: the tests below show that one and two bad samples are told by the rate.


def test_trap_1_flat_is_told_without_a_tolerance(track: Track) -> None:
    """The library's default tolerance of 0 never flags; ours is exactly equal, and always on."""
    assert flags(track, [3.0] * 7, replace(BAND, flat_after_s=60.0)) == [2, 1, 1, 1, 1, 1, 4]


def test_trap_2_failed_reads_do_not_stretch_the_flat_clock(track: Track) -> None:
    """The library counts samples of the median interval; ours is a time, right across any gap."""
    values = [3.0, None, 3.0, None, None, 3.0, 3.0]
    assert flags(track, values, replace(BAND, flat_after_s=60.0)) == [2, 9, 1, 9, 9, 1, 4]


@pytest.mark.parametrize("step_s", [0.0, -0.5, -3600.0], ids=str)
def test_trap_3_a_step_in_no_time_is_a_time_fault_and_not_a_pass(track: Track, step_s: float) -> None:
    """The library cuts time to whole seconds and passes duplicate stamps."""
    flags(track, [3.0, 3.1], BAND)

    assert track.hear(reading(30.0, 10.0 + step_s), BAND) is Flag.FAIL

    assert track.error == "taken at the same time as the reading before, or earlier: a time fault"
    assert track.hear(reading(3.0, 20.0), BAND) is Flag.PASS, "and the next honest one is not condemned"


@pytest.mark.parametrize(
    ("step_s", "step_k", "flag"),
    [
        pytest.param(0.5, 0.2, SUSPECT, id="half a second: the library never flags"),
        pytest.param(1.9, 0.15, PASS, id="1.9 s: the library flags falsely"),
    ],
)
def test_trap_3_time_is_not_cut_to_whole_seconds(
    track: Track, step_s: float, step_k: float, flag: int
) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    assert track.hear(reading(3.0 + step_k, step_s), BAND) == flag


def test_trap_4_a_rate_is_not_averaged_over_a_gap(track: Track) -> None:
    """The library passes 39 K in two hours with nothing between; after a gap ours is not evaluated."""
    assert flags(track, [3.0, 42.0], BAND, step_s=7200.0) == [2, 2]


def test_trap_5_the_first_sample_and_the_first_after_a_gap_are_not_evaluated(track: Track) -> None:
    assert flags(track, [3.0, 3.0]) == [2, 1]
    assert flags(track, [3.0, 3.0], start_s=10.0 + 150.0 + 0.1) == [2, 1]


def test_trap_5_a_gap_begins_only_past_its_length(track: Track) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    assert track.hear(reading(3.1, 150.0), BAND) is Flag.PASS


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        pytest.param([3.0, 3.1, 9.0, 3.0, 3.1], [2, 1, 3, 1, 1], id="one bad sample is one flag, not three"),
        pytest.param([3.0, 3.1, 9.0, 9.1, 3.0], [2, 1, 3, 3, 1], id="a spike of two samples is not missed"),
    ],
)
def test_traps_6_and_7_a_spike_is_told_without_the_next_sample(
    track: Track, values: list[float], expected: list[int]
) -> None:
    assert flags(track, values) == expected


def test_trap_8_a_passing_test_does_not_hide_one_that_could_not_be_made(track: Track) -> None:
    """In the library good outranks not evaluated: range passed, rate unknown reads as good."""
    assert track.hear(reading(3.0, 0.0), BAND) is Flag.NOT_EVALUATED


@pytest.mark.parametrize(
    ("step_k", "flag"),
    [
        pytest.param(5.0 / 6.0, PASS, id="at the limit"),
        pytest.param(-5.0 / 6.0, PASS, id="at the limit, falling"),
        pytest.param(0.834, SUSPECT, id="just above"),
        pytest.param(-0.834, SUSPECT, id="just above, falling"),
    ],
)
def test_trap_9_the_rate_is_difference_by_time_and_not_by_standard_deviations(
    track: Track, step_k: float, flag: int
) -> None:
    assert flags(track, [3.0, 3.0 + step_k]) == [2, flag]


def test_trap_10_every_flag_is_given_at_once(track: Track) -> None:
    """The spike test needs one sample more; a relay can't wait for it."""
    assert flags(track, [3.0, 3.0, 20.0])[-1] == SUSPECT

"""One sensor: what lasts is believed, and what its two medians say cold and warm."""

from dataclasses import replace

import pytest

from overwinter.core.judge import Track, patience
from overwinter.core.nouns import Flag
from tests.core.judging import PASS, SUSPECT, flags
from tests.core.rig import BAND, reading, sensor

# --- what lasts is believed ------------------------------------------------------------------------------


def test_a_step_that_lasts_a_window_is_believed_and_enters_both_windows_whole(track: Track) -> None:
    flags(track, [3.0, 3.1, 3.0, 3.1, 3.0])

    step = flags(track, [9.0, 9.1, 9.2, 9.1, 9.0], start_s=50.0)

    assert step == [3, 3, 3, 3, 1]
    assert track.cold_c(90.0, BAND) == 9.1
    assert track.warm_c(90.0, BAND) == 9.1
    assert track.believed_s == 90.0


@pytest.mark.parametrize("window", [1, 3, 5, 31])
def test_a_step_is_believed_with_its_last_reading_of_a_window_and_no_earlier(window: int) -> None:
    settings, track = replace(BAND, window=window, max_rate_k_min=0.5), Track(sensor())
    track.hear(reading(3.0, 0.0), settings)

    step = flags(track, [20.0] * window, settings, start_s=10.0)

    assert step == [3] * (window - 1) + [1]


@pytest.mark.parametrize("step_k", [5.0 / 6.0, -5.0 / 6.0], ids=["rising", "falling"])
def test_suspects_that_move_exactly_at_the_limit_agree(track: Track, step_k: float) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    said = flags(track, [20.0 + step_k * index for index in range(5)], start_s=10.0)

    assert said == [3, 3, 3, 3, 1]


def test_suspects_that_do_not_agree_with_one_another_start_anew(track: Track) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    said = flags(track, [20.0, 20.1, 30.0, 20.0, 20.1, 20.2, 20.1, 20.0], start_s=10.0)

    assert said == [3, 3, 3, 3, 3, 3, 3, 1]


def test_one_honest_reading_between_ends_a_step(track: Track) -> None:
    flags(track, [3.0, 3.0, 3.0])

    said = flags(track, [20.0, 20.1, 3.0, 20.0, 20.1, 20.2, 20.1, 20.0], start_s=30.0)

    assert said == [3, 3, 1, 3, 3, 3, 3, 1]


def test_suspects_never_age_a_sensor_back_to_life(track: Track) -> None:
    """Were suspects forgotten, one after a gap of believed readings would count as a first reading."""
    flags(track, [3.0, 3.0, 3.0])
    noise = [30.0 if index % 2 else -30.0 for index in range(200)]

    assert set(flags(track, noise, start_s=30.0)) == {SUSPECT}

    assert track.believed_s == 20.0
    assert track.is_lost(20.0 + 120.0, 120.0)


def test_noise_that_never_passes_is_not_let_in_by_the_time_that_went_by(track: Track) -> None:
    """The rate's time is bounded; otherwise 30 K would pass after six minutes."""
    flags(track, [3.0, 3.0, 3.0])
    noise = [33.0 if index % 2 else -27.0 for index in range(100)]

    assert set(flags(track, noise, start_s=30.0)) == {SUSPECT}
    assert track.warm_c(1020.0, BAND) is None


@pytest.mark.parametrize(
    ("failed", "step_k", "flag"),
    [
        pytest.param(1, 1.66, PASS, id="one failed read: two periods"),
        pytest.param(1, 1.67, SUSPECT, id="and no more"),
        pytest.param(2, 2.5, PASS, id="two: three periods"),
        pytest.param(2, 2.51, SUSPECT, id="and no more than that"),
        pytest.param(10, 2.5, PASS, id="ten: three periods still"),
        pytest.param(10, -2.51, SUSPECT, id="and no more than three"),
    ],
)
def test_failed_reads_do_not_let_a_damaged_frame_in(
    track: Track, failed: int, step_k: float, flag: int
) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    assert flags(track, [None] * failed + [3.0 + step_k], start_s=10.0)[-1] == flag


def test_a_failed_reading_counts_for_nothing(track: Track) -> None:
    flags(track, [3.0, 3.1, 3.2])
    before = track.cold_c(20.0, BAND), track.warm_c(20.0, BAND), track.believed_s, track.seen_s

    flags(track, [85.0, -127.0, None, 200.0, 3276.7], start_s=21.0, step_s=0.1)

    assert (track.cold_c(22.0, BAND), track.warm_c(22.0, BAND), track.believed_s, track.seen_s) == before


# --- the two medians -------------------------------------------------------------------------------------


def test_a_doubtful_cold_is_heard_by_cold_and_not_by_warm(track: Track) -> None:
    flags(track, [6.0, 6.1, 6.0, 6.1, 6.0])

    assert flags(track, [1.0, 1.1, 1.0, 1.1], start_s=50.0) == [3, 3, 3, 3]

    assert track.cold_c(80.0, BAND) == 1.1
    assert track.believed_c == 6.0


def test_a_doubtful_warm_does_not_make_cold_any_warmer(track: Track) -> None:
    flags(track, [1.9, 1.9, 2.0, 1.9, 1.9])
    assert flags(track, [30.0, 31.0, 30.0, 31.0], start_s=50.0) == [3, 3, 3, 3]

    assert flags(track, [1.9], start_s=90.0) == [1]

    assert track.cold_c(90.0, BAND) == 1.9


@pytest.mark.parametrize(("window", "heard_from"), [(1, 1), (3, 2), (5, 4), (7, 6), (31, 30)], ids=str)
def test_suspects_are_heard_once_they_are_one_less_than_a_window(window: int, heard_from: int) -> None:
    settings, track = replace(BAND, window=window), Track(sensor())
    assert patience(settings) == heard_from
    flags(track, [6.0 + 0.01 * (index % 2) for index in range(window)], settings)

    for index in range(heard_from):
        assert track.cold_c(0.0, settings) == pytest.approx(6.0, abs=0.011)
        flags(track, [-20.0 - 0.01 * (index % 2)], settings, start_s=10.0 * (window + index))

    heard_c = track.cold_c(10.0 * (window + heard_from - 1), settings)
    assert heard_c == pytest.approx(-20.0, abs=0.011)


@pytest.mark.parametrize("length", [1, 2, 3])
@pytest.mark.parametrize("spike_c", [-30.0, 60.0])
def test_a_burst_of_damaged_frames_that_agree_moves_nothing(
    track: Track, length: int, spike_c: float
) -> None:
    """Three of them are the median of five."""
    flags(track, [3.0, 3.1, 3.0, 3.1, 3.0])
    assert flags(track, [spike_c] * length, start_s=50.0) == [3] * length

    for step in range(6):
        now_s = 50.0 + 10.0 * (length + step)
        assert flags(track, [3.0 + 0.1 * (step % 2)], start_s=now_s) == [1]
        cold_c, warm_c = track.cold_c(now_s, BAND), track.warm_c(now_s, BAND)
        assert (cold_c, warm_c) in {(a, b) for a in (3.0, 3.1) for b in (3.0, 3.1)}


def test_noise_that_never_passes_is_heard_as_cold_reading_by_reading(track: Track) -> None:
    flags(track, [3.0, 3.1, 3.0])
    noise = [40.0 if index % 2 else -30.0 for index in range(12)]
    assert set(flags(track, noise, start_s=30.0)) == {3}

    assert track.cold_c(140.0, BAND) == 40.0
    assert flags(track, [-31.0, 41.0, -32.0], start_s=150.0) == [3, 3, 3]
    assert track.cold_c(170.0, BAND) == -30.0, "of -30, 40, -31, 41 and -32: each was heard once, none of old"
    assert not track._unheard


@pytest.mark.parametrize(("window", "enough"), [(1, 1), (3, 2), (5, 3), (7, 4), (31, 16)], ids=str)
def test_fewer_than_half_a_window_say_cold_but_not_warm(window: int, enough: int) -> None:
    settings, track = replace(BAND, window=window), Track(sensor())

    for index in range(enough):
        assert track.warm_c(index * 10.0, settings) is None
        track.hear(reading(3.0 + 0.01 * index, index * 10.0), settings)
        assert track.cold_c(index * 10.0, settings) is not None

    assert track.warm_c((enough - 1) * 10.0, settings) is not None


@pytest.mark.parametrize(
    ("values", "median_c"),
    [
        pytest.param([4.0], 4.0, id="one"),
        pytest.param([4.0, 4.2], 4.0, id="of two the colder"),
        pytest.param([4.2, 4.0, 4.1], 4.1, id="three"),
        pytest.param([4.3, 4.0, 4.1, 4.2], 4.1, id="of four the colder of the middle two"),
        pytest.param([4.9, 4.1, 4.2, 4.3, 4.4, 4.5], 4.3, id="six: the first has left"),
    ],
)
def test_a_median_leans_to_the_cold(track: Track, values: list[float], median_c: float) -> None:
    flags(track, values)

    assert track.cold_c((len(values) - 1) * 10.0, BAND) == median_c


@pytest.mark.parametrize(
    ("age_s", "said_c"),
    [
        pytest.param(45.0, 3.0, id="all young"),
        pytest.param(55.0, 3.0, id="at the length of the window and half a period"),
        pytest.param(55.1, None, id="older"),
    ],
)
def test_readings_older_than_the_window_is_long_say_nothing(
    track: Track, age_s: float, said_c: float | None
) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    assert track.cold_c(age_s, BAND) == said_c


@pytest.mark.parametrize(
    ("age_s", "said_c"),
    [
        pytest.param(150.0, 3.0, id="at three times the length"),
        pytest.param(150.1, None, id="older"),
    ],
)
def test_where_reads_fail_readings_may_be_three_times_as_old(
    track: Track, age_s: float, said_c: float | None
) -> None:
    track.hear(reading(3.0, 0.0), BAND)
    track.hear(reading(None, 100.0), BAND)

    assert track.cold_c(age_s, BAND) == said_c


@pytest.mark.parametrize(
    ("now_s", "said_c"),
    [
        pytest.param(65.0, 3.0, id="the failure is just within the window's length"),
        pytest.param(65.1, None, id="older"),
    ],
)
def test_a_failed_read_as_old_as_the_window_is_long_no_longer_counts(
    track: Track, now_s: float, said_c: float | None
) -> None:
    track.hear(reading(3.0, 0.0), BAND)
    track.hear(reading(None, 10.0), BAND)

    assert track.cold_c(now_s, BAND) == said_c


def test_an_old_reading_leaves_alone(track: Track) -> None:
    for taken_s, value in ((0.0, 4.0), (40.0, 3.0), (50.0, 3.1), (60.0, 3.2)):
        track.hear(reading(value, taken_s), BAND)

    assert track.warm_c(60.0, BAND) == 3.1
    assert track.warm_c(100.0, BAND) is None, "two are not enough"
    assert track.cold_c(100.0, BAND) == 3.1


@pytest.mark.parametrize(
    ("sense_s", "cold_c"),
    [
        pytest.param(10.0, 4.0, id="every 10 s: half a window is soon"),
        pytest.param(30.0, 3.0, id="every 30 s: the last four, of which the lower middle one"),
        pytest.param(60.0, 3.0, id="every minute: the last three"),
        pytest.param(300.0, 3.0, id="every five minutes: still three"),
    ],
)
def test_where_readings_are_far_apart_the_last_few_say_cold_before_a_whole_window_does(
    track: Track, sense_s: float, cold_c: float
) -> None:
    settings = replace(BAND, sense_s=sense_s)

    flags(track, [4.0, 4.0, 4.0, 3.0, 3.0], settings, step_s=sense_s)

    assert track.cold_c(4 * sense_s, settings) == cold_c
    assert track.warm_c(4 * sense_s, settings) == 4.0, "warm waits for the whole window"


def test_one_freak_cold_among_readings_that_are_far_apart_moves_nothing(track: Track) -> None:
    settings = replace(BAND, sense_s=60.0)

    flags(track, [4.0, 4.0, 4.0, 4.0, 1.0], settings, step_s=60.0)

    assert track.cold_c(240.0, settings) == 4.0


def test_last_readings_that_are_warmer_do_not_make_a_window_warmer(track: Track) -> None:
    settings = replace(BAND, sense_s=60.0)

    flags(track, [3.0, 3.0, 3.0, 4.0, 4.0], settings, step_s=60.0)

    assert track.cold_c(240.0, settings) == 3.0


def test_a_smaller_window_forgets_the_oldest_at_once(track: Track) -> None:
    flags(track, [3.4, 3.3, 3.2, 3.1, 3.0])

    smaller = replace(BAND, window=3)

    assert track.cold_c(40.0, smaller) == 3.1
    assert track.warm_c(40.0, smaller) == 3.1
    assert len(track._cold) == len(track._warm) == 3


def test_a_smaller_window_hears_all_the_suspects_that_waited(track: Track) -> None:
    flags(track, [3.0, 3.1, 3.0, 3.1, 3.0])
    flags(track, [-20.0, -30.0, -40.0], start_s=50.0)
    assert track.cold_c(70.0, BAND) == 3.0

    flags(track, [-50.0], replace(BAND, window=3), start_s=80.0)

    assert [temperature_c for _, temperature_c in track._cold] == [-30.0, -40.0, -50.0]


def test_a_larger_window_hears_no_suspect_twice(track: Track) -> None:
    flags(track, [3.0, 3.1, 3.0], replace(BAND, window=3))
    flags(track, [-20.0, -30.0, -40.0], replace(BAND, window=3), start_s=30.0)

    flags(track, [-50.0, -20.0], replace(BAND, window=31), start_s=60.0)
    assert [temperature_c for _, temperature_c in track._cold] == [-20.0, -30.0, -40.0]
    flags(track, [-30.0], start_s=80.0)

    assert [temperature_c for _, temperature_c in track._cold] == [-30.0, -40.0, -50.0, -20.0, -30.0]


def test_a_smaller_window_believes_a_step_that_already_lasted_it(track: Track) -> None:
    flags(track, [3.0, 9.0, 9.1, 9.0])

    smaller = replace(BAND, window=3)

    assert track.hear(reading(9.1, 40.0), smaller) is Flag.PASS
    assert track.cold_c(40.0, smaller) == 9.1


def test_a_larger_window_waits_until_half_of_it_is_there(track: Track) -> None:
    flags(track, [3.0, 3.1, 3.2, 3.3, 3.4])

    assert track.warm_c(40.0, replace(BAND, window=11)) is None

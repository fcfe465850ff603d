"""One sensor: which flag a reading gets, and what the sensor then says cold and warm."""

import math
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.judge import RANGE_C, Track, patience, sentinel
from overwinter.core.nouns import Flag, Role, SensorSpec, Settings
from tests.core.rig import BAND, reading, sensor

PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9


def flags(
    track: Track,
    values: Sequence[float | None],
    settings: Settings = BAND,
    *,
    start_s: float = 0.0,
    step_s: float = 10.0,
) -> list[int]:
    """The flags of values that come at an even pace."""
    return [
        int(track.hear(reading(value, start_s + step_s * index), settings))
        for index, value in enumerate(values)
    ]


@pytest.fixture
def track() -> Track:
    return Track(sensor())


def test_of_a_sensor_that_never_spoke_nothing_is_known(track: Track) -> None:
    assert (track.flag, track.error) == (Flag.MISSING, "no reading yet")
    for nothing in (
        track.temperature_c,
        track.humidity_pct,
        track.heard_s,
        track.believed_s,
        track.believed_c,
        track.seen_s,
        track.seen_c,
        track.flat_since_s,
        track.cold_c(0.0, BAND),
        track.warm_c(0.0, BAND),
    ):
        assert nothing is None


# --- error values by name ------------------------------------------------------------------------------

POWER_UP = "85 °C exactly is the sensor chip's power-up value, not a temperature"
FAILED_TRANSFER = "-127 °C is a failed transfer on the sensor's bus, not a temperature"
LOST_SIGN = "°C is a small negative number whose sign was lost on the way"
ALL_ZERO = "0.0 °C with 0.0 % humidity is an all-zero frame, which passes the sensor's checksum"
TOO_DRY = "% humidity does not occur in a pump house: a damaged frame"


@pytest.mark.parametrize(
    ("kind", "temperature_c", "humidity_pct", "why"),
    [
        pytest.param("w1", 85.0, None, POWER_UP, id="85 is the power-up value"),
        pytest.param("iio", 85.0, 40.0, POWER_UP, id="85 with humidity too"),
        pytest.param("w1", -127.0, None, FAILED_TRANSFER, id="-127 is a failed transfer"),
        pytest.param("dht22", -3276.7, 40.0, f"-3276.7 {LOST_SIGN}", id="a lost sign, negative"),
        pytest.param("iio", 3276.7, 40.0, f"3276.7 {LOST_SIGN}", id="a lost sign, positive"),
        pytest.param("iio", 3270.1, 40.0, f"3270.1 {LOST_SIGN}", id="a lost sign, just"),
        pytest.param("dht22", 0.0, 0.0, ALL_ZERO, id="an all-zero frame"),
        pytest.param("iio", -0.0, 0.0, ALL_ZERO, id="an all-zero frame with a sign"),
        pytest.param("dht22", 3.1, 0.9, f"0.9 {TOO_DRY}", id="dht22 so dry that no frame is whole"),
        pytest.param("dht11", 3.0, 0.0, f"0 {TOO_DRY}", id="dht11 so dry that no frame is whole"),
    ],
)
def test_an_error_value_fails_and_is_called_by_its_name(
    kind: str, temperature_c: float, humidity_pct: float | None, why: str
) -> None:
    track = Track(sensor(kind=kind))

    flag = track.hear(reading(temperature_c, 10.0, humidity_pct=humidity_pct), BAND)

    assert flag is Flag.FAIL
    assert track.error == why
    assert track.believed_s is None


def test_a_value_just_short_of_a_lost_sign_is_merely_out_of_range() -> None:
    assert sentinel("iio", 3270.0, None) is None
    assert sentinel("iio", -3270.0, None) is None


@pytest.mark.parametrize(
    ("kind", "temperature_c", "humidity_pct"),
    [
        pytest.param("w1", 84.9, None, id="just below the power-up value"),
        pytest.param("w1", 0.0, None, id="zero of a sensor without humidity"),
        pytest.param("dht22", 0.0, 60.0, id="zero with humidity"),
        pytest.param("dht22", 3.0, 1.0, id="dht22 at the driest that is believed"),
        pytest.param("iio", 3.0, 0.5, id="a sensor of another kind may be dry"),
    ],
)
def test_an_honest_number_next_to_an_error_value_is_believed(
    kind: str, temperature_c: float, humidity_pct: float | None
) -> None:
    assert sentinel(kind, temperature_c, humidity_pct) is None

    assert Track(sensor(kind=kind)).hear(reading(temperature_c, 0.0, humidity_pct=humidity_pct), BAND) == 2


# Operating ranges as the sensors' data sheets state them (from memory, not read again here): AM2302 (sold as
# DHT22) -40 to 80 °C, DHT11 0 to 50 °C, DS18B20 -55 to 125 °C, the last cut below its power-up value of 85.
@pytest.mark.parametrize(
    ("kind", "low_c", "high_c"),
    [
        ("dht22", -40.0, 80.0),
        ("dht11", 0.0, 50.0),
        ("w1", -55.0, 84.9),
        ("iio", -55.0, 84.9),
        ("simulated", -55.0, 84.9),
    ],
)
def test_the_gross_range_of_a_kind_is_that_of_its_data_sheet(kind: str, low_c: float, high_c: float) -> None:
    assert len(RANGE_C) == 5, "a new kind needs a row here"
    for inside_c in (low_c, high_c):
        assert Track(sensor(kind=kind)).hear(reading(inside_c, 0.0), BAND) is Flag.NOT_EVALUATED
    for outside_c in (low_c - 0.1, high_c + 0.2):
        track = Track(sensor(kind=kind))
        assert track.hear(reading(outside_c, 0.0), BAND) is Flag.FAIL
        assert track.error is not None
        assert f"{low_c:g} to {high_c:g} °C" in track.error


@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf], ids=str)
def test_what_is_no_number_is_missing(track: Track, value: float | None) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    assert track.hear(reading(value, 10.0), BAND) is Flag.MISSING

    assert track.temperature_c is None
    assert track.humidity_pct is None
    assert track.error == ("no answer" if value is None else "not a number")


@pytest.mark.parametrize("humidity_pct", [-0.1, 100.1, math.nan, math.inf], ids=str)
def test_an_impossible_humidity_is_left_out_and_the_temperature_judged_alone(
    track: Track, humidity_pct: float
) -> None:
    assert track.hear(reading(3.0, 0.0, humidity_pct=humidity_pct), BAND) is Flag.NOT_EVALUATED

    assert track.humidity_pct is None
    assert track.temperature_c == 3.0


@pytest.mark.parametrize("humidity_pct", [0.0, 100.0])
def test_the_driest_and_the_dampest_air_are_possible(track: Track, humidity_pct: float) -> None:
    track.hear(reading(3.0, 0.0, humidity_pct=humidity_pct), BAND)

    assert track.humidity_pct == humidity_pct


def test_a_good_reading_ends_the_error(track: Track) -> None:
    track.hear(reading(None, 0.0), BAND)
    track.hear(reading(3.0, 10.0), BAND)

    assert track.error is None


def test_calibration_is_added_after_the_raw_value_was_judged() -> None:
    spec = SensorSpec(name="by the pump", role=Role.CONTROL, kind="w1", offset_c=-0.5)
    track = Track(spec)

    assert track.hear(reading(85.0, 0.0), BAND) is Flag.FAIL
    assert track.hear(reading(3.0, 10.0), BAND) is Flag.NOT_EVALUATED
    assert track.temperature_c == 2.5
    assert track.cold_c(10.0, BAND) == 2.5


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


# --- flat -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("after_s", "flag"),
    [
        pytest.param(7190.0, PASS, id="just before"),
        pytest.param(7200.0, FAIL, id="exactly then"),
        pytest.param(7210.0, FAIL, id="after"),
    ],
)
def test_a_value_that_does_not_move_for_flat_after_s_fails(track: Track, after_s: float, flag: int) -> None:
    for taken_s in range(0, round(after_s), 10):
        track.hear(reading(3.0, float(taken_s)), BAND)

    assert track.hear(reading(3.0, after_s), BAND) == flag
    assert (track.flat_since_s is None) == (flag == PASS)


def test_flat_says_for_how_long(track: Track) -> None:
    track.hear(reading(4.0, 0.0), BAND)
    for taken_s in range(100, 100 + 7201, 10):
        track.hear(reading(3.0, float(taken_s)), BAND)

    assert track.error == "exactly the same values for 120 minutes: a stuck sensor"
    assert track.flat_since_s == 100.0


def test_a_sensor_with_humidity_is_flat_only_when_both_values_stand_still(track: Track) -> None:
    settings = replace(BAND, flat_after_s=60.0)
    for index in range(20):
        flag = track.hear(reading(3.0, index * 10.0, humidity_pct=70.0 + index % 2), settings)
        assert flag in (PASS, NOT_EVALUATED)

    said = [track.hear(reading(3.0, 200.0 + index * 10.0, humidity_pct=71.5), settings) for index in range(7)]

    assert said == [1, 1, 1, 1, 1, 1, 4]


def test_a_flat_sensor_is_believed_again_when_it_moves(track: Track) -> None:
    settings = replace(BAND, flat_after_s=60.0)
    flags(track, [3.0] * 10, settings)
    assert track.flag is Flag.FAIL

    assert track.hear(reading(3.1, 100.0), settings) is Flag.PASS
    assert track.flat_since_s is None


@pytest.mark.parametrize("failed", [None, 85.0, -127.0, 200.0], ids=str)
def test_a_failed_read_does_not_make_a_stuck_sensor_look_alive(track: Track, failed: float | None) -> None:
    values = [3.0, failed, 3.0, failed, 3.0, failed, 3.0]

    assert flags(track, values, replace(BAND, flat_after_s=60.0))[-1] == FAIL


def test_a_time_fault_does_not_make_a_stuck_sensor_look_alive(track: Track) -> None:
    settings = replace(BAND, flat_after_s=60.0)
    flags(track, [3.0] * 6, settings)
    assert track.hear(reading(3.7, 20.0), settings) is Flag.FAIL

    assert track.hear(reading(3.0, 60.0), settings) is Flag.FAIL


def test_the_filter_does_not_mistake_a_small_change_for_none(track: Track) -> None:
    values = [3.0 + 0.0625 * (index % 2) for index in range(100)]

    assert set(flags(track, values, replace(BAND, flat_after_s=60.0))) == {2, 1}


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


# --- silence ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now_s", "is_lost"),
    [
        pytest.param(119.9, False, id="just before"),
        pytest.param(120.0, True, id="exactly"),
        pytest.param(500.0, True, id="after"),
    ],
)
def test_a_sensor_is_lost_exactly_when_nothing_believable_came_for_so_long(
    track: Track, now_s: float, is_lost: bool
) -> None:
    track.hear(reading(3.0, 0.0), BAND)

    assert track.is_lost(now_s, 120.0) is is_lost


def test_a_sensor_that_never_spoke_is_lost(track: Track) -> None:
    track.grow_old(1e9, 120.0)

    assert track.is_lost(0.0, 3600.0)
    assert track.error == "no reading yet"


def test_silence_is_missing_so_that_an_old_value_does_not_look_fresh(track: Track) -> None:
    track.hear(reading(3.0, 10.0, humidity_pct=70.0), BAND)

    track.grow_old(129.9, 120.0)
    assert (track.flag, track.temperature_c) == (Flag.NOT_EVALUATED, 3.0)
    track.grow_old(130.0, 120.0)

    assert (track.flag, track.temperature_c, track.humidity_pct) == (Flag.MISSING, None, None)
    assert track.error == "nothing came for 120 s, not even an error"


def test_silence_keeps_the_last_words_of_a_sensor_that_said_why(track: Track) -> None:
    track.hear(reading(None, 0.0), BAND)

    track.grow_old(1000.0, 120.0)

    assert track.error == "no answer"


def test_a_flat_sensor_that_falls_silent_is_no_longer_flat_but_missing(track: Track) -> None:
    settings = replace(BAND, flat_after_s=60.0)
    flags(track, [3.0] * 7, settings)
    assert track.flat_since_s == 0.0
    flags(track, [None] * 12, settings, start_s=70.0)

    track.grow_old(179.0, 120.0)
    assert track.flat_since_s == 0.0
    track.grow_old(180.0, 120.0)

    assert track.flat_since_s is None


# --- what must always hold -------------------------------------------------------------------------------

ANY_C = st.one_of(
    st.none(),
    st.sampled_from([math.nan, math.inf, -math.inf, 85.0, -127.0, -3276.7, 0.0, -0.0, 1e308]),
    st.floats(min_value=-60.0, max_value=90.0),
    st.floats(min_value=2.0, max_value=4.0),
)
ANY_STEP_S = st.one_of(st.just(10.0), st.floats(min_value=-20.0, max_value=400.0))
WINDOW = st.integers(min_value=0, max_value=15).map(lambda half: 2 * half + 1)


@given(st.lists(st.tuples(ANY_C, ANY_STEP_S), max_size=60), WINDOW)
def test_a_median_lies_within_what_was_said_and_windows_stay_bounded(
    said: list[tuple[float | None, float]], window: int
) -> None:
    track, settings, now_s = Track(sensor()), replace(BAND, window=window), 0.0
    believed: list[float] = []
    heard: list[float] = []
    for value, step_s in said:
        now_s += step_s
        flag = track.hear(reading(value, now_s), settings)
        if flag in (Flag.PASS, Flag.NOT_EVALUATED, Flag.SUSPECT):
            assert value is not None
            heard.append(value)
        if flag in (Flag.PASS, Flag.NOT_EVALUATED):
            believed = list(heard)  # a step that lasted brings its suspects along
        cold_c, warm_c = track.cold_c(now_s, settings), track.warm_c(now_s, settings)
        assert cold_c is None or cold_c in heard
        assert warm_c is None or warm_c in believed
        assert len(track._cold) <= window
        assert len(track._warm) <= window
        assert len(track._pending) < window or not track._pending


@given(st.lists(st.tuples(ANY_C, ANY_STEP_S), max_size=60))
def test_what_is_believed_is_a_number_within_range_and_time_runs_forward(
    said: list[tuple[float | None, float]],
) -> None:
    track, now_s = Track(sensor()), 0.0
    for value, step_s in said:
        now_s += step_s
        before_s = track.believed_s
        track.hear(reading(value, now_s), BAND)
        if track.believed_c is not None:
            assert -55.0 <= track.believed_c <= 84.9
        if before_s is not None:
            assert track.believed_s is not None
            assert track.believed_s >= before_s


@given(st.lists(st.floats(min_value=-50.0, max_value=80.0), min_size=1, max_size=40))
def test_a_suspect_changes_nothing_that_warm_says(values: list[float]) -> None:
    track = Track(sensor())
    for index, value in enumerate(values):
        before_c = track.warm_c(index * 10.0, BAND)
        if track.hear(reading(value, index * 10.0), BAND) is Flag.SUSPECT:
            assert track.warm_c(index * 10.0, BAND) == before_c

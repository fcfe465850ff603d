"""One sensor: which flag a reading gets, and what the sensor then says cold and warm."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.judge import RANGE_C, Track, sentinel
from overwinter.core.nouns import Flag, Role, SensorSpec
from tests.core.judging import FAIL, NOT_EVALUATED, PASS, flags
from tests.core.rig import BAND, reading, sensor


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

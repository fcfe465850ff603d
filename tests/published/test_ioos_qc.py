"""Our flags against `ioos_qc`, the reference implementation of QARTOD: a million readings, and its ten traps.

Rule 1: the library judges, we only choose what it sees. Where our definition differs from it, it is asked
        about the two readings that our definition compares: no verdict here comes from a copy of our code.
Rule 2: every difference is foreseen. A reading that no named difference excuses gets the library's flag.

The library (Apache-2.0, 365 MB with what it needs) judges in development and CI only: the extra `qartod`.
"""

import math
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import pytest

from overwinter.core.judge import GAP_WINDOWS, RANGE_C, RATE_READINGS, Track
from overwinter.core.nouns import Settings
from tests.core.rig import BAND, reading, sensor
from tests.core.test_judge_reference import GOLDEN

np = pytest.importorskip("numpy", reason="ioos_qc is not installed: pip install 'overwinter[qartod]'")
qartod = pytest.importorskip(
    "ioos_qc.qartod", reason="ioos_qc is not installed: pip install 'overwinter[qartod]'"
)

PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9
NAN = float("nan")
STEP_S = 10.0
KIND = "iio"  # without humidity every error value lies outside its gross range too

SERIES, LENGTH = 1000, 1050  # some five in a hundred are silence
SETTINGS = Settings(
    sense_s=STEP_S,
    window=5,
    max_rate_k_min=4.93,  # no multiple of the sensor's step: at the limit itself two floats may differ
    flat_after_s=600.0,
)
LIMIT_K_S = SETTINGS.max_rate_k_min / 60.0
GAP_S = GAP_WINDOWS * SETTINGS.window * STEP_S
RATE_S = RATE_READINGS * STEP_S  # trap 4: a rate is averaged over no longer time
SENSOR_STEP_K = 0.1
LEAST_TOLERANCE_K = SENSOR_STEP_K / 1000.0  # trap 1: with none at all the library never flags


# --- the two judges ---------------------------------------------------------------------------------------


def ours(values: Sequence[float], settings: Settings, *, times_s: Sequence[float] | None = None) -> list[int]:
    """Our flags; at an even pace of `sense_s` unless times are given."""
    if times_s is None:
        times_s = [settings.sense_s * index for index in range(len(values))]
    track = Track(sensor(kind=KIND))
    return [
        int(track.hear(reading(value, at_s), settings)) for at_s, value in zip(times_s, values, strict=True)
    ]


def at_pace(count: int, step_s: float = STEP_S) -> list[float]:
    return [step_s * index for index in range(count)]


def library_range(values: Sequence[float]) -> "np.ndarray":
    return qartod.gross_range_test(values, RANGE_C[KIND]).filled()


def library_rate(values: Sequence[float], times_s: Sequence[float], limit_k_s: float) -> list[int]:
    return qartod.rate_of_change_test(values, times_s, limit_k_s).filled().tolist()


def library_flat(
    values: Sequence[float], times_s: Sequence[float], after_s: float, tolerance_k: float = LEAST_TOLERANCE_K
) -> list[int]:
    """With one threshold for both stages: ours has one."""
    return np.asarray(qartod.flat_line_test(values, times_s, after_s, after_s, tolerance_k)).tolist()


def library_pairs(pairs: Sequence[tuple[float, float, float]], limit_k_s: float) -> list[int]:
    """The library's rate of change of each (from, to, in whole seconds), asked for all in one call."""
    if not pairs:
        return []
    values = [value for before, after, _ in pairs for value in (before, after)]
    steps_s = np.array([step_s for *_, elapsed_s in pairs for step_s in (1.0, elapsed_s)])
    return library_rate(values, np.cumsum(steps_s), limit_k_s)[1::2]


# --- a million readings -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Series:
    """Values on an even grid, NaN where a read failed; where nothing was even tried it is not `heard`."""

    values: list[float]
    heard: list[bool]


def winter(chance: random.Random, length: int) -> Series:
    """A house that drifts, is opened and stands still, and a sensor with every manner of lying at once."""
    values: list[float] = []
    heard: list[bool] = []
    true_c, still, silent, spikes, spike_k, wild, failing = 3.0, 0, 0, 0, 0.0, 0, 0
    for _ in range(length):
        draw = chance.random()
        if still:
            still -= 1
        elif draw < 0.003:
            still = chance.randint(20, 140)
        elif draw < 0.006:
            true_c += chance.uniform(4.0, 20.0) * (1.0 if true_c < 3.0 else -1.0)
        else:
            true_c += chance.uniform(-0.4, 0.4) + 0.02 * (3.0 - true_c)
        said_c = round(true_c, 1)
        draw = chance.random()
        if wild == 0 and draw > 0.9995:
            wild = chance.randint(10, 40)
        if spikes == 0 and draw < 0.006:
            spikes, spike_k = chance.randint(1, 3), chance.choice((-1.0, 1.0)) * chance.uniform(1.0, 40.0)
        if wild:
            wild -= 1
            said_c = round(true_c + chance.choice((-1.0, 1.0)) * chance.uniform(10.0, 30.0), 1)
        elif spikes:
            spikes -= 1
            said_c = round(true_c + spike_k, 1)
        elif draw > 0.996:
            said_c = chance.choice((85.0, -127.0, 3276.7, 200.0, -55.1, *RANGE_C[KIND]))
        if failing == 0 and chance.random() < 0.04:
            failing = chance.choice((1, 1, 1, 2, 6, 20))
        if failing:
            failing -= 1
            said_c = NAN
        if silent == 0 and chance.random() < 0.002:
            silent = chance.randint(1, 40)
        heard.append(not silent)
        values.append(said_c if not silent else NAN)
        silent = max(silent - 1, 0)
    return Series(values, heard)


def is_flat_only_to_the_library(values: Sequence[float], index: int, count: int) -> bool:
    """Trap 2: its window of `count` steps opens with missing samples, and before them was another value.

    So the value may have stood still for less than the window is long.
    """
    start = index - count
    if not math.isnan(values[start]):
        return False
    before = start
    while before >= 0 and math.isnan(values[before]):
        before -= 1
    return before < 0 or values[before] != values[index]


class Expected:
    """What each reading of one series must get by the library, given our flags of those before it."""

    def __init__(self, series: Series) -> None:
        self.series = series
        times_s = at_pace(len(series.values))
        self.flags = self._ours(series, times_s)
        in_range = library_range(series.values)
        whole = [value if flag != FAIL else NAN for value, flag in zip(series.values, in_range, strict=True)]
        after_s = SETTINGS.flat_after_s
        flat = library_flat(whole, times_s, after_s)
        raw_flat = library_flat(series.values, times_s, after_s)
        raw_rate = library_rate(series.values, times_s, LIMIT_K_S)
        self.plain = qartod.qartod_compare([in_range, np.array(raw_rate), np.array(raw_flat)]).tolist()
        """What the library says of the series as it stands, its three tests combined by its own rule."""
        self.differs: list[str | None] = []
        """By which named difference our definition may differ from that; None: it must not."""
        self.sure: list[int] = []
        """What it must then be, or 0: ask the library about `pairs` (and, if that says suspect, `chains`)."""
        self.pairs: list[tuple[float, float, float]] = []
        self.chains: list[list[tuple[float, float, float]]] = []
        self._walk(in_range, flat, raw_flat, whole)

    def _ours(self, series: Series, times_s: list[float]) -> list[int]:
        heard = [index for index, is_heard in enumerate(series.heard) if is_heard]
        said = ours(
            [series.values[index] for index in heard],
            SETTINGS,
            times_s=[times_s[index] for index in heard],
        )
        flags = [0] * len(series.values)
        for index, flag in zip(heard, said, strict=True):
            flags[index] = flag
        return flags

    def _walk(self, in_range: "np.ndarray", flat: list[int], raw_flat: list[int], whole: list[float]) -> None:
        values, flags = self.series.values, self.flags
        count = round(SETTINGS.flat_after_s / STEP_S)
        passed: int | None = None  # the last that we passed
        seen: list[int] = []  # those that were no failure
        for index, value in enumerate(values):
            name, sure = None, 0
            pair, chain = (value, value, 1.0), []
            if math.isnan(value):
                sure = MISSING
            elif in_range[index] == FAIL:
                sure = FAIL
            elif flat[index] == FAIL and not is_flat_only_to_the_library(whole, index, count):
                sure = FAIL
                if raw_flat[index] != FAIL:
                    name = "a failed value is no movement"
            elif not seen or (index - seen[-1]) * STEP_S > GAP_S:
                name, sure = "not evaluated: trap 5", NOT_EVALUATED
            else:
                assert passed is not None
                pair = values[passed], value, min((index - passed) * STEP_S, RATE_S)
                doubted = [*seen[1 - SETTINGS.window :], index]
                if len(seen) >= SETTINGS.window and all(flags[each] == SUSPECT for each in doubted[:-1]):
                    name = "what lasts a window is believed"
                    chain = [
                        (values[before], values[after], (after - before) * STEP_S)
                        for before, after in pairwise(doubted)
                    ]
                elif passed != index - 1:
                    name = "rate against the last that passed: traps 4 to 6"
                if raw_flat[index] == FAIL:
                    name = "flat window that opens on nothing: trap 2"
            if flags[index] in (PASS, NOT_EVALUATED, SUSPECT):
                seen.append(index)
            if flags[index] in (PASS, NOT_EVALUATED):
                passed = index
            self.differs.append(name)
            self.sure.append(sure)
            self.pairs.append(pair)
            self.chains.append(chain)

    def of_all(self) -> Iterator[int]:
        """The flags that our definition must come to."""
        by_pair = library_pairs(self.pairs, LIMIT_K_S)
        by_chain = iter(library_pairs([pair for chain in self.chains for pair in chain], LIMIT_K_S))
        for sure, flag, chain in zip(self.sure, by_pair, self.chains, strict=True):
            agreed = [next(by_chain) == PASS for _ in chain]
            lasted = bool(agreed) and all(agreed)
            yield sure or (PASS if lasted else flag)


def test_a_million_readings_get_the_librarys_flags_but_for_the_named_differences() -> None:
    chance = random.Random(20)
    heard = 0
    differing: Counter[str] = Counter()
    excused: Counter[str] = Counter()
    flags: Counter[int] = Counter()
    for number in range(SERIES):
        expected = Expected(winter(chance, LENGTH))
        for index, (flag, plain, name, must) in enumerate(
            zip(expected.flags, expected.plain, expected.differs, expected.of_all(), strict=True)
        ):
            if not expected.series.heard[index]:
                continue
            heard += 1
            flags[flag] += 1
            assert flag == must, f"series {number}, reading {index}"
            if name is not None:
                excused[name] += 1
            if flag != plain:
                assert name is not None, f"series {number}, reading {index}: {flag}, the library {plain}"
                differing[name] += 1
    print(f"{heard} readings, flags {dict(flags)}; differing {dict(differing)} of {dict(excused)}")

    assert heard >= 1_000_000
    assert set(flags) == {PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING}
    assert min(flags.values()) > 1000, "every flag was given often"
    assert set(differing) == set(excused)
    assert len(differing) == 5
    assert min(differing.values()) > 50, "every named difference occurs"
    assert sum(excused.values()) < 0.15 * heard, "and is an exception"


@pytest.mark.parametrize("seed", range(3))
def test_at_an_uneven_pace_the_rate_is_the_librarys_wherever_the_reading_before_passed(seed: int) -> None:
    """Whole seconds, as trap 3 asks for; flat is left out, since its window needs an even pace (trap 2)."""
    chance = random.Random(seed)
    times_s, values, true_c = [0.0], [3.0], 3.0
    for _ in range(20_000):
        times_s.append(times_s[-1] + chance.randint(1, round(RATE_S)))
        true_c += chance.uniform(-0.5, 0.5) + 0.05 * (3.0 - true_c)
        values.append(round(true_c + (chance.uniform(-30.0, 30.0) if chance.random() < 0.05 else 0.0), 1))

    said = ours(values, replace(SETTINGS, flat_after_s=float("inf")), times_s=times_s)
    library = library_rate(values, times_s, LIMIT_K_S)

    compared = [index for index in range(1, len(said)) if said[index - 1] in (PASS, NOT_EVALUATED)]
    assert [said[index] for index in compared] == [library[index] for index in compared]
    assert len(compared) > 0.8 * len(said)
    assert {said[index] for index in compared} == {PASS, SUSPECT}


# --- the published series ----------------------------------------------------------------------------------

# Output of ioos_qc 3.0.0, as written down when the library was first looked at: 60-s steps, gross range fail
# -55..84.9 and suspect -30..50, spike 1 / 3, rate 0.5 / 3 per minute, flat line 180 / 300 s, tolerance 0.05.
GOLDEN_C = [value for value, *_ in GOLDEN]
GOLDEN_ROWS = {
    "gross": [1, 1, 1, 4, 1, 1, 9, 1, 1, 4, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1],
    "spike average": [2, 1, 4, 4, 4, 2, 9, 2, 4, 4, 4, 1, 1, 1, 1, 1, 1, 1, 1, 2],
    "spike differential": [2, 1, 1, 4, 1, 2, 9, 2, 1, 4, 1, 1, 1, 1, 1, 1, 1, 1, 1, 2],
    "rate": [1, 1, 1, 4, 4, 1, 9, 1, 1, 4, 4, 1, 1, 1, 1, 1, 1, 1, 3, 3],
    "flat": [1, 1, 1, 1, 1, 1, 9, 1, 1, 1, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1],
}


def golden_rows() -> dict[str, list[int]]:
    times_s = at_pace(len(GOLDEN_C), 60.0)
    rows = {
        "gross": qartod.gross_range_test(GOLDEN_C, (-55.0, 84.9), (-30.0, 50.0)),
        "spike average": qartod.spike_test(GOLDEN_C, 1.0, 3.0),
        "spike differential": qartod.spike_test(GOLDEN_C, 1.0, 3.0, method="differential"),
        "rate": qartod.rate_of_change_test(GOLDEN_C, times_s, 0.5 / 60.0, 3.0 / 60.0),
        "flat": qartod.flat_line_test(GOLDEN_C, times_s, 180, 300, 0.05),
    }
    return {name: np.asarray(row).tolist() for name, row in rows.items()}


def test_the_library_still_says_of_the_golden_series_what_was_written_down() -> None:
    rows = golden_rows()

    assert rows == GOLDEN_ROWS
    combined = qartod.qartod_compare(
        [np.array(rows[name]) for name in ("gross", "spike differential", "rate", "flat")]
    )
    assert combined.tolist() == [theirs for _, theirs, *_ in GOLDEN]


def test_every_difference_from_the_library_on_the_golden_series_has_its_reason() -> None:
    said = ours(GOLDEN_C, replace(BAND, sense_s=60.0, max_rate_k_min=0.5, flat_after_s=300.0))
    rows = golden_rows()
    combined = qartod.qartod_compare([np.array(rows[name]) for name in ("gross", "rate", "flat")]).tolist()

    differing = [index for index, flag in enumerate(said) if flag != combined[index]]

    # the first; after 85; after -127; two that the library calls suspect before they are flat
    assert differing == [0, 4, 10, 13, 14]
    assert differing == [index for index, (*_, why) in enumerate(GOLDEN) if why is not None]


# --- ten traps: what the library says, and what we say -----------------------------------------------------


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

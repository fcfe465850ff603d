"""Our flags against `ioos_qc`, the reference implementation of QARTOD: a million readings, and one series.

Rule 1: the library judges, we only choose what it sees. Where our definition differs from it, it is asked
        about the two readings that our definition compares: no verdict here comes from a copy of our code.
Rule 2: every difference is foreseen. A reading that no named difference excuses gets the library's flag.

Traps are those of `test_ioos_qc_traps.py`, by their numbers.
"""

import math
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import pytest

from overwinter.core.judge import GAP_WINDOWS, RANGE_C, RATE_READINGS
from overwinter.core.nouns import Settings
from tests.core.judging import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from tests.core.rig import BAND
from tests.core.test_judge_reference import GOLDEN
from tests.published.judges import (
    KIND,
    NAN,
    STEP_S,
    at_pace,
    library_flat,
    library_range,
    library_rate,
    np,
    ours,
    qartod,
)

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


# --- a million readings -----------------------------------------------------------------------------------


def library_pairs(pairs: Sequence[tuple[float, float, float]], limit_k_s: float) -> list[int]:
    """The library's rate of change of each (from, to, in whole seconds), asked for all in one call."""
    if not pairs:
        return []
    values = [value for before, after, _ in pairs for value in (before, after)]
    steps_s = np.array([step_s for *_, elapsed_s in pairs for step_s in (1.0, elapsed_s)])
    return library_rate(values, np.cumsum(steps_s), limit_k_s)[1::2]


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

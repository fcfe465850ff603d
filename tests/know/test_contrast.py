"""The two laws beside least squares (numpy), the evidence beside scipy's densities, and the sum of it."""

import json
import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from overwinter.know import contrast as tested
from overwinter.know.contrast import (
    KNOWN_PHASES,
    LIMIT,
    MORE,
    MOST,
    SWITCH_MIN,
    Contrast,
    Seen,
)
from overwinter.know.nouns import Span
from overwinter.know.phases import LOOK_MIN, Course, Phase
from overwinter.know.recursive import Sums

HIGH_C, LOW_C = 4.5, 2.0


class Air:
    """Air under a relay: towards a warm and a cold end, with noise, and as few readings as wanted."""

    def __init__(self, *, noise_k: float = 0.05, seed: int = 1, outdoor_c: float | None = -4.0) -> None:
        self.contrast, self.course = Contrast(), Course()
        self.air_c, self.minute, self.is_on = 3.0, 0, False
        self.heats = self.cools = True
        self.outdoor_c = outdoor_c  # as it is measured
        self.chance, self.noise_k = random.Random(seed), noise_k

    def step(self) -> None:
        """One minute: heat lifts the air towards 10 °C, without it falls towards -4 °C."""
        is_heated = (self.is_on and self.heats) or (not self.is_on and not self.cools)
        self.air_c += ((10.0 if is_heated else -4.0) - self.air_c) / 60.0
        said_c = self.air_c + self.chance.gauss(0.0, self.noise_k)
        self.minute += 1
        span = Span(
            ends_s=60.0 * self.minute, lasts_s=60.0, temperature_c=said_c, outdoor_c=self.outdoor_c,
            heat=float(self.is_on), low_c=LOW_C, high_c=HIGH_C,
        )  # fmt: skip
        self.course.take(span)
        before, phase = self.course.before, self.course.phase
        if before is not None and before.is_whole:
            self.contrast.learn(before)
            self.contrast.learn_highest(before, span.ends_s - before.began_s)
        assert phase is not None
        minutes = self.course.minutes(span)
        self.contrast.take(phase, minutes, self.course, span, is_open=False, is_told=False)

    def live(self, minutes: int) -> None:
        """Under a relay that holds the band."""
        for _ in range(minutes):
            if self.air_c <= LOW_C:
                self.is_on = True
            elif self.air_c >= HIGH_C:
                self.is_on = False
            self.step()

    def until(self, *, is_on: bool) -> None:
        """A phase of this kind has lasted for ten minutes."""
        while self.is_on is is_on:
            self.live(1)
        while self.is_on is not is_on:
            self.live(1)
        for _ in range(10):
            self.step()

    @property
    def phase(self) -> Phase:
        assert self.course.phase is not None
        return self.course.phase

    def minutes_to_other(self, *, most: int = 60) -> int:
        """Minutes until the phase is found to be of the other kind, the relay standing still."""
        for minute in range(1, most + 1):
            self.step()
            if self.contrast.as_other(self.phase, is_bumpy=False) is not None:
                return minute
        raise AssertionError(f"not found in {most} min: {self.contrast.sum}, {self.contrast.seen}")


def learned(*, seed: int = 1, outdoor_c: float | None = -4.0) -> Air:
    air = Air(seed=seed, outdoor_c=outdoor_c)
    air.live(2160)
    return air


@pytest.mark.parametrize("is_on", [True, False])
def test_a_law_is_that_of_least_squares(is_on: bool) -> None:
    chance = random.Random(5)
    contrast, rows = Contrast(), []
    for _ in range(int(KNOWN_PHASES)):
        phase = Phase(is_on=is_on, began_s=0.0, began_c=3.0, is_whole=True)
        phase.rows = Sums(4)
        for minute in range(20):
            before_k, tens, left = (
                chance.gauss(0.0, 0.3),
                chance.uniform(0.5, 2.5),
                math.exp(-minute / SWITCH_MIN),
            )
            change_k = 0.4 - 0.2 * before_k - 0.3 * tens + 1.1 * left + chance.gauss(0.0, 0.1)
            rows.append((1.0, before_k, tens, left, change_k))
            phase.rows.take(rows[-1])
        contrast.learn(phase)

    solution = contrast._laws[is_on].solution

    table = np.array(rows)
    weights = np.exp(-np.repeat(np.arange(KNOWN_PHASES)[::-1], 20) * 20.0 / tested.MEMORY_ROWS)
    root = np.sqrt(weights)[:, None]
    found, *_ = np.linalg.lstsq(table[:, :4] * root, table[:, 4] * root[:, 0], rcond=None)
    left = table[:, 4] - table[:, :4] @ found
    assert solution is not None
    assert solution.coefficients == pytest.approx(found, abs=2e-3), "but for the ridge"
    assert solution.residual == pytest.approx(math.sqrt(np.average(left**2, weights=weights)), rel=1e-3)


@pytest.mark.parametrize("is_on", [True, False])
@pytest.mark.parametrize("change_k", [-0.29, -0.2, 0.0, 0.2, 0.29])
def test_the_evidence_is_the_logarithm_of_the_ratio_of_two_normal_densities(
    is_on: bool, change_k: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """scipy.stats.norm; a sure law's spread is its residual."""
    monkeypatch.setattr(tested, "DEPARTED", math.inf)
    own, other = _law(0.3, residual=0.2), _law(-0.3, residual=0.25)
    seen = Seen(change_k, 0.3, -0.3)
    if not is_on:
        own, other = other, own

    evidence = tested._evidence(seen, (1.0, 0.0, 0.0, 0.0), own, other, is_on=is_on)

    heated = stats.norm.logpdf(change_k, 0.3, 0.2)
    unheated = stats.norm.logpdf(change_k, -0.3, 0.25)
    assert evidence == pytest.approx((unheated - heated) * (1.0 if is_on else -1.0), abs=1e-9)
    assert abs(evidence) < MOST


def _law(one: float, *, residual: float, after: float = 0.0) -> tested.Solution:
    return tested.Solution((one, 0.0, 0.0, after), ((0.0,) * 4,) * 4, residual)


def test_a_fall_as_after_a_switch_is_of_a_heater_that_has_just_died_and_a_deeper_one_a_doors() -> None:
    heated, unheated = _law(0.3, residual=0.1), _law(-0.3, residual=0.1, after=-1.0)
    row = (1.0, 0.0, 0.0, 0.0)

    evidence = [
        tested._evidence(Seen(change_k, 0.3, -0.3), row, heated, unheated, is_on=True)
        for change_k in (0.3, -0.3, -0.8, -1.3, -1.7)
    ]

    assert evidence == pytest.approx([-MOST, MOST, MOST, MOST, -MOST])


def test_laws_that_do_not_differ_tell_nothing() -> None:
    law = _law(0.1, residual=0.1)

    assert tested._evidence(Seen(-5.0, 0.1, 0.1), (1.0, 0.0, 0.0, 0.0), law, law, is_on=True) < 0.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_in_sound_phases_the_sum_stays_below_its_limit(seed: int) -> None:
    air = learned(seed=seed)
    for _ in range(3 * 1440):
        air.live(1)
        assert air.contrast.as_other(air.phase, is_bumpy=False) is None


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("is_on", [True, False])
@pytest.mark.parametrize("outdoor_c", [-4.0, None])
def test_air_that_does_not_what_it_is_called_to_is_found_within_ten_minutes(
    outdoor_c: float | None, is_on: bool, seed: int
) -> None:
    """With an outdoor sensor, and without any."""
    air = learned(seed=seed, outdoor_c=outdoor_c)
    air.until(is_on=is_on)
    air.heats = air.cools = False

    assert air.minutes_to_other() <= 10
    seen = air.contrast.seen
    assert seen is not None
    away_k, off_k = seen.change_k - seen.heated_k, seen.change_k - seen.unheated_k
    assert (abs(off_k) < abs(away_k)) is is_on
    assert air.contrast.calm_min == 0.0


def test_it_is_calm_again_once_the_air_obeys() -> None:
    air = learned()
    air.until(is_on=True)
    air.heats = False
    air.minutes_to_other()
    air.heats = True

    for _ in range(30):
        air.step()

    assert air.contrast.sum == 0.0
    assert air.contrast.calm_min >= 5.0


def test_before_both_laws_are_known_nothing_is_said() -> None:
    air = Air()
    air.live(120)

    assert air.contrast.seen is None
    assert air.contrast.as_other(air.phase, is_bumpy=False) is None


def test_what_pushed_the_sum_in_a_sound_phase_a_fault_must_push_further() -> None:
    contrast = Contrast()
    phase = Phase(is_on=False, began_s=0.0, began_c=3.0, is_whole=True)
    phase.highest = 9.0
    contrast.seen, contrast.sum, contrast.missing_k = Seen(0.0, 0.3, -0.3), LIMIT, 1.0
    assert contrast.as_other(phase, is_bumpy=False) is not None
    for _ in range(5):
        contrast.learn_highest(phase, 600.0)

    assert contrast.as_other(phase, is_bumpy=False) is None
    assert contrast._laws[False].limit == pytest.approx(MORE * 9.0, rel=0.01)
    assert contrast._laws[True].limit == LIMIT
    quiet = Phase(is_on=False, began_s=0.0, began_c=3.0, is_whole=True)
    contrast.learn_highest(quiet, 20 * 86400.0)
    assert contrast._laws[False].limit == pytest.approx(max(MORE * 9.0 / math.e, LIMIT), rel=0.01)


def test_no_single_window_tells_a_fault() -> None:
    air = learned()
    air.until(is_on=True)
    before = air.contrast.sum
    air.air_c -= 30.0

    air.step()

    assert air.contrast.sum <= before + MOST / LOOK_MIN
    assert MOST / LOOK_MIN < LIMIT


def test_what_is_stored_is_gone_on_from() -> None:
    air = learned()
    again = Contrast()

    again.recall(json.loads(json.dumps(air.contrast.facts())))

    assert again.facts() == air.contrast.facts()
    for is_on in (True, False):
        mine, its = air.contrast._laws[is_on].solution, again._laws[is_on].solution
        assert mine is not None
        assert its is not None
        assert its.coefficients == pytest.approx(mine.coefficients, abs=1e-3)


ODD = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=3), lambda inner: st.lists(inner, max_size=20)
)


@given(st.dictionaries(st.sampled_from(["heated", "unheated", "x"]), ODD) | ODD)
def test_whatever_is_stored_it_goes_on(stored: object) -> None:
    contrast = Contrast()

    contrast.recall(stored)

    assert all(math.isfinite(law.limit) and law.limit >= LIMIT for law in contrast._laws.values())
    json.dumps(contrast.facts(), allow_nan=False)

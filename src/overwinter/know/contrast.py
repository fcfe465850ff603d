"""Is the air heated? Two laws are learned of this house, and the air follows one of them.

Rule 1: each law says how far the air changes in five minutes, with heat or without: from how it changed in
        the five before, how cold it is outdoors and how long ago heat was switched. Both are learned from
        sound phases by least squares.
Rule 2: minute by minute the logarithm of the likelihood ratio of the two adds up, never below nothing. This
        is E. S. Page's cumulative sum (1954) on A. Wald's sequential test (1945), both from memory. What a
        minute adds is bounded, so that no single reading decides.
Rule 3: gusts, pumps and sun push that sum in sound phases too: a fault must push further than they have.

Air that falls far deeper than without heat follows neither law: that is an open door's doing.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from overwinter.know.nouns import Span
from overwinter.know.phases import LOOK_MIN, MINUTE_S, Course, Phase
from overwinter.know.recursive import Solution, Sums
from overwinter.know.running import number

SIZE = 4
"""Regressors: 1, the change in the window before [K], the cold [ten kelvin], what is left of a switch."""
RIDGE = 0.01
"""What does not vary, such as an outdoor temperature nobody measures, then explains nothing."""
SWITCH_MIN = 5.0
"""So fast a switch is forgotten."""
BIAS_MIN = 15.0
"""So fast the laws are shifted towards the other by what a phase does for long: in sun, or older than any
learned from."""
OBEYS_MIN = 3.0
"""So long after the first window that follows a switch the air has shown whether it obeyed."""
MEMORY_ROWS = 4000.0
"""Minutes that a law is made of. All limits here were chosen on simulated winters."""
KNOWN_ROWS, KNOWN_PHASES = 60.0, 10.0
LEAST_SPREAD_K, LEAST_APART_K = 0.05, 0.06
"""Sensors are no better; and laws that differ by less tell nothing."""
DEPARTED = 1.0
"""So many spreads from its own law the air must be for a closer look at how sure both laws are."""
BEYOND = 3.0
"""So many spreads below the air without heat is none of it."""
MOST = 7.0
"""No window counts more, however unlikely."""
LIMIT, MORE = 4.0, 1.3
"""The sum that tells a fault, and so many times the highest of sound phases, which fades."""
BUMPY_TIMES = 1.6
"""Where a pump's motor warms the air, so many times that."""
MISSING_K = 0.35
"""So much the air must lack, or have too much, meanwhile: a weak heater's noise adds up, too."""
FADES_S = 20 * 86400.0
HIGHEST = 1e3
"""Far beyond any: it was a damaged file's."""


@dataclass(slots=True)
class Law:
    """How the air changes in LOOK_MIN minutes, as learned from so many phases."""

    sums: Sums
    phases: float = 0.0
    highest: float = 0.0  # of the cumulative sum, in sound phases
    solution: Solution | None = None

    def solve(self) -> None:
        """Anew, from what was learned; none as long as that is little."""
        is_known = self.phases >= KNOWN_PHASES and self.sums.weight >= KNOWN_ROWS
        self.solution = self.sums.solved(ridge=RIDGE) if is_known else None

    @property
    def limit(self) -> float:
        """No sound phase reaches it."""
        return max(LIMIT, MORE * self.highest)


@dataclass(frozen=True, slots=True)
class Seen:
    """How the air has changed in the last LOOK_MIN minutes, and how it would with heat and without [K]."""

    change_k: float
    heated_k: float
    unheated_k: float


class Contrast:
    """Both laws, and how far the present phase has gone from its own to the other."""

    def __init__(self) -> None:
        self._laws = {True: Law(Sums(SIZE)), False: Law(Sums(SIZE))}
        self._tens = 1.0  # how much colder it is outdoors; stays as it was while not known
        self.sum = 0.0
        self.missing_k = 0.0  # how far the air has gone from its own law since the sum was nothing
        self.calm_min = 0.0  # how long the sum has been nothing
        self.has_obeyed = False  # whether it has been, this phase
        self.seen: Seen | None = None  # None: not known, or a door is open

    def take(
        self, phase: Phase, minutes: float, course: Course, span: Span, *, is_open: bool, is_told: bool
    ) -> None:
        """One span of the present phase. `is_open`: what the air does now is a door's doing; `is_told`: the
        fault that would show is found already, so the laws are not shifted to what it does.
        """
        since_min = minutes - LOOK_MIN
        if since_min < 0.0 or not phase.is_whole:
            self._forget()
            self.has_obeyed = False
            return
        change_k, before_k = course.change_k(LOOK_MIN), course.change_k(LOOK_MIN, ended=float(LOOK_MIN))
        if change_k is None or before_k is None:
            return
        if span.outdoor_c is not None and span.temperature_c is not None:
            # Of the air as the window began: nothing of what is to be explained may be in it.
            self._tens = (span.temperature_c - change_k - span.outdoor_c) / 10.0
        left, tens = math.exp(-since_min / SWITCH_MIN), self._tens
        row = (1.0, before_k, tens, left)
        phase.rows = phase.rows or Sums(SIZE)
        phase.rows.take((*row, change_k))
        own, other = self._laws[phase.is_on].solution, self._laws[not phase.is_on].solution
        if own is None or other is None or is_open:
            self._forget()
            return
        one, lean, cold, after = own.coefficients
        own_k = one + lean * before_k + cold * tens + after * left + phase.bias_k
        one, lean, cold, _ = other.coefficients  # as long after a switch
        other_k = one + lean * before_k + cold * tens + phase.bias_k
        lasts_min = span.lasts_s / MINUTE_S
        share = min(lasts_min / LOOK_MIN, 1.0)  # of the window that is new
        if not is_told:
            bias_k = phase.bias_k + min(lasts_min / BIAS_MIN, 1.0) * (change_k - own_k)
            phase.bias_k = min(bias_k, 0.0) if phase.is_on else max(bias_k, 0.0)
        self.seen = Seen(change_k, own_k, other_k) if phase.is_on else Seen(change_k, other_k, own_k)
        evidence = _evidence(self.seen, row, own, other, is_on=phase.is_on)
        most = BUMPY_TIMES * self._laws[phase.is_on].limit + MOST
        self.sum = min(max(self.sum + share * evidence, 0.0), most)
        self.missing_k = self.missing_k + share * abs(change_k - own_k) if self.sum else 0.0
        self.calm_min = 0.0 if self.sum else self.calm_min + lasts_min
        self.has_obeyed = self.has_obeyed or (self.calm_min > 0.0 and since_min >= OBEYS_MIN)
        phase.highest = max(phase.highest, self.sum)

    def _forget(self) -> None:
        self.sum = self.missing_k = self.calm_min = 0.0
        self.seen = None

    @property
    def is_known(self) -> bool:
        """Whether both laws are, and a window of this phase was looked at."""
        return self.seen is not None

    def as_other(self, phase: Phase, *, is_bumpy: bool) -> Seen | None:
        """The last window, if the present phase is not what it is called: not heated, or heated. `is_bumpy`:
        a pump's motor does much to this air, and for longer than gusts.
        """
        limit = self._laws[phase.is_on].limit * (BUMPY_TIMES if is_bumpy else 1.0)
        return self.seen if self.sum >= limit and self.missing_k >= MISSING_K else None

    def spread_k(self, phase: Phase) -> float:
        """How far the changes of such phases depart from their law [K]; 0: not known."""
        solution = self._laws[phase.is_on].solution
        return solution.residual if solution is not None else 0.0

    def learn(self, phase: Phase) -> None:
        """How the air changes, from a sound phase that is over."""
        if phase.rows is None:
            return
        law = self._laws[phase.is_on]
        law.sums.fade(math.exp(-phase.rows.weight / MEMORY_ROWS))
        law.sums.add(phase.rows)
        law.phases += 1.0
        law.solve()

    def learn_highest(self, phase: Phase, lasted_s: float) -> None:
        """How high the sum was in a phase that was sound in the end, whatever was said of it for a while."""
        law = self._laws[phase.is_on]
        faded = law.highest * math.exp(-lasted_s / FADES_S)
        law.highest = max(faded, min(phase.highest, MORE * law.limit))

    def facts(self) -> dict[str, object]:
        """For the state file."""
        return {
            name: [min(law.phases, 1e6), round(law.highest, 2), *law.sums.facts()]
            for name, law in (("heated", self._laws[True]), ("unheated", self._laws[False]))
        }

    def recall(self, stored: object) -> None:
        """Go on from there; anything odd is nothing."""
        if not isinstance(stored, Mapping):
            return
        for name, is_on in (("heated", True), ("unheated", False)):
            facts = stored.get(name)
            if not isinstance(facts, list) or len(facts) < 2:
                continue
            phases, highest = number(facts[0]), number(facts[1])
            try:
                sums = Sums.recalled(SIZE, facts[2:])
            except ValueError:
                continue
            if phases is None or highest is None or phases < 0.0 or not 0.0 <= highest <= HIGHEST:
                continue
            self._laws[is_on] = law = Law(sums, phases, highest)
            law.solve()


def _evidence(
    seen: Seen, row: tuple[float, float, float, float], own: Solution, other: Solution, *, is_on: bool
) -> float:
    """How much likelier the other law makes this change than the phase's own: the ratio's logarithm, bounded.

    `row`: the regressors of the own law; those of the other are the same long after a switch.
    """
    if seen.heated_k - seen.unheated_k < LEAST_APART_K:  # beyond all that was learned
        return -MOST
    own_k, other_k = (seen.heated_k, seen.unheated_k) if is_on else (seen.unheated_k, seen.heated_k)
    if (seen.change_k >= own_k) is is_on:  # on the far side of its own law, a pump's doing or a gust's
        return -MOST
    own_spread_k = max(own.residual, LEAST_SPREAD_K)
    other_spread_k = max(other.residual, LEAST_SPREAD_K)
    away_k, off_k = seen.change_k - own_k, seen.change_k - other_k
    if abs(away_k) > DEPARTED * own_spread_k:
        # Neither law is sure of what it has not seen; rows of overlapping windows tell a fifth each.
        own_spread_k *= math.sqrt(1.0 + LOOK_MIN * own.variance(row))
        other_spread_k *= math.sqrt(1.0 + LOOK_MIN * other.variance((*row[:3], 0.0)))
    away, off = away_k / own_spread_k, off_k / other_spread_k
    if is_on:
        # What has just died cools as after a switch; a door lets in more than that.
        deepest = min(other.coefficients[-1], 0.0) / other_spread_k
        if off < deepest - BEYOND:
            return -MOST
        if off < 0.0:
            off = min(off - deepest, 0.0)
    elif off > 0.0:  # warmer than by heat is heated, too
        return MOST
    ratio = 0.5 * (away * away - off * off) + math.log(own_spread_k / other_spread_k)
    return min(max(ratio, -MOST), MOST)

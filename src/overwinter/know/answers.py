"""How this house answers its heater: what the air does after a switch.

Rule 1: a phase teaches only if it ended as a healthy one does, at its end of the band; what was found wrong
        teaches nothing.
Rule 2: what is kept are means with their spreads, of which the latest count most.
"""

import math
from collections.abc import Mapping

from overwinter.know.leaning import Leaning
from overwinter.know.nouns import Span
from overwinter.know.phases import Course, Phase
from overwinter.know.running import Usual, by_minute, number

RISES_MIN = (3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30)
FALLS_MIN = (3, 4, 5, 6, 8, 10, 12, 15, 20, 30, 45)
"""Minutes after a switch at which the air is looked at."""

CIRCUMSTANCES = (0.02, 0.02, 0.1)
"""What a rise leans on: how the air changed in the five and the fifteen minutes before [K], and how many ten
kelvin it is colder outdoors; and the noise of each."""
KNOWN = 4
"""Phases that make what is usual worth going by. All limits here were chosen on simulated winters."""
MEMORY = 30.0
NOISE_K = 0.03
"""What a spread learned from few phases may have missed; the sensor's own noise is in it already."""
STRANGE, STRANGE_IN_A_ROW = 6.0, 3
"""So many spreads from the usual teaches nothing, unless it lasts."""

BUMP_MIN, BUMP_K = 10.0, (0.3, 5.0)
"""What a pump's motor does to the air of a small house, and gusts that end: a rise within so many minutes
without heat, of so many kelvin."""
BUMPY_K = 0.5
"""Where it rises so far, a motor may stop as heat is switched: the air then falls for some minutes."""
BUMP_FADES_S = 20 * 86400.0
BUMP_ENDS_S = 3600.0
"""A phase without heat that was over so soon was not heated by a welded contact, whatever was said of it."""

TENS_K = 10.0
TENS_LEAST = 0.5
"""Without heat the air falls with the difference to outdoors, in ten kelvin, of which at least a half is
reckoned with."""


class Answers:
    """What the heater does to the air of this house, as far as it is known."""

    def __init__(self) -> None:
        self.rises: dict[int, Usual] = {minute: Usual() for minute in RISES_MIN}
        self._leaning = Leaning(CIRCUMSTANCES)
        self.falls: dict[int, Usual] = {minute: Usual() for minute in FALLS_MIN}
        self.bump_k = 0.0  # how far the air has risen here without heat, within BUMP_MIN
        self.cold = Usual()  # `_tens` when falls were learned
        self._tens = 1.0  # how much colder it is outdoors, in ten kelvin; stays as it was while not known
        self._strange = {True: 0, False: 0}  # phases in a row that were not like the others

    def see(self, span: Span) -> None:
        """How cold it is outdoors now."""
        if span.outdoor_c is not None and span.temperature_c is not None:
            self._tens = max((span.temperature_c - span.outdoor_c) / TENS_K, TENS_LEAST)

    def note(self, phase: Phase, minutes: float, change_k: float, course: Course, *, is_pumped: bool) -> None:
        """Where the present phase stands, into the phase itself; it teaches once it is over.

        `is_pumped`: a pump is known to warm the air, or has until lately: no rise that needs to be learned.
        """
        grid = RISES_MIN if phase.is_on else FALLS_MIN
        if phase.is_on and phase.circumstances is None and phase.before_k is not None:
            phase.circumstances = (*phase.before_k, self._tens)
            phase.expected = self._leaning.expected(phase.circumstances, self.rises)
        slack = course.span_s / 120.0
        if minutes <= grid[-1] + slack:
            for minute in grid:
                if abs(minutes - minute) <= slack and (not phase.seen or phase.seen[-1][0] < minute):
                    phase.seen.append((minute, change_k))
                    break
        if not phase.is_on and not is_pumped:
            rose_k = course.change_k(BUMP_MIN, is_smooth=True) if minutes > BUMP_MIN else change_k
            phase.bump_k = max(phase.bump_k, rose_k or 0.0)

    def learn(self, phase: Phase, span: Span, *, is_found: bool) -> tuple[bool, bool]:
        """From a phase that is over; `is_found`: something is found wrong with the heater.

        Whether it ended as a sound one does, whatever was said of it, and whether it teaches what is usual.
        """
        if not phase.is_whole or phase.is_forced:
            return False, False
        air_c, middle_c = span.temperature_c, (span.low_c + span.high_c) / 2.0
        lasted_s = span.ends_s - phase.began_s
        is_sound = True
        if not phase.is_on:
            is_sound = not phase.is_suspect or lasted_s <= BUMP_ENDS_S
            self._learn_bump(phase.bump_k if is_sound else 0.0, lasted_s)
        elif phase.top_c < middle_c:
            return False, False
        if air_c is None or (not phase.is_on and air_c > middle_c) or phase.is_suspect or is_found:
            return is_sound, False
        usual = self.rises if phase.is_on else self.falls
        known = [(usual[minute], change_k) for minute, change_k in phase.seen]
        is_strange = any(
            one.count >= 2 * KNOWN and abs(change_k - one.mean) > STRANGE * one.spread(NOISE_K)
            for one, change_k in known
        )
        self._strange[phase.is_on] = self._strange[phase.is_on] + 1 if is_strange else 0
        if is_strange and self._strange[phase.is_on] < STRANGE_IN_A_ROW:
            return is_sound, False
        if phase.is_on and phase.circumstances is not None:
            self._leaning.take(phase.circumstances, phase.seen, self.rises, memory=MEMORY)
        for one, change_k in known:
            one.take(change_k, memory=MEMORY)
        if not phase.is_on:
            self.cold.take(self._tens, memory=MEMORY)
        return is_sound, True

    def _learn_bump(self, rose_k: float, lasted_s: float) -> None:
        least_k, most_k = BUMP_K
        self.bump_k *= math.exp(-lasted_s / BUMP_FADES_S)
        if rose_k >= least_k:
            self.bump_k = max(self.bump_k, min(rose_k, most_k))

    def colder(self) -> float:
        """How much faster than usual the air falls without heat in this cold, at least 1."""
        return max(self._tens / max(self.cold.mean, TENS_LEAST), 1.0) if self.cold.count else 1.0

    def has_risen_by(self, minute: int) -> bool:
        """Whether this house has always risen long before: what comes later is weather."""
        earlier = [one for one in RISES_MIN if one <= minute - 5]
        return any(self.rises[one].count >= KNOWN and self.rises[one].mean >= 1.0 for one in earlier)

    @property
    def is_bumpy(self) -> bool:
        """Whether a motor that stops makes the air fall here."""
        return self.bump_k >= BUMPY_K

    def facts(self) -> dict[str, object]:
        """For the state file."""
        return {
            "rises": {str(minute): usual.facts() for minute, usual in self.rises.items()},
            "falls": {str(minute): usual.facts() for minute, usual in self.falls.items()},
            "leaning": self._leaning.facts(),
            "bump": round(self.bump_k, 3),
            "cold": self.cold.facts(),
        }

    def recall(self, stored: Mapping[str, object]) -> None:
        """Go on from there."""
        self.rises = by_minute(stored.get("rises"), RISES_MIN)
        self.falls = by_minute(stored.get("falls"), FALLS_MIN)
        self._leaning = Leaning.recalled(CIRCUMSTANCES, RISES_MIN, stored.get("leaning"))
        self.bump_k = min(max(number(stored.get("bump")) or 0.0, 0.0), BUMP_K[1])
        self.cold = Usual.recalled(stored.get("cold"))


def between(usuals: Mapping[int, Usual], minutes: float, *, known: int) -> Usual | None:
    """What is usual so many minutes after a switch, on a straight line between two of its minutes; that of
    the last after it, None before the first. `known`: as in `last_passed`.
    """
    before_min, before = 0, None
    for minute, usual in usuals.items():
        if usual.count < known:
            continue
        if minute <= minutes:
            before_min, before = minute, usual
        elif before is None:
            break
        else:
            share = (minutes - before_min) / (minute - before_min)
            mean = before.mean + share * (usual.mean - before.mean)
            return Usual(usual.count, mean, before.variance + share * (usual.variance - before.variance))
    return before


def last_passed(usuals: Mapping[int, Usual], minutes: float, *, known: int = 0) -> tuple[int, Usual | None]:
    """What is usual at the last of its minutes that has passed; None before the first.

    `known`: of those alone that were learned from so many phases: later ones are seldom reached here.
    """
    last = 0
    for minute, usual in usuals.items():
        if minute > minutes + 0.5:
            break
        if usual.count >= known:
            last = minute
    return last, usuals.get(last)

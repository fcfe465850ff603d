"""Does the heat really heat, and only when it is called for? From how the air answers the relay.

Rule 1: what is usual is learned of this house (`answers.py`).
Rule 2: a fault is said when the air departs from that by far more than its usual spread; before enough is
        known only what cannot be healthy is said.
Rule 3: where the signs fit two faults, or none, nothing is said: `cold` is the backstop.
"""

import math
from collections.abc import Mapping

from overwinter.core.nouns import Code, Mode, Site
from overwinter.core.units import Unit, say, say_difference
from overwinter.know.answers import (
    KNOWN,
    NOISE_K,
    RISES_MIN,
    Answers,
    between,
    last_passed,
)
from overwinter.know.contrast import Contrast
from overwinter.know.first_days import only_falls, stopped
from overwinter.know.nouns import Finding, Span
from overwinter.know.phases import LOOK_MIN, MINUTE_S, Course, Phase

# Asked every minute, where going through the class takes five times as long.
_DEAD, _STUCK, _SMALL = Code.HEATER_DEAD, Code.HEAT_STUCK_ON, Code.HEATER_TOO_SMALL
_OBSERVE = Mode.OBSERVE

ANSWER_K, MISSING_K = 0.12, 0.18
"""Less than this cannot be told from noise: the usual answer to a switch-on, and what is missing of it."""
CERTAIN = 4.5
"""So many spreads from the usual."""
RISES_KNOWN = 3
"""Heated phases that make a missing rise worth telling; fewer than for what is subtler."""
GOES_ON = 0.5
"""So much of the fall before a switch-on would have gone on without it: cooling slows down."""
TURNED_K = 0.12
"""Air that rises by so much in two minutes of heat is heated, however late that shows in a gale."""

WEAK_K, WEAK_FALL_K = 0.36, -0.02
"""A heater whose usual answer is no more than this must also let the air fall to be called dead."""
NEARLY_CERTAIN = 3.5
"""Of a rise that is missing: twice in a row, and less than a third of the usual."""
FAR, FAR_K = 6.0, 0.5
"""Air that falls where so much more is missing is not heated, however little it usually rises."""
BUMP_TIMES, BUMP_MORE_K, BUMP_OVER_MIN = 1.3, 0.1, 20.0
"""Where the air has risen without heat (`Answers.bump_k`), what rises after a release must rise so much
further to be told from that, or last so long."""
RELEASED, RELEASED_K = 0.5, (0.15, 0.25)
"""What is released cools at once, by so much of the usual, whatever warms it later, such as the sun; within
these bounds, for a sensor's noise makes a welded contact's air fall a little too."""
RELEASED_TIMES = 2.0
"""In noisy air it may fall by so many spreads of its changes."""
BUMPY_MIN = 5.5
"""Where a motor may stop as heat comes on, the air falls for some minutes."""
CALM_MIN = 10.0
"""So long the air must do what it is called to for a fault to be over."""
FALSE_MIN = 30.0
"""What was found wrong for so short a time in a phase that then ended well was false, and is learned from."""
AROSE, AROSE_K = 0.35, 0.3
"""Air that has risen by so much of the usual since its lowest in this phase is heated."""
LATER_MIN = 3.0
"""So long after the last minute of which the usual is known, what was to come by then must have come."""
AS_BEFORE = {
    _DEAD: "the air does not answer the heat: look at the bulb or heater, its plug and breaker",
    _STUCK: "it is heated although heat is off: unplug the heater or open its breaker",
    _SMALL: "the heater does not hold the band: close gaps and insulate",
}
"""Said of what was found before a restart, until it is found anew or over."""

DOOR_TIMES = 1.4
"""Air that falls so many times as deep as in a pause, and more in great cold, falls through a door: a dead
heater does not explain it. Simulated: dead 1.3 at most, open doors 1.5 at least in five of six."""
DOOR_SHOWS_S = 600.0
"""So long after a heater was called dead a door may still show that it was not."""

AHEAD_H = 8.0
FULL_MIN = 90.0
"""Heat on for so long without reaching the high end is a heater at its end."""


class HeaterFaults:
    """Heater dead, heat stuck on, heater too small."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self.answers = Answers()
        self._contrast = Contrast()
        self._doubts = {_DEAD: 0, _STUCK: 0}
        self._found: dict[Code, str] = {}
        self._is_pumped = False
        self._dead_s = -math.inf  # when the heater was last called dead

    @property
    def door_times(self) -> float | None:
        """How many times as deep as in pauses a fall must be for a dead heater not to explain it; None: it
        seems to heat.
        """
        if not self._doubts[_DEAD] and _DEAD not in self._found:
            return None
        return DOOR_TIMES * math.sqrt(self.answers.colder())

    def take(
        self,
        span: Span,
        course: Course,
        *,
        is_open: bool,
        is_cooling: bool,
        is_pumped: bool,
    ) -> list[Finding]:
        """One span; `is_open`: the house cools as with an open door or is about to be found so, or a door is
        known to be open; `is_cooling`: it is found so; `is_pumped`: a pump's motor is known to warm the air,
        or has until lately.
        """
        self._is_pumped = is_pumped
        self._see_current(span)
        self.answers.see(span)
        if span.mode is _OBSERVE or self._site.heater.kind == "cable":
            return self._findings()
        if course.before is not None:
            self._learn(course.before, span)
        phase, air_c = course.phase, span.temperature_c
        if phase is None or air_c is None:
            return self._findings()
        minutes = course.minutes(span)
        change_k = (course.smooth_c if course.smooth_c is not None else air_c) - phase.began_c
        self.answers.note(phase, minutes, change_k, course, is_pumped=is_pumped)
        is_told = (_DEAD if phase.is_on else _STUCK) in self._found
        self._contrast.take(phase, minutes, course, span, is_open=is_open, is_told=is_told)
        if is_cooling and span.ends_s - self._dead_s <= DOOR_SHOWS_S:
            self._clear(_DEAD)
        elif _DEAD in self._found:
            self._see_it_heat(phase, air_c, course, span)
        elif phase.is_on and span.current is None and not is_open:
            self._look_for_no_heat(phase, minutes, change_k, course)
            if _DEAD in self._found:
                self._dead_s = span.ends_s
        if _STUCK in self._found:
            self._see_it_cool(phase, air_c, course, span)
        elif not phase.is_on and span.current is None:
            self._look_for_heat(phase, change_k, course, span)
        self._look_for_too_little(phase, minutes, air_c, course, span, is_open=is_open)
        if self._found or is_open:
            phase.is_suspect = True
            phase.told_min += span.lasts_s / MINUTE_S
        return self._findings()

    def _learn(self, phase: Phase, span: Span) -> None:
        """From a phase that is over."""
        is_sound, teaches = self.answers.learn(phase, span, is_found=bool(self._found))
        if is_sound and phase.told_min <= FALSE_MIN:
            self._contrast.learn_highest(phase, span.ends_s - phase.began_s)
        if teaches:
            self._contrast.learn(phase)

    def _findings(self) -> list[Finding]:
        return [Finding(code=code, text=text) for code, text in self._found.items()]

    # No heat although it is called for.

    def _look_for_no_heat(self, phase: Phase, minutes: float, change_k: float, course: Course) -> None:
        # Beside what the air would do without heat: in a gale a healthy heater only slows its fall.
        lift_k = change_k - GOES_ON * phase.flatter_k_min * minutes
        text = self._missed(phase, minutes, change_k, lift_k, course)
        if text is None and minutes >= 6.0 and not self._contrast.is_known:
            text = stopped(self.answers, minutes, course, unit=self._unit)
        self._count(_DEAD, text, wanted=2)
        seen = self._contrast.as_other(phase, is_bumpy=self.answers.is_bumpy)
        if seen is not None:
            self._found[_DEAD] = (
                f"heat is on, and in {LOOK_MIN} min the air has changed by {self._k(seen.change_k)}, where "
                f"{self._k(seen.heated_k)} is usual with heat and {self._k(seen.unheated_k)} without, less "
                "just after it ends: look at the bulb or heater, its plug and breaker; unplug it before "
                "touching. If it heats, look for an open door"
            )

    def _missed(
        self, phase: Phase, minutes: float, change_k: float, lift_k: float, course: Course
    ) -> str | None:
        """Whether the air has not answered the switch-on as it always does."""
        rises = self.answers.rises
        minute, last = last_passed(rises, minutes, known=RISES_KNOWN)
        if last is None:
            return only_falls(phase, minutes, change_k, course, unit=self._unit)
        if not phase.is_whole or minutes > minute + LATER_MIN:
            return None
        if minutes < BUMPY_MIN and (self._is_pumped or self.answers.is_bumpy):
            return None
        usual = between(rises, minutes, known=RISES_KNOWN)
        expected = between(phase.expected or rises, minutes, known=RISES_KNOWN)
        if usual is None or expected is None:  # some seconds before the first minute
            return None
        missing_k = expected.mean - change_k
        rose_k = phase.began_c + change_k - phase.low_c
        spread_k = expected.spread(NOISE_K)
        is_far = change_k < 0.0 and missing_k > max(FAR * spread_k, FAR_K)
        is_dead = is_far or (
            usual.mean >= ANSWER_K
            and change_k < 0.3 * usual.mean
            and lift_k < 0.45 * usual.mean
            and missing_k > max(NEARLY_CERTAIN * spread_k, MISSING_K)
            and (usual.mean > WEAK_K or change_k < WEAK_FALL_K)
        )
        if not is_dead or rose_k >= max(AROSE * usual.mean, AROSE_K):
            return None
        turned_k = course.change_k(2.0, is_smooth=True)
        if turned_k is None or turned_k > TURNED_K or self.answers.has_risen_by(minute):
            return None
        return (
            f"heat is on for {minutes:.0f} min, and the air has changed by {self._k(change_k)} where "
            f"{self._k(expected.mean)} is usual by then: look at the bulb or heater, its plug and breaker; "
            "unplug it before touching"
        )

    def _see_it_heat(self, phase: Phase, air_c: float, course: Course, span: Span) -> None:
        """A dead heater is healthy again when the air rises under heat as it used to."""
        if not phase.is_on or span.current is not None:
            return
        if self._contrast.is_known:
            if self._contrast.calm_min >= CALM_MIN or air_c >= span.high_c:
                self._clear(_DEAD)
            return
        rose_k = course.change_k(10.0)
        usual = self.answers.rises[10]
        enough_k = max(0.4, 0.5 * usual.mean) if usual.count >= KNOWN else 0.5
        if air_c >= span.high_c or (rose_k is not None and rose_k >= enough_k):
            self._clear(_DEAD)

    # Heat although it is not called for.

    def _look_for_heat(self, phase: Phase, change_k: float, course: Course, span: Span) -> None:
        minutes, air_c = course.minutes(span), course.smooth_c
        if not phase.is_whole or phase.is_forced or air_c is None or self._is_thermostats(air_c):
            self._doubts[_STUCK] = 0
            return
        if self._is_pumped:
            return
        seen = self._contrast.as_other(phase, is_bumpy=self.answers.is_bumpy)
        # A contact welds as it should open: what warms air that cooled meanwhile is a pump, or the sun.
        if (
            seen is not None
            and not self._contrast.has_obeyed
            and phase.fell_k < max(RELEASED_K[1], RELEASED_TIMES * self._contrast.spread_k(phase))
        ):
            self._found[_STUCK] = (
                f"heat is off for {minutes:.0f} min, and in {LOOK_MIN} min the air has changed by "
                f"{self._k(seen.change_k)}, where {self._k(seen.unheated_k)} is usual without heat and "
                f"{self._k(seen.heated_k)} with it: the relay's contact may be welded, or something else "
                "heats; unplug the heater or open its breaker"
            )
            return
        minute, usual = last_passed(self.answers.falls, minutes, known=KNOWN)
        if usual is None:
            return
        least_k = 0.3
        if minutes < BUMP_OVER_MIN:
            least_k = max(BUMP_TIMES * self.answers.bump_k + BUMP_MORE_K, least_k)
        text = None
        least_fell_k, most_fell_k = RELEASED_K
        if (
            minutes >= 5.0
            and phase.fell_k < min(max(-RELEASED * usual.mean, least_fell_k), most_fell_k)
            and change_k >= least_k
            and change_k - usual.mean > max(CERTAIN * usual.spread(NOISE_K), 0.5)
            and (course.change_k(5.0) or 0.0) > -0.05
        ):
            text = (
                f"heat is off for {minutes:.0f} min, and the air has changed by {self._k(change_k)} where "
                f"{self._k(usual.mean)} after {minute} min is usual: the relay's contact may be welded, or "
                "something else heats; unplug the heater or open its breaker"
            )
        self._count(_STUCK, text, wanted=3)

    def _see_it_cool(self, phase: Phase, air_c: float, course: Course, span: Span) -> None:
        """Stuck heat has ended when the air falls without it as it used to, or is back in the band."""
        usual = self.answers.falls[20]
        enough_k = max(0.3, -0.5 * usual.mean) if usual.count >= KNOWN else 0.5
        fell_k = course.change_k(20.0)
        fell_enough = not phase.is_on and fell_k is not None and fell_k <= -enough_k
        if span.current is None and (fell_enough or air_c <= (span.low_c + span.high_c) / 2.0):
            self._clear(_STUCK)

    def _is_thermostats(self, air_c: float) -> bool:
        """Whether a declared backup thermostat may be what heats."""
        backup_c = self._site.heater.backup_thermostat_c
        return backup_c is not None and air_c <= backup_c + 2.0

    # Too little heat.

    def _look_for_too_little(
        self, phase: Phase, minutes: float, air_c: float, course: Course, span: Span, *, is_open: bool
    ) -> None:
        if _DEAD in self._found or not phase.is_on or air_c >= span.high_c:
            self._found.pop(_SMALL, None)
            return
        if is_open or _SMALL in self._found or minutes < FULL_MIN or phase.is_forced:
            return
        fell_k = course.change_k(FULL_MIN - 5.0, is_smooth=True)
        if fell_k is None or fell_k > -0.2:
            return
        per_hour_k = fell_k / (FULL_MIN - 5.0) * 60.0
        left_k = air_c - span.low_c
        if left_k > -AHEAD_H * per_hour_k:
            return  # by then the night may be over
        when = f"in about {left_k / -per_hour_k:.0f} h" if left_k > 0.0 else "now"
        is_known = self.answers.rises[RISES_MIN[0]].count >= KNOWN
        unsure = "see whether it heats at all (bulb, plug, breaker; unplug it before touching), "
        see = "" if is_known else unsure
        self._found[_SMALL] = (
            f"heat is on all the time for {minutes / 60.0:.1f} h, and the air falls by "
            f"{self._k(-per_hour_k)} an hour: it passes the low end of the band, "
            f"{say(span.low_c, self._unit)}, {when}; {see}close gaps and insulate. "
            "A stronger heater needs a circuit that bears it: ask a licensed electrician"
        )

    # By the feedback input, at once.

    def _see_current(self, span: Span) -> None:
        if span.current is None:
            return
        if span.heat >= 0.95 and span.current <= 0.05:
            self._found[_DEAD] = (
                "heat is on and the feedback input sees no current: look at the bulb or heater, its plug and "
                "breaker; unplug it before touching"
            )
        elif span.heat >= 0.95 and span.current >= 0.95:
            self._clear(_DEAD)
        if span.heat <= 0.05 and span.current >= 0.95:
            self._found[_STUCK] = (
                "heat is off and the feedback input sees current flow: the relay's contact may be welded; "
                "unplug the heater or open its breaker"
            )
        elif span.heat <= 0.05 and span.current <= 0.05:
            self._clear(_STUCK)

    # Small things.

    def _count(self, code: Code, text: str | None, *, wanted: int) -> None:
        """Found once there was a text so many times in a row."""
        self._doubts[code] = 0 if text is None else self._doubts[code] + 1
        if text is not None and self._doubts[code] >= wanted:
            self._found[code] = text

    def _clear(self, code: Code) -> None:
        self._found.pop(code, None)
        if code in self._doubts:
            self._doubts[code] = 0

    @property
    def _unit(self) -> Unit:
        return self._site.unit

    def _k(self, difference_k: float) -> str:
        return say_difference(difference_k, self._unit)

    def facts(self) -> dict[str, object]:
        """For the state file."""
        return {
            **self.answers.facts(),
            "contrast": self._contrast.facts(),
            "found": [code.value for code in self._found],
        }

    def recall(self, stored: Mapping[str, object]) -> None:
        """Go on from there."""
        self.answers.recall(stored)
        self._contrast.recall(stored.get("contrast"))
        found = stored.get("found")
        for code in (_DEAD, _STUCK, _SMALL):
            if isinstance(found, list) and code.value in found:
                self._found[code] = f"{AS_BEFORE[code]}, as found before the last start"

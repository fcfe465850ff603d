"""Is the house as it should be: open, damp, wet, switched too often; from the air and the owner's inputs."""

import math
from collections.abc import Mapping

from overwinter.core.nouns import Code, Site
from overwinter.core.units import say, say_difference
from overwinter.know.answers import KNOWN, MEMORY
from overwinter.know.nouns import Finding, Span
from overwinter.know.phases import LOOK_MIN, Course, Phase
from overwinter.know.running import Usual, number

FALL_K = 0.6
"""A smaller fall in them is no open door in the cold."""
RISEN_K, RISEN_TIMES = 0.4, 1.2
"""What warms air without heat, such as the sun or a pump's motor, lets it fall back by about as much when it
ends: so much is looked for, and neither the rise nor what follows teaches."""
LATE_K = 0.08
"""What a spread of settled falls may have missed."""
SETTLED_MIN, BUMPY_SETTLED_MIN = 10.0, 35.0
"""So long after heat went off the quick part of the cooling is over; later, where a motor may put it off."""
SPREADS = 5.0
QUICK, QUICK_PUMPED, QUICK_K = (1.1, 3.2), (1.25, 4.0), 0.15
"""So many times as deep as the deepest of a usual pause, so many spreads and so much deeper a fall just after
heat went off must be; more where a pump's motor has just stopped as well. That is 1.6 times as deep in the
middle; of 59,834 pauses of 56 tuning winters the deepest came to 2.6 spreads (simulated)."""
UNWARMED_MIN, UNWARMED_K, UNWARMED_SPREADS = 12.0, 0.25, 4.5
"""In the first minutes of heat that warmed nothing the air goes on as before, if the heater is dead: after a
long pause within 2.3 spreads, with a door open beyond 5.5 (simulated)."""
MAY_BE_DEAD = 0.714
"""Down to this share of the fall that no dead heater explains, the air may fall through a door as well: then
both are said, for whoever goes to look will see which it is. That is as deep as in a usual pause."""
DOOR_H_MAX = 12.0

OPEN_S = 600.0
"""A door that somebody goes in by is open for less."""

CYCLES_A_DAY = 100.0
"""Well above what a healthy house does: a block house 41 to 44, a small box 78 a day (simulated)."""
CYCLE_MEMORY_H = 8.0

DAMP_PCT = 97.0
"""What is a little colder than the air is wet then (common practice, no source)."""
DAMP_OVER_PCT = 93.0
DAMP_S = 6 * 3600.0
LEAK_PCT = 20.0
LEAK_S = 2 * 3600.0

PUMP_LONG_S = 2 * 3600.0
PUMP_STARTS_AN_HOUR = 12.0
"""Rules of thumb (common practice, no source): no small house pumps for two hours, and a tank with air in it
saves the pump from more starts than a few an hour."""


class HouseFaults:
    """Cooling fast, damp, short cycling, doors, pumps, and in a replay wet floors."""

    def __init__(self, site: Site, *, is_replay: bool) -> None:
        self._site = site
        self._is_replay = is_replay
        self._doors = [contact.name for contact in site.contacts if contact.kind == "door"]
        self._late = Usual()  # change in LOOK_MIN minutes, long after heat went off
        self._deepest = Usual()  # the deepest such change in each phase without heat
        self._deepest_k = 0.0  # in this phase so far
        self._doubts = 0
        self._cooling: str | None = None
        self._may_be_dead = False  # a dead heater explains that fall as well
        self._cooled_from_c = 0.0
        self._cooling_s = 0.0
        self._cycles_a_day = 0.0
        self._is_cycling = False
        self._humidity: float | None = None  # of the last hour
        self._usual_humidity: float | None = None  # of the last days
        self._damp_s = self._leak_s = 0.0
        self._is_damp = False
        self._settled_min = SETTLED_MIN
        self._active_s: dict[str, float] = {}  # for how long each input has been active without a pause
        self._starts_an_hour: dict[str, float] = {}

    @property
    def is_open(self) -> bool:
        """Whether the house cools, or is about to be found to cool, as only with an open door."""
        return self.is_cooling or (self._doubts > 0 and not self._may_be_dead) or self._has_open_door()

    @property
    def is_cooling(self) -> bool:
        """Whether it is found to cool as only with an open door."""
        return self._cooling is not None and not self._may_be_dead

    @property
    def _pause_k(self) -> float | None:
        """The deepest fall within LOOK_MIN minutes that is usual in a phase without heat; None: not known."""
        return self._deepest.mean if self._deepest.count >= KNOWN else None

    def take(
        self, span: Span, course: Course, *, door_times: float | None, is_bumpy: bool, is_pumped: bool
    ) -> list[Finding]:
        """One span; `door_times`: see `HeaterFaults`; `is_bumpy`: see `Answers`; `is_pumped`: a pump's motor
        is known to warm the air, or has until lately.
        """
        self._see_inputs(span)
        self._settled_min = math.inf if is_pumped else BUMPY_SETTLED_MIN if is_bumpy else SETTLED_MIN
        self._see_cooling(span, course, door_times)
        self._see_cycles(span, course)
        self._see_humidity(span)
        found = []
        if self._cooling is not None:
            or_dead = ", or whether the heater has stopped" if self._may_be_dead else ""
            found.append(Finding(code=Code.COOLING_FAST, text=self._cooling + or_dead))
        if self._is_cycling:
            found.append(
                Finding(
                    code=Code.SHORT_CYCLING,
                    text=f"heat goes on and off {self._cycles_a_day:.0f} times a day, which wears the relay: "
                    "move the sensor away from the heater, or widen the band",
                )
            )
        if self._is_damp:
            found += self._dampness()
        if self._site.contacts:
            found += self._inputs()
        return found

    # An open door, or insulation that is gone.

    def _see_cooling(self, span: Span, course: Course, door_times: float | None) -> None:
        phase, air_c, ended = course.phase, span.temperature_c, course.before
        if ended is not None:
            if not ended.is_on and ended.is_whole and not ended.is_suspect:
                self._deepest.take(self._deepest_k, memory=MEMORY)
            self._deepest_k = 0.0
        if phase is None or air_c is None:
            self._doubts = 0
            return
        change_k = course.change_k(LOOK_MIN)
        if change_k is not None and not phase.is_on:
            self._deepest_k = min(self._deepest_k, change_k)
        minutes = course.minutes(span)
        door_k = self._door_k(door_times)
        if self._cooling is not None:
            if self._may_be_dead and change_k is not None and change_k < door_k:
                self._may_be_dead = False
            self._cooling_s += span.lasts_s
            warmed = change_k is not None and change_k >= 0.4 and phase.is_on
            if (
                (
                    air_c >= min(span.low_c, self._cooled_from_c - 0.3)
                    and change_k is not None
                    and change_k > -0.1
                )
                or warmed
                or self._cooling_s > DOOR_H_MAX * 3600.0
            ):
                self._cooling = None
            return
        if change_k is None or change_k > -FALL_K:
            self._doubts = 0
            self._learn(change_k, minutes, course, is_on=phase.is_on)
            return
        if phase.is_on:
            surely_k = max(door_k, self._least_in_heat_k(phase, minutes, course))
            least_k = max(surely_k, min(MAY_BE_DEAD * door_k, -FALL_K))
        else:
            surely_k = least_k = self._least_in_pause_k(minutes, course)
        self._doubts = self._doubts + 1 if change_k < least_k else 0
        self._may_be_dead = change_k >= surely_k
        if not self._doubts:
            self._learn(change_k, minutes, course, is_on=phase.is_on)
        if self._doubts >= 2:
            unit = self._site.unit
            self._cooling = (
                f"the air fell by {say_difference(-change_k, unit)} in {LOOK_MIN} min to {say(air_c, unit)}, "
                f"where {say_difference(-min(least_k, 0.0), unit)} is the most that is usual: look whether "
                "the door is open, a window broken or insulation gone"
            )
            self._cooled_from_c, self._cooling_s, self._doubts = air_c - change_k, 0.0, 0
            phase.is_suspect = True

    def _learn(self, change_k: float | None, minutes: float, course: Course, *, is_on: bool) -> None:
        if (
            change_k is not None
            and not is_on
            and self._is_settled(minutes)
            and change_k < RISEN_K
            and course.risen_k(minutes - LOOK_MIN) < RISEN_K
        ):
            self._late.take(max(change_k, -3.0), memory=300.0)

    # The fall in LOOK_MIN minutes that a closed house may show now; below it the house is open.

    def _door_k(self, door_times: float | None) -> float:
        """A fall so deep is not explained by a dead heater; without limit as long as none is suspected."""
        pause_k = self._pause_k
        return -math.inf if door_times is None or pause_k is None else min(door_times * pause_k, -FALL_K)

    def _least_in_heat_k(self, phase: Phase, minutes: float, course: Course) -> float:
        least_k = self._quick_least_k()
        is_unwarmed = minutes <= UNWARMED_MIN and phase.top_c - phase.began_c <= UNWARMED_K
        if is_unwarmed and self._is_settled(phase.after_min):
            risen_k = course.risen_k(phase.after_min + minutes - LOOK_MIN)
            least_k = max(least_k, self._settled_least_k(UNWARMED_SPREADS) - _falls_back_k(risen_k))
        return least_k

    def _least_in_pause_k(self, minutes: float, course: Course) -> float:
        risen_k = course.risen_k(minutes - LOOK_MIN)
        least_k = self._quick_least_k()
        if self._is_settled(minutes):
            least_k = max(least_k, self._settled_least_k(SPREADS))
        return least_k - _falls_back_k(risen_k)

    def _quick_least_k(self) -> float:
        """Just after heat went off."""
        deepest = self._deepest
        if deepest.count < KNOWN:
            return -3.0
        times, spreads = QUICK_PUMPED if math.isinf(self._settled_min) else QUICK
        return min(times * deepest.mean - spreads * deepest.spread(0.08) - QUICK_K, -FALL_K)

    def _is_settled(self, minutes: float) -> bool:
        """Whether heat that has been off for so long, and pumps, no longer make the air fall."""
        return minutes >= self._settled_min + LOOK_MIN

    def _settled_least_k(self, spreads: float) -> float:
        """Long after heat went off; without limit as long as it is not known."""
        if self._late.count < 100:
            return -math.inf
        return self._late.mean - max(spreads * self._late.spread(LATE_K), FALL_K - 0.1)

    # Switched too often.

    def _see_cycles(self, span: Span, course: Course) -> None:
        hours = (span.lasts_s + span.gap_s) / 3600.0
        self._cycles_a_day *= math.exp(-hours / CYCLE_MEMORY_H)
        if course.before is not None and not course.before.is_on:
            self._cycles_a_day += 24.0 / CYCLE_MEMORY_H
        limit = CYCLES_A_DAY * (0.8 if self._is_cycling else 1.0)
        self._is_cycling = self._cycles_a_day > limit

    # Damp.

    def _see_humidity(self, span: Span) -> None:
        now_pct = span.humidity_pct
        if now_pct is None:
            return
        hours = span.lasts_s / 3600.0
        hour = self._humidity
        hour = self._humidity = now_pct if hour is None else hour + min(hours, 1.0) * (now_pct - hour)
        usual = self._usual_humidity
        if usual is None:
            self._usual_humidity = usual = now_pct
        self._damp_s = self._damp_s + span.lasts_s if hour >= DAMP_PCT else 0.0
        is_jump = hour - usual >= LEAK_PCT and hour >= 85.0
        self._leak_s = self._leak_s + span.lasts_s if is_jump else 0.0
        self._usual_humidity = usual + min(hours / 96.0, 1.0) * (now_pct - usual)
        if self._damp_s >= DAMP_S or self._leak_s >= LEAK_S:
            self._is_damp = True
        elif hour < DAMP_OVER_PCT and not is_jump:
            self._is_damp = False

    def _dampness(self) -> list[Finding]:
        assert self._humidity is not None
        text = f"the air has been at {self._humidity:.0f} % for hours"
        if self._usual_humidity is not None and self._humidity - self._usual_humidity >= LEAK_PCT:
            text += f", where {self._usual_humidity:.0f} % is usual"
        text += ": water condenses on what is colder; look for a leak, and let the house dry"
        return [Finding(code=Code.DAMP, text=text)]

    # The owner's inputs.

    def _see_inputs(self, span: Span) -> None:
        if span.gap_s > span.lasts_s:
            self._active_s.clear()
        for contact in self._site.contacts:
            share = span.contacts.get(contact.name)
            if share is None:
                continue
            was_s = self._active_s.get(contact.name, 0.0)
            if share >= 0.99:
                self._active_s[contact.name] = was_s + span.lasts_s
            else:
                self._active_s[contact.name] = share * span.lasts_s
            if contact.kind == "pump":
                hours = span.lasts_s / 3600.0
                rate = self._starts_an_hour.get(contact.name, 0.0) * math.exp(-hours / 2.0)
                if was_s == 0.0 and share > 0.0:
                    rate += 0.5
                self._starts_an_hour[contact.name] = rate

    def _has_open_door(self) -> bool:
        return any(map(self._active_s.get, self._doors))

    def _inputs(self) -> list[Finding]:
        found = []
        for contact in self._site.contacts:
            active_s = self._active_s.get(contact.name, 0.0)
            name = contact.name
            if contact.kind == "door" and active_s >= OPEN_S:
                text = f"{name!r} has been open for {active_s / 60.0:.0f} min: shut it"
                found.append(Finding(code=Code.COOLING_FAST, text=text, subject=name))
            elif contact.kind == "wet" and active_s > 0.0 and self._is_replay:
                text = f"{name!r} reports water on the floor: stay out until the breaker is off, then look"
                found.append(Finding(code=Code.WET_FLOOR, text=text, subject=name))
            elif contact.kind == "pump" and active_s >= PUMP_LONG_S:
                text = (
                    f"{name!r} has been running for {active_s / 3600.0:.1f} h without a pause: it may feed a "
                    "burst pipe, or run dry; open its breaker, then look for water"
                )
                found.append(Finding(code=Code.WET_FLOOR, text=text, subject=name))
            elif self._starts_an_hour.get(name, 0.0) >= PUMP_STARTS_AN_HOUR:
                text = (
                    f"{name!r} starts {self._starts_an_hour[name]:.0f} times an hour: the pressure tank may "
                    "have lost its air, or a valve leaks"
                )
                found.append(Finding(code=Code.SHORT_CYCLING, text=text, subject=name))
        return found

    def facts(self) -> dict[str, object]:
        """For the state file."""
        return {
            "late": self._late.facts(),
            "deepest": self._deepest.facts(),
            "humidity": self._usual_humidity and round(self._usual_humidity, 2),
            "cycles": round(self._cycles_a_day, 2),
        }

    def recall(self, stored: Mapping[str, object]) -> None:
        """Go on from there."""
        self._late = Usual.recalled(stored.get("late"))
        self._deepest = Usual.recalled(stored.get("deepest"))
        humidity_pct = number(stored.get("humidity"))
        self._usual_humidity = (
            humidity_pct if humidity_pct is not None and 0.0 <= humidity_pct <= 100.0 else None
        )
        self._cycles_a_day = min(max(number(stored.get("cycles")) or 0.0, 0.0), CYCLES_A_DAY)


def _falls_back_k(risen_k: float) -> float:
    """How far air that has risen so far without heat may fall back."""
    return RISEN_TIMES * risen_k if risen_k >= RISEN_K else 0.0

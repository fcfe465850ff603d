"""What is left of the cooling once the quick part of it is over, from the later halves of pauses of heat.

The quick lags of `cooling.py` are well determined by how the air answers the relay; what walls, things and
ground do over hours is not. But it shows at the end of each pause: there the air falls by a share of its
distance to outdoors every hour, however heavy the house is.

Rule 1: a pause counts if it was whole and sound.
Rule 2: sums that fade, not means of quotients: a slow fall is a few tenths in noise.
"""

from collections.abc import Callable

from overwinter.know.cooling import Course
from overwinter.know.recursive import numbers_of, shortened

EVERY_S = 10_800.0
"""Between two pauses that are looked at: what was to be expected takes a millisecond to say."""

LASTS_S, FROM = 1200.0, 0.5
"""A shorter pause is not looked at; of a longer one the part from here on is."""

FADES, KNOWN = 0.98, 3
"""How much of the sums stays with each pause, and after how many they are gone by. Chosen on simulated
houses, as is the number of quick lags."""

RATE_H = (0.002, 3.0)
"""The share of the distance to outdoors that an hour may take: from a cellar to a tent."""

QUICK = 2
"""So many of the lags are the quick ones: ten minutes at most."""

FREEZING_C = 0.5
"""At this reading (33 °F) the air counts as freezing: a sensor may read high, and the wind may rise. To aim
higher made fewer hours too hopeful in simulation, and more of them wrong by half."""

CELLAR_TIMES = 2.0
"""Where pauses say that freezing is so many times further away than the lags do, they are right alone."""

SHARE = 0.6
"""How much the ends of pauses count against the slow lags; these are too quick in cellars, those where pauses
are short."""


class Pauses:
    """Sums over the latest of them."""

    def __init__(self) -> None:
        self.count = self.fell_k = self.driven_kh = 0.0
        self._since_s = EVERY_S
        self._was_on = False
        self._course: Course | None = None  # what was to be expected of the pause that is running
        self._seen: list[
            tuple[float, float, float]
        ] = []  # seconds in it, air, kelvin hours to outdoors so far

    def take(
        self,
        *,
        lasts_s: float,
        heat: float,
        air_c: float,
        outdoor_c: float,
        is_sound: bool,
        course: Callable[[], Course | None],
    ) -> None:
        """A minute or so; `course`: what is to be expected without heat from here, as far as it is known."""
        self._since_s += lasts_s
        if heat > 0.0 or not is_sound:
            if heat > 0.0 and is_sound and self._course is not None:
                self._end(self._course)
            self._course, self._was_on = None, heat > 0.0
            return
        if self._was_on and self._since_s >= EVERY_S:
            self._course, self._since_s = course(), 0.0
            self._seen = [(0.0, air_c, 0.0)]
        elif self._course is not None:
            passed_s, _, driven_kh = self._seen[-1]
            driven_kh += (air_c - outdoor_c) * lasts_s / 3600.0
            self._seen.append((passed_s + lasts_s, air_c, driven_kh))
        self._was_on = False

    def _end(self, course: Course) -> None:
        ends_s, end_c, end_kh = self._seen[-1]
        if ends_s < LASTS_S:
            return
        half_s, half_c, half_kh = next(one for one in self._seen if one[0] >= FROM * ends_s)
        quick = Course(0.0, course.falls[:QUICK])
        self.count = min(self.count + 1.0, 1e6)
        self.fell_k = FADES * self.fell_k + (half_c - end_c) - (quick.at_c(half_s) - quick.at_c(ends_s))
        self.driven_kh = FADES * self.driven_kh + end_kh - half_kh

    def slow(self, course: Course, outdoor_c: float) -> Course:
        """The same with its slow end as pauses have shown it; as it is while that is not known."""
        if self.count < KNOWN or self.driven_kh <= 0.0:
            return course
        seen = self._ended(course, outdoor_c, 1.0)
        if seen.hours_to(FREEZING_C) > CELLAR_TIMES * course.hours_to(FREEZING_C):
            return seen
        return self._ended(course, outdoor_c, SHARE)

    def _ended(self, course: Course, outdoor_c: float, share: float) -> Course:
        """`share`: how much the pauses count against the lags."""
        low_h, high_h = RATE_H
        rate_h = min(max(self.fell_k / self.driven_kh, low_h), high_h)
        quick = course.falls[:QUICK]
        left_k = course.air_c - sum(fall_k for _, fall_k in quick) - outdoor_c
        lags = ((lag_s, (1.0 - share) * fall_k) for lag_s, fall_k in course.falls[QUICK:])
        return Course(course.air_c, (*quick, *lags, (3600.0 / rate_h, share * left_k)))

    def facts(self) -> list[float]:
        """To be written down."""
        return [shortened(value) for value in (self.count, self.fell_k, self.driven_kh)]

    @classmethod
    def recalled(cls, facts: object) -> "Pauses":
        """What was written down; ValueError where it is not that."""
        pauses = cls()
        pauses.count, pauses.fell_k, pauses.driven_kh = numbers_of(facts, 3)
        return pauses

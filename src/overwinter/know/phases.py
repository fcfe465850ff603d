"""The present stretch of heat on or off, and the temperatures of the last two hours beside it.

From spans alone: when heat went on or off is worked out from the share of the span in which it did.
"""

from collections import deque
from typing import TYPE_CHECKING

from overwinter.know.nouns import Span
from overwinter.know.running import Usual

if TYPE_CHECKING:
    from overwinter.know.recursive import Sums

MINUTE_S = 60.0
KEPT = 130
"""Spans that are remembered: two hours of minutes."""

LOOK_MIN = 5
"""Over so many minutes a fall is looked at, and what went before it is beside it."""
RISEN_MIN = 120.0
"""Within so many minutes before that a rise is looked for."""

SLOPE_MIN, LONGER_MIN = 5.0, 15.0
"""How the air fell before a switch, and over what it is flatter: noise alone makes a slow house fall within
five minutes."""
ON_SHARE, OFF_SHARE = 0.9, 0.1
SMOOTHED = 3
"""Spans whose mean stands for the air: a reading's noise is as much as ten minutes of a slow heater."""
QUIET_S = 420.0
"""Without a temperature for so long, what was seen before says nothing of what comes."""


NEARBY = (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, 7, 8)
"""Where a span is looked for beside where it would be if none were missing."""


class Phase:
    """Heat on or off since a moment, and what the air was then."""

    __slots__ = (
        "after_min",
        "before_k",
        "began_c",
        "began_s",
        "bias_k",
        "bump_k",
        "circumstances",
        "expected",
        "fell_k",
        "flatter_k_min",
        "highest",
        "is_forced",
        "is_on",
        "is_suspect",
        "is_whole",
        "low_c",
        "rows",
        "seen",
        "slope_k_min",
        "told_min",
        "top_c",
    )

    def __init__(self, *, is_on: bool, began_s: float, began_c: float, is_whole: bool) -> None:
        self.is_on = is_on
        self.began_s = began_s
        self.began_c = began_c
        self.is_whole = is_whole  # whether its beginning was seen
        self.after_min = 0.0  # how long the phase before it lasted, as far as that was seen [min]
        self.is_forced = False
        self.top_c = self.low_c = began_c  # the warmest and the coldest since it began
        self.bump_k = 0.0  # the steepest rise in it, as `Answers.bump_k`
        self.fell_k = 0.0  # the deepest fall from the warmest so far
        self.is_suspect = False  # something was found wrong in it: it teaches nothing
        self.slope_k_min = 0.0  # how the air fell before it [K/min], never above 0
        self.before_k: tuple[float, float] | None = None  # how it changed in SLOPE_MIN, LONGER_MIN before it
        self.circumstances: tuple[float, ...] | None = None  # that its rise leans on (`Answers`)
        self.expected = dict[int, Usual]()  # how its air rises in these, by minutes
        self.flatter_k_min = 0.0  # the same over a longer time, where that is flatter
        self.seen: list[tuple[int, float]] = []  # minutes since it began, change since [K]
        self.rows: Sums | None = None  # how its air changed (`Contrast`)
        self.bias_k = 0.0  # how far the laws of that are shifted in it
        self.told_min = 0.0  # for so long something was found wrong in it
        self.highest = 0.0  # how far it seemed to be of the other kind


class Course:
    """Follows the spans; begins a new phase whenever heat is switched."""

    __slots__ = (
        "_airs",
        "_changes_k",
        "_fresh",
        "_lows",
        "_past",
        "_quiet_s",
        "_recent_c",
        "before",
        "phase",
        "smooth_c",
        "span_s",
    )

    def __init__(self) -> None:
        self._airs: deque[tuple[float, float, float]] = deque(maxlen=KEPT)  # when, air, mean of the last few
        self._changes_k: dict[float, float | None] = {}  # as asked for since the last span
        # When, and the air: of the last LOOK_MIN minutes; the newest before them; and those before it below
        # which nothing later is, so that the lowest of any stretch is found without a look at all of it.
        self._fresh: deque[tuple[float, float]] = deque()
        self._past: tuple[float, float] | None = None
        self._lows: deque[tuple[float, float]] = deque()
        self._recent_c: deque[float] = deque(maxlen=SMOOTHED)
        self.smooth_c: float | None = None  # mean of the last few
        self._quiet_s = 0.0
        self.phase: Phase | None = None
        self.before: Phase | None = None  # the phase that has just ended, for this span only
        self.span_s = MINUTE_S

    def take(self, span: Span) -> None:
        """One span more."""
        self.before = None
        self._changes_k.clear()
        air_c = span.temperature_c
        self.span_s = span.lasts_s
        if span.gap_s > span.lasts_s:
            self.forget()
        if air_c is None:
            self._quiet_s += span.lasts_s
            if self._quiet_s >= QUIET_S:
                self.forget()
            return
        self._quiet_s = 0.0
        before_c = self.smooth_c
        self._recent_c.append(air_c)
        smooth_c = self.smooth_c = sum(self._recent_c) / len(self._recent_c)
        phase = self.phase
        # A span of both belongs to what it brought: on after off, off after on.
        is_on = span.heat >= ON_SHARE if phase is None or phase.is_on else span.heat > OFF_SHARE
        if phase is None:
            self.phase = phase = Phase(is_on=is_on, began_s=span.ends_s, began_c=smooth_c, is_whole=False)
        elif is_on is not phase.is_on:
            share = span.heat if is_on else 1.0 - span.heat
            began_s = span.ends_s - share * span.lasts_s
            self.before = phase
            began_c = smooth_c if before_c is None else before_c
            self.phase = phase = Phase(is_on=is_on, began_s=began_s, began_c=began_c, is_whole=True)
            phase.after_min = (began_s - self.before.began_s) / MINUTE_S
            before_k = self.change_k(SLOPE_MIN, is_smooth=True)
            longer_k = self.change_k(LONGER_MIN, is_smooth=True)
            if before_k is not None and longer_k is not None:
                phase.before_k = (before_k, longer_k)
            phase.slope_k_min = min((before_k or 0.0) / SLOPE_MIN, 0.0)
            phase.flatter_k_min = max(phase.slope_k_min, min((longer_k or 0.0) / LONGER_MIN, 0.0))
        phase.is_forced = phase.is_forced or span.is_forced
        phase.top_c = max(phase.top_c, smooth_c)
        phase.low_c = min(phase.low_c, smooth_c)
        phase.fell_k = max(phase.fell_k, phase.top_c - smooth_c)
        self._airs.append((span.ends_s, air_c, smooth_c))
        self._see_low(span.ends_s, air_c)

    def _see_low(self, now_s: float, air_c: float) -> None:
        fresh, lows = self._fresh, self._lows
        fresh.append((now_s, air_c))
        until_s = now_s - LOOK_MIN * MINUTE_S
        while fresh[0][0] <= until_s:
            past = self._past = fresh.popleft()
            while lows and lows[-1][1] >= past[1]:
                lows.pop()
            lows.append(past)
        while lows and lows[0][0] < until_s - RISEN_MIN * MINUTE_S:
            lows.popleft()

    def forget(self) -> None:
        """Nothing is known of what went before."""
        for airs in (self._airs, self._changes_k, self._fresh, self._lows):
            airs.clear()
        self._past = None
        self.phase = self.smooth_c = None
        self._recent_c.clear()

    def minutes(self, span: Span) -> float:
        """How long the present phase has lasted [min]."""
        return 0.0 if self.phase is None else (span.ends_s - self.phase.began_s) / MINUTE_S

    def change_k(self, minutes: float, *, ended: float = 0.0, is_smooth: bool = False) -> float | None:
        """How the air changed over so many minutes, up to `ended` minutes ago; None: not recorded.

        `is_smooth`: between means of the last few spans, which tell less noise a minute later.
        """
        if not self._airs:
            return None
        now_s = self._airs[-1][0]
        if ended or is_smooth:
            which = 2 if is_smooth else 1
            late = self._air_c(now_s - ended * MINUTE_S, which) if ended else self._airs[-1][which]
            early = self._air_c(now_s - (ended + minutes) * MINUTE_S, which)
            return None if late is None or early is None else late - early
        if minutes not in self._changes_k:
            early = self._air_c(now_s - minutes * MINUTE_S, 1)
            self._changes_k[minutes] = None if early is None else self._airs[-1][1] - early
        return self._changes_k[minutes]

    def risen_k(self, minutes: float) -> float:
        """How far the air, LOOK_MIN minutes ago, was above its lowest in the `minutes` before, of which
        RISEN_MIN count; at least 0.
        """
        past = self._past
        if past is None:
            return 0.0
        from_s = self._airs[-1][0] - (LOOK_MIN + minutes) * MINUTE_S
        if past[0] < from_s:
            return 0.0
        lowest_c = past[1]
        for at_s, air_c in reversed(self._lows):
            if at_s < from_s:
                break
            lowest_c = air_c
        return past[1] - lowest_c

    def _air_c(self, at_s: float, which: int) -> float | None:
        """The air then, if a span ended within three quarters of one of it."""
        airs, count = self._airs, len(self._airs)
        slack_s = 0.75 * max(self.span_s, MINUTE_S)
        # Spans are evenly spaced as a rule, so the place is guessed first and then looked for.
        guess = count - 1 - round((airs[-1][0] - at_s) / max(self.span_s, 1.0))
        for step in NEARBY:
            place = guess + step
            if 0 <= place < count:
                air = airs[place]
                if -slack_s <= air[0] - at_s <= slack_s:
                    return air[which]
        return None

"""Whether heat should be on, and why.

Rule 1: the first rule that applies wins; their order is the safety argument.
Rule 2: nothing here knows the hour, the kind of sensor or the season.
Rule 3: nothing here remembers; what was is in the arguments, so that every case is one call.

1 too hot, 2 observe, 3 by hand, 4 blind, 5 band, 6 minimum times (which hold back 5 only), 7 exercise.
"""

from dataclasses import dataclass

from overwinter.core.nouns import Decision, Mode, Reason, Settings

DUTY_PERIOD_S = 600.0
"""Blind heat is shared out over this period, its on-phase first."""

EXERCISE_ENDS_ABOVE_HIGH_K = 3.0
"""How far above the band an exercise may warm the house."""


_OBSERVE = Mode.OBSERVE  # asked in every turn, where going through the class takes ten times as long
_AS_BEFORE = {heat: Decision(heat, Reason.INSIDE_BAND) for heat in (False, True)}


@dataclass(slots=True, kw_only=True)
class Look:
    """What the sensors say now, all of them together.

    `coldest_cold_c` may turn heat on, `coldest_warm_c` off; either is None when no control sensor can
    say. `warm_elsewhere`: an outdoor or extra sensor believably says it is warm. `was_warm`: the last
    believable control reading did, less than six hours ago.
    """

    coldest_cold_c: float | None = None
    coldest_warm_c: float | None = None
    hottest_warm_c: float | None = None
    is_too_hot: bool = False
    disagree_s: float | None = None  # for how long; None: they do not
    blind_s: float | None = None  # for how long; None: we see
    warm_elsewhere: bool = False
    was_warm: bool = False


@dataclass(slots=True, kw_only=True)
class Before:
    """What was: the relay and why, since when, and what people or the calendar asked for."""

    heat: bool
    reason: Reason
    since_s: float  # seconds since the relay last changed; a start counts as a release
    hand: bool | None = None  # what was asked for by hand, if that still holds
    exercise_s: float | None = None  # for how long an exercise has been running
    exercise_is_due: bool = False


def decide(look: Look, settings: Settings, before: Before) -> Decision:
    """The seven rules in their order."""
    if look.disagree_s is not None and settings.mode is not Mode.OBSERVE:
        # One says fire, one says frost. The control sensors cannot both be right, so neither may say "warm".
        return _without_eyes(
            look.disagree_s, settings, Reason.SENSORS_DISAGREE, warm_enough=look.warm_elsewhere
        )
    if look.is_too_hot and look.disagree_s is None:
        return Decision(False, Reason.TOO_HOT)
    if settings.mode is _OBSERVE:
        return Decision(False, Reason.OBSERVING)
    if before.hand is not None:
        return Decision(before.hand, Reason.BY_HAND)
    if look.blind_s is not None:
        return _without_eyes(
            look.blind_s, settings, Reason.SENSOR_LOST, warm_enough=look.warm_elsewhere or look.was_warm
        )
    wish = _band(look, settings, before)
    if before.exercise_is_due or before.exercise_s is not None:
        return _exercise(wish, look, settings, before)
    return wish


def hand_has_ended(look: Look, settings: Settings, *, heat: bool) -> bool:
    """Whether what was set by hand ends for good now, whatever time it had left."""
    if settings.mode is Mode.OBSERVE:
        return True
    if settings.mode is Mode.FREEZE:
        # Off by hand must never cost a pipe; on by hand costs only electricity.
        return not heat and (look.blind_s is not None or is_alarmingly_cold(look, settings))
    return heat and look.blind_s is not None


def is_alarmingly_cold(look: Look, settings: Settings) -> bool:
    """Whether a control sensor, even a doubtful one, says alarm_low or less."""
    return look.coldest_cold_c is not None and look.coldest_cold_c <= settings.alarm_low_c


def exercise_may_start(look: Look, settings: Settings) -> bool:
    """In season and guarding: cool enough that the house would not soon pass the end of an exercise.

    The season is asked of the house itself, not of a calendar that may be wrong after a power cut.
    """
    return (
        settings.mode is Mode.FREEZE
        and settings.exercise_every_days > 0.0
        and look.blind_s is None
        and look.hottest_warm_c is not None
        and look.hottest_warm_c < settings.high_c + EXERCISE_ENDS_ABOVE_HIGH_K
    )


def _without_eyes(for_s: float, settings: Settings, reason: Reason, *, warm_enough: bool) -> Decision:
    if settings.mode is not Mode.FREEZE:
        # Comfort or stock can wait; heat that nobody watches is the greater danger.
        return Decision(False, reason)
    if warm_enough:
        return Decision(False, Reason.WARM_ENOUGH)
    # In freeze a warm night is cheaper than a burst pipe.
    return Decision(for_s % DUTY_PERIOD_S < settings.blind_duty * DUTY_PERIOD_S, reason)


def _band(look: Look, settings: Settings, before: Before) -> Decision:
    """Rules 5 and 6."""
    coldest_c = look.coldest_cold_c
    if coldest_c is not None and coldest_c <= settings.low_c:
        # At low, not only below it: a sensor that rounds to 0.1 K sits there for hours.
        if before.heat or before.since_s >= settings.min_off_s or coldest_c <= settings.alarm_low_c:
            return Decision(True, Reason.BELOW_BAND)
        return Decision(False, Reason.MIN_OFF)
    if look.coldest_warm_c is not None and look.coldest_warm_c >= settings.high_c:
        if not before.heat or before.since_s >= settings.min_on_s or before.exercise_s is not None:
            return Decision(False, Reason.ABOVE_BAND)
        return Decision(True, Reason.MIN_ON)
    if before.exercise_s is not None:
        # An exercise borrows the relay from an unused heater and gives it back as it was.
        return Decision(False, Reason.INSIDE_BAND)
    if coldest_c is None and before.reason is Reason.STARTING:
        return Decision(before.heat, Reason.STARTING)
    # Also while nobody has said anything for less than lost_after_s: go on as before.
    return _AS_BEFORE[before.heat]


def _exercise(wish: Decision, look: Look, settings: Settings, before: Before) -> Decision:
    """Rule 7, where rules 5 and 6 leave room for it."""
    if wish.reason is Reason.BELOW_BAND or not exercise_may_start(look, settings):
        return wish
    is_on = not before.heat if before.exercise_s is None else before.exercise_s < settings.exercise_for_s
    return Decision(True, Reason.EXERCISE) if is_on else wish

"""What the lamp and the buzzer on the board say, as patterns: for whoever stands in the pump house.

Rule 1: the lamp is lit while all is well. Darkness means trouble, or no power, or no guard: what cannot speak
        must not look healthy.
Rule 2: the buzzer sounds only for alarms that nobody has acknowledged, and never without pauses.
"""

from typing import TypeAlias

from overwinter.core.nouns import Health

Pattern: TypeAlias = tuple[float, ...]
"""Seconds on, off, on, off and so on, over and over; `ON` and `OFF` are the two that never change."""

ON: Pattern = (1.0,)
OFF: Pattern = ()

_LAMP: dict[Health, Pattern] = {
    Health.NORMAL: ON,
    Health.FUNCTION_CHECK: (0.8, 0.8),  # somebody is trying things out
    Health.MAINTENANCE_REQUIRED: (4.5, 0.5),  # lit, with a wink: look when you have time
    Health.OUT_OF_SPECIFICATION: (0.3, 3.7),  # dark, with one flash: look today
    Health.FAILURE: (0.3, 0.3, 0.3, 3.1),  # dark, with two flashes: look now
}

_BUZZER: dict[Health, Pattern] = {
    Health.NORMAL: OFF,
    Health.FUNCTION_CHECK: OFF,
    Health.MAINTENANCE_REQUIRED: (0.1, 599.9),
    Health.OUT_OF_SPECIFICATION: (0.2, 0.2, 0.2, 59.4),
    Health.FAILURE: (0.2, 0.2, 0.2, 0.2, 0.2, 19.0),
}


def lamp(health: Health) -> Pattern:
    """How the lamp shines in this health."""
    return _LAMP[health]


def buzzer(health: Health, *, has_fresh_alarm: bool) -> Pattern:
    """How the buzzer sounds; silent once every present alarm is acknowledged, until the next new one."""
    return _BUZZER[health] if has_fresh_alarm else OFF

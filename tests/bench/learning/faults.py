"""What may go wrong in a simulated winter, and when."""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

DAY_S = 86400.0
HOUR_S = 3600.0


class Kind(StrEnum):
    """What a fault is."""

    DEAD_AT_SWITCH_ON = "dead at switch-on"
    """The heater gives nothing from the moment the relay next calls for it."""
    DEAD_WHILE_ON = "dead while on"
    """The heater stops somewhere within a call for heat."""
    HALF_HEATER = "half of the heater"
    WELDED = "welded"
    """The contact stays closed when the relay next releases."""
    DOOR_OPEN = "door open"
    DOOR_AJAR = "door ajar"
    FLAT = "flat"
    """The sensor repeats its last temperature and humidity."""
    LOST = "lost"
    """No read of the sensor succeeds."""
    DRIFT = "drift"
    """The sensor reads 2 K more at the end of a week than at its beginning, and so much more from then on."""


@dataclass(frozen=True, slots=True)
class Fault:
    """It is armed at `begins_s`, sets in at the first moment that fits its kind, and heals `lasts_s` later.

    One that finds no such moment within `WAITS_S` does not happen.
    """

    kind: Kind
    begins_s: float
    lasts_s: float


WAITS_S = 2.5 * DAY_S

LASTS_S = {
    Kind.DEAD_AT_SWITCH_ON: 3 * HOUR_S,
    Kind.DEAD_WHILE_ON: 3 * HOUR_S,
    Kind.WELDED: 14 * HOUR_S,
    Kind.DOOR_OPEN: 2 * HOUR_S,
    Kind.DOOR_AJAR: 4 * HOUR_S,
    Kind.FLAT: 3 * HOUR_S,
    Kind.LOST: 1 * HOUR_S,
    Kind.HALF_HEATER: 5 * DAY_S,
    Kind.DRIFT: 10 * DAY_S,
}


def plan(kinds: Sequence[Kind], *, seed: int, days: float, first_day: float = 15.0) -> tuple[Fault, ...]:
    """These one after another from `first_day` on, evenly over the days, each at a random hour."""
    chance = random.Random(f"faults {seed}")
    apart_days = (days - first_day) / len(kinds)
    return tuple(
        Fault(kind, (first_day + (at + 0.3 * chance.random()) * apart_days) * DAY_S, LASTS_S[kind])
        for at, kind in enumerate(kinds)
    )

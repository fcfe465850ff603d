"""The silence before a start: how long, why, and how warm it was before and after.

Within one boot the time since boot tells its length exactly. Across boots only the wall clock could, and
after a power cut that is often behind: then the length is a least, and said to be one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from overwinter.core.nouns import Code, Fact
from overwinter.core.units import Unit, say

PERIODS = 3.0
"""A silence shorter than so many record periods is none: a restart, not a gap."""

WAIT_S = 600.0
"""For so long the event waits for a believed reading, to say how warm it is after the gap."""

TELL_FROM_S = 1800.0
"""A shorter silence is an event and no alarm: a small house without heat falls by some degrees in it."""
TOLD_FOR_S = 86400.0
"""So long after the start the silence is an alarm; it stays in the record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """What is known of a silence."""

    since: str  # `t` of the last line, as recorded
    length_s: float | None  # None: the wall clock says nothing of use
    is_least: bool  # the true length may be more
    cause: str  # power | stopped | killed | unknown
    before_c: float | None
    outdoor_c: float | None = None  # before it
    is_behind: bool = False  # the wall clock stands before the last line

    def fields(self, after_c: float | None) -> dict[str, object]:
        """For the event."""
        return {
            "since": self.since,
            "length_s": None if self.length_s is None else round(self.length_s, 1),
            "at_least": self.is_least,
            "cause": self.cause,
            "before_c": self.before_c,
            "outdoor_c": self.outdoor_c,
            "after_c": None if after_c is None else round(after_c, 3),
        }


def gap_before(
    lines: Sequence[Mapping[str, object]],
    *,
    boot: str,
    now_s: float,
    utc_s: float,
    record_s: float,
    is_synchronised: bool,
) -> Gap | None:
    """The gap between the last lines of the logbook and this start; None: there is none worth the name.

    Parameters
    ----------
    lines : sequence of mapping
        The end of the logbook, newest last.
    boot, now_s, utc_s
        This boot's id, seconds since boot, seconds of the epoch.
    record_s : float
        How often a sample is recorded [s].
    is_synchronised : bool
        Whether the wall clock can be trusted now.
    """
    if not lines:
        return None
    last = lines[-1]
    since, up = last.get("t"), last.get("up")
    was_here = last.get("boot") == boot
    length_s: float | None = None
    if was_here and isinstance(up, int | float):
        length_s, is_least = now_s - up, False
    else:
        length_s, is_least = _by_wall_clock(since, utc_s), not is_synchronised
    is_behind = False
    if length_s is not None and length_s < 0.0:
        is_behind = not is_synchronised
        length_s, is_least = None, True  # the clock stands before the last record: nothing can be said
    # Across boots an unsure clock may hide a real outage, so that is told whatever its length seems to be.
    if length_s is not None and length_s < PERIODS * record_s and not (is_least and not was_here):
        return None
    return Gap(
        since=str(since),
        length_s=length_s,
        is_least=is_least,
        cause=_cause(last, was_here=was_here),
        before_c=_last(lines, "temperature_c"),
        outdoor_c=_last(lines, "outdoor_c"),
        is_behind=is_behind,
    )


def alarms(gap: Gap, after_c: float | None, unit: Unit) -> list[Fact]:
    """What the owner should hear of a silence; nothing of a short one, and of one that somebody asked for."""
    found = []
    length_s, before_c = gap.length_s, gap.before_c
    is_long = length_s is not None and length_s >= TELL_FROM_S
    if gap.cause != "stopped" and (is_long or gap.is_least):
        long = "a time that no clock tells"
        if length_s is not None and is_long:
            long = f"{'at least ' if gap.is_least else ''}{length_s / 3600.0:.1f} h"
        why = {"power": "power was away", "killed": "the guard was killed"}.get(gap.cause, "nobody knows why")
        before = "not known how warm before" if before_c is None else f"{say(before_c, unit)} before"
        after = "no reading yet" if after_c is None else f"{say(after_c, unit)} now"
        text = f"nothing was guarded for {long} ({why}); {before}, {after}: look at power and heater"
        found.append(Fact(code=Code.GAP, present=True, text=text))
    if gap.is_behind:
        text = (
            f"the date stands before the last record, {gap.since}: check network and time; heat does not "
            "depend on it"
        )
        found.append(Fact(code=Code.CLOCK, present=True, text=text))
    return found


def _by_wall_clock(since: object, utc_s: float) -> float | None:
    try:
        return utc_s - datetime.fromisoformat(str(since)).timestamp()
    except ValueError:
        return None


def _cause(last: Mapping[str, object], *, was_here: bool) -> str:
    if last.get("event") == "stop":
        return "unknown" if last.get("cause") == "error" else "stopped"
    if last.get("boot") is None:
        return "unknown"
    return "killed" if was_here else "power"


def _last(lines: Sequence[Mapping[str, object]], key: str) -> float | None:
    for line in reversed(lines):
        value = line.get(key)
        if line.get("event") == "sample" and isinstance(value, int | float):
            return float(value)
    return None

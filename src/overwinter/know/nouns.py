"""What the guard learns from, and what it finds.

A `Span` is all that is known of some minute: enough to learn from, little enough to be written once a
minute for a winter, and the same whether it comes from the running wheel or from a line of the logbook.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from overwinter.core.nouns import Code, Flag, Mode, Reason

THE_BANDS = frozenset(
    {
        Reason.BELOW_BAND,
        Reason.ABOVE_BAND,
        Reason.INSIDE_BAND,
        Reason.MIN_ON,
        Reason.MIN_OFF,
        Reason.STARTING,
    }
)
"""Heat for one of these reasons is the band's choice; for any other it is forced."""


@dataclass(slots=True, kw_only=True)
class Seen:
    """What one sensor said last within a span, before anyone judged it but for its flag."""

    temperature_c: float | None
    humidity_pct: float | None = None
    flag: int = int(Flag.PASS)


@dataclass(slots=True, kw_only=True)
class Span:
    """A stretch of recorded time, some minute long, as it looked at its end.

    Attributes
    ----------
    ends_s : float
        Its end on an axis that never runs backwards [s]; differences count, not values.
    lasts_s : float
        For how long `heat` is the share of [s], above 0.
    gap_s : float
        Silence before it began of which nothing is known [s]; 0 where it follows the one before.
    utc_s : float, optional
        Wall time at its end [s since 1970]; None where the clock is not to be trusted.
    temperature_c : float, optional
        The control temperature as judged (median of believable readings); None while blind.
    humidity_pct, outdoor_c : float, optional
        Beside it, and outdoors; None where there is no such sensor or nothing believable.
    flag : int
        QARTOD flag of the control reading.
    heat : float
        Share of the span that the relay called for heat, 0 to 1.
    mode : Mode
        What is guarded.
    low_c, high_c : float
        The band [°C].
    is_forced : bool
        Heat was, for some of it, not the band's choice: by hand, exercise, blind, too hot, observe, a proof.
    current : float, optional
        Share of the span that the feedback input saw current flow; None without such an input.
    sensors, contacts : mapping
        By name: the last raw reading of each; the share that each input was active.
    """

    ends_s: float
    lasts_s: float
    gap_s: float = 0.0
    utc_s: float | None = None
    temperature_c: float | None = None
    humidity_pct: float | None = None
    outdoor_c: float | None = None
    flag: int = int(Flag.PASS)
    heat: float = 0.0
    mode: Mode = Mode.FREEZE
    low_c: float = 0.0
    high_c: float = 0.0
    is_forced: bool = False
    current: float | None = None
    sensors: Mapping[str, Seen] = field(default_factory=dict)
    contacts: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that is wrong now, with its evidence in the text; `subject` keeps two of one kind apart."""

    code: Code
    text: str
    subject: str = ""

"""What a row of the fault table says, and what a run of it saw."""

from collections.abc import Callable  # noqa: TC003 (a type alias, evaluated)
from dataclasses import dataclass
from pathlib import Path  # noqa: TC003
from typing import TypeAlias

Drive: TypeAlias = "Callable[[Path], Seen]"
"""Makes the fault happen to a guard, with this folder for its files, and looks."""

MINUTE_S, HOUR_S = 60.0, 3600.0

HEAT = {
    "on": "on",
    "off": "off",
    "band": "by the band",
    "released": "relay released",
    "released on": "relay released, which heats (NC)",
}
"""What the output does, and how that is said."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What came of a fault."""

    told_after_s: float | None  # None: what was to be told was not
    heat: str  # of HEAT, or what it was instead
    ice_after_s: float | None = None  # the first ice in the pipe; None: there was none


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One fault. `told` is `alarm CODE`, `event NAME`, `flag`, `exit`, `answer`, `watchdog` or
    nothing.

    `is_dangerous`: left alone, it could cost a pipe, start a fire or take what an owner was promised.
    """

    id: str
    of: str
    breaks: str
    how: str
    told: str
    within_s: float | None
    heat: str  # of HEAT
    why: str
    drive: Drive
    mode: str = "freeze"
    is_dangerous: bool = True
    may_freeze: bool = False  # heat in this state is the right one, and yet not enough
    cure: str = ""  # where nothing can be told

    def __post_init__(self) -> None:
        assert self.heat in HEAT, self.heat
        assert (self.within_s is None) is (not self.told), self.id
        assert self.told or self.cure or not self.is_dangerous, (
            f"{self.id}: nothing is told and nothing cures it"
        )

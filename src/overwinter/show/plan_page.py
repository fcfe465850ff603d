"""What stands on a page of paper, before it is text or HTML: titles, marked lines, tables, steps.

Both the plan and the door card are such a page, so what one says in the terminal it says on paper too.
Text in here is plain: whoever draws it escapes it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from overwinter.reckon.outage import Range
from overwinter.show import text


class Mark(StrEnum):
    """What a line says of its thing, in a word: colour never stands alone."""

    FITS = "fits"
    MEND = "mend"
    UNKNOWN = "not known"
    NONE = ""


@dataclass(frozen=True, slots=True)
class Item:
    """One line, and what is to be done about it."""

    text: str
    mark: Mark = Mark.NONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Columns with a name each; a row begins with what it is about."""

    head: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A title and what stands below it: a sentence, a table, lines, a remark; each may be absent."""

    title: str
    lead: str = ""
    table: Table | None = None
    items: Sequence[Item] = ()
    note: str = ""
    are_steps: bool = False  # to be done in this order, so they are numbered


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """The whole."""

    title: str
    lead: str
    sections: Sequence[Section]
    foot: str = ""


def counted(number: int, word: str) -> str:
    """`1 thing`, `2 things`."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def hours(value: Range, *, in_words: Callable[[float], str] | None = None) -> str:
    """A range of hours: `50 min (20 min to 11 h)`, or `never`."""
    in_words = in_words or rough
    if value.best == float("inf"):
        return "never"
    best, low, high = in_words(value.best), in_words(value.low), in_words(value.high)
    return best if low == high else f"{best} ({low} to {high})"


def rough(value_h: float) -> str:
    """Hours rounded down to what they are good for: `under 5 min`, `50 min`, `1 h 15 min`, `9 h`, `4 d`."""
    if value_h == float("inf"):
        return "never"
    minutes = int(value_h * 60.0)
    if minutes < 5:
        return "under 5 min"
    if minutes < 60:
        return f"{minutes - minutes % 5} min"
    if minutes < 6 * 60:
        return text.duration(60.0 * (minutes - minutes % 15))
    if value_h < 72.0:
        return f"{int(value_h)} h"
    return f"{int(value_h / 24.0)} d" if value_h < 365.0 * 24.0 else "over a year"

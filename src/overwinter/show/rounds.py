"""Several pump houses in one table: whoever needs somebody to go there stands on top.

A house that cannot be reached stands above all others: nothing is known about its pipes.
"""

from collections.abc import Callable, Iterable, Mapping

from overwinter.show import text
from overwinter.show.status import GRADES, UNKNOWN, grade

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any, TypeAlias

    House: TypeAlias = Mapping[str, Any]  # host, reached, grade, and status or error

UNREACHED = "not reached"


def reached(host: str, status: "Mapping[str, Any]", took_s: float) -> "dict[str, Any]":
    """A house that answered."""
    return {
        "host": host,
        "reached": True,
        "grade": GRADES[grade(status)],
        "took_s": round(took_s, 2),
        "status": dict(status),
    }


def not_reached(host: str, error: str, took_s: float) -> "dict[str, Any]":
    """A house that did not."""
    return {
        "host": host,
        "reached": False,
        "grade": GRADES[UNKNOWN],
        "took_s": round(took_s, 2),
        "error": error,
    }


def worst_first(houses: "Iterable[House]") -> "list[House]":
    """The unreached, then by grade, then the coldest; equals by name."""

    def place(house: "House") -> tuple[object, ...]:
        if not house["reached"]:
            return (0, 0.0, house["host"])
        degrees = house["status"].get("temperature_c")
        # Blind stands before the coldest of its grade.
        return (
            -GRADES.index(house["grade"]) + UNKNOWN,
            -273.0 if degrees is None else degrees,
            house["host"],
        )

    return sorted(houses, key=place)


def table(houses: "Iterable[House]", *, unit: str | None, paint: Callable[[str, int], str]) -> str:
    """One line a house, worst first; what is wrong with the unreached stands below.

    Parameters
    ----------
    houses : iterable of mappings
        As `worst_first` gives them.
    unit : "F", "C" or None
        None: as each house's own settings say.
    paint : callable
        Colours a line for a grade, or leaves it as it is.
    """
    ordered = list(houses)
    head, *lines = text.table(
        ("", "house", "now", "heat", "age", "alarms"), [_row(house, unit) for house in ordered]
    ).splitlines()
    painted = [paint(line, GRADES.index(house["grade"])) for line, house in zip(lines, ordered, strict=True)]
    notes = [f"{house['host']}: {house['error']}" for house in ordered if not house["reached"]]
    return "\n".join([head.rstrip(), *painted, *([""] if notes else []), *map(text.clean, notes)])


def summary(houses: "Iterable[House]") -> str:
    """How many of what, in one line."""
    counts: dict[str, int] = {}
    for house in houses:
        word = house["grade"] if house["reached"] else UNREACHED
        counts[word] = counts.get(word, 0) + 1
    return ", ".join(f"{count} {word}" for word, count in counts.items())


def _row(house: "House", unit: str | None) -> tuple[str, ...]:
    if not house["reached"]:
        return (UNREACHED, house["host"], *[text.NOTHING] * 4)
    status = house["status"]
    heat = status.get("heat") or {}
    age_s = status.get("age_s")
    own_unit = "C" if status.get("unit") == "C" else "F"
    codes = [
        f"{alarm.get('code')}{' (seen)' if alarm.get('acknowledged') else ''}"
        for alarm in status.get("alarms") or []
    ]
    return (
        house["grade"],
        house["host"],
        text.temperature(status.get("temperature_c"), unit or own_unit),
        f"{'on' if heat.get('on') else 'off'}, {heat.get('reason', 'unknown')}",
        text.NOTHING if age_s is None else text.duration(age_s),
        ", ".join(codes) or "none",
    )

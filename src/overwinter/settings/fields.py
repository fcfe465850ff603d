"""One table of a TOML tree, read key by key, strictly.

Rule 1: a value that is taken is of its type, finite and inside its range.
Rule 2: what is wrong becomes a problem and a stand-in value, so that the rest is read too. Whoever sees a
problem throws the whole result away.
Rule 3: what nobody asked for is unknown; `finish` says so.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from overwinter.core.nouns import Problem
from overwinter.core.units import Unit, from_c, to_c
from overwinter.settings import reading
from overwinter.settings.schema import ROUNDING, figure

NAME_CHARACTERS_MAX = 64
"""A name stands in tables, alarms and every line of the logbook."""

ENTRIES_MAX = 64
"""Sensors, contacts, parts, pipes or layers; a pump house has a handful."""

INCH_M = 0.0254
FOOT_M = 0.3048
"""Both exact by definition (international yard and pound agreement, 1959)."""

LENGTHS_M = {"m": 1.0, "mm": 0.001, "ft": FOOT_M, "in": INCH_M}
AREAS_M2 = {"m2": 1.0, "ft2": FOOT_M**2}
VOLUMES_M3 = {"m3": 1.0, "ft3": FOOT_M**3}


@dataclass(slots=True)
class Table:
    """A table, its place in the file, and what was found wrong so far."""

    tree: Mapping[str, object]
    path: str  # "sensor[2]"; empty at the top
    problems: list[Problem]  # shared by all tables of the file
    where: str
    title: str = ""  # the entry's name, for people who do not count
    asked: list[str] = field(default_factory=list)

    def key(self, name: str) -> str:
        """The dotted key of `name` in the whole file."""
        return f"{self.path}.{name}" if self.path else name

    def refuse(self, name: str, value: object, allowed: str, why: str = "") -> None:
        """Note that `name` is wrong."""
        title = f" {reading.quoted(self.title)}" if self.title else ""
        key = self.key(name)
        said = f"{self.where}{self.path}{title}: {name}" if title else f"{self.where}{key}"
        # Without a value there is nothing between the key and what is wrong with it.
        said += f" = {reading.quoted(value)}: " if value is not None else " "
        said += why or f"must be {allowed}"
        self.problems.append(Problem(key, reading.plain(value), allowed, said))

    def take(self, name: str) -> object:
        """The raw value, None if absent (TOML has no other None)."""
        self.asked.append(name)
        return self.tree.get(name)

    def has(self, name: str) -> bool:
        """Whether the key is there at all."""
        return name in self.tree

    def missing(self, name: str, allowed: str) -> None:
        """Note that `name` must be there."""
        self.refuse(name, None, allowed, f"is missing: {allowed}")

    def finish(self) -> None:
        """Note every key that nobody asked for."""
        for name, value in self.tree.items():
            if name not in self.asked:
                known = [self.key(asked) for asked in dict.fromkeys(self.asked)]
                few = known if len(self.problems) < reading.PROBLEMS_MAX else []
                key = self.key(reading.dotted(name))
                self.problems.append(reading.unknown_key(self.where, key, value, few))

    def choice(self, name: str, choices: tuple[str, ...], default: str | None) -> str:
        """One of some words; required when there is no default."""
        allowed = f"{', '.join(choices[:-1])} or {choices[-1]}"
        value = self.take(name)
        if value is None and default is None:
            self.missing(name, allowed)
        elif value is not None and (not isinstance(value, str) or value not in choices):
            self.refuse(name, value, allowed)
        elif isinstance(value, str):
            return value
        return default or choices[0]

    def text(self, name: str, default: str | None, *, longest: int = NAME_CHARACTERS_MAX) -> str:
        """A printable text that is not empty; required when there is no default."""
        allowed = f'text in quotes, 1..{longest} characters, such as {name} = "..."'
        value = self.take(name)
        if value is None and default is None:
            self.missing(name, allowed)
        elif value is not None:
            if isinstance(value, str) and value.strip() and len(value) <= longest and value.isprintable():
                return value
            self.refuse(name, value, allowed)
        return default or ""

    def flag(self, name: str, *, default: bool) -> bool:
        """True or false."""
        value = self.take(name)
        if value is not None and not isinstance(value, bool):
            self.refuse(name, value, "true or false, without quotes")
            return default
        return default if value is None else bool(value)

    def number(self, name: str, lo: float, hi: float, *, measure: str = "") -> float | None:
        """A number from `lo` to `hi`; None when absent or refused."""
        allowed = f"{_figure(lo)}..{_figure(hi)} {measure}".rstrip()
        return self._ranged(name, lambda value: value, lo, hi, allowed)

    def temperature_c(self, name: str, lo_c: float, hi_c: float, unit: Unit | None) -> float | None:
        """A temperature in the file's unit, as °C; not judged while the unit is unknown."""
        if unit is None:
            self.take(name)
            return None
        allowed = f"{figure(from_c(lo_c, unit))}..{figure(from_c(hi_c, unit))} {unit}"
        return self._ranged(name, lambda value: to_c(value, unit), lo_c, hi_c, allowed)

    def whole(self, name: str, lo: int, hi: int, *, required: str = "") -> int | None:
        """A whole number; None when absent or refused. `required` says for what it is needed."""
        allowed = f"a whole number, {lo}..{hi}"
        value = self.take(name)
        if value is None:
            if required:
                self.missing(name, f"{required} needs it, {allowed}")
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not lo <= value <= hi:
            self.refuse(name, value, allowed)
            return None
        return value

    def quantity(
        self, stem: str, units: Mapping[str, float], lo: float, hi: float, *, required: bool = False
    ) -> float | None:
        """A length, area or volume, in whichever unit its key names, in the first of `units`."""
        names = [f"{stem}_{unit}" for unit in units]
        name = self.one_of(names, required=required)
        if name is None:
            return None
        factor = units[name.removeprefix(f"{stem}_")]
        unit = name.rpartition("_")[2]
        allowed = f"{_figure(lo / factor)}..{_figure(hi / factor)} {unit}"
        return self._ranged(name, lambda value: value * factor, lo, hi, allowed)

    def one_of(self, names: list[str], *, required: bool) -> str | None:
        """Which of `names` is there; more than one, or none where one is required, is a problem."""
        self.asked += [name for name in names if name not in self.asked]
        there = [name for name in names if self.has(name)]
        choice = f"one of {', '.join(names)}"
        if len(there) > 1:
            self.refuse(
                there[1], self.tree[there[1]], choice, f"{there[0]} is given too; allowed is {choice}"
            )
        elif not there and required:
            self.missing(names[0], choice)
        return there[0] if len(there) == 1 else None

    def table(self, name: str) -> "Table":
        """The table below `name`; an empty one if absent or refused."""
        value = self.take(name)
        if value is not None and not isinstance(value, dict):
            self.refuse(name, value, f"a table: [{self.key(name)}]")
        tree = value if isinstance(value, dict) else {}
        return Table(tree, self.key(name), self.problems, self.where)

    def tables(self, name: str) -> list["Table"]:
        """The list of tables below `name`, counted from 1 as people do."""
        value = self.take(name)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            self.refuse(name, value, f"a list of tables: [[{self.key(name)}]]")
            return []
        if len(value) > ENTRIES_MAX:
            self.refuse(name, len(value), f"{ENTRIES_MAX} entries at most")
        tables = []
        for number, entry in enumerate(value[:ENTRIES_MAX], start=1):
            called = entry.get("name", "")
            title = called if isinstance(called, str) else ""
            tables.append(Table(entry, f"{self.key(name)}[{number}]", self.problems, self.where, title))
        return tables

    def _ranged(
        self,
        name: str,
        to_si: Callable[[float], float],
        lo: float,
        hi: float,
        allowed: str,
    ) -> float | None:
        value = self.take(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(name, value, allowed, f"must be a number without quotes, {allowed}")
            return None
        # A whole number may be too large for any float.
        number = to_si(float(value)) if abs(value) < 1e18 else math.nan
        if not lo - ROUNDING <= number <= hi + ROUNDING:  # refuses NaN too
            self.refuse(name, value, allowed)
            return None
        return number


def _figure(number: float) -> str:
    """A bound for people: four digits are enough, and none of them an exponent."""
    return figure(number, 0) if abs(number) >= 1000 else figure(float(f"{number:.4g}"), 6)

"""Logbook lines as rows: for a person in local time, for a spreadsheet in SI.

Rule: a text that a spreadsheet would take for a formula gets an apostrophe before it, for sensor names,
remarks and users come from outside. Numbers stay numbers, also negative ones.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime

from overwinter.show import text

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any, TypeAlias

    Line: TypeAlias = Mapping[str, Any]

EVERY_LINE = frozenset({"t", "up", "boot", "event"})
SAMPLE_COLUMNS = ("temperature_c", "humidity_pct", "outdoor_c", "flag", "heat", "mode", "low_c", "high_c")
EVENT_COLUMNS = ("time_local", "time_utc", "up_s", "boot", "event", "what", "fields")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


class Columns:
    """Rows of samples under one head, each written as it comes: a season does not fit into memory."""

    def __init__(self, unit: str | None) -> None:
        self._units = (unit,) if unit else ("F", "C")
        names = [f"inside {one}" for one in self._units] + ["humidity"]
        names += [f"outside {one}" for one in self._units] + ["heat", "mode", "reading"]
        self._widths = [19, *(max(len(name), 6) for name in names)]
        self.head = self._joined(["time", *names])

    def row(self, line: "Line", *, local: Callable[[str], str]) -> str:
        """One sample."""
        heat = line.get("heat")
        return self._joined(
            [
                local(line["t"]),
                *self._degrees(line.get("temperature_c")),
                text.percent(line.get("humidity_pct")),
                *self._degrees(line.get("outdoor_c")),
                text.NOTHING if heat is None else text.percent(heat * 100),
                text.clean(line.get("mode", text.NOTHING)),
                text.flag(line.get("flag")),
            ]
        )

    def _degrees(self, temperature_c: float | None) -> list[str]:
        if temperature_c is None:
            return [text.NOTHING for _ in self._units]
        return [text.degrees(temperature_c, unit) for unit in self._units]

    def _joined(self, cells: Sequence[str]) -> str:
        return "  ".join(cell.ljust(width) for cell, width in zip(cells, self._widths, strict=True)).rstrip()


def event_row(line: "Line", *, local: Callable[[str], str], unit: str) -> str:
    """One event: when, what kind, and what about it."""
    return f"{local(line['t'])}  {text.clean(line['event']):<9} {told(line, unit=unit)}".rstrip()


def told(line: "Line", *, unit: str) -> str:
    """What an event says, in words where there are some, else its fields as they are."""
    event, fields = line["event"], own_fields(line)
    if "user" in fields:  # the numbers behind the name are for programs
        fields.pop("uid", None)
        fields.pop("pid", None)
        fields["by"] = fields.pop("user")
    words = ""
    if event == "note" and "text" in fields:
        words = text.clean(fields.pop("text"))
    elif event == "alarm" and "code" in fields:
        words = f"{text.clean(fields.pop('code'))} {text.clean(fields.pop('state', ''))}".rstrip()
        about = fields.pop("text", None)
        words = f"{words}: {text.clean(about)}" if about else words
    elif event == "heat" and "reason" in fields and isinstance(fields.get("heat"), bool):
        state = "on" if fields.pop("heat") else "off"
        words = f"{state}, because {text.word(text.REASONS, fields.pop('reason'))}"
    rest = ", ".join(_field(key, value, unit) for key, value in fields.items() if value is not None)
    return f"{words} ({rest})" if words and rest else words or rest


def own_fields(line: "Line") -> "dict[str, Any]":
    """What an event has beyond the keys of every line."""
    return {key: value for key, value in line.items() if key not in EVERY_LINE}


def names_in(lines: Iterable["Line"]) -> tuple[list[str], list[str]]:
    """The sensors and contacts that occur, in the order of their first appearance."""
    sensors: dict[str, None] = {}
    contacts: dict[str, None] = {}
    for line in lines:
        sensors.update(dict.fromkeys(line.get("sensors") or {}))
        contacts.update(dict.fromkeys(line.get("contacts") or {}))
    return list(sensors), list(contacts)


def sample_head(*, sensors: Sequence[str], contacts: Sequence[str]) -> list[str]:
    """The CSV head of samples."""
    head = ["time_local", "time_utc", *SAMPLE_COLUMNS]
    for name in sensors:
        head += [f"{name} temperature_c", f"{name} humidity_pct", f"{name} flag"]
    return [str(safe(name)) for name in head + [f"{name} share" for name in contacts]]


def sample_cells(
    line: "Line", *, sensors: Sequence[str], contacts: Sequence[str], local: Callable[[str], str]
) -> list[object]:
    """One sample as CSV cells under that head."""
    cells: list[object] = [local(line["t"]), utc(line["t"]), *(line.get(name) for name in SAMPLE_COLUMNS)]
    for name in sensors:
        raw = list((line.get("sensors") or {}).get(name) or [])[:3]
        cells += raw + [None] * (3 - len(raw))
    cells += [(line.get("contacts") or {}).get(name) for name in contacts]
    return [safe(cell) for cell in cells]


def event_cells(line: "Line", *, local: Callable[[str], str], dumps: Callable[[object], str]) -> list[object]:
    """One event as CSV cells under EVENT_COLUMNS."""
    cells = [local(line["t"]), utc(line["t"]), line.get("up"), line.get("boot"), line["event"]]
    cells.append(told(line, unit="C"))
    return [safe(cell) for cell in [*cells, dumps(own_fields(line))]]


def utc(t: str) -> str:
    """A date as spreadsheets know it: with the `T` and the `Z` of RFC 3339 most of them take it for text.

    Measured on LibreOffice 7.4: `2026-01-09 04:12:33` becomes a date, `2026-01-09T04:12:33.123Z` does not.
    """
    try:
        return f"{datetime.fromisoformat(t).astimezone(UTC):%Y-%m-%d %H:%M:%S}"
    except (ValueError, OverflowError):
        return text.clean(t)


def safe(cell: object) -> object:
    """A cell that no spreadsheet runs as a formula."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell


def _field(key: str, value: object, unit: str) -> str:
    name = text.clean(key)
    if isinstance(value, int | float) and not isinstance(value, bool):
        if name.endswith("_c"):
            return f"{name.removesuffix('_c')} {text.temperature(value, unit)}"
        if name.endswith("_s"):
            return f"{name.removesuffix('_s')} {text.duration(value)}"
    return f"{name} {_value(value)}"


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return text.number(value)
    if isinstance(value, Mapping):
        return "; ".join(f"{text.clean(key)} {_value(one)}" for key, one in value.items())
    if isinstance(value, list | tuple) and len(value) == 2:
        return " -> ".join(map(_value, value))  # a change: old and new
    return text.clean(value)

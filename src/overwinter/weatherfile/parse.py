"""The text of a weather file as evenly spaced outdoor temperatures, or everything that is wrong with it.

Rule 1: text in, columns out. Nothing is opened here, and nothing is reckoned beyond filling a short gap.
Rule 2: a temperature's unit is told by the file, never guessed: EPW and TMY3 are in °C, a plain CSV says C or
F in the name of its column.
Rule 3: all problems at once, each with its line. A winter that is half missing is refused, not half counted.

Three kinds, told apart by their first lines:

- EPW (EnergyPlus): begins with `LOCATION,`; eight lines of header; dry bulb, dew point and humidity are
  fields 7 to 9, radiation on level ground field 14. 99.9 is a missing temperature, 9999 missing radiation.
- TMY3 (NREL's CSV): its second line begins with `Date (MM/DD/YYYY)`; columns by name; -9900 is missing.
- plain CSV: a line of names, then a time (ISO 8601) and a temperature on each line. Where several columns are
  temperatures the one that is named after outdoors counts.

Typical years are glued together from months of different years, so their dates cannot be ordered; their
hours can.
"""

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from overwinter.core.nouns import Problem, Refused
from overwinter.core.units import Unit, to_c
from overwinter.weatherfile.missing import missing_runs

ROWS_MAX = 1_100_000
"""Ten years of readings every five minutes; more is no weather file."""

PROBLEMS_MAX = 20
"""So many are told; a file of the wrong kind would have one on every line."""

GAP_H_MAX = 6.0
"""A gap up to this long is filled by a straight line: longer ones may hide a night."""

TEMPERATURES_C = (-90.0, 60.0)
"""What outdoors can be; outside lie the values that stand for nothing."""

ROWS_MIN = 24

_EPW_HEAD = 8
_EPW_FIELDS = 10
_EPW_RADIATION = 13
_EPW_MISSING_C = 99.9
_TMY3_MISSING = -9900.0
_TMY3_RADIATION = "GHI (W/m^2)"
_RADIATION_W_M2 = (0.0, 1500.0)
_TIME_NAMES = ("time", "date", "datetime", "timestamp")
_TEMPERATURE_NAME = re.compile(r"temp|outdoor|dry.?bulb|^t[^a-z]")
_UNIT_OF_NAME = re.compile(r"(?:^|[^a-z])([cf])[^a-z]*\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """Evenly spaced outdoor weather.

    `dew_points_c` and `humidities_pct` are None where the file has none; a single missing one is NaN.
    `design_c` are the heating design temperatures that 99.6 % and 99 % of all hours exceed, where told.
    """

    kind: str  # EPW | TMY3 | CSV
    place: str
    temperatures_c: tuple[float, ...]
    step_h: float
    dew_points_c: tuple[float, ...] | None = None
    humidities_pct: tuple[float, ...] | None = None
    altitude_m: float | None = None
    design_c: tuple[float, float] | None = None
    radiation_w_m2: tuple[float, ...] | None = None  # on level ground; a missing hour is dark
    filled: int = 0  # temperatures that were missing, and filled by a straight line


class _Problems:
    """Collects what is wrong, and stops counting where nobody reads on."""

    def __init__(self) -> None:
        self.found: list[Problem] = []
        self.more = 0

    def add(self, line: int, value: object, allowed: str) -> None:
        if len(self.found) >= PROBLEMS_MAX:
            self.more += 1
            return
        shown = repr(value)[:60]
        self.found.append(Problem(f"line {line}", value, allowed, f"line {line}: {shown}: must be {allowed}"))

    def refuse_any(self) -> None:
        if self.more:
            text = f"{self.more} more problems of this kind"
            self.found.append(Problem("file", self.more, "none", text))
            self.more = 0
        if self.found:
            raise Refused(self.found)


def parse_weather(text: str) -> Weather:
    """The weather of a file.

    Parameters
    ----------
    text : str
        The whole file: EPW, TMY3 or plain CSV.

    Returns
    -------
    Weather
        Evenly spaced, at least a day, without holes.

    Raises
    ------
    Refused
        Whatever is wrong with it, all at once (the first twenty), each with its line.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    if len(lines) > ROWS_MAX:
        allowed = f"at most {ROWS_MAX} lines"
        raise Refused([Problem("file", len(lines), allowed, f"file: {len(lines)} lines: must be {allowed}")])
    problems = _Problems()
    if lines and lines[0].startswith("LOCATION,"):
        weather = _epw(lines, problems)
    elif len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY)"):
        weather = _tmy3(lines, problems)
    else:
        weather = _plain(lines, problems)
    problems.refuse_any()
    assert weather is not None
    return weather


def _epw(lines: Sequence[str], problems: _Problems) -> Weather | None:
    location = _cells(lines[0])
    temperatures_c: list[float] = []
    dew_points_c: list[float] = []
    humidities_pct: list[float] = []
    radiation_w_m2: list[float] = []
    numbers = _lines_of_data(lines, _EPW_HEAD)
    hours = _Hours(problems)
    for line in numbers:
        fields = lines[line - 1].split(",", _EPW_RADIATION + 1)
        if len(fields) < _EPW_FIELDS:
            problems.add(line, lines[line - 1], f"at least {_EPW_FIELDS} fields: year, month, day, hour, ...")
            continue
        hours.next(line, fields[3])
        temperatures_c.append(_temperature_c(problems, line, fields[6], missing=_EPW_MISSING_C))
        dew_points_c.append(_number_or_nan(fields[7], *TEMPERATURES_C))
        humidities_pct.append(_number_or_nan(fields[8], 0.0, 110.0))
        radiation = fields[_EPW_RADIATION] if len(fields) > _EPW_RADIATION else ""
        radiation_w_m2.append(_number_or_nan(radiation, *_RADIATION_W_M2))
    filled = _fill(problems, temperatures_c, numbers, 1.0)
    altitude_m = _number_or_nan(location[9], -500.0, 9000.0) if len(location) > 9 else math.nan
    return Weather(
        kind="EPW",
        place=", ".join(part.strip() for part in location[1:4] if part.strip(" -")),
        temperatures_c=tuple(temperatures_c),
        step_h=1.0,
        dew_points_c=tuple(dew_points_c),
        humidities_pct=tuple(humidities_pct),
        altitude_m=None if math.isnan(altitude_m) else altitude_m,
        design_c=_design_c(lines[1] if len(lines) > 1 else ""),
        radiation_w_m2=_dark_where_missing(radiation_w_m2),
        filled=filled,
    )


def _design_c(line: str) -> tuple[float, float] | None:
    """99.6 % and 99 % of an EPW's second line: behind `Heating` and the coldest month."""
    fields = [field.strip() for field in _cells(line)]
    if "Heating" not in fields:
        return None
    at = fields.index("Heating") + 2
    told = [_number_or_nan(field, *TEMPERATURES_C) for field in fields[at : at + 2]]
    return (told[0], told[1]) if len(told) == 2 and not any(map(math.isnan, told)) else None


def _tmy3(lines: Sequence[str], problems: _Problems) -> Weather | None:
    head = _cells(lines[0])
    names = _cells(lines[1])
    wanted = ("Time (HH:MM)", "Dry-bulb (C)", "Dew-point (C)", "RHum (%)", _TMY3_RADIATION)
    absent = [name for name in wanted[:2] if name not in names]
    if absent:
        problems.add(2, names[:5], f"column names with {', '.join(absent)}")
        return None
    at = {name: names.index(name) for name in wanted if name in names}
    columns: dict[str, list[float]] = {name: [] for name in at}
    numbers = _lines_of_data(lines, 2)
    hours = _Hours(problems)
    for line in numbers:
        fields = lines[line - 1].split(",")
        if len(fields) <= max(at.values()):
            problems.add(line, lines[line - 1], f"at least {max(at.values()) + 1} fields")
            continue
        hours.next(line, fields[at["Time (HH:MM)"]].partition(":")[0])
        dry_c = _temperature_c(problems, line, fields[at["Dry-bulb (C)"]], missing=_TMY3_MISSING)
        columns["Dry-bulb (C)"].append(dry_c)
        for name, low, high in (
            ("Dew-point (C)", *TEMPERATURES_C),
            ("RHum (%)", 0.0, 110.0),
            (_TMY3_RADIATION, *_RADIATION_W_M2),
        ):
            if name in at:
                columns[name].append(_number_or_nan(fields[at[name]], low, high))
    temperatures_c = columns["Dry-bulb (C)"]
    filled = _fill(problems, temperatures_c, numbers, 1.0)
    altitude_m = _number_or_nan(head[6], -500.0, 9000.0) if len(head) > 6 else math.nan
    return Weather(
        kind="TMY3",
        place=", ".join(part.strip() for part in head[1:3]),
        temperatures_c=tuple(temperatures_c),
        step_h=1.0,
        dew_points_c=tuple(columns["Dew-point (C)"]) if "Dew-point (C)" in at else None,
        humidities_pct=tuple(columns["RHum (%)"]) if "RHum (%)" in at else None,
        altitude_m=None if math.isnan(altitude_m) else altitude_m,
        radiation_w_m2=_dark_where_missing(columns.get(_TMY3_RADIATION, [])),
        filled=filled,
    )


def _dark_where_missing(radiation_w_m2: Sequence[float]) -> tuple[float, ...] | None:
    """Without a single value: not told. A house without sun is the colder one."""
    if all(map(math.isnan, radiation_w_m2)):
        return None
    return tuple(0.0 if math.isnan(value) else value for value in radiation_w_m2)


def _plain(lines: Sequence[str], problems: _Problems) -> Weather | None:
    names = [name.strip().lower() for name in _cells(lines[0] if lines else "")]
    time_at = next((at for at, name in enumerate(names) if _is_time(name)), None)
    found = [(at, _unit_of(name)) for at, name in enumerate(names) if _is_temperature(name)]
    found = [one for one in found if "outdoor" in names[one[0]]] or found
    if time_at is None or len(found) != 1 or found[0][1] is None:
        allowed = (
            "names of a time and of one temperature with its unit, such as time,temperature_c or "
            "time,temperature_f (or the first lines of an EPW or TMY3 file)"
        )
        problems.add(1, ",".join(names), allowed)
        return None
    temperature_at, unit = found[0]
    assert unit is not None
    numbers: list[int] = []
    times: list[datetime] = []
    temperatures_c: list[float] = []
    for line in _lines_of_data(lines, 1):
        fields = lines[line - 1].split(",")
        if len(fields) <= max(time_at, temperature_at):
            problems.add(line, lines[line - 1], f"at least {max(time_at, temperature_at) + 1} fields")
            continue
        at = _time(problems, line, fields[time_at])
        if at is None:
            continue
        if times and (at.tzinfo is None) != (times[-1].tzinfo is None):
            problems.add(line, fields[time_at], "with a time zone on every line, or on none")
        elif times and at <= times[-1]:
            problems.add(line, fields[time_at], f"later than the line before, {times[-1].isoformat()}")
        else:
            numbers.append(line)
            times.append(at)
            temperatures_c.append(_temperature_c(problems, line, fields[temperature_at], unit=unit))
    problems.refuse_any()
    step_h = _evenly(problems, times, numbers, temperatures_c)
    filled = _fill(problems, temperatures_c, numbers, step_h)
    return Weather(kind="CSV", place="", temperatures_c=tuple(temperatures_c), step_h=step_h, filled=filled)


def _cells(line: str) -> list[str]:
    try:
        return next(csv.reader([line]), [])
    except csv.Error:
        return []  # a cell of a megabyte: no name of a column


def _is_time(name: str) -> bool:
    return name == "t" or re.split(r"[^a-z]", name)[0] in _TIME_NAMES


def _is_temperature(name: str) -> bool:
    return _TEMPERATURE_NAME.search(name) is not None and "dew" not in name and "wet" not in name


def _unit_of(name: str) -> Unit | None:
    found = _UNIT_OF_NAME.search(name)
    return Unit(found[1].upper()) if found else None


def _time(problems: _Problems, line: int, text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text.strip())
    except ValueError:
        problems.add(line, text, "a time such as 2026-01-09T04:00 or 2026-01-09 04:00Z (ISO 8601)")
        return None


def _evenly(
    problems: _Problems, times: Sequence[datetime], numbers: list[int], temperatures_c: list[float]
) -> float:
    """The usual step [h]; where steps are left out, rows without a temperature are put in."""
    if len(times) < 2:
        return 1.0
    steps_s = [(later - earlier).total_seconds() for earlier, later in pairwise(times)]
    usual_s = sorted(steps_s)[len(steps_s) // 2]
    for at in range(len(steps_s) - 1, -1, -1):
        times_usual = round(steps_s[at] / usual_s)
        if abs(steps_s[at] - times_usual * usual_s) > 0.01 * usual_s or times_usual == 0:
            allowed = f"a multiple of {usual_s:g} s after the line before, as most lines are"
            problems.add(numbers[at + 1], times[at + 1].isoformat(), allowed)
        elif times_usual * usual_s > GAP_H_MAX * 3600.0 and times_usual > 1:
            allowed = f"at most {GAP_H_MAX:g} h after the line before, {times[at].isoformat()}"
            problems.add(numbers[at + 1], times[at + 1].isoformat(), allowed)
        else:
            numbers[at + 1 : at + 1] = [numbers[at + 1]] * (times_usual - 1)
            temperatures_c[at + 1 : at + 1] = [math.nan] * (times_usual - 1)
    return usual_s / 3600.0


class _Hours:
    """Sees to it that the hours of a typical year follow one another, since its dates cannot."""

    def __init__(self, problems: _Problems) -> None:
        self._problems = problems
        self._before: int | None = None

    def next(self, line: int, text: str) -> None:
        hour = _number_or_nan(text, 1.0, 24.0)
        if math.isnan(hour) or hour != int(hour):
            self._problems.add(line, text, "an hour, 1 to 24")
            self._before = None
            return
        if self._before is not None and int(hour) != self._before % 24 + 1:
            self._problems.add(line, text, f"hour {self._before % 24 + 1}, which follows {self._before}")
        self._before = int(hour)


def _lines_of_data(lines: Sequence[str], head: int) -> list[int]:
    """Numbers, from 1, of the lines behind the header that are not empty."""
    return [line for line in range(head + 1, len(lines) + 1) if lines[line - 1].strip()]


def _temperature_c(
    problems: _Problems, line: int, text: str, *, missing: float | None = None, unit: Unit = Unit.C
) -> float:
    """A temperature [°C]; NaN where it is missing, or wrong and told so."""
    text = text.strip()
    if not text and missing is None:
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if missing is not None and value == missing:
        return math.nan
    value_c = to_c(value, unit)
    low_c, high_c = TEMPERATURES_C
    if not low_c <= value_c <= high_c:
        problems.add(line, text, f"a temperature, {low_c:g} to {high_c:g} °C")
        return math.nan
    return value_c


def _number_or_nan(text: str, low: float, high: float) -> float:
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if low <= value <= high else math.nan


def _fill(problems: _Problems, temperatures_c: list[float], numbers: Sequence[int], step_h: float) -> int:
    """Fill short gaps by a straight line, in place; returns how many values that were."""
    if len(temperatures_c) < ROWS_MIN and not problems.found:
        last = numbers[-1] if numbers else 1
        problems.add(last, len(temperatures_c), f"the end of at least {ROWS_MIN} rows of weather")
    if problems.found:
        return 0  # told already; lines and values may no longer go together
    filled = 0
    for first, behind in missing_runs(temperatures_c):
        count = behind - first
        if first == 0 or behind == len(temperatures_c) or (count + 1) * step_h > GAP_H_MAX:
            allowed = f"followed by a temperature: a gap of {count * step_h:g} h is too long or at an end"
            problems.add(numbers[first], "missing temperature", allowed)
            continue
        before_c, after_c = temperatures_c[first - 1], temperatures_c[behind]
        for place in range(1, count + 1):
            share = place / (count + 1)
            temperatures_c[first + place - 1] = before_c + share * (after_c - before_c)
        filled += count
    return filled

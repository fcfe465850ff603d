"""A scenario as a small TOML file: text in, scenario out, or everything that is wrong with it.

    about = "The lamp dies on the coldest night."
    days = 3                      # 0.25 to 400
    begins = 2025-12-01           # the day at whose midnight it begins; it only labels the records
    house = "timber shed"         # a ready-made house, used where site.toml has no [building]
    weather = "cold-snap"         # cold-night, cold-snap, cold-winter, design-day; --weather FILE goes before
    start = "40F"                 # house and water at the beginning
    sun = 0                       # a cloudless noon on level ground in W/m2, as 400; a file's own goes before

    [weather_options]             # of that weather, in °C, K and s, such as cold_c = -16
    [pump]                        # left out: it never runs; all of it has usual values
    runs_a_day = 6
    run = "5m"
    well = "46F"                  # the water that it brings through the pipe
    motor_w = 250                 # the part of its power that warms the house

    [settings]                    # as for `overwinter set`: "band.low" = "36F"

    [[sensor]]                    # none: one control sensor "by the pump"
    name = "by the pump"
    role = "control"              # control, outdoor or extra
    at = "air"                    # air or pipe

    [[fault]]
    kind = "sensor-wrong"         # a row of FAULTS
    at = "2d"                     # since the beginning
    for = "6h"                    # left out: to the end
    sensor = "by the pump"        # only where it is a sensor's fault
    by = 6.0                      # how much, only where it has a size: here in K

    [must]                        # what must hold at the end; all of it may be left out
    froze = false
    told_within = "15m"
    alarms = ["cold"]             # told at least once
    no_alarms = ["too-hot"]
    coldest_water = "33F"         # not colder
    hottest_air = "100F"          # not hotter

Rule 1: all problems at once, each with its key, its value and what is allowed.
Rule 2: nothing is guessed: a temperature says its unit, a duration may say it.
"""

import math
import tomllib
from collections.abc import Mapping
from datetime import UTC, date, datetime
from importlib.resources import files

from overwinter.core.nouns import Code, Problem, Refused, Role, SensorSpec
from overwinter.core.units import Unit, f_from_c, parse_duration_s, parse_temperature_c
from overwinter.rehearse.nouns import DAYS_MAX, FAULTS, FAULTS_MAX, Fault, Must, Scenario
from overwinter.rehearse.weather import OPTIONS
from overwinter.twin.houses import HOUSES
from overwinter.twin.pump import Pump

KEYS = (
    *("about", "days", "begins", "house", "weather", "weather_options", "start", "sun", "pump"),
    *("settings", "sensor", "max_bytes", "fault", "must"),
)
SUFFIX = ".toml"
SENSORS_MAX = 8
MAX_BYTES = (65_536, 1_073_741_824)


def shipped() -> dict[str, str]:
    """The scenarios that come with the program: name and text, by name."""
    folder = files("overwinter.rehearse").joinpath("scenarios")
    found = [entry for entry in folder.iterdir() if entry.name.endswith(SUFFIX)]
    texts = {entry.name.removesuffix(SUFFIX): entry.read_text(encoding="utf-8") for entry in found}
    return dict(sorted(texts.items()))


def parse_scenario(text: str, name: str) -> Scenario:
    """The scenario that a text says.

    Raises
    ------
    Refused
        With every problem of it.
    """
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refused([Problem("", None, "TOML", f"no TOML: {error}")]) from None
    reader = _Reader()
    scenario = _scenario(_Table(reader, tree, ""), name)
    if reader.problems:
        raise Refused(reader.problems)
    return scenario


class _Reader:
    """Collects problems."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []

    def refuse(self, key: str, value: object, allowed: str) -> None:
        shown = repr(value)
        shown = shown if len(shown) <= 60 else shown[:57] + "..."
        self.problems.append(Problem(key, value, allowed, f"{key} = {shown}: must be {allowed}"))


class _Table:
    """One table of the file: takes its keys one by one, and refuses what is left over."""

    def __init__(self, reader: _Reader, tree: object, path: str) -> None:
        self.reader = reader
        self._path = path
        self._tree: dict[str, object] = {}
        if isinstance(tree, dict):
            self._tree = dict(tree)
        else:
            reader.refuse(path, tree, "a table")

    def key(self, name: str) -> str:
        return f"{self._path}.{name}" if self._path else name

    def has(self, name: str) -> bool:
        return name in self._tree

    def take(self, name: str) -> object:
        return self._tree.pop(name, None)

    def refuse(self, name: str, value: object, allowed: str) -> None:
        self.reader.refuse(self.key(name), value, allowed)

    def end(self, known: str) -> None:
        for name, value in self._tree.items():
            self.reader.refuse(self.key(name), value, f"left out; known are {known}")

    def text(self, name: str, default: str, choices: tuple[str, ...] = ()) -> str:
        value = self.take(name)
        if value is None:
            return default
        if isinstance(value, str) and value and len(value) <= 1000 and (not choices or value in choices):
            return value
        self.refuse(name, value, f"one of {', '.join(choices)}" if choices else "a text")
        return default

    def number(self, name: str, default: float, least: float, most: float) -> float:
        value = self.take(name)
        if value is None:
            return default
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if is_number and least <= value <= most:  # type: ignore[operator]
            return float(value)  # type: ignore[arg-type]
        self.refuse(name, value, f"{least:g} to {most:g}")
        return default

    def duration_s(self, name: str, default: float, most_s: float) -> float:
        value = self.take(name)
        if value is None:
            return default
        if isinstance(value, str | int | float) and not isinstance(value, bool):
            try:
                seconds = parse_duration_s(str(value))
            except ValueError:
                seconds = math.nan
            if 0.0 <= seconds <= most_s:
                return seconds
        self.refuse(name, value, f"a duration such as 90s, 20m, 6h or 2d, at most {most_s / 86_400.0:g}d")
        return default

    def temperature_c(self, name: str, least_c: float, most_c: float) -> float | None:
        value = self.take(name)
        if value is None:
            return None
        if isinstance(value, str) and value.strip()[-1:].upper() in ("F", "C"):
            try:
                temperature_c = parse_temperature_c(value, Unit.C)
            except ValueError:
                temperature_c = math.nan
            if least_c - 1e-9 <= temperature_c <= most_c + 1e-9:
                return temperature_c
        low_f, high_f = f_from_c(least_c), f_from_c(most_c)
        self.refuse(name, value, f"a temperature with its unit, {low_f:g}F to {high_f:g}F")
        return None

    def yes_or_no(self, name: str) -> bool | None:
        value = self.take(name)
        if value is None or isinstance(value, bool):
            return value
        self.refuse(name, value, "true or false")
        return None

    def table(self, name: str) -> "_Table":
        value = self.take(name)
        return _Table(self.reader, {} if value is None else value, self.key(name))

    def tables(self, name: str, most: int) -> "list[_Table]":
        value = self.take(name)
        if value is None:
            return []
        if not isinstance(value, list) or len(value) > most:
            self.refuse(name, value, f"[[{name}]], at most {most}")
            return []
        return [_Table(self.reader, row, f"{self.key(name)}[{at + 1}]") for at, row in enumerate(value)]

    def codes(self, name: str) -> tuple[str, ...]:
        value = self.take(name)
        if value is None:
            return ()
        known = [code.value for code in Code]
        if isinstance(value, list) and all(code in known for code in value):
            return tuple(value)
        self.refuse(name, value, f"a list of {', '.join(known)}")
        return ()

    def pairs(self) -> dict[str, object]:
        pairs, self._tree = self._tree, {}
        return pairs


def _scenario(table: _Table, name: str) -> Scenario:
    usual = Scenario(name=name)
    days = table.number("days", usual.days, 0.25, DAYS_MAX)
    weather = table.text("weather", usual.weather, tuple(OPTIONS))
    options = table.table("weather_options")
    weather_options = {
        key: options.number(key, math.nan, least, most) for key, (least, most) in OPTIONS[weather].items()
    }
    options.end(", ".join(OPTIONS[weather]))
    sensors = tuple(_sensor(row) for row in table.tables("sensor", SENSORS_MAX)) or usual.sensors
    names = [spec.name for spec in sensors]
    if len(set(names)) < len(names):
        table.refuse("sensor", names, "named differently")
    if not any(spec.role is Role.CONTROL for spec in sensors):
        table.refuse("sensor", names, "with at least one of role control")
    start_c = table.temperature_c("start", -20.0, 30.0)
    scenario = Scenario(
        name=name,
        about=table.text("about", ""),
        days=days,
        begins=_day(table),
        house=table.text("house", usual.house, tuple(HOUSES)),
        weather=weather,
        weather_options={key: value for key, value in weather_options.items() if not math.isnan(value)},
        start_c=usual.start_c if start_c is None else start_c,
        sun_w_m2=table.number("sun", usual.sun_w_m2, 0.0, 1200.0),
        pump=_pump(table),
        settings=_settings(table.table("settings")),
        sensors=sensors,
        max_bytes=int(table.number("max_bytes", usual.max_bytes, *MAX_BYTES)),
        faults=tuple(
            fault
            for row in table.tables("fault", FAULTS_MAX)
            if (fault := _fault(row, names, days * 86_400.0)) is not None
        ),
        must=_must(table.table("must")),
    )
    table.end(", ".join(KEYS))
    return scenario


def _day(table: _Table) -> datetime:
    value, usual = table.take("begins"), Scenario(name="").begins
    if value is None:
        return usual
    if isinstance(value, date) and not isinstance(value, datetime) and 2000 <= value.year <= 2100:
        return datetime(value.year, value.month, value.day, tzinfo=UTC)
    table.refuse("begins", value, "a day such as 2025-12-01")
    return usual


def _pump(table: _Table) -> Pump | None:
    value, usual = table.take("pump"), Pump()
    if value is None:
        return None
    row = _Table(table.reader, value, "pump")
    well_c = row.temperature_c("well", 1.0, 30.0)
    pump = Pump(
        runs_a_day=int(row.number("runs_a_day", usual.runs_a_day, 0, 200)),
        run_s=row.duration_s("run", usual.run_s, 86_400.0),
        well_c=usual.well_c if well_c is None else well_c,
        motor_w=row.number("motor_w", usual.motor_w, 0.0, 3000.0),
    )
    row.end("runs_a_day, run, well, motor_w")
    return pump


def _settings(table: _Table) -> Mapping[str, object]:
    """Dotted keys, or tables as in settings.toml; what they may be, `overwinter set` knows."""
    flat: dict[str, object] = {}
    for key, value in table.pairs().items():
        if isinstance(value, dict):
            flat |= {f"{key}.{inner}": one for inner, one in value.items()}
        else:
            flat[key] = value
    return flat


def _sensor(row: _Table) -> SensorSpec:
    spec = SensorSpec(
        name=row.text("name", "a sensor"),
        role=Role(row.text("role", Role.CONTROL.value, tuple(role.value for role in Role))),
        kind="simulated",
        at=row.text("at", "air", ("air", "pipe")),
    )
    row.end("name, role, at")
    return spec


def _fault(row: _Table, sensors: list[str], lasts_s: float) -> Fault | None:
    is_named = row.has("kind")
    kind = row.text("kind", "", tuple(FAULTS))
    at_s = row.duration_s("at", 0.0, lasts_s)
    for_s = row.duration_s("for", math.inf, lasts_s)
    what = FAULTS.get(kind)
    sensor, by = None, 0.0
    if what is None:
        row.pairs()
        if not is_named:
            row.reader.refuse(row.key("kind"), None, f"one of {', '.join(FAULTS)}")
        return None
    if what.of_sensor:
        sensor = row.text("sensor", sensors[0], tuple(sensors))
    if what.unit:
        by = row.number("by", what.by, what.least, what.most)
    if kind == "sensor-drifting" and not math.isfinite(for_s):
        for_s = max(lasts_s - at_s, 1.0)
    row.end(f"kind, at, for{', sensor' * what.of_sensor}{', by' * bool(what.unit)} of {kind}")
    return Fault(kind=kind, at_s=at_s, for_s=for_s, sensor=sensor, by=by)


def _must(table: _Table) -> Must:
    within_s = table.duration_s("told_within", math.inf, 30 * 86_400.0)
    must = Must(
        froze=table.yes_or_no("froze"),
        told_within_s=within_s if math.isfinite(within_s) else None,
        alarms=table.codes("alarms"),
        no_alarms=table.codes("no_alarms"),
        coldest_water_c=table.temperature_c("coldest_water", -40.0, 40.0),
        hottest_air_c=table.temperature_c("hottest_air", -40.0, 90.0),
    )
    table.end("froze, told_within, alarms, no_alarms, coldest_water, hottest_air")
    return must


def text_of(scenario: Scenario) -> str:
    """The scenario as a file that `parse_scenario` takes: what a campaign leaves of a failure."""
    lines = []
    if scenario.about:
        lines.append(f"about = {_quoted(scenario.about)}")
    lines += [
        f"days = {scenario.days!r}",
        f"begins = {scenario.begins:%Y-%m-%d}",
        f"house = {_quoted(scenario.house)}",
        f"weather = {_quoted(scenario.weather)}",
        f'start = "{scenario.start_c!r}C"',
        f"max_bytes = {scenario.max_bytes}",
    ]
    if scenario.sun_w_m2:
        lines.append(f"sun = {scenario.sun_w_m2!r}")
    pump = scenario.pump
    if pump is not None:
        lines += ["", "[pump]", f"runs_a_day = {pump.runs_a_day}", f"run = {pump.run_s!r}"]
        lines += [f'well = "{pump.well_c!r}C"', f"motor_w = {pump.motor_w!r}"]
    if scenario.weather_options:
        lines += ["", "[weather_options]"]
        lines += [f"{key} = {value!r}" for key, value in scenario.weather_options.items()]
    if scenario.settings:
        lines += ["", "[settings]"]
        lines += [
            f"{_quoted(key)} = {_quoted(value) if isinstance(value, str) else value}"
            for key, value in scenario.settings.items()
        ]
    for spec in scenario.sensors:
        name, role, at = _quoted(spec.name), _quoted(spec.role.value), _quoted(spec.at)
        lines += ["", "[[sensor]]", f"name = {name}", f"role = {role}", f"at = {at}"]
    for fault in scenario.faults:
        lines += ["", "[[fault]]", f"kind = {_quoted(fault.kind)}", f"at = {fault.at_s!r}"]
        if math.isfinite(fault.for_s):
            lines.append(f"for = {fault.for_s!r}")
        if fault.sensor is not None:
            lines.append(f"sensor = {_quoted(fault.sensor)}")
        if FAULTS[fault.kind].unit:
            lines.append(f"by = {fault.by!r}")
    must = scenario.must
    if must.froze is not None:
        lines += ["", "[must]", f"froze = {str(must.froze).lower()}"]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'

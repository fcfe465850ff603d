"""A change of settings: the file's text and what was asked for, to the file's new text or to problems.

Rule 1: all of it or nothing; the new text is parsed again before anybody gets it.
Rule 2: the file is the owner's. Comments, order, line ends and the spelling of what did not change stay.
Rule 3: nothing near to freezing comes about by accident, whichever key would bring it about.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

from overwinter.core.nouns import Problem, Refused, Settings
from overwinter.core.units import Unit, from_c, parse_duration_s, parse_temperature_c, to_c
from overwinter.settings import reading, schema, values
from overwinter.settings.schema import BY_KEY, GAPS, ROWS, Kind, Row

DAY_S = 86_400.0

ALARM_DISTANCE_K_MIN = 0.5
"""An alarm that moves along with the band stays at least this far below it."""

_NUMBER = re.compile(r"[+\-−]?(\d+(\.\d*)?|\.\d+)\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change that keeps every rule, ready to be stored."""

    text: str  # write it as it is, line ends included
    settings: Settings
    changes: Mapping[str, tuple[object, object]]  # by this command: dotted key to (old, new)
    by_hand: Mapping[str, tuple[object, object]]  # the file already said, unlike what runs
    warnings: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class _Celsius:
    """A temperature that must be converted into the file's unit, and so be rounded."""

    celsius: float


_Asked: TypeAlias = str | float | int | _Celsius


def plan_change(
    text: str | bytes,
    changes: Mapping[str, object],
    *,
    running: Settings,
    anyway: bool,
    sense_s_min: float = 1.0,
) -> Change:
    """What the file will say after `changes`.

    Parameters
    ----------
    text : str or bytes
        The file as it is now; valid edits made by hand are taken along.
    changes : mapping
        Dotted keys to numbers in the settings' unit, or strings such as "36F", "20m", "freeze".
    running : Settings
        What the guard goes by at present.
    anyway : bool
        Take a low end near freezing in mode freeze.
    sense_s_min : float
        The shortest `sampling.sense_s` [s] that the sensors allow.

    Raises
    ------
    Refused
        With all problems of the file, or else all problems of the changes.
    """
    source = reading.decoded(text, values.FILE)
    file = values.parse_settings(source, sense_s_min=sense_s_min)
    if file.problems:
        raise Refused(list(file.problems))
    asked, problems = _asked(changes, file.settings.unit)
    unit = Unit(str(asked["unit"])) if "unit" in asked else file.settings.unit
    asked |= _alarm_moved_along(asked, file, unit, given=frozenset(changes))
    bad = frozenset(changes) - frozenset(asked)

    wanted: dict[str, object] = {}
    found: list[Problem] = []
    for decimals in values.roundings(unit):
        wanted = _wanted(file, asked, unit, decimals)
        found = _problems(wanted, file.settings, given=frozenset(changes), bad=bad, sense_s_min=sense_s_min)
        if not found:
            break
    problems += found
    if not bad & {"mode", "unit", "band.low"}:
        problems += _near_freezing(wanted, file.settings, given=frozenset(changes), anyway=anyway)
    if problems:
        raise Refused(list(reading.no_more_than(problems)))

    edited = _edited(source, file.written, wanted, sense_s_min)
    settings = values.parse_settings(edited, sense_s_min=sense_s_min).settings
    return Change(
        text=edited,
        settings=settings,
        changes=values.differences(file.settings, settings),
        by_hand=values.differences(running, file.settings),
        warnings=values.warnings_of(settings),
    )


def _asked(changes: Mapping[str, object], unit: Unit) -> tuple[dict[str, _Asked], list[Problem]]:
    """Each change as a value of the right kind, or its problem."""
    asked: dict[str, _Asked] = {}
    problems: list[Problem] = []
    for key, given in changes.items():
        row = BY_KEY.get(key)
        if row is None:
            known = tuple(BY_KEY) if len(problems) < reading.PROBLEMS_MAX else ()
            problems.append(reading.unknown_key("", reading.dotted(*key.split(".", 2)), given, known))
            continue
        found = _understood(row, given, unit, unit_changes="unit" in changes)
        if isinstance(found, Problem):
            problems.append(found)
        else:
            asked[key] = found
    return asked, problems


def _understood(row: Row, given: object, unit: Unit, *, unit_changes: bool) -> _Asked | Problem:
    allowed = schema.allowed(row, unit)
    if row.choices is not None:
        if isinstance(given, str) and given in tuple(row.choices):
            return given
        return reading.refusal("", row.key, given, allowed)
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        return reading.refusal("", row.key, given, allowed, f"must be a number, {allowed}")
    if isinstance(given, str) and len(given) > reading.SHOWN_CHARACTERS_MAX:
        # Not even looked at: patterns meant for a word are slow on a novel.
        return reading.refusal("", row.key, given, allowed)
    if row.kind is Kind.TEMPERATURE:
        return _temperature(row, given, unit, unit_changes=unit_changes)
    if isinstance(given, str):
        return _number(row, given, allowed)
    # JSON knows one kind of number: 5.0 may be how it spells 5.
    if row.kind is Kind.INTEGER and isinstance(given, float) and given.is_integer():
        return int(given)
    return given if row.kind is Kind.INTEGER else _as_float(given)


def _as_float(number: float) -> float:
    """A number as the file spells it, 38.0 for 38; what no float can hold is left to be refused."""
    return float(number) if -1e9 < number < 1e9 else number


def _temperature(row: Row, given: float | str, unit: Unit, *, unit_changes: bool) -> _Asked | Problem:
    bare = not isinstance(given, str) or given.strip()[-1:].upper() not in tuple(Unit)
    if bare and unit_changes:
        why = "which unit? With unit in the same change, say 36F or 2.2C"
        return reading.refusal("", row.key, given, "a number with F or C behind it", why)
    if not isinstance(given, str):
        return _as_float(given)
    try:
        celsius = parse_temperature_c(given, unit)
    except ValueError:
        allowed = f"a temperature such as 36F or 2.2C, {schema.allowed(row, unit)}"
        return reading.refusal("", row.key, given, allowed)
    if not schema.is_within(row, celsius):
        return reading.refusal("", row.key, given, schema.allowed(row, unit))  # as given: it may be converted
    if not unit_changes and (bare or given.strip()[-1].upper() == unit):
        return round(from_c(celsius, unit), 9) + 0.0  # the arithmetic back and forth leaves dust
    return _Celsius(celsius)


def _number(row: Row, given: str, allowed: str) -> _Asked | Problem:
    text = given.strip()
    if _NUMBER.match(text):
        number = float(text.replace("−", "-"))
        whole = row.kind is Kind.INTEGER and number.is_integer()
        return int(number) if whole else number
    if row.measure not in ("s", "days"):
        return reading.refusal("", row.key, given, allowed, f"must be a number, {allowed}")
    try:
        seconds = parse_duration_s(text)
    except ValueError:
        return reading.refusal("", row.key, given, f"a number or a duration such as 90s, 20m, 7d; {allowed}")
    return seconds if row.measure == "s" else seconds / DAY_S


def _alarm_moved_along(
    asked: Mapping[str, _Asked], file: values.Parsed, unit: Unit, *, given: frozenset[str]
) -> dict[str, _Asked]:
    """The alarm under a band that is lowered onto it: as far below as it was.

    Only where the file names an alarm temperature; the default one follows the band by itself.
    """
    alarm, now = "limits.alarm_low", file.settings
    if "band.low" not in asked or alarm in given or alarm not in file.written:
        return {}
    low = asked["band.low"]
    assert not isinstance(low, str), "temperatures are understood as numbers"
    low_c = low.celsius if isinstance(low, _Celsius) else _celsius(low, unit)
    if low_c is None or low_c > now.alarm_low_c + schema.ROUNDING or low_c >= now.low_c:
        return {}
    distance_k = max(now.low_c - now.alarm_low_c, ALARM_DISTANCE_K_MIN)
    return {alarm: _Celsius(max(low_c - distance_k, BY_KEY[alarm].lo))}


def _celsius(number: float, unit: Unit) -> float | None:
    """A temperature, or None when it is absurd and refused elsewhere."""
    return to_c(float(number), unit) if -1e9 < number < 1e9 else None


def _wanted(file: values.Parsed, asked: Mapping[str, _Asked], unit: Unit, decimals: int) -> dict[str, object]:
    """What the file shall say, key by key in its new unit."""

    def converted(celsius: float) -> float:
        return round(from_c(celsius, unit), decimals) + 0.0  # + 0.0: no minus in front of a zero

    wanted: dict[str, object] = {}
    for row in ROWS:
        if row.key in asked:
            value = asked[row.key]
            wanted[row.key] = converted(value.celsius) if isinstance(value, _Celsius) else value
        elif row.key not in file.written:
            continue
        elif row.kind is Kind.TEMPERATURE and unit is not file.settings.unit:
            wanted[row.key] = converted(schema.value_of(file.settings, row.key))
        else:
            wanted[row.key] = file.written[row.key]
    return wanted


def _problems(
    wanted: Mapping[str, object],
    now: Settings,
    *,
    given: frozenset[str],
    bad: frozenset[str],
    sense_s_min: float,
) -> list[Problem]:
    """What is wrong with `wanted`; rules that touch a key already refused are left for the next try."""
    typed, problems = values.typed(wanted, sense_s_min=sense_s_min)
    wrong = bad | {key for key in wanted if key not in typed}
    settings = values.completed(typed, wrong & set(BY_KEY), now)
    return problems + [
        values.clash(gap, settings, given) for gap in GAPS if not gap.keys & wrong and not gap.holds(settings)
    ]


def _near_freezing(
    wanted: Mapping[str, object], now: Settings, *, given: frozenset[str], anyway: bool
) -> list[Problem]:
    """A low end too near to freezing, unless it was so before and this change is about something else."""
    typed, _ = values.typed(wanted)
    settings = values.completed(typed, {key for key in wanted if key not in typed}, now)
    if anyway or not schema.is_low_for_freeze(settings):
        return []
    if schema.is_low_for_freeze(now) and not given & {"mode", "band.low"}:
        return []
    key = "mode" if "mode" in given and "band.low" not in given else "band.low"
    return [schema.low_problem(settings, key, why="; with --anyway it is taken all the same")]


def _edited(source: str, old: Mapping[str, object], new: Mapping[str, object], sense_s_min: float) -> str:
    """`source` with the values of `new`, everything else as it was."""
    typed, _ = values.typed(new, sense_s_min=sense_s_min)
    settings = values.completed(typed, (), None)
    # Tidy puts a new key under the last of its table. Where the owner's spelling is unusual (dotted keys
    # at the top) that lands elsewhere, and the plain way is right.
    for tidy in (True, False):
        text = _rewritten(source, old, new, tidy=tidy)
        if text is None:
            continue
        again = values.parse_settings(text, sense_s_min=sense_s_min)
        if not again.problems and again.settings == settings and again.written == new:
            return text
    reason = f"{values.FILE}: it is spelled in a way that cannot be changed safely; change it by hand"
    raise Refused([Problem("", None, "one key a line, below its [table]", reason)])


def _rewritten(
    source: str, old: Mapping[str, object], new: Mapping[str, object], *, tidy: bool
) -> str | None:
    import tomlkit  # 50 ms that only a change pays, and more on a small board
    from tomlkit.exceptions import TOMLKitError
    from tomlkit.items import Item

    mark = "\ufeff" if source.startswith("\ufeff") else ""
    body = source.removeprefix(mark)
    newline = "\r\n" if "\r\n" in source and not re.search(r"(?<!\r)\n", source) else "\n"
    try:
        # A last line without an end would swallow what is added below it.
        document = tomlkit.parse(body if body.endswith("\n") or set(new) <= set(old) else body + newline)
        for key, value in new.items():
            if key in old and old[key] != value:
                row = BY_KEY[key]
                home = document[row.table] if row.table else document
                home[row.name] = value
        for table in dict.fromkeys(BY_KEY[key].table for key in new if key not in old):
            added = {
                BY_KEY[key].name: new[key] for key in new if key not in old and BY_KEY[key].table == table
            }
            if table and table not in document:
                document[table] = tomlkit.table()
            home = document[table] if table else document
            there = [BY_KEY[key].name for key in old if BY_KEY[key].table == table]
            last = home[there[-1]] if there else None
            if not tidy or not isinstance(last, Item):
                for name, value in added.items():
                    home[name] = value
                continue
            lines = [
                f"{last.trivia.indent}{name} = {tomlkit.item(value).as_string()}"
                for name, value in added.items()
            ]
            last.trivia.trail += "".join(line + newline for line in lines)
        text = tomlkit.dumps(document)
    except TOMLKitError:
        return None
    return mark + (re.sub(r"(?<!\r)\n", "\r\n", text) if newline == "\r\n" else text)

"""settings.toml: text to typed values or to problems, and typed values to text.

Rule 1: `Parsed.settings` is always complete and keeps every rule, whatever the text was.
Rule 2: a bad key falls back alone; keys that only contradict one another fall together.
Rule 3: all problems at once, each with key, value and what is allowed.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from overwinter.core.nouns import Mode, Problem, Refused, Settings
from overwinter.core.units import Unit, from_c, to_c
from overwinter.settings import reading, schema
from overwinter.settings.schema import BY_KEY, DEFAULTS, GAPS, ROWS, Gap, Kind, Row

FILE = "settings.toml"

Value: TypeAlias = Mode | Unit | float | int

_WHERE = f"{FILE}: "


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed:
    """What a text said."""

    settings: Settings
    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()
    fallen: tuple[str, ...] = ()  # keys that stand in the text but could not be taken
    written: Mapping[str, object] = field(default_factory=dict)  # known keys as the text has them


def parse_settings(
    text: str | bytes, *, sense_s_min: float = 1.0, fallback: Settings | None = None
) -> Parsed:
    """The settings that `text` holds.

    Parameters
    ----------
    text : str or bytes
        The content of settings.toml; bytes are decoded here.
    sense_s_min : float
        The shortest `sampling.sense_s` [s] that the sensors allow.
    fallback : Settings, optional
        Where bad keys take their value from; the defaults if absent. Missing keys always take defaults.

    Returns
    -------
    Parsed
        Complete settings, and what was wrong with the text.
    """
    try:
        tree = reading.toml_tree(text, FILE)
    except Refused as refused:
        settings = fallback or DEFAULTS
        return Parsed(
            settings=settings,
            problems=tuple(refused.problems),
            warnings=warnings_of(settings),
            fallen=tuple(BY_KEY),
        )
    written, problems = _known(tree)
    values, misfits = typed(written, where=_WHERE, sense_s_min=sense_s_min)
    bad = {key for key in BY_KEY if key in written and key not in values}
    # A table that is no table took all its keys with it.
    bad |= {row.key for row in ROWS if row.table and not isinstance(tree.get(row.table, {}), dict)}
    settings, clashes = _settled(values, bad, fallback, named=frozenset(written))
    return Parsed(
        settings=settings,
        problems=reading.no_more_than([*problems, *misfits, *clashes]),
        warnings=warnings_of(settings),
        fallen=tuple(key for key in BY_KEY if key in bad),
        written=written,
    )


def warnings_of(settings: Settings) -> tuple[Problem, ...]:
    """What is allowed but unwise."""
    if not schema.is_low_for_freeze(settings):
        return ()
    return (schema.low_problem(settings, "band.low", _WHERE),)


def _known(tree: Mapping[str, object]) -> tuple[dict[str, object], list[Problem]]:
    """The tree's known keys by their dotted names, and a problem for each of the others."""
    written: dict[str, object] = {}
    problems: list[Problem] = []

    def strange(key: str, value: object) -> None:
        # Beyond the limit only the number counts, not the suggestion.
        known = tuple(BY_KEY) if len(problems) < reading.PROBLEMS_MAX else ()
        problems.append(reading.unknown_key(_WHERE, key, value, known))

    for name, value in tree.items():
        if name in BY_KEY and "." not in name:
            written[name] = value
        elif name not in schema.TABLES:
            strange(reading.dotted(name), value)
        elif not isinstance(value, dict):
            problems.append(reading.refusal(_WHERE, name, value, f"a table: [{name}]"))
        else:
            for inner, inner_value in value.items():
                key = f"{name}.{inner}"
                if key in BY_KEY:
                    written[key] = inner_value
                else:
                    strange(reading.dotted(name, inner), inner_value)
    return written, problems


def typed(
    written: Mapping[str, object], *, where: str = "", sense_s_min: float = 1.0
) -> tuple[dict[str, Value], list[Problem]]:
    """The values that are right in themselves, in SI, and the problems of the others.

    Temperatures are missing from both when the unit is bad: 34 is frost in one and heat in the other.
    """
    values: dict[str, Value] = {}
    problems: list[Problem] = []
    unit: Unit | None = DEFAULTS.unit
    if "unit" in written:
        found = _typed(BY_KEY["unit"], written["unit"], DEFAULTS.unit, where, sense_s_min)
        unit = found if isinstance(found, Unit) else None
    for row in ROWS:
        if row.key not in written or (unit is None and row.kind is Kind.TEMPERATURE):
            continue
        value = _typed(row, written[row.key], unit or DEFAULTS.unit, where, sense_s_min)
        if isinstance(value, Problem):
            problems.append(value)
        else:
            values[row.key] = value
    return values, problems


def _typed(row: Row, value: object, unit: Unit, where: str, sense_s_min: float) -> Value | Problem:
    allowed = schema.allowed(row, unit, sense_s_min)
    if row.choices is not None:
        if isinstance(value, str) and value in tuple(row.choices):
            return row.choices(value)
        return reading.refusal(where, row.key, value, allowed)
    # A bool is an int to Python and no number to anyone else.
    if isinstance(value, bool) or not isinstance(value, int | float):
        return reading.refusal(where, row.key, value, allowed, f"must be a number without quotes, {allowed}")
    if row.kind is Kind.INTEGER:
        if not isinstance(value, int):
            return reading.refusal(where, row.key, value, allowed, f"must be a whole number, {allowed}")
        right = row.lo <= value <= row.hi and (value % 2 == 1 or not row.odd)
        return value if right else reading.refusal(where, row.key, value, allowed)
    # Compared as it is first: a whole number may be too large for any float.
    number = to_c(float(value), unit) if row.kind is Kind.TEMPERATURE and abs(value) < 1e9 else value
    if not schema.is_within(row, number, sense_s_min):
        return reading.refusal(where, row.key, value, allowed)
    return float(number)


def completed(values: Mapping[str, Value], bad: Iterable[str], fallback: Settings | None) -> Settings:
    """Settings of `values`; bad keys from `fallback`, missing ones from the defaults."""
    fields: dict[str, object] = {
        BY_KEY[key].field: value for key, value in values.items() if key not in set(bad)
    }
    if fallback is not None:
        fields |= {BY_KEY[key].field: getattr(fallback, BY_KEY[key].field) for key in bad}
    low_c = fields.get("low_c", DEFAULTS.low_c)
    assert isinstance(low_c, float)
    fields.setdefault("alarm_low_c", schema.default_alarm_low_c(low_c))
    return Settings(**fields)  # type: ignore[arg-type]  # the table says which field has which type


def _settled(
    values: Mapping[str, Value], bad: set[str], fallback: Settings | None, named: frozenset[str]
) -> tuple[Settings, list[Problem]]:
    """Settings that keep every rule between keys; what does not goes together falls back, into `bad`."""
    problems: dict[Gap, Problem] = {}
    while True:
        settings = completed(values, bad, fallback)
        broken = [gap for gap in GAPS if not gap.holds(settings)]
        if not broken:
            return settings, list(problems.values())
        fell = frozenset[str]().union(*(gap.keys for gap in broken)) - bad
        for gap in broken:
            if gap.keys & fell:
                problems.setdefault(gap, clash(gap, settings, named - bad, where=_WHERE))
        if not fell:
            # What was right last time is not any more (slower sensors, say). The defaults always are.
            assert fallback is not None, "the defaults contradict one another"
            fallback = None
        bad |= fell


def clash(gap: Gap, settings: Settings, named: frozenset[str], where: str = "") -> Problem:
    """The problem of two keys that do not go together, blamed on the one that somebody named."""
    others = gap.keys - {gap.blamed}
    key = gap.blamed if gap.blamed in named or not others & named else next(iter(others))
    unit = settings.unit
    row = BY_KEY[key]
    value = schema.value_of(settings, key)
    number = round(from_c(value, unit), 6) if row.kind is Kind.TEMPERATURE else value
    allowed = gap.allowed(key, unit, settings)
    note = f"; {gap.note}" if gap.note else ""
    text = f"{where}{key} = {schema.measured(row, value, unit)}: must be {allowed}{note}"
    return Problem(key, number, allowed, text)


def roundings(unit: Unit) -> tuple[int, ...]:
    """Decimals to try for a converted temperature: the first that breaks no rule is taken.

    Two or three are enough but for values at the very edge of a rule, such as 100 F (37.778 C is above it).
    """
    return (schema.decimals_of(unit), 6, 9, 12)


def text_of(settings: Settings) -> str:
    """A whole settings.toml that says `settings`, with a comment for every key."""
    written: dict[str, object] = {}
    for decimals in roundings(settings.unit):
        written = {row.key: _as_written(row, settings, decimals) for row in ROWS}
        values, problems = typed(written)
        if not problems and all(gap.holds(completed(values, (), None)) for gap in GAPS):
            break
    lines = [
        "# How the pump house is kept. Commands change this file (overwinter set band.low=36F), and you",
        "# may too; `overwinter check` says whether it is right. Temperatures are in the unit named here.",
        "",
    ]
    table = ""
    for row in ROWS:
        if row.table != table:
            table = row.table
            lines += ["", f"[{table}]"]
        value = written[row.key]
        spelled = f'{row.name} = "{value}"' if isinstance(value, str) else f"{row.name} = {value!r}"
        limits = "" if row.kind is Kind.TEMPERATURE else f"{schema.allowed(row, settings.unit)}: "
        lines.append(f"{spelled:26} # {limits}{row.about}")
    return "\n".join(lines) + "\n"


def _as_written(row: Row, settings: Settings, decimals: int) -> object:
    value = getattr(settings, row.field)
    if row.kind is Kind.CHOICE:
        return str(value)
    return round(from_c(value, settings.unit), decimals) + 0.0 if row.kind is Kind.TEMPERATURE else value


def default_text() -> str:
    """What a first start writes."""
    return text_of(DEFAULTS)


SAME_K = 0.003
"""Temperatures read from files of different units are the same this near: rounding to 0.01 F costs that."""


def differences(old: Settings, new: Settings) -> dict[str, tuple[object, object]]:
    """What differs: dotted key to (old, new), temperatures as numbers in the unit of `new`."""
    found: dict[str, tuple[object, object]] = {}
    unit = new.unit
    tolerance_k, decimals = (schema.ROUNDING, 6) if old.unit is unit else (SAME_K, schema.decimals_of(unit))
    for row in ROWS:
        before, after = getattr(old, row.field), getattr(new, row.field)
        if row.kind is Kind.CHOICE:
            if before is not after:
                found[row.key] = (str(before), str(after))
        elif row.kind is Kind.TEMPERATURE:
            if not math.isclose(before, after, rel_tol=0.0, abs_tol=tolerance_k):
                found[row.key] = (
                    round(from_c(before, unit), decimals) + 0.0,
                    round(from_c(after, unit), decimals) + 0.0,
                )
        elif before != after:
            found[row.key] = (before, after)
    return found


def settings_facts(settings: Settings) -> dict[str, object]:
    """The settings in SI with the unit in the key, nested like the file."""
    facts: dict[str, object] = {}
    tables: dict[str, dict[str, object]] = {"": facts}
    for row in ROWS:
        if row.table not in tables:
            tables[row.table] = {}
            facts[row.table] = tables[row.table]
        value = getattr(settings, row.field)
        if row.kind is Kind.TEMPERATURE:
            value = round(value, 6) + 0.0
        tables[row.table][row.fact or row.name] = str(value) if row.kind is Kind.CHOICE else value
    return facts


def shown(settings: Settings, *, sense_s_min: float = 1.0) -> list[tuple[str, str, str]]:
    """Each setting for people: its dotted key, its value with unit, and what is allowed."""
    return [
        (row.key, _for_people(row, settings), _all_allowed(row, settings.unit, sense_s_min)) for row in ROWS
    ]


def _for_people(row: Row, settings: Settings) -> str:
    value = getattr(settings, row.field)
    if row.kind is Kind.CHOICE:
        return str(value)
    text = schema.measured(row, value, settings.unit)
    if row.kind is not Kind.TEMPERATURE:
        return text
    other = Unit.C if settings.unit is Unit.F else Unit.F
    return f"{text} ({from_c(value, other):.1f} {other})"


def _all_allowed(row: Row, unit: Unit, sense_s_min: float) -> str:
    rules = [gap.allowed(row.key, unit) for gap in GAPS if row.key == gap.blamed]
    return ", ".join([schema.allowed(row, unit, sense_s_min), *rules])

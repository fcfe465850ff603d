"""A rehearsal for people: the verdict first, then what it took."""

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from overwinter.show.text import duration, number, percent, table, temperature

LINE = 100
"""Characters of a line of prose."""

ALARMS_SHOWN = 12
"""A winter may tell hundreds; the logbook has them all."""

Facts = Mapping[str, Any]


def page(facts: Facts, *, unit: str, currency: str = "", about: str = "", assumed: Sequence[str] = ()) -> str:
    """One rehearsal: its verdict, what it took, and its alarms."""
    lines = [verdict(facts), ""]
    if about:
        lines[1:1] = textwrap.wrap(about, LINE)
    rows = _rows(facts, unit, currency)
    width = max(len(name) for name, _ in rows)
    lines += [f"{name:<{width}}  {value}" for name, value in rows]
    lines += ["", *_alarms(facts)]
    if facts["failed"]:
        lines += ["", "Not as it must be:", *(f"  {text}" for text in facts["failed"])]
    if assumed:
        lines += ["", f"Simulated: {'; '.join(assumed)}."]
    return "\n".join(lines)


def side_by_side(one: Facts, other: Facts, *, names: tuple[str, str], unit: str, currency: str = "") -> str:
    """Two rehearsals of the same weather."""
    left, right = _rows(one, unit, currency), _rows(other, unit, currency)
    rows = [
        ("frozen", _yes(one["froze"]), _yes(other["froze"])),
        *((name, value, beside) for (name, value), (_, beside) in zip(left, right, strict=True)),
        ("alarms", str(len(one["alarms"])), str(len(other["alarms"]))),
    ]
    return table(("", *names), rows)


def verdict(facts: Facts) -> str:
    """The first line."""
    share = float(facts["ice_share"])
    what = (
        f"FROZEN: up to {percent(100.0 * share)} of the pipe's water was ice" if facts["froze"] else "No ice."
    )
    told_s = facts["told_after_s"]
    if told_s is not None:
        told = f"The longest until somebody was told: {duration(told_s)}."
    elif facts["alarms"]:
        told = "Nothing broke, and what was told came before any danger."
    else:
        told = "There was nothing to tell."
    return f"{what.rstrip('.')}. {told}"


def _rows(facts: Facts, unit: str, currency: str) -> list[tuple[str, str]]:
    below = float(facts["hours_below_0c"])
    rows = [
        ("coldest water", temperature(facts["coldest_water_c"], unit)),
        ("water at freezing", duration(below * 3600.0) if below else "never"),
        ("coldest air at the pipe", temperature(facts["coldest_air_c"], unit)),
        ("hottest air", temperature(facts["hottest_air_c"], unit)),
        ("heat on", percent(100.0 * float(facts["duty"]))),
        ("energy", f"{number(facts['kwh'], 1)} kWh"),
    ]
    if facts["cost"] is not None:
        rows.append(("cost", f"{number(facts['cost'], 2)} {currency}".rstrip()))
    rows += [
        ("relay cycles", str(facts["cycles"])),
        ("days", number(facts["days"], 2)),
        ("seed", str(facts["seed"])),
    ]
    return rows


def _alarms(facts: Facts) -> list[str]:
    alarms = facts["alarms"]
    if not alarms:
        return ["No alarms."]
    lines = [f"Alarms ({len(alarms)}):"]
    for told in alarms[:ALARMS_SHOWN]:
        subject = f" {told['subject']}" if told["subject"] else ""
        after_s = told["after_s"]
        after = "" if after_s is None else f", {duration(after_s)} after the last fault began"
        lines.append(f"  {_day(told['at_s'])}  {told['code']}{subject}{after}")
    if len(alarms) > ALARMS_SHOWN:
        lines.append(f"  and {len(alarms) - ALARMS_SHOWN} more; --keep DIR keeps them, --json shows them")
    return lines


def _day(at_s: float) -> str:
    minutes = round(at_s / 60.0)
    return f"day {minutes // 1440 + 1:>3} {minutes // 60 % 24:02d}:{minutes % 60:02d}"


def _yes(value: object) -> str:
    return "YES" if value else "no"

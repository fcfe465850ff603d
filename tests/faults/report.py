"""The page of the fault table, from a run."""

from collections.abc import Mapping
from pathlib import Path

from tests.faults.nouns import HEAT, Row, Seen

PAGE = Path(__file__).parents[2] / "docs" / "fault-coverage.md"

HEAD = """\
# What breaks, who is told, and what heat does

Each row is injected by `tests/faults` into the guard's own loop: in counted time in a simulated house, or,
for files, process, socket and people, into the real guard as a process. `python -m tests.faults` lives
through all of them and writes this page; the test suite holds every row to its bound. A simulated house is no
pump house: the page says what the program does, not how often parts break.

A fault counts as dangerous when it could, left alone, cost a pipe, start a fire or break a promise to the
owner. Covered is a dangerous fault that is told within its bound while heat is in the state that the row
says. *Seen after* and *first ice* are of one run; nights are -6 to -12 °C where nothing else is said.
"""


def is_covered(row: Row, seen: Seen) -> bool:
    """Told in time, heat as it must be."""
    return (
        row.within_s is not None
        and seen.told_after_s is not None
        and seen.told_after_s <= row.within_s
        and seen.heat == row.heat
    )


def page(seen: Mapping[str, Seen], rows: tuple[Row, ...]) -> str:
    """As Markdown."""
    dangerous = [row for row in rows if row.is_dangerous]
    covered = [row for row in dangerous if is_covered(row, seen[row.id])]
    never = [row for row in dangerous if not row.told]
    share = 100.0 * len(covered) / len(dangerous)
    tellable = 100.0 * len(covered) / (len(dangerous) - len(never))
    text = [
        HEAD,
        f"**{len(rows)} faults, {len(dangerous)} of them dangerous; covered are {len(covered)}: "
        f"{share:.0f} %** "
        f"(the goal is 99 %), and {tellable:.0f} % of those that these sensors and inputs can show at all.",
    ]
    text += ["", "## What cannot be told, and the cure", ""]
    text += [f"- **{row.breaks}** (`{row.id}`): {row.why}. Cure: {row.cure}." for row in never]
    text += [
        "",
        "## All of them",
        "",
        "| fault | what breaks | how it is injected | mode | told by | bound | seen after | first ice "
        "| heat, and why |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    text += [_line(row, seen[row.id]) for row in rows]
    return "\n".join(text) + "\n"


def _line(row: Row, seen: Seen) -> str:
    told = f"{row.told}" if row.told else ("nobody; see above" if row.is_dangerous else "nobody: no harm")
    bound = "" if row.within_s is None else _duration(row.within_s)
    after = "" if seen.told_after_s is None else _duration(seen.told_after_s)
    cells = (
        f"`{row.id}`",
        row.breaks,
        row.how,
        row.mode,
        told,
        bound,
        after,
        "" if seen.ice_after_s is None else f"after {_duration(max(seen.ice_after_s, 0.0))}",
        f"{HEAT[row.heat]}: {row.why}",
    )
    return "| " + " | ".join(cells) + " |"


def _duration(seconds: float) -> str:
    if seconds < 15.0:
        return f"{max(round(seconds), 1)} s"
    if seconds < 120.0:
        return f"{round(seconds / 10.0) * 10} s"
    if seconds < 2 * 3600.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h"

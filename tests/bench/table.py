"""One table of ratios: what was measured, against what in the same run, the goal, and the verdict.

Rule: a row without a floor or a goal says so with a dash; nothing is rounded into a goal.
"""

from collections.abc import Iterable
from dataclasses import dataclass

HEADINGS = ("measured", "value", "floor of the same run", "ratio", "goal", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measurement. The goal bounds `judged`, which is the ratio where there is a floor."""

    what: str
    value: str
    floor: str = "-"
    ratio: float | None = None
    judged: float | None = None
    goal: float | None = None
    is_strict: bool = False  # the goal itself is already too much
    stretch: float | None = None
    sign: str = ""  # what the goal is counted in

    @property
    def verdict(self) -> str:
        """Met, stretch met or missed; nothing where there is no goal."""
        judged = self.ratio if self.judged is None else self.judged
        if self.goal is None or judged is None:
            return ""
        if self.stretch is not None and judged <= self.stretch:
            return "met, stretch too"
        is_met = judged < self.goal if self.is_strict else judged <= self.goal
        return "met" if is_met else "MISSED"

    def cells(self) -> tuple[str, ...]:
        """As text, in the order of the headings."""
        goal = "-" if self.goal is None else f"{'<' if self.is_strict else '<='} {self.goal:g}{self.sign}"
        if self.stretch is not None:
            goal += f" ({self.stretch:g}{self.sign})"
        ratio = "-" if self.ratio is None else f"{self.ratio:.2f}"
        return (self.what, self.value, self.floor, ratio, goal, self.verdict)


def table(rows: Iterable[Row]) -> str:
    """All rows, aligned."""
    lines = [HEADINGS, *(row.cells() for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(HEADINGS))]
    ruled = [lines[0], tuple("-" * width for width in widths), *lines[1:]]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in ruled
    )

"""Figures from the command line: everything wrong with them at once, and which exit code that is.

What is no figure at all, or missing, is wrong usage (2); a figure out of its range is refused (1).
"""

import math

from overwinter.cli.options import Stop, Verb
from overwinter.core.units import Unit, parse_temperature_c, say


class Figures:
    """Takes words as figures, and remembers each that is none or out of range."""

    __slots__ = ("_no_figures", "_out_of_range", "_unit")

    def __init__(self, unit: Unit) -> None:
        self._unit = unit  # of a bare temperature
        self._no_figures: list[str] = []
        self._out_of_range: list[str] = []

    def number(
        self, name: str, text: str | None, low: float, high: float, measure: str, *, above: bool = False
    ) -> float:
        """A number from `low` (or above it) to `high`; NaN where it is not."""
        allowed = f"{'above ' if above else ''}{low:g} to {high:g} {measure}"
        if text is None:
            self._no_figures.append(f"{name} is missing; it takes a number, {allowed}")
            return math.nan
        try:
            value = math.nan if "_" in text else float(text)  # Python's 1_000 is nobody's figure
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            self._no_figures.append(f"{name}: {text!r} is no number; allowed is {allowed}")
            return math.nan
        if not low <= value <= high or (above and value == low):
            self._out_of_range.append(f"{name} = {value:g}: must be {allowed}")
            return math.nan
        return value

    def temperature_c(self, name: str, text: str | None, low_c: float, high_c: float) -> float:
        """A temperature [°C] between two ends; NaN where it is not."""
        allowed = (
            f"{say(low_c, Unit.F)} to {say(high_c, Unit.F)} ({say(low_c, Unit.C)} to {say(high_c, Unit.C)})"
        )
        if text is None:
            self._no_figures.append(f"{name} is missing; it takes a temperature such as 36F or -1C")
            return math.nan
        try:
            value_c = parse_temperature_c(text, self._unit)
        except ValueError as error:
            self._no_figures.append(f"{name}: {error}")
            return math.nan
        if not low_c <= value_c <= high_c:
            self._out_of_range.append(f"{name} = {text}: must be {allowed}")
            return math.nan
        return value_c

    def refuse(self, text: str) -> None:
        """Remember something else that is out of range."""
        self._out_of_range.append(text)

    def stop_if_wrong(self, verb: Verb) -> None:
        """End the command if anything was wrong.

        Raises
        ------
        Stop
            With code 2 where something is no figure or missing, else 1; all of it told.
        """
        told = [f"  {line}" for line in (*self._no_figures, *self._out_of_range)]
        if self._no_figures:
            usage = f"usage: {verb.line()}   (more: overwinter {verb.name} --help)"
            raise Stop(2, f"{verb.name}: that cannot be reckoned with", *told, usage)
        if told:
            raise Stop(1, f"{verb.name}: refused", *told)

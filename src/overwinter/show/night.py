"""The live view of a night: a line for every ten minutes, readable without colour and by a screen reader."""

from collections.abc import Mapping
from typing import Any

from overwinter.show.text import degrees, in_unit

FROM_C, TO_C = -2.0, 8.0
WIDTH = 31
"""A third of a kelvin for each place, and a line of less than 80."""


def heading(unit: str) -> str:
    """What stands above the lines."""
    ends = f"{in_unit(FROM_C, unit):.0f} {unit}", f"{in_unit(TO_C, unit):.0f} {unit}"
    scale = f"{ends[0]}{ends[1]:>{WIDTH - len(ends[0])}}"
    return (
        f"time   {scale}  inside    outdoors heat\n"
        f"       {strip(None, low_c=None, high_c=None)}  o inside   = band   | water freezes\n"
        "       heat comes on below-band, goes off above-band, and inside-band it stays as it was"
    )


def line(status: Mapping[str, Any], *, clock: str, unit: str) -> str:
    """One moment: where the temperature stands against the band, and what the heat does and why."""
    temperature_c = status["temperature_c"]
    inside = "not known" if temperature_c is None else degrees(temperature_c, unit)
    outdoor_c = status.get("outdoor_c")
    outdoors = "-" if outdoor_c is None else degrees(outdoor_c, unit)
    heat = status["heat"]
    band = status["band"]
    picture = strip(temperature_c, low_c=band["low_c"], high_c=band["high_c"])
    return f"{clock}  {picture}  {inside:<10}{outdoors:<9}{'ON ' if heat['on'] else 'off'}  {heat['reason']}"


def strip(temperature_c: float | None, *, low_c: float | None, high_c: float | None) -> str:
    """The scale as text: `o` the temperature, `=` the band, `|` where water freezes."""
    places = ["."] * WIDTH
    if low_c is not None and high_c is not None:
        for place in range(_place(low_c), _place(high_c) + 1):
            places[place] = "="
    places[_place(0.0)] = "|"
    if temperature_c is not None:
        places[_place(temperature_c)] = "o"
    return "".join(places)


def _place(temperature_c: float) -> int:
    share = (temperature_c - FROM_C) / (TO_C - FROM_C)
    return max(0, min(WIDTH - 1, round(share * (WIDTH - 1))))

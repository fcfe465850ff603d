"""A picture for a terminal: dots for the temperature, a row of blocks each for humidity and heat.

Legible without colour and in plain ASCII: a line is told apart by its thickness, marks by their letters.
plotille draws the dots; what is left to do is where they go.
"""

from collections.abc import Sequence
from textwrap import wrap

import plotille

from overwinter.show import text
from overwinter.show.columns import Column, columns
from overwinter.show.picture import DOUBTFUL, Picture, ticks
from overwinter.show.picture_svg import scale_c, value_ticks
from overwinter.show.picture_words import KINDS, moment, names, span, summary, told, zones

BLOCKS = " ▁▂▃▄▅▆▇█"
PLAIN_BLOCKS = " .:-=+*#@"
LABEL = 9
"""Columns left of the picture."""

NARROWEST, LOWEST = 40, 6
MARKS_MOST = 12
"""So many marks are told below the picture, the newest; all of them are in the HTML file."""

_FIRST_DOTS = 0x2800  # the braille block of Unicode: one bit a dot
_UPPER_DOTS, _LOWER_DOTS = 0b0001_1011, 0b1110_0100


def chart(picture: Picture, *, width: int, height: int, is_plain: bool) -> str:
    """As lines of at most `width` columns; `is_plain` where only ASCII can be shown."""
    width = max(width, NARROWEST)
    across = width - LABEL
    above = wrap(f"{text.clean(picture.house)}, °{picture.unit}", width)
    above += wrap(f"{span(picture)}, {zones(picture)}", width) + wrap(summary(picture), width)
    above.append(" " * LABEL + _letters(picture, across))
    below = [_time_axis(picture, across)]
    if picture.has_humidity:
        below.append(_row("humidity", picture, [_scaled(one, 100) for one in picture.humidity_pct], across))
    below += [_row("heat", picture, picture.heat_share, across)]
    below += ["doubtful".ljust(LABEL) + _doubts(picture, across)]
    below += wrap(_key(picture), width) + _marks(picture, width)
    rows = max(height - len(above) - len(below), LOWEST)
    lines = [*above, *_temperature(picture, across, rows), *below]
    shown = "\n".join(line.rstrip() for line in lines)
    return _in_ascii(shown) if is_plain else shown


def _scaled(value: float | None, by: float) -> float | None:
    return None if value is None else value / by


def _temperature(picture: Picture, across: int, rows: int) -> list[str]:
    low_c, high_c = scale_c(picture)
    dots_across, dots_up = across * 2, rows * 4
    canvas = plotille.Canvas(across, rows, xmin=0, ymin=0, xmax=dots_across, ymax=dots_up)

    def dot(x: int, up: float) -> None:
        canvas.point(x, min(max(int(up), 0), dots_up - 1))

    def up(value_c: float) -> float:
        return (value_c - low_c) / (high_c - low_c) * dots_up

    length_s = picture.to_s - picture.from_s
    for stretch in picture.band:  # dashed: three dots of six
        first, last = (
            int((at_s - picture.from_s) / length_s * dots_across) for at_s in (stretch.from_s, stretch.to_s)
        )
        for x in range(max(first, 0), min(last + 1, dots_across)):
            if x % 6 < 3:
                dot(x, up(stretch.low_c))
                dot(x, up(stretch.high_c))
    for x, column in enumerate(_of(picture, picture.outdoor_c, dots_across)):  # one dot of four
        if column.mean is not None and x % 4 == 0:
            dot(x, up(column.mean))
    before: float | None = None
    for x, column in enumerate(_of(picture, picture.inside_c, dots_across)):  # every dot between the extremes
        if column.low is None or column.high is None or column.last is None:
            before = None if column.samples else before
            continue
        lower, upper = up(column.low), up(column.high)
        if before is not None and column.first is not None and not _is_gap(picture, column.from_s):
            lower, upper = min(lower, before), max(upper, before)
        for step in range(int(lower), int(upper) + 1):
            dot(x, step)
        before = up(column.last)
    labels = {
        min(int((1 - (up(value_c) / dots_up)) * rows), rows - 1): label
        for value_c, label in value_ticks(low_c, high_c, picture.unit, most=max(rows // 2, 2))
    }
    drawn = canvas.plot().split("\n")
    return [f"{labels.get(row, ''):>{LABEL - 2}} ┤{line}" for row, line in enumerate(drawn)]


def _of(picture: Picture, values: Sequence[float | None], count: int) -> list[Column]:
    return columns(picture.at_s, values, from_s=picture.from_s, to_s=picture.to_s, count=count)


def _is_gap(picture: Picture, at_s: float) -> bool:
    return any(begins_s < at_s and ends_s > at_s - 1.0 for begins_s, ends_s in picture.gaps)


def _row(name: str, picture: Picture, shares: Sequence[float | None], across: int) -> str:
    """Blocks from nothing to full."""
    cells = []
    for column in _of(picture, shares, across):
        # What is not nothing is seen: its block is one step at least.
        step = 0 if not column.mean else max(round(column.mean * 8), 1)
        cells.append(BLOCKS[min(step, 8)])
    return f"{name:<{LABEL}}{''.join(cells)}"


def _doubts(picture: Picture, across: int) -> str:
    cells = [" "] * across
    for at_s, flag in zip(picture.at_s, picture.flags, strict=True):
        if flag in DOUBTFUL:
            cells[_cell(picture, at_s, across)] = "x"
    return "".join(cells)


def _letters(picture: Picture, across: int) -> str:
    cells = [" "] * across
    for begins_s, ends_s in picture.gaps:
        for cell in range(_cell(picture, begins_s, across), _cell(picture, ends_s, across) + 1):
            cells[cell] = "/"
    for name, mark in zip(names(picture), picture.marks, strict=True):
        cells[_cell(picture, mark.from_s, across)] = name[0]
    return "".join(cells)


def _cell(picture: Picture, at_s: float, across: int) -> int:
    share = (at_s - picture.from_s) / (picture.to_s - picture.from_s)
    return min(max(int(share * across), 0), across - 1)


def _time_axis(picture: Picture, across: int) -> str:
    line = [" "] * (across + LABEL)
    end = 0
    for at_s, label in ticks(picture, most=max(across // 12, 2)):
        at = LABEL + _cell(picture, at_s, across)
        if at >= end and at + len(label) <= len(line):
            line[at : at + len(label)] = label
            end = at + len(label) + 1
    return "".join(line)


def _key(picture: Picture) -> str:
    parts = ["solid: inside", "dashed: band"]
    parts += ["dotted: outdoors"] if picture.has_outdoor else []
    parts += ["/ not recorded"] if picture.gaps else []
    return ", ".join(parts)


def _marks(picture: Picture, width: int) -> list[str]:
    marks = list(zip(names(picture), picture.marks, strict=True))
    lines = []
    for name, mark in marks[-MARKS_MOST:]:
        words = f"{name:<4}{moment(picture, mark.from_s)}  {KINDS[mark.kind]}: {told(picture, mark)}"
        lines.append(words if len(words) <= width else words[: width - 3] + "...")
    left_out = len(marks) - len(lines) + picture.marks_left_out
    return [f"and {left_out} before: see `overwinter events`", *lines] if left_out else lines


def _in_ascii(shown: str) -> str:
    return "".join(map(_plain_letter, shown))


def _plain_letter(letter: str) -> str:
    if letter in BLOCKS:
        return PLAIN_BLOCKS[BLOCKS.index(letter)]
    dots = ord(letter) - _FIRST_DOTS
    if not 0 <= dots <= 0xFF:
        return {"┤": "|", "°": ""}.get(letter, letter)
    upper, lower = bool(dots & _UPPER_DOTS), bool(dots & _LOWER_DOTS)
    return {(False, False): " ", (True, False): "'", (False, True): ".", (True, True): ":"}[upper, lower]

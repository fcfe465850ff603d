"""A picture as SVG: for paper, for a viewer, and for a browser that runs no script.

Each column of pixels keeps its lowest and its highest value, so a spike of one minute in a winter is seen.
"""

from collections.abc import Iterator, Mapping, Sequence
from html import escape

from overwinter.show import text
from overwinter.show.columns import Column, columns
from overwinter.show.picture import DOUBTFUL, Picture, highest, lowest, ticks
from overwinter.show.picture_colours import DASHES, LIGHT, WIDTHS
from overwinter.show.picture_words import names, span, summary, told, zones

WIDTH = 960
LEFT, RIGHT = 52, 892
TEMPERATURE = (92, 372)  # top and bottom of the panels
HUMIDITY = (404, 494)
HEAT = (526, 586)
BOTTOM = 640
TITLE_HEIGHT = 74
DENSE = 4
"""So many samples a pixel, and crosses would hide the line; the ticks at the foot stay."""

LABEL_PX = 22
"""Names of marks stand no closer than this."""

LINE_LABEL_PX = 13


def svg(picture: Picture, *, is_alone: bool = True) -> str:
    """The drawing. Alone it has its title and its own colours; inside a page, the page's."""
    parts = [*_frame(picture), *_axis(picture), *_temperature(picture), *_humidity(picture)]
    parts += [*_heat(picture), *_marks(picture)]
    top = 0 if is_alone else TITLE_HEIGHT - 18
    title = escape(f"{picture.house}: {span(picture)}")
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 {top} {WIDTH} {BOTTOM - top}" role="img" '
        f'class="still" aria-labelledby="still-title still-about" '
        f'font-family="system-ui, DejaVu Sans, sans-serif" font-size="12">'
        f'<title id="still-title">{title}</title><desc id="still-about">{escape(summary(picture))}</desc>'
    )
    if is_alone:
        head += f"<style>{style(LIGHT)}</style>"
        head += f'<rect width="{WIDTH}" height="{BOTTOM}" class="s-ground"/>'
        head += _text(LEFT, 26, picture.house, "s-title")
        head += _text(LEFT, 46, f"{span(picture)}, {zones(picture)}, °{picture.unit}", "s-quiet")
        head += _key(picture, 66)
    return head + "".join(parts) + "</svg>"


def style(colours: Mapping[str, str]) -> str:
    """The rules for what is in the drawing."""
    lines = "".join(
        f".s-{name}{{fill:none;stroke:{colours[name]};stroke-width:{width};stroke-linejoin:round;"
        + (f"stroke-dasharray:{' '.join(map(str, DASHES[name]))}" if DASHES[name] else "")
        + "}"
        for name, width in WIDTHS.items()
    )
    return lines + (
        f".s-ground{{fill:{colours['ground']}}}.s-panel{{fill:{colours['panel']};stroke:{colours['grid']}}}"
        f".s-band{{fill:{colours['band']}}}.s-bar{{fill:{colours['heat']}}}"
        f".s-grid{{stroke:{colours['grid']};fill:none}}.s-gap{{stroke:{colours['gap']};fill:none}}"
        f".s-alarm{{stroke:{colours['alarm']};fill:none;stroke-width:1.5}}"
        f".s-mark{{stroke:{colours['quiet']};fill:none;stroke-dasharray:1 3}}"
        f".s-doubt{{stroke:{colours['doubt']};fill:none;stroke-width:1.5}}"
        f"text{{fill:{colours['ink']}}}.s-quiet{{fill:{colours['quiet']}}}"
        f".s-alarmed{{fill:{colours['alarm']};font-weight:600}}.s-title{{font-size:20px;font-weight:600}}"
    )


class _Scale:
    """Values to pixels, bottom up."""

    def __init__(self, low: float, high: float, panel: tuple[int, int]) -> None:
        self.low, self.high = low, high
        self.top, self.bottom = panel

    def y(self, value: float) -> float:
        return self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)


def _x(picture: Picture, at_s: float) -> float:
    return LEFT + (at_s - picture.from_s) / (picture.to_s - picture.from_s) * (RIGHT - LEFT)


def _columns(picture: Picture, values: Sequence[float | None], count: int = RIGHT - LEFT) -> list[Column]:
    return columns(picture.at_s, values, from_s=picture.from_s, to_s=picture.to_s, count=count)


def _frame(picture: Picture) -> Iterator[str]:
    for top, bottom in _panels(picture):
        yield f'<rect x="{LEFT}" y="{top}" width="{RIGHT - LEFT}" height="{bottom - top}" class="s-panel"/>'


def _panels(picture: Picture) -> list[tuple[int, int]]:
    return [TEMPERATURE, *([HUMIDITY] if picture.has_humidity else []), HEAT]


def scale_c(picture: Picture) -> tuple[float, float]:
    """The lowest and highest temperature that must be seen, with a little room [°C]."""
    found = [
        edge
        for values in (picture.inside_c, picture.outdoor_c, picture.dew_point_c)
        for edge in (lowest(values), highest(values))
        if edge is not None
    ]
    found += [edge for one in picture.band for edge in (one.low_c, one.high_c)]
    low_c, high_c = min(found, default=0.0), max(found, default=5.0)
    room = max((high_c - low_c) * 0.06, 0.5)
    return low_c - room, high_c + room


def _temperature(picture: Picture) -> Iterator[str]:
    scale = _Scale(*scale_c(picture), TEMPERATURE)
    for value, label in value_ticks(scale.low, scale.high, picture.unit, most=7):
        y = scale.y(value)
        yield f'<path d="M{LEFT} {y:.1f}H{RIGHT}" class="s-grid"/>'
        yield _text(LEFT - 6, y + 4, label, "s-quiet", anchor="end")
    for stretch in picture.band:
        left, right = _x(picture, stretch.from_s), _x(picture, stretch.to_s)
        top, bottom = scale.y(stretch.high_c), scale.y(stretch.low_c)
        yield f'<rect x="{left:.1f}" y="{top:.1f}" width="{max(right - left, 0.5):.1f}" '
        yield f'height="{bottom - top:.1f}" class="s-band"/>'
        edges = f"M{left:.1f} {top:.1f}H{right:.1f}M{left:.1f} {bottom:.1f}H{right:.1f}"
        yield f'<path d="{edges}" class="s-edge"/>'
    for name, values in (
        ("outdoor", picture.outdoor_c),
        ("dew", picture.dew_point_c),
        ("inside", picture.inside_c),
    ):
        yield f'<path d="{_line(picture, values, scale)}" class="s-{name}"/>'
    yield _crosses(picture, scale)
    ends = [
        (scale.y(last), label)
        for label, values in _named_lines(picture)
        if (last := next((value for value in reversed(values) if value is not None), None)) is not None
    ]
    for y, label in spread(ends, LINE_LABEL_PX):
        yield _text(RIGHT + 4, y + 4, label, "s-quiet")
    yield _text(LEFT, TEMPERATURE[1] + 14, f"temperature, °{picture.unit}", "s-quiet")


def _named_lines(picture: Picture) -> list[tuple[str, Sequence[float | None]]]:
    """Each line has its name at its end: where it is dense its dashes run together."""
    return [("inside", picture.inside_c), ("outdoors", picture.outdoor_c), ("dew point", picture.dew_point_c)]


def spread(ends: Sequence[tuple[float, str]], apart: float) -> list[tuple[float, str]]:
    """Labels from the top down, none closer to the next than that."""
    found: list[tuple[float, str]] = []
    for y, label in sorted(ends):
        found.append((max(y, found[-1][0] + apart) if found else y, label))
    return found


def _line(picture: Picture, values: Sequence[float | None], scale: _Scale) -> str:
    """Through first, lowest, highest and last of each column; broken where nothing was recorded."""
    parts: list[str] = []
    before_s: float | None = None
    for index, column in enumerate(_columns(picture, values)):
        if column.low is None or column.high is None or column.first is None or column.last is None:
            before_s = None if column.samples else before_s  # between samples that stand apart is no gap
            continue
        x = LEFT + index + 0.5
        points = dict.fromkeys(f"{scale.y(one):.1f}" for one in (column.first, column.low, column.high))
        points |= dict.fromkeys([f"{scale.y(column.last):.1f}"])
        starts = before_s is None or _has_gap(picture, before_s, column.from_s)
        parts += [f"{'M' if starts and at == 0 else 'L'}{x:g} {y}" for at, y in enumerate(points)]
        if starts and len(points) == 1:
            parts.append("h.01")  # a lone point is seen as well
        before_s = column.to_s
    return "".join(parts)


def _has_gap(picture: Picture, from_s: float, to_s: float) -> bool:
    return any(begins_s < to_s and ends_s > from_s for begins_s, ends_s in picture.gaps)


def _crosses(picture: Picture, scale: _Scale) -> str:
    """Doubtful samples: a tick at the foot of the panel, one a column of pixels, and a cross at the value."""
    seen: dict[int, float | None] = {}
    for at_s, value, flag in zip(picture.at_s, picture.inside_c, picture.flags, strict=True):
        if flag in DOUBTFUL:
            x = int(_x(picture, at_s))
            seen[x] = value if value is not None else seen.get(x)
    foot = TEMPERATURE[1]
    marks = [f"M{x} {foot - 7}v7" for x in seen]
    if len(picture.at_s) <= DENSE * (RIGHT - LEFT):
        at_value = [(x, scale.y(value)) for x, value in seen.items() if value is not None]
        marks += [f"M{x - 3} {y - 3:.1f}l6 6m0 -6l-6 6" for x, y in at_value]
    return f'<path d="{"".join(marks)}" class="s-doubt"/>'


def _humidity(picture: Picture) -> Iterator[str]:
    if not picture.has_humidity:
        return
    scale = _Scale(0.0, 100.0, HUMIDITY)
    yield from _percents(scale)
    yield f'<path d="{_line(picture, picture.humidity_pct, scale)}" class="s-humidity"/>'
    yield _text(LEFT, HUMIDITY[1] + 14, "humidity inside, %", "s-quiet")


def _heat(picture: Picture) -> Iterator[str]:
    scale = _Scale(0.0, 100.0, HEAT)
    yield from _percents(scale)
    count = (RIGHT - LEFT) // 4
    bars = []
    for index, column in enumerate(_columns(picture, picture.heat_share, count)):
        if column.mean:
            y = scale.y(column.mean * 100)
            bars.append(f"M{LEFT + index * 4} {HEAT[1]}V{y:.1f}h3V{HEAT[1]}z")
    yield f'<path d="{"".join(bars)}" class="s-bar"/>'
    yield _text(LEFT, HEAT[1] + 32, "heat on, % of the time", "s-quiet")


def _percents(scale: _Scale) -> Iterator[str]:
    for value in (0, 50, 100):
        y = scale.y(value)
        yield f'<path d="M{LEFT} {y:.1f}H{RIGHT}" class="s-grid"/>'
        yield _text(LEFT - 6, y + 4, str(value), "s-quiet", anchor="end")


def _marks(picture: Picture) -> Iterator[str]:
    top, foot = TEMPERATURE[0], HEAT[1]
    for begins_s, ends_s in picture.gaps:
        left, right = _x(picture, max(begins_s, picture.from_s)), _x(picture, ends_s)
        for panel_top, panel_foot in _panels(picture):
            yield f'<path d="{_hatch(left, right, panel_top, panel_foot)}" class="s-gap"/>'
    taken = 0.0
    for name, mark in zip(names(picture), picture.marks, strict=True):
        if not picture.from_s <= mark.from_s <= picture.to_s and not mark.to_s:
            continue
        x = min(max(_x(picture, mark.from_s), LEFT), RIGHT)
        kind = "alarm" if mark.kind == "alarm" else "mark"
        if mark.kind != "gap":
            yield f'<path d="M{x:.1f} {top}V{foot}" class="s-{kind}"><title>{escape(told(picture, mark))}'
            yield "</title></path>"
        if mark.kind == "alarm" and mark.to_s is not None:
            yield f'<path d="M{x:.1f} {top}H{_x(picture, mark.to_s):.1f}" class="s-alarm"/>'
        if x >= taken:
            yield _text(x, top - 5, name, "s-alarmed" if kind == "alarm" else "s-quiet", anchor="middle")
            taken = x + LABEL_PX


def _hatch(left: float, right: float, top: int, foot: int) -> str:
    """Slanted lines over what was not recorded."""
    right = max(right, left + 1.0)
    parts = [f"M{left:.1f} {top}V{foot}M{right:.1f} {top}V{foot}"]
    height = foot - top
    start = left - height
    while start < right:
        begin, end = max(start, left), min(start + height, right)
        if end > begin:
            parts.append(f"M{begin:.1f} {foot - (begin - start):.1f}L{end:.1f} {foot - (end - start):.1f}")
        start += 8
    return "".join(parts)


def _axis(picture: Picture) -> Iterator[str]:
    for at_s, label in ticks(picture, most=10):
        x = _x(picture, at_s)
        for top, foot in _panels(picture):
            yield f'<path d="M{x:.1f} {top}V{foot}" class="s-grid"/>'
        yield _text(x, HEAT[1] + 16, label, "s-quiet", anchor="middle")


def _key(picture: Picture, y: int) -> str:
    """The lines by their names."""
    parts, x = [], float(LEFT)
    entries = [("inside", "inside"), *([("outdoor", "outdoors")] if picture.has_outdoor else [])]
    entries += [("dew", "dew point")] if picture.has_humidity else []
    for name, label in [*entries, ("edge", "band"), ("doubt", "x doubtful"), ("gap", "/// not recorded")]:
        if name in DASHES:
            parts.append(f'<path d="M{x} {y - 4}h28" class="s-{name}"/>')
            x += 34
        parts.append(_text(x, y, label, "s-quiet"))
        x += 7 * len(label) + 20
    return "".join(parts)


def _text(x: float, y: float, words: str, name: str, *, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" class="{name}" text-anchor="{anchor}">{escape(words)}</text>'


def value_ticks(low_c: float, high_c: float, unit: str, *, most: int) -> list[tuple[float, str]]:
    """Round values in the unit, with the °C where they stand."""
    low, high = text.in_unit(low_c, unit), text.in_unit(high_c, unit)
    step = next((one for one in (0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if (high - low) / one <= most), 500)
    first = -(-low // step)
    found = []
    while first * step <= high:
        value = first * step
        there_c = (value - 32.0) / 1.8 if unit == "F" else value
        found.append((there_c, text.number(value, 1)))
        first += 1
    return found


__all__ = ["scale_c", "style", "svg", "value_ticks"]

"""A picture as one HTML file that needs no network: every sample in it, drawn by uPlot, to zoom and to read.

Rule 1: what is seen can also be read: a summary, a list of the marks, a table of the same data. Without a
        script, and on paper, the drawing of `picture_svg` stands in its place.
Rule 2: the samples are packed, never thinned: one byte for a usual step, so that a winter stays under 3 MB.
Rule 3: nothing from outside is written unescaped, and the page forbids itself to fetch anything.
"""

import json
from base64 import b64encode
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from overwinter.show import picture_svg
from overwinter.show.picture import Picture
from overwinter.show.picture_colours import DARK, DASHES, LIGHT, WIDTHS, css
from overwinter.show.picture_words import KINDS, moment, names, span, summary, table, told, until, zones

LARGE, MISSING = 128, 129
"""What stands for a step of four bytes, and for no value; all else is a step of one byte."""

BREAK_FLAG = 0
"""Of a row that is no sample: it breaks the lines where nothing was recorded."""

SAFE = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'"


@dataclass(frozen=True, slots=True)
class Parts:
    """The texts of other files that go into the page."""

    script: str  # chart.js
    style: str  # chart.css
    plot_script: str  # uPlot's
    plot_style: str
    plot_licence: str


def page(picture: Picture, parts: Parts, *, made_by: str) -> str:
    """The whole file."""
    title = f"{picture.house}, {span(picture)}"
    style = sheet() + parts.plot_style + parts.style
    return "\n".join(
        [
            "<!doctype html>",
            f'<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f'<meta http-equiv="Content-Security-Policy" content="{SAFE}">',
            f"<style>{style}</style></head>",
            "<body><main>",
            f"<h1>{escape(picture.house)}</h1>",
            shown(picture),
            f"</main><footer>{escape(made_by)}. All of it is in this file; it asks no network.</footer>",
            f'<script type="application/json" id="picture">{_json(data(picture))}</script>',
            f"<!-- uPlot, which draws the lines:\n{_comment(parts.plot_licence)}\n-->",
            f"<script>{_script(parts.plot_script)}</script>",
            f"<script>{_script(parts.script)}</script>",
            "</body></html>\n",
        ]
    )


def sheet() -> str:
    """The colours, on paper, on a bright screen and on a dark one, and the rules of the still drawing."""
    return (
        f":root{{{css(LIGHT)}}}@media (prefers-color-scheme:dark){{:root{{{css(DARK)}}}}}"
        f"@media print{{:root{{{css(LIGHT)}}}}}"
    ) + picture_svg.style({name: f"var(--{name})" for name in LIGHT})


def shown(picture: Picture) -> str:
    """All there is to see of it: its span, the summary, the chart, the marks and the table."""
    return "\n".join(
        [
            f'<p class="span">{escape(f"{span(picture)}, {zones(picture)}, °{picture.unit}")}</p>',
            f'<p class="summary" id="summary">{escape(summary(picture))}</p>',
            _figure(picture),
            _marks(picture),
            _table(picture),
        ]
    )


def _figure(picture: Picture) -> str:
    panels = [("temperature", f"temperature, °{picture.unit}")]
    panels += [("humidity", "humidity inside, %")] if picture.has_humidity else []
    panels += [("heat", "heat on, % of the time")]
    drawn = "".join(
        f'<p class="name" aria-hidden="true">{name}</p><div id="panel-{key}" aria-hidden="true"></div>'
        for key, name in panels
    )
    acts = (
        ("closer", "Closer"),
        ("wider", "Wider"),
        ("earlier", "Earlier"),
        ("later", "Later"),
        ("all", "All"),
    )
    buttons = "".join(f'<button type="button" id="{name}">{words}</button>' for name, words in acts)
    return (
        f'<figure aria-label="Chart">{_key(picture)}'
        f'<div class="acts only-live" role="group" aria-label="What is shown">{buttons}</div>'
        '<p id="view" class="only-live" role="status"></p><dl id="readout" class="only-live"></dl>'
        '<div id="time" class="only-live" tabindex="0" role="slider" aria-label="Moment in the chart" '
        'aria-describedby="keys" aria-valuemin="0" aria-valuemax="1" aria-valuenow="0">'
        f"{drawn}</div>{picture_svg.svg(picture, is_alone=False)}"
        '<p class="note only-live" id="keys">Drag to look closer. With the keyboard: arrows move, '
        "+ and - zoom, Page Up and Page Down go on, 0 shows all.</p></figure>"
    )


def _key(picture: Picture) -> str:
    entries = [("inside", "inside"), *([("outdoor", "outdoors")] if picture.has_outdoor else [])]
    entries += [("dew", "dew point")] if picture.has_humidity else []
    lines = [(f'<path d="M0 7h34" class="s-{name}"/>', words) for name, words in entries]
    band = '<rect y="2" width="34" height="10" class="s-band"/><path d="M0 2h34M0 12h34" class="s-edge"/>'
    lines.append((band, "band"))
    lines.append(('<path d="M13 3l8 8m0 -8l-8 8" class="s-doubt"/>', "doubtful, and at the foot"))
    if picture.gaps:
        lines.append(('<path d="M0 14l14 -14m-6 14l14 -14m-6 14l14 -14" class="s-gap"/>', "not recorded"))
    if any(mark.kind == "alarm" for mark in picture.marks):
        lines.append(('<path d="M4 14V2h26" class="s-alarm"/>', "alarm (A)"))
    items = "".join(
        f'<li><svg viewBox="0 0 34 14" aria-hidden="true">{drawn}</svg>{words}</li>' for drawn, words in lines
    )
    return f'<ul class="key">{items}</ul>'


def _marks(picture: Picture) -> str:
    if not picture.marks:
        return ""
    rows = "".join(
        f"<tr><td>{name}</td><td>{KINDS[mark.kind]}</td><td>{escape(moment(picture, mark.from_s))}</td>"
        f"<td>{escape(until(picture, mark))}</td><td>{escape(told(picture, mark))}</td></tr>"
        for name, mark in zip(names(picture), picture.marks, strict=True)
    )
    older = (
        f"<p class=note>{picture.marks_left_out} older ones are left out.</p>"
        if picture.marks_left_out
        else ""
    )
    head = "".join(f'<th scope="col">{name}</th>' for name in ("mark", "what", "from", "until", "about"))
    return (
        f'<h2 id="marks">What happened</h2>{older}'
        '<div class="wide" tabindex="0" role="region" aria-labelledby="marks">'
        f'<table class="marks"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>'
    )


def _table(picture: Picture) -> str:
    same = table(picture)
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in same.head)
    rows = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>' + _cells(row[1:]) + "</tr>" for row in same.rows
    )
    return (
        "<details><summary>The same as a table</summary>"
        '<div class="wide" tabindex="0" role="region" aria-label="Table">'
        f"<table><caption>{escape(same.caption)}</caption>"
        f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div></details>"
    )


def _cells(cells: Iterable[str]) -> str:
    return "".join(f"<td>{escape(cell)}</td>" for cell in cells)


def data(picture: Picture) -> dict[str, object]:
    """What chart.js draws, with its columns packed."""
    at = _with_breaks(picture, [round(at_s - picture.from_s) for at_s in picture.at_s], is_time=True)
    columns = {
        "inside": _scaled(picture.inside_c, 100),
        "outdoor": _scaled(picture.outdoor_c, 100),
        "dew": _scaled(picture.dew_point_c, 100),
        "humidity": _scaled(picture.humidity_pct, 10),
        "heat": _scaled(picture.heat_share, 1000),
    }
    packed = {name: packed_text(_with_breaks(picture, values)) for name, values in columns.items()}
    flags = [BREAK_FLAG if flag is None else flag for flag in _with_breaks(picture, list(picture.flags))]
    packed |= {"at": packed_text(at), "flags": packed_text(flags)}
    return {
        "unit": picture.unit,
        "from": picture.from_s,
        "to": picture.to_s,
        "zone": [[one.from_s, one.ahead_s, one.name] for one in picture.zone],
        "outdoor": picture.has_outdoor,
        "humidity": picture.has_humidity,
        "dashes": DASHES,
        "widths": WIDTHS,
        "columns": packed,
        "band": [[one.from_s, one.to_s, one.low_c, one.high_c] for one in picture.band],
        "gaps": picture.gaps,
        "marks": [
            [mark.kind, mark.from_s, mark.to_s, name]
            for name, mark in zip(names(picture), picture.marks, strict=True)
        ],
    }


def _scaled(values: Sequence[float | None], by: int) -> list[int | None]:
    return [None if value is None else round(value * by) for value in values]


def _with_breaks(
    picture: Picture, values: Sequence[int | None], *, is_time: bool = False
) -> list[int | None]:
    """The values, and one that is none behind the last sample before each gap."""
    found = list(values)
    for begins_s, _ in reversed(picture.gaps):
        index = bisect_left(picture.at_s, begins_s)
        if picture.at_s[index] == begins_s:  # the first gap may begin before all samples
            value = values[index]
            found.insert(index + 1, value + 1 if is_time and value is not None else None)
    return found


def packed(values: Iterable[int | None]) -> bytes:
    """Steps from one value to the next, most of them in one byte."""
    found = bytearray()
    last = 0
    for value in values:
        if value is None:
            found.append(MISSING)
            continue
        step = value - last
        last = value
        if -126 <= step <= 127:
            found.append(step & 0xFF)
        else:
            found.append(LARGE)
            found += step.to_bytes(4, "little", signed=True)
    return bytes(found)


def packed_text(values: Iterable[int | None]) -> str:
    """The same as text."""
    return b64encode(packed(values)).decode("ascii")


def _json(value: Mapping[str, object]) -> str:
    # In a page "</script" would end it, wherever it stands.
    return json.dumps(value, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def _script(text: str) -> str:
    return text.replace("</script", "<\\/script").replace("<!--", "<\\!--")


def _comment(text: str) -> str:
    return text.replace("--", "- -")


__all__ = ["Parts", "data", "packed", "packed_text", "page", "sheet", "shown"]

"""A page as one HTML file: no script, nothing fetched, legible bright, dark and on paper.

Rule 1: nothing from outside is written unescaped, and the page forbids itself to fetch anything.
Rule 2: the colours are the chart's, whose contrasts are computed by a test; a mark is a word as well.
"""

from html import escape

from overwinter.show.picture_colours import DARK, LIGHT, css
from overwinter.show.plan_page import Item, Mark, Page, Section, Table

SAFE = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"

MARKED = ' class="marked"'

_COLOURS = (
    f":root{{color-scheme:light dark;{css(LIGHT)}}}"
    f"@media (prefers-color-scheme:dark){{:root{{{css(DARK)}}}}}"
    f"@media print{{:root{{color-scheme:light;{css(LIGHT)}--ground:#ffffff}}}}"
)

_COMMON = """
*{box-sizing:border-box}
body{margin:0;background:var(--ground);color:var(--ink);font:16px/1.45 system-ui,sans-serif}
h1{font-size:1.6em;line-height:1.2;margin:0 0 .2em}
h2{font-size:1em;margin:0 0 .4em;padding-top:.5em;border-top:2px solid var(--ink)}
p{margin:0 0 .5em}
h1,h2,p,li,tbody th{overflow-wrap:anywhere}
.lead{color:var(--quiet)}
ul,ol{margin:0 0 .5em;padding-left:1.3em}
li{margin:0 0 .25em}
ul.marked{list-style:none;padding:0}
ul.marked li{display:grid;grid-template-columns:6.2em 1fr;gap:.6em;align-items:start}
.mark{font-weight:700;font-size:.8em;text-align:center;border:2px solid;border-radius:.3em;padding:.05em .2em}
.mark.fits{color:var(--humidity)}.mark.mend{color:var(--alarm)}.mark.unknown{color:var(--doubt)}
.mark.none{border-color:transparent}
table{border-collapse:collapse;width:100%;margin:0 0 .5em;font-variant-numeric:tabular-nums}
th,td{text-align:left;vertical-align:top;padding:.2em .6em .2em 0;border-bottom:1px solid var(--grid)}
thead th{color:var(--quiet);font-weight:600;font-size:.85em}
tbody th{font-weight:600;min-width:7em}
td{white-space:nowrap}
td small{display:block;color:var(--quiet);font-size:.8em}
.wide{overflow-x:auto}
.note{color:var(--quiet);font-size:.85em}
footer{color:var(--quiet);font-size:.85em;margin-top:.6em}
section{break-inside:avoid}
"""

_PLAN = """
main{max-width:62em;margin:0 auto;padding:1em}
@page{margin:11mm}
@media print{
body{font-size:8.1pt;line-height:1.24}
main{max-width:none;padding:0}
main{columns:2;column-gap:6mm}
header{column-span:all}
section{margin-bottom:1mm}
li,p{margin-bottom:.3mm}
ul.marked li{grid-template-columns:5.4em 1fr}
h2{break-after:avoid}
section{break-inside:auto}
li,tr{break-inside:avoid}
td small{white-space:normal}
th,td{padding-right:.35em}
}
"""

_CARD = """
main{max-width:56em;margin:0 auto;padding:1em}
.halves{display:grid;grid-template-columns:1fr 1fr;gap:0 1.6em}
.halves>div{min-width:0}
tbody td{font-weight:700}
tbody td small{font-weight:400}
@media (max-width:44em){.halves{display:block}}
@page{margin:10mm}
@media print{
body{font-size:9.3pt;line-height:1.27}
body.roomy{font-size:10.6pt}
main{max-width:none;padding:0}
.halves{display:grid;gap:0 6mm}
footer{margin-top:1.5mm}
h1{font-size:19pt}
tbody th{min-width:15em}
li{margin-bottom:.5mm}
th,td{padding-top:.4mm;padding-bottom:.4mm}
}
"""


ROOMY_ROWS = 4
"""A card's table of so many rows leaves room for larger letters on one page."""


def plan_html(page: Page) -> str:
    """The plan's file."""
    body = "".join(section_html(section) for section in page.sections)
    return _whole(page, style=_COMMON + _PLAN, body=f"<header>{_head(page)}</header>{body}")


def card_html(page: Page) -> str:
    """The door card's file: the first section over the whole width, the others in two halves."""
    first, *others = page.sections
    left = len(others) - len(others) // 2
    halves = "".join(
        f"<div>{''.join(map(section_html, half))}</div>" for half in (others[:left], others[left:])
    )
    body = f'<header>{_head(page)}</header>{section_html(first)}<div class="halves">{halves}</div>'
    rows = len(first.table.rows) if first.table is not None else 0
    return _whole(page, style=_COMMON + _CARD, body=body, kind="roomy" if rows <= ROOMY_ROWS else "")


def _whole(page: Page, *, style: str, body: str, kind: str = "") -> str:
    return "\n".join(
        [
            "<!doctype html>",
            f'<html lang="en"><head><meta charset="utf-8"><title>{escape(page.title)}</title>',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f'<meta http-equiv="Content-Security-Policy" content="{SAFE}">',
            f"<style>{_COLOURS}{style}</style></head>",
            f'<body class="{kind}"><main>{body}<footer>{escape(page.foot)}</footer></main></body></html>\n',
        ]
    )


def _head(page: Page) -> str:
    return f'<h1>{escape(page.title)}</h1><p class="lead">{escape(page.lead)}</p>'


def section_html(section: Section) -> str:
    """One section, for any page with a style of its own."""
    parts = [f"<section><h2>{escape(section.title)}</h2>"]
    if section.lead:
        parts.append(f"<p>{escape(section.lead)}</p>")
    if section.table is not None:
        parts.append(_table(section.title, section.table))
    if section.items:
        parts.append(_list(section))
    if section.note:
        parts.append(f'<p class="note">{escape(section.note)}</p>')
    return "".join([*parts, "</section>"])


def _list(section: Section) -> str:
    is_marked = any(item.mark is not Mark.NONE for item in section.items)
    kind = "ol" if section.are_steps else "ul"
    items = "".join(f"<li>{_mark(item) if is_marked else ''}{_words(item)}</li>" for item in section.items)
    return f"<{kind}{MARKED if is_marked else ''}>{items}</{kind}>"


def _mark(item: Item) -> str:
    if item.mark is Mark.NONE:
        return '<span class="mark none"></span>'
    kind = "unknown" if item.mark is Mark.UNKNOWN else item.mark.value
    return f'<span class="mark {kind}">{escape(item.mark.value)}</span>'


def _words(item: Item) -> str:
    return f"<span>{escape(item.text)}</span>"


def _table(title: str, table: Table) -> str:
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in table.head)
    rows = "".join(
        f'<tr><th scope="row">{escape(name)}</th>{"".join(map(_cell, cells))}</tr>'
        for name, *cells in table.rows
    )
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(title)}"><table>'
        f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _cell(words: str) -> str:
    """What stands in brackets goes below, smaller."""
    before, bracket, rest = words.partition(" (")
    small = f"<small>({escape(rest)}</small>" if bracket else ""
    return f"<td>{escape(before)}{small}</td>"

"""A report as one HTML file that needs no network: its sections, and the chart of the same span below.

Rule: what is in the file, it says in words first; nothing from outside is written unescaped, and the page
forbids itself to fetch anything.
"""

import json
from html import escape

from overwinter.show.picture import Picture
from overwinter.show.picture_html import SAFE, Parts, data, sheet, shown
from overwinter.show.plan_html import section_html
from overwinter.show.plan_page import Page

_STYLE = """
section{margin:0 0 1rem}
h1,section h2,section li,section th{overflow-wrap:anywhere}
section ul{margin:.2rem 0;padding-left:1.2rem;max-width:52rem}
section th,section td{text-align:left}
td small{color:var(--quiet)}
"""


def report_html(page: Page, picture: Picture | None, parts: Parts) -> str:
    """The whole file; without a picture where there is nothing to draw."""
    drawn = "" if picture is None else f'<h2 id="chart">Chart</h2>{shown(picture)}'
    lines = [
        "<!doctype html>",
        f'<html lang="en"><head><meta charset="utf-8"><title>{escape(page.title)}</title>',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{SAFE}">',
        f"<style>{sheet()}{parts.plot_style}{parts.style}{_STYLE}</style></head>",
        f'<body><main><h1>{escape(page.title)}</h1><p class="span">{escape(page.lead)}</p>',
        *(section_html(section) for section in page.sections),
        drawn,
        f"</main><footer>{escape(page.foot)}</footer>",
    ]
    if picture is not None:
        lines += [
            f'<script type="application/json" id="picture">{_json(picture)}</script>',
            f"<!-- uPlot, which draws the lines:\n{parts.plot_licence.replace('--', '- -')}\n-->",
            f"<script>{_script(parts.plot_script)}</script>",
            f"<script>{_script(parts.script)}</script>",
        ]
    return "\n".join([*lines, "</body></html>\n"])


def _json(picture: Picture) -> str:
    # In a page "</script" would end it, wherever it stands.
    return json.dumps(data(picture), separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def _script(text: str) -> str:
    return text.replace("</script", "<\\/script").replace("<!--", "<\\!--")

"""The page for a browser, as text: the present state, alarms, and a place for the chart.

Rule 1: everything from outside is escaped; nothing is inline that a strict Content-Security-Policy forbids.
Rule 2: it can be read without a script; the script only keeps it fresh and draws the chart.
"""

from collections.abc import Callable, Iterable, Mapping
from html import escape
from typing import Any

from overwinter.show import text
from overwinter.show.status import CRITICAL_ALARMS, FINE, GRADES, facts, grade, sentence

SPANS: Mapping[str, str] = {"day": "Last day", "week": "Last week", "season": "Season"}
"""How much the chart shows, and what its link says."""

_GRADES = ("All is well", "Somebody should look at it", "Somebody has to go there")


def page(
    *,
    house: str,
    span: str,
    now: str,
    change: str = "",
    told: str = "",
    warning: str = "",
    version: str,
) -> str:
    """The whole page; `now` and `change` are HTML already. `told`: what came of the last form."""
    links = "".join(
        f'<li><a href="/?span={name}"{_current(name == span)}>{words}</a></li>'
        for name, words in SPANS.items()
    )
    return _whole(
        title=house,
        body=(
            f"<h1>{escape(text.clean(house))}</h1>{_told(warning)}"
            f'{_told(told, "told")}<div id="link" class="told" role="status"></div>'
            f'<section id="now" aria-label="Now" data-live="/stream">{now}</section>'
            "<h2>Record</h2>"
            f'<nav aria-label="How much the chart shows"><ul class="spans">{links}</ul></nav>'
            f'<section id="record" aria-label="Record" data-span="{span}">'
            '<p class="quiet">The chart is drawn by a script, and takes a moment.</p></section>'
            f"{change}"
        ),
        version=version,
        scripts=("uPlot.js", "chart.js", "page.js"),
    )


def _told(line: str, name: str = "") -> str:
    where = f' id="{name}"' if name else ""
    return f'<p class="told"{where} role="status">{escape(text.clean(line))}</p>' if line else ""


def plain_page(*, title: str, body: str, version: str) -> str:
    """A page with a form or a message, without a script."""
    return _whole(title=title, body=f"<h1>{escape(text.clean(title))}</h1>{body}", version=version)


def now(status: Mapping[str, Any] | None, *, why: str, local: Callable[[str], str]) -> str:
    """The present state; None: the guard does not answer, and why."""
    if status is None:
        return (
            '<div class="state unknown"><p class="grade">The guard does not answer</p>'
            '<p class="sentence">So it is not known how warm it is, nor whether heat is on. '
            f"{escape(_capital(text.clean(why)))}.</p></div>"
        )
    unit = "C" if status.get("unit") == "C" else "F"
    bad = grade(status)
    degrees = status.get("temperature_c")
    shown = "no reading" if degrees is None else f"{text.degrees(degrees, unit)} °{unit}"
    other = "" if degrees is None else f"{text.degrees(degrees, text.other(unit))} °{text.other(unit)}"
    said = sentence(status, unit=unit, local=local)
    if degrees is not None:  # it stands there in large letters already
        said = _capital(said.partition("; ")[2])
    rows = "".join(
        f"<div><dt>{name}</dt><dd>{escape(fact)}</dd></div>"
        for name, fact in facts(status, unit)
        if name != "house"
    )
    return (
        f'<div class="state {GRADES[bad]}"><p class="grade">{_GRADES[bad]}</p>'
        f'<p class="reading">{shown} <small>{other}</small></p>'
        f'<p class="sentence">{escape(said)}</p></div>'
        f"{_alarms(status, local)}<dl>{rows}</dl>{_sensors(status, unit)}"
    )


def _alarms(status: Mapping[str, Any], local: Callable[[str], str]) -> str:
    alarms = status.get("alarms") or []
    if not alarms:
        return "" if grade(status) != FINE else '<p class="quiet">No alarm.</p>'
    items = []
    for alarm in alarms:
        code = str(alarm.get("code"))
        kind = "critical" if code in CRITICAL_ALARMS else "warning"
        since = f" since {local(str(alarm['since']))}" if alarm.get("since") else ""
        seen = ", acknowledged" if alarm.get("acknowledged") else ""
        what = text.ALARMS.get(code)
        todo = f"<p>What to do: {escape(what + ('' if what.endswith('?') else '.'))}</p>" if what else ""
        items.append(
            f'<li class="{kind}"><h3>{escape(text.clean(code))}<small>{escape(since + seen)}</small></h3>'
            f"<p>{escape(_capital(text.clean(alarm.get('text') or '')))}</p>{todo}</li>"
        )
    return f'<h2>Alarms</h2><ul class="alarms">{"".join(items)}</ul>'


def _sensors(status: Mapping[str, Any], unit: str) -> str:
    rows = []
    for sensor in status.get("sensors") or []:
        age_s = sensor.get("age_s")
        cells = (
            # What matters first: a phone shows half of it, the rest is a push away.
            text.temperature(sensor.get("temperature_c"), unit),
            text.flag(sensor.get("flag")) + (f": {sensor['error']}" if sensor.get("error") else ""),
            text.NOTHING if age_s is None else text.duration(age_s),
            text.percent(sensor.get("humidity_pct")),
            ", ".join(str(sensor[key]) for key in ("role", "at") if sensor.get(key)),
        )
        shown = "".join(f"<td>{escape(text.clean(cell))}</td>" for cell in cells)
        rows.append(f'<tr><th scope="row">{escape(text.clean(sensor.get("name")))}</th>{shown}</tr>')
    if not rows:
        return ""
    head = "".join(
        f'<th scope="col">{name}</th>' for name in ("sensor", "now", "says", "age", "humidity", "role")
    )
    return (
        '<div class="wide" tabindex="0" role="region" aria-label="Sensors"><table class="sensors">'
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def change_part(*, settings: Mapping[str, Any] | None, token: str) -> str:
    """Mode, band and pace, for one who has signed in; None: the guard does not say what is set."""
    out = (
        f'<form method="post" action="/sign-out"><input type="hidden" name="token" value="{escape(token)}">'
        '<p><button class="plain">Sign out</button></p></form>'
    )
    if settings is None:
        inner = '<p class="quiet">The guard does not answer, so nothing can be changed now.</p>'
    else:
        inner = _change_form(settings, token)
    return f'<section id="change" aria-label="Change"><h2>Change</h2>{inner}{out}</section>'


def _change_form(settings: Mapping[str, Any], token: str) -> str:
    unit = "C" if settings.get("unit") == "C" else "F"
    band, pace_s = settings.get("band") or {}, (settings.get("sampling") or {}).get("sense_s")
    mode = str(settings.get("mode"))
    # The value that stood in the form goes along: what was not altered is not sent to the guard.
    modes = "".join(
        f'<option value="{name}"{_selected(name == mode)}>{name}: {words}</option>'
        for name, words in text.MODES.items()
    )

    def number(name: str, label: str, value: float | None, unit: str) -> str:
        shown = "" if value is None else text.number(value)
        return (
            f'<p><label for="{name}">{label}</label><input id="{name}" name="{name}" inputmode="decimal" '
            f'autocomplete="off" required size="7" value="{shown}"><span>{unit}</span>'
            f'<input type="hidden" name="was-{name}" value="{shown}"></p>'
        )

    def degrees(key: str) -> float | None:
        value = band.get(key)
        return None if value is None else text.in_unit(value, unit)

    return (
        f'<form method="post" action="/change" class="fields">'
        f'<input type="hidden" name="token" value="{escape(token)}">'
        f'<p><label for="mode">Mode</label><select id="mode" name="mode">{modes}</select>'
        f'<input type="hidden" name="was-mode" value="{escape(mode)}"></p>'
        + number("low", "Heat goes on at or below", degrees("low_c"), f"°{unit}")
        + number("high", "and off at or above", degrees("high_c"), f"°{unit}")
        + number("pace", "Sensors are read every", pace_s, "s")
        + f'<p class="quiet">{escape(text.NOT_ISOLATED)}.</p><p><button>Save</button></p></form>'
    )


def saved(changes: Mapping[str, Any], *, unit: str = "") -> str:
    """What the guard says of a change."""
    told = [
        text.changed(key, pair[0], pair[1], old_unit=unit, new_unit=unit)
        for key, pair in changes.items()
        if isinstance(pair, list | tuple) and len(pair) == 2
    ]
    return "Saved. " + "; ".join(told) if told else "Nothing was different, so nothing was changed."


def sign_in_link() -> str:
    """For one who has not signed in, where changes are allowed at all."""
    return '<p class="quiet" id="change"><a href="/sign-in">Sign in to change mode, band or pace</a></p>'


def sign_in_form(*, error: str, token: str, warning: str = "") -> str:
    """One password, no name: there is one owner."""
    said = f'<p class="told" role="alert">{escape(error)}</p>' if error else ""
    return (
        f'<h2>Sign in</h2>{_told(warning)}{said}<form method="post" action="/sign-in" class="fields">'
        f'<input type="hidden" name="token" value="{escape(token)}">'
        '<input name="user" value="owner" autocomplete="username" hidden>'
        '<p><label for="password">Password</label><input id="password" type="password" name="password" '
        'autocomplete="current-password" required autofocus></p>'
        '<p><button>Sign in</button></p></form><p><a href="/">Back to the page</a></p>'
    )


def _capital(line: str) -> str:
    return line[:1].upper() + line[1:]


def _selected(is_selected: bool) -> str:
    return " selected" if is_selected else ""


def _current(is_current: bool) -> str:
    return ' aria-current="page"' if is_current else ""


def _whole(*, title: str, body: str, version: str, scripts: Iterable[str] = ()) -> str:
    loaded = "".join(f'<script defer src="/assets/{name}"></script>' for name in scripts)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<link rel="icon" href="data:,">'
        f'<link rel="stylesheet" href="/assets/page.css">{loaded}</head><body><main>{body}</main>'
        f"<footer>overwinter {escape(version)}</footer></body></html>\n"
    )


__all__ = ["SPANS", "change_part", "now", "page", "plain_page", "saved", "sign_in_form", "sign_in_link"]

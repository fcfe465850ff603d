"""`web`: the page for a browser; what its service runs."""

import os
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from overwinter.cli.options import Stop, Verb, complain
from overwinter.cli.places import Places, places

if TYPE_CHECKING:
    from collections.abc import Callable

    from overwinter.core.nouns import Site
    from overwinter.core.telling import Web
    from overwinter.web.app import Parts

VERB = Verb(
    "web",
    about="""The page for a browser: how it is there now, alarms and what to do, the chart of the last day,
week or season; live, on a phone as well. Stays in the foreground until SIGTERM.

Where it listens stands under [web] in site.toml: this machine alone, if nothing else is said. It only shows,
unless `change = true` stands there; then mode, band and pace may be changed after signing in. For that the
service needs the credential web-password and the group overwinter; --new-password prints what to do. Off this
machine a password needs TLS: put a proxy before the page. Its two packages come with make install.""",
    examples=(
        "overwinter web",
        "overwinter web --site ./site.toml --logs ./logs --socket ./run/control.sock",
        "overwinter web --new-password",
    ),
    options={"new-password": ("", "ask for a password and print the line to keep instead of it")},
)
CREDENTIAL = "web-password"
COLUMNS = 2880
"""Into so many columns of time a span is cut: several for each pixel, and half a minute each of a day."""

THROUGH_GUARD_AT_MOST = 10_000
"""So many lines the guard gives at once."""

DROP_IN = f"""[Service]
LoadCredential={CREDENTIAL}:/etc/overwinter/{CREDENTIAL}
SupplementaryGroups=overwinter"""


def run(argv: list[str]) -> int:
    """Answer browsers until a signal ends it."""
    given = VERB.parse(argv)
    if given.has("new-password"):
        return _new_password()
    where = places(given.options, client=True)
    site, web = _site(where)
    password = _password(os.environ.get("CREDENTIALS_DIRECTORY"))
    from overwinter.daemon import commentary

    commentary.configure()
    log = commentary.get()
    try:
        from overwinter.web.server import bound, serve
    except ImportError as error:
        raise Stop(
            1,
            f"the page needs the packages starlette and uvicorn ({error})",
            "make install brings them; in the source tree: pip install '.[web]'",
        ) from None
    from overwinter.daemon.service import Service

    page_parts = _parts(
        where,
        site,
        web,
        password,
        wrong_password=lambda address: log.warning("wrong password", address=address),
    )
    try:
        listening = bound(web.bind, web.port)
    except OSError as error:
        raise Stop(1, f"[web] bind = {web.bind!r}, port = {web.port}: {error.strerror or error}") from None
    host = f"[{web.bind}]" if ":" in web.bind else web.bind
    log.info("page", url=f"http://{host}:{web.port}/", changes=web.change and password is not None)
    if web.change and password is None:
        log.warning("changes are allowed, but there is no password", see="overwinter web --help")
    if web.change and web.bind not in ("127.0.0.1", "::1"):
        log.warning(
            "not encrypted: a password can be read on the way; a proxy with TLS mends it", bind=web.bind
        )
    service = Service(lambda text: log.warning("systemd was not told", why=text))
    return serve(page_parts, listening, service=service, log=log)


def _site(where: Places) -> tuple["Site", "Web"]:
    from overwinter.settings.site import parse_site

    try:
        data = Path(where.site).read_bytes()
    except OSError as error:
        raise Stop(1, f"{where.site}: {error.strerror or error}") from None
    parsed = parse_site(data)
    if parsed.site is None:
        raise Stop(1, *(problem.text for problem in parsed.problems))
    if parsed.site.web is None:
        raise Stop(
            1,
            f"{where.site} has no [web], so no page is wanted",
            "a line with [web] alone is enough: then it listens on 127.0.0.1, port 8420",
        )
    return parsed.site, parsed.site.web


def _password(folder: str | None) -> str | None:
    """The kept line; None: there is none."""
    from overwinter.web.passwords import is_kept

    if not folder:
        return None
    path = Path(folder) / CREDENTIAL
    try:
        line = path.read_text("utf-8").strip()
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise Stop(1, f"the credential {path} cannot be read: {error}") from None
    if not is_kept(line):
        raise Stop(1, f"the credential {path} is no line that `overwinter web --new-password` printed")
    return line


def _new_password() -> int:
    import getpass

    from overwinter.web.passwords import hashed

    try:
        first, again = getpass.getpass("new password: "), getpass.getpass("once more: ")
    except EOFError:
        raise Stop(1, "no password was typed") from None
    if first != again:
        raise Stop(1, "these were two different passwords; nothing was made")
    try:
        line = hashed(first)
    except ValueError as error:
        raise Stop(1, str(error)) from None
    complain(
        f"keep this line, readable by root alone, in /etc/overwinter/{CREDENTIAL}; then",
        "`systemctl edit overwinter-web` and put there:",
        DROP_IN,
    )
    print(line)
    return 0


def _parts(
    where: Places,
    site: "Site",
    web: "Web",
    password: str | None,
    *,
    wrong_password: "Callable[[str], None]",
) -> "Parts":
    from importlib.resources import files

    from overwinter import __version__
    from overwinter.cli.drawing import parts
    from overwinter.cli.moments import local_with_distance
    from overwinter.show.picture_html import sheet
    from overwinter.web.app import Parts

    chart = parts()
    room = files("overwinter.web")
    style = sheet() + chart.plot_style + chart.style + room.joinpath("page.css").read_text("utf-8")
    script = "text/javascript"
    unit = _last_told_unit(where)
    return Parts(
        house=site.name,
        version=__version__,
        socket=where.socket,
        web=web,
        password=password,
        assets={
            "page.css": ("text/css", style.encode()),
            "uPlot.js": (script, chart.plot_script.encode()),
            "uPlot.LICENSE.txt": ("text/plain", chart.plot_licence.encode()),
            "chart.js": (script, chart.script.encode()),
            "page.js": (script, room.joinpath("page.js").read_bytes()),
        },
        draw=lambda from_s, to_s: _drawn(where, site.name, unit(), from_s, to_s),
        local=local_with_distance,
        wrong_password=wrong_password,
    )


def _last_told_unit(where: Places) -> "Callable[[], str]":
    """The guard's unit for the screen; while it does not answer, the one it told last."""
    from overwinter.cli.history import unit_of

    last = "F"

    def unit() -> str:
        nonlocal last
        last = unit_of(where) or last
        return last

    return unit


def _drawn(where: Places, house: str, unit: str, from_s: float, to_s: float) -> dict[str, Any]:
    """The chart of a span, as the page wants it."""
    from overwinter.cli.drawing import picture_of
    from overwinter.cli.history import from_guard, reader
    from overwinter.show.picture_html import data, shown
    from overwinter.web.app import NoRecord
    from overwinter.web.thin import thinned

    since, until = datetime.fromtimestamp(from_s, UTC), datetime.fromtimestamp(to_s, UTC)
    most = THROUGH_GUARD_AT_MOST
    is_newest_only = False
    try:
        try:
            read = reader(where, "lines", since=since, until=until, skipped=Counter())
        except Stop as stop:
            if stop.code != 1:
                raise
            # The files are not for this user, or the span is too long for the guard: so its newest lines.
            read = from_guard(where, "lines", since=since, until=until, limit=most)
            is_newest_only = True
        whole = picture_of(read(), house=house, unit=unit, since=since, until=until)
    except Stop as stop:
        raise NoRecord(stop.lines[0]) from None
    except OSError as error:
        raise NoRecord(str(error)) from None
    if not whole.at_s:
        return {"html": '<p class="quiet">Nothing was recorded in this span.</p>', "picture": None}
    html = shown(whole)
    if is_newest_only and len(whole.at_s) >= most:
        note = f"Only the newest {most} samples: the logbook itself cannot be read from here."
        html = f'<p class="told">{note}</p>{html}'
    thin = thinned(whole, COLUMNS)
    return {"html": html, "picture": {**data(thin), "thin": len(thin.at_s) < len(whole.at_s)}}

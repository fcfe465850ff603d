"""`chart`: a picture of temperature, band, humidity and heat, in the terminal or as a file."""

import os
import sys
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

from overwinter.cli.drawing import parts, picture_of
from overwinter.cli.files import write_whole
from overwinter.cli.history import OPTIONS, complain_of, reader, unit_of
from overwinter.cli.moments import moment
from overwinter.cli.options import Stop, Verb, complain
from overwinter.cli.places import Places, places
from overwinter.show.picture import Picture

VERB = Verb(
    "chart",
    about="""A picture of temperature, band, humidity and heat, the last 24 h if nothing else is said.

In the terminal, or with -o as a file: .html has every sample in it, can be zoomed and needs no network;
.svg and .png (the latter with `pip install '.[png]'` in the source tree) are still. A span of more than
a week is read from the logbook's files: give their folder with --logs where they are not found.""",
    examples=(
        "overwinter chart",
        "overwinter chart --since 120d -o winter.html",
        "overwinter chart --since '2026-01-09 18:00' --until 2026-01-10 --unit C",
    ),
    options={
        "o": ("FILE", "write it there: FILE.html, FILE.svg or FILE.png"),
        "since": OPTIONS["since"],
        "until": OPTIONS["until"],
        "unit": ("F|C", "the unit to show; else that of the settings"),
    },
)
PNG_WIDTH = 1920


def run(argv: list[str]) -> int:
    """Draw it."""
    given = VERB.parse(argv)
    now = datetime.now(UTC)
    file = given.value("o")
    suffix = _suffix(file) if file is not None else ""
    asked_unit = given.value("unit")
    if asked_unit is not None and asked_unit.upper() not in {"F", "C"}:
        raise VERB.wrong(f"--unit {asked_unit!r} is none: F or C")
    since = moment(given.value("since") or "24h", option="--since", ahead=False, now=now)
    asked_until = given.value("until")
    until = moment(asked_until, option="--until", ahead=False, now=now) if asked_until else now
    if until <= since:
        raise VERB.wrong(f"--until {asked_until or 'now'} is not after --since")
    where = places(given.options, client=True)
    unit = asked_unit.upper() if asked_unit else unit_of(where) or "F"
    skipped: Counter[str] = Counter()
    try:
        read = reader(where, "lines", since=since, until=until, skipped=skipped)
    except Stop as stop:
        if stop.code != 1 or where.is_named("logs"):
            raise
        raise Stop(1, *stop.lines, "a long span is read from the logbook's files: --logs FOLDER") from None
    drawn = picture_of(read(), house=_house(where), unit=unit, since=since, until=min(until, now))
    complain_of(skipped)
    if not drawn.at_s:
        complain("no samples in this span, so there is nothing to draw", *_last_sample(where))
        return 0
    if file is None:
        print(_in_terminal(drawn))
        return 0
    write_whole(Path(file), _rendered(drawn, suffix))
    complain(f"written: {file}")
    return 0


def _suffix(file: str) -> str:
    suffix = Path(file).suffix.lower()
    if suffix not in {".html", ".svg", ".png"}:
        raise Stop(2, f"-o {file}: its name must end in .html, .svg or .png")
    return suffix


def _house(where: Places) -> str:
    """The name in site.toml; a logbook that was only pointed at is called by its folder."""
    is_only_folder = where.is_named("logs") and not (where.is_named("site") or where.is_named("socket"))
    if is_only_folder:
        return f"logbook in {where.logs}"
    from overwinter.settings.site import parse_site

    try:
        site = parse_site(Path(where.site).read_bytes()).site
    except OSError:
        site = None
    return site.name if site is not None else "pump house"


def _last_sample(where: Places) -> list[str]:
    from overwinter.cli.moments import local
    from overwinter.store.lines import last_lines

    try:
        lines = [line for line in last_lines(Path(where.logs), 1000) if line.get("event") == "sample"]
    except OSError:
        return []
    return [f"the last one there is of {local(str(lines[-1].get('t')))}; see --since"] if lines else []


def _in_terminal(drawn: Picture) -> str:
    import shutil

    from overwinter.show.picture_text import chart

    size = shutil.get_terminal_size((80, 24))
    encoding = (sys.stdout.encoding or "ascii").lower().replace("-", "")
    # The console of the kernel has letters for 256 or 512 signs, and the dots are not among them.
    is_plain = not encoding.startswith("utf") or os.environ.get("TERM") in ("linux", "dumb")
    return chart(drawn, width=size.columns, height=size.lines - 1, is_plain=is_plain)


def _rendered(drawn: Picture, suffix: str) -> bytes:
    if suffix == ".html":
        return _page(drawn).encode()
    from overwinter.show.picture_svg import WIDTH, svg

    shown = svg(drawn)
    if suffix == ".svg":
        return shown.encode()
    try:
        import resvg_py
    except ImportError:
        raise Stop(
            1, "-o FILE.png needs a package more: pip install '.[png]'", "without it: .html, .svg"
        ) from None
    return bytes(resvg_py.svg_to_bytes(svg_string=shown, zoom=PNG_WIDTH // WIDTH))


def _page(drawn: Picture) -> str:
    from overwinter import __version__
    from overwinter.show.picture_html import page

    at = datetime.now(UTC).astimezone()
    return page(drawn, parts(), made_by=f"Made by overwinter {__version__} at {at:%Y-%m-%d %H:%M %Z}")

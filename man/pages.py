"""Writes the man pages into FOLDER/man1, man5 and man8, from the program's own tables: `python pages.py
FOLDER`.

Verbs, options, settings, their ranges and defaults come from the program; what may stand in site.toml is
asked of the parser, which names what is allowed when it refuses. Only what no table holds is written
here: what the service is, and what to mind about it.
"""

import re
import sys
import tomllib
from importlib import import_module
from pathlib import Path

from overwinter import __version__
from overwinter.cli import GROUPS
from overwinter.cli.options import PLACES, dashed
from overwinter.core.units import Unit
from overwinter.settings.schema import DEFAULTS, GAPS, ROWS, Kind, Row, allowed, measured, value_of
from overwinter.settings.site import parse_site
from overwinter.show.text import MODES, NOT_ISOLATED
from overwinter.wire import methods

EXIT_CODES = (
    ("0", "done"),
    ("1", "refused or failed; standard error says why"),
    ("2", "wrong usage"),
    ("3", "the guard cannot be reached"),
)
TREE = Path(__file__).parents[1]
HEAD = re.compile(r"#?\s*\[(\[?)([a-z.]+)\]?\](?:\s+#\s*(.*))?$")
ENTRY = re.compile(r"#?\s*([a-z][a-z0-9_]*) = ([^#]*?)\s*(?:#\s*(.*))?$")


class Page:
    """One man page, as lines of roff."""

    def __init__(self, name: str, section: int, about: str) -> None:
        self.name, self.section = name, section
        self.lines = [
            '.\\" Made at installation from the tables of the program.',
            f'.TH {name} {section} "" "overwinter {__version__}"',
            ".nh",
            ".SH NAME",
            f"{_roff(name)} \\- {_roff(about)}",
        ]

    def head(self, text: str) -> None:
        """A heading."""
        self.lines.append(f".SH {_roff(text)}")

    def lesser(self, text: str) -> None:
        """A heading below that."""
        self.lines.append(f".SS {_roff(text)}")

    def text(self, *paragraphs: str) -> None:
        """Running text."""
        for paragraph in paragraphs:
            self.lines += [".PP", _roff(" ".join(paragraph.split()))]

    def item(self, term: str, text: str) -> None:
        """A term and what it means."""
        self.lines += [".TP", f"\\fB{_roff(term)}\\fR", _roff(" ".join(text.split()))]

    def verbatim(self, text: str) -> None:
        """Lines as they are."""
        self.lines += [".PP", ".in +4n", ".nf"]
        self.lines += [_roff(line) for line in text.splitlines()]
        self.lines += [".fi", ".in"]

    def write(self, folder: Path) -> None:
        """Into `folder`/man<section>/."""
        path = folder / f"man{self.section}" / f"{self.name}.{self.section}"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join((*self.lines, "")), encoding="ascii")


def command() -> Page:
    """overwinter(1)."""
    page = Page("overwinter", 1, "keep an unoccupied pump house just above freezing")
    page.head("SYNOPSIS")
    page.text("overwinter VERB [WORD ...] [OPTION ...]", "overwinter help VERB")
    page.head("DESCRIPTION")
    page.text(
        """A service keeps a pump house just above freezing with a heater on a relay and a cheap sensor; see
        overwinter(8). This command asks it and changes it.""",
        """A temperature says its unit, 36F or 2.2C; a bare number is in the settings' unit. A negative
        number is never taken for an option. A change is answered with "saved" only once it lies on the
        disk.""",
        f"{NOT_ISOLATED}.",
    )
    page.head("VERBS")
    for title, verbs in GROUPS:
        page.lesser(title[0].upper() + title[1:])
        for name, about in verbs:
            _verb(page, name, about)
    page.head("OPTIONS OF EVERY VERB")
    for option, (takes, about) in PLACES.items():
        page.item(f"{dashed(option)} {takes}", about)
    page.item("--help", "how the verb is called, with examples")
    page.head("EXIT STATUS")
    for code, meaning in EXIT_CODES:
        page.item(code, meaning)
    page.text(
        """status --exit-code follows the convention of monitoring plugins instead: 0 fine, 1 warning, 2
        critical, 3 unknown."""
    )
    page.head("ENVIRONMENT")
    for name in ("site", "state", "logs", "socket"):
        page.item(f"OVERWINTER_{name.upper()}", f"as {dashed(name)}, which comes first")
    page.item("NO_COLOR", "no colour, whatever the terminal can do")
    _see(page, "overwinter(8), overwinter-site.toml(5), overwinter-settings.toml(5)")
    return page


def _verb(page: Page, name: str, about: str) -> None:
    verb = import_module(f"overwinter.cli.{name.replace('-', '_')}").VERB
    page.item(verb.line(), about)
    page.lines.append(".RS")
    for paragraph in verb.about.strip().split("\n\n"):
        if re.search(r"^\S+ {2,}", paragraph, re.MULTILINE):  # a table of words and meanings
            page.verbatim(paragraph)
        else:
            page.text(paragraph)
    for option, (takes, text) in verb.options.items():
        page.item(f"{dashed(option)} {takes}".rstrip(), text)
    page.verbatim("\n".join(verb.examples))
    page.lines.append(".RE")


def settings() -> Page:
    """overwinter-settings.toml(5)."""
    page = Page("overwinter-settings.toml", 5, "what the guard of a pump house goes by")
    page.head("DESCRIPTION")
    page.text(
        """The guard writes settings.toml into its state folder, /var/lib/overwinter, when overwinter set,
        band or mode change something. It may be edited by hand: systemctl reload overwinter takes the
        edit up, and so does the next change from the shell. Comments stay. A key that is missing has its
        default; one that cannot be read falls back to the last good value or the default, key by key, and
        an alarm says so. A file with keys of a newer version is left as it is.""",
        "Every temperature of the file is in the file's own unit; durations and paces say theirs in the key.",
    )
    page.head("KEYS")
    for row in ROWS:
        unit = _default(row, Unit.F)
        page.item(row.key, f"{row.about}. Default {unit}; allowed {_range(row)}.")
    page.head("RULES BETWEEN KEYS")
    for gap in GAPS:
        note = f"; {gap.note}" if gap.note else ""
        page.text(f"{gap.upper} is {gap.allowed(gap.upper, Unit.F)} (in F){note}.")
    page.text("In mode freeze a low end under 33.8 F (1 C) is refused unless --anyway is said.")
    page.head("MODES")
    for mode, about in MODES.items():
        page.item(mode, about)
    page.head("EXAMPLE")
    page.verbatim('mode = "freeze"\nunit = "F"\n\n[band]\nlow = 36.0\nhigh = 40.0')
    _see(page, "overwinter(1), overwinter(8)")
    return page


def _default(row: Row, unit: Unit) -> str:
    if row.kind is Kind.CHOICE:
        return str(getattr(DEFAULTS, row.field))
    return measured(row, value_of(DEFAULTS, row.key), unit)


def _range(row: Row) -> str:
    in_f = allowed(row, Unit.F)
    return f"{in_f} ({allowed(row, Unit.C)})" if row.kind is Kind.TEMPERATURE else in_f


def site(example: str) -> Page:
    """overwinter-site.toml(5)."""
    page = Page("overwinter-site.toml", 5, "what is wired and built at a pump house")
    page.head("DESCRIPTION")
    page.text(
        """/etc/overwinter/site.toml is the owner's file; the guard only reads it. What is wrong in it is
        told all at once, each with key, value and what is allowed. A site.toml that started the guard is
        kept as a last good copy in the state folder: at a start with a bad one that copy runs, and an
        alarm says so; without a copy the guard does not start. A reload takes up everything but pins,
        kinds, active_high and contact, which need a restart.""",
        """Temperatures are in the file's unit. A length may be given as _m, _mm, _ft or _in, an area as
        _m2 or _ft2, a volume as _m3 or _ft3: one of them.""",
    )
    page.head("KEYS")
    for table, keys in site_keys(example).items():
        page.lesser(table)
        for key, (text, says) in keys.items():
            page.item(key, f"{text}. Allowed: {says}." if text else f"Allowed: {says}.")
    page.head("EXAMPLE")
    page.verbatim(example)
    _see(page, "overwinter(1), overwinter(8)")
    return page


def site_keys(example: str) -> dict[str, dict[str, tuple[str, str]]]:
    """By table: every key of the example, those behind a `#` too, with its remark and what the parser
    allows."""
    found: dict[str, dict[str, tuple[str, str]]] = {}
    table, is_list = "", False
    for line in example.splitlines():
        if head := HEAD.match(line):
            table, is_list = head[2], bool(head[1])
            found.setdefault(f"[[{table}]]" if is_list else f"[{table}]", {})
        elif table and (entry := ENTRY.match(line)):
            keys = found[f"[[{table}]]" if is_list else f"[{table}]"]
            says = _allowed_in(table, is_list=is_list, key=entry[1], example=example)
            if says is not None and not keys.get(entry[1], ("", ""))[0]:
                keys[entry[1]] = (entry[3] or "", says)
    return found


def _allowed_in(table: str, *, is_list: bool, key: str, example: str) -> str | None:
    """What the parser says when the key holds something that it can never be; None if it knows no such
    key."""
    tree = tomllib.loads(example)
    *above, last = table.split(".")
    place = tree
    for name in above:
        place = place.setdefault(name, {})
    entry = place.setdefault(last, [{}] if is_list else {})
    for one in entry if is_list else [entry]:
        one[key] = {"never": "this"}
    path = f"{table}[1].{key}" if is_list else f"{table}.{key}"
    for problem in parse_site(_toml(tree)).problems:
        if problem.key == path:
            return None if "unknown" in problem.text else problem.allowed
    return None


def _toml(tree: dict[str, object]) -> str:
    """A tree as inline TOML, enough for asking the parser."""
    return "\n".join(f"{key} = {_inline(value)}" for key, value in tree.items())


def _inline(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_inline(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_inline, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


def service() -> Page:
    """overwinter(8)."""
    page = Page("overwinter", 8, "the guard of a pump house, as a service")
    page.head("DESCRIPTION")
    page.text(
        """overwinter.service runs overwinter guard as the user overwinter: it reads the sensors, decides
        by the settings whether heat is on, drives the relay, records, and answers on a socket. Blind in
        mode freeze means heat, unless something believable says it is warm. It is restarted whenever it
        ends, and within 30 seconds if it hangs.""",
        f"{NOT_ISOLATED}.",
        """It is no safety device: an independent high limit with manual reset belongs into the heater's
        circuit. With contact NO a stopped guard means no heat; with NC it means heat for as long as there
        is power.""",
    )
    page.head("UNITS")
    for unit in sorted((TREE / "systemd").iterdir()):
        if unit.name.startswith(("overwinter@", "overwinter-door@")):
            continue
        if found := re.search(r"(?m)^Description=(?:overwinter: )?(.*)", unit.read_text(encoding="utf-8")):
            page.item(unit.name.replace("@.", "@NAME."), found[1].replace("%i", "NAME"))
    page.item(
        "overwinter@NAME.service",
        """the guard of one more house on the same board, with folders and a socket of its own. Write
        /etc/overwinter@NAME/site.toml, then: systemctl enable --now overwinter@NAME. Its commands take
        --house NAME.""",
    )
    page.text("systemctl reload overwinter takes up settings.toml and site.toml after an edit by hand.")
    page.head("FILES")
    for path, about in (
        ("/etc/overwinter/site.toml", "what is wired and built; overwinter-site.toml(5)"),
        ("/var/lib/overwinter/settings.toml", "the settings; overwinter-settings.toml(5)"),
        (
            "/var/log/overwinter/logbook.jsonl",
            "samples and events, one JSON object a line; older ones in .1, .2 ...",
        ),
        ("/run/overwinter/control.sock", "the socket"),
        (
            "/opt/overwinter",
            "the program, in a virtual environment of its own; current is the version in use",
        ),
    ):
        page.item(path, about)
    page.text("The commentary of the guard is in the journal: journalctl -u overwinter.")
    page.head("SOCKET")
    page.text(
        """JSON-RPC 2.0, one message a line. Any user of the machine may read; root, the user overwinter
        and members of the group overwinter may change."""
    )
    page.item("anybody", ", ".join(sorted(methods.READS)))
    page.item("the group overwinter", ", ".join(sorted(methods.CHANGES)))
    page.head("SIGNALS")
    page.item("SIGTERM, SIGINT", "release the relay, write what is not yet written, end")
    page.item("SIGHUP", "read settings.toml and site.toml again")
    page.head("INSTALLING")
    page.text(
        """From the source: sudo make install, and again for an upgrade. It builds the new version beside
        the old one and switches by one rename, keeps settings and logbook, and restarts a guard that
        runs; if the new one does not start, the old one comes back. After an upgrade of the system that
        brings another Python, run it again. sudo make uninstall keeps settings, site.toml and logbook
        unless PURGE=1 is said."""
    )
    page.text("To change settings without sudo:")
    page.verbatim("sudo adduser YOU overwinter")
    _see(
        page,
        "overwinter(1), overwinter-site.toml(5), overwinter-settings.toml(5), systemd.exec(5), journalctl(1)",
    )
    return page


def _see(page: Page, text: str) -> None:
    page.head("SEE ALSO")
    page.text(text)


def _roff(text: str) -> str:
    """Text that roff shows as it is, in ASCII."""
    escaped = text.replace("\\", "\\e").replace("-", "\\-").replace("'", "\\(aq")
    escaped = escaped.replace("^", "\\(ha").replace("~", "\\(ti").replace("`", "\\(ga")
    escaped = "".join(letter if letter.isascii() else f"\\[u{ord(letter):04X}]" for letter in escaped)
    return f"\\&{escaped}" if escaped.startswith(".") else escaped


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("say where to: pages.py FOLDER")
    for made in (
        command(),
        settings(),
        site((TREE / "etc/site.toml").read_text(encoding="utf-8")),
        service(),
    ):
        made.write(Path(sys.argv[1]))

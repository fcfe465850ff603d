"""Fills the made parts of docs/*.md from the program's own tables: `python tools/make_reference.py`.

A made part stands between `<!-- made: NAME -->` and `<!-- end of NAME -->`; all around it is written by hand.
With --check nothing is written, and the exit code is 1 where a file says something else than the program.
"""

import re
import runpy
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import MISSING, fields
from importlib import import_module
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))  # for tests.published

from tests.published.rows import LIBRARIES, SOURCES, Check  # noqa: E402
from tests.published.test_values import BOOKS  # noqa: E402

from overwinter import schemas  # noqa: E402 (the path comes first)
from overwinter.cli import GROUPS  # noqa: E402
from overwinter.cli.options import PLACES, dashed  # noqa: E402
from overwinter.core.nouns import (  # noqa: E402
    Circuit,
    Code,
    ContactSpec,
    HeaterSpec,
    PipeSpec,
    RelaySpec,
    SensorSpec,
    Site,
)
from overwinter.core.telling import Mqtt, Notices, Web  # noqa: E402
from overwinter.core.units import Unit  # noqa: E402
from overwinter.core.watch import Episode, health  # noqa: E402
from overwinter.physics.materials import MATERIALS  # noqa: E402
from overwinter.rehearse.nouns import FAULTS  # noqa: E402
from overwinter.settings.schema import (  # noqa: E402
    DEFAULTS,
    GAPS,
    ROWS,
    Kind,
    Row,
    allowed,
    measured,
    value_of,
)
from overwinter.show import text as words  # noqa: E402
from overwinter.show.status import CRITICAL_ALARMS  # noqa: E402
from overwinter.wire import methods, rpc  # noqa: E402

MADE = re.compile(r"(<!-- made: ([a-z ]+) -->\n)(.*?)(<!-- end of \2 -->\n)", re.DOTALL)
PAGES = runpy.run_path(str(ROOT / "man/pages.py"))
NOUNS: dict[str, Any] = {
    "site": Site,
    "sensor": SensorSpec,
    "relay": RelaySpec,
    "heater": HeaterSpec,
    "contact": ContactSpec,
    "logbook": Site,
    "pipe": PipeSpec,
    "circuit": Circuit,
    "notices": Notices,
    "mqtt": Mqtt,
    "web": Web,
}
ERRORS = {
    rpc.PARSE_ERROR: "the line is no JSON",
    rpc.INVALID_REQUEST: "JSON, but no request",
    rpc.METHOD_NOT_FOUND: "no such method, or not built yet",
    rpc.INVALID_PARAMS: "the params are not what the method takes",
    rpc.INTERNAL_ERROR: "a mistake of the program",
    rpc.NOT_PERMITTED: "this user may not change anything",
    rpc.NOT_STORED: "the disk did not take it; nothing was changed",
    rpc.REFUSED: "a rule refuses it; nothing was changed",
}


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table of Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(map(_cell, line)) + " |" for line in lines)


def _cell(value: str) -> str:
    return " ".join(value.split()).replace("|", "\\|")


def code(value: object) -> str:
    """As something to type."""
    return f"`{value}`"


def settings() -> str:
    """Every key of settings.toml."""
    return table(
        ("key", "default", "allowed", "what it does"),
        ((code(row.key), _default(row), _allowed(row), row.about) for row in ROWS),
    )


def _default(row: Row) -> str:
    if row.kind is Kind.CHOICE:
        return code(getattr(DEFAULTS, row.field))
    value = value_of(DEFAULTS, row.key)
    if row.kind is Kind.TEMPERATURE:
        return f"{measured(row, value, Unit.F)} ({words.degrees(value, 'C')} C)"
    return measured(row, value, Unit.F)


def _allowed(row: Row) -> str:
    in_f = allowed(row, Unit.F)
    return f"{in_f} ({allowed(row, Unit.C)})" if row.kind is Kind.TEMPERATURE else in_f


def rules() -> str:
    """What must hold between two keys."""
    found = (
        f"- {code(gap.upper)} is {gap.allowed(gap.upper, Unit.F).replace(gap.lower, code(gap.lower))}"
        f"{'; ' + gap.note if gap.note else ''}."
        for gap in GAPS
    )
    return "\n".join(found)


def site() -> str:
    """Every key of site.toml, by table."""
    parts = []
    example = (ROOT / "etc/site.toml").read_text(encoding="utf-8")
    for name, keys in PAGES["site_keys"](example).items():
        usual = _usual(name.strip("[]"))
        rows = [
            (code(key), usual.get(key, ""), says.split(", such as ")[0], remark)
            for key, (remark, says) in keys.items()
        ]
        parts.append(f"### {code(name)}\n\n" + table(("key", "default", "allowed", "what it is"), rows))
    return "\n\n".join(parts)


def _usual(of: str) -> dict[str, str]:
    """What a key of this table is where the file does not say."""
    if of not in NOUNS:
        return {}
    found = {one.name: one.default for one in fields(NOUNS[of])}
    found = {key: value for key, value in found.items() if value not in (MISSING, None, "", ())}
    return {
        key: str(value).lower() if isinstance(value, bool) else f"{value}" for key, value in found.items()
    }


def verbs() -> str:
    """Every verb with its options."""
    parts = []
    for group, entries in GROUPS:
        parts.append(f"### {group[0].upper()}{group[1:]}")
        for name, _ in entries:
            parts.append(f"#### {name}")
            verb = import_module(f"overwinter.cli.{name.replace('-', '_')}").VERB
            parts += [code(verb.line()), _paragraphs(verb.about)]
            if verb.options:
                rows = [(code(f"{dashed(one)} {takes}".strip()), text) for one, (takes, text) in _named(verb)]
                parts.append(table(("option", "what it does"), rows))
    rows = [(code(f"{dashed(one)} {takes}"), text) for one, (takes, text) in PLACES.items()]
    parts += ["### With every verb", table(("option", "what it says"), rows)]
    return "\n\n".join(parts)


def _named(verb: Any) -> Iterator[tuple[str, tuple[str, str]]]:
    yield from verb.options.items()


def _paragraphs(about: str) -> str:
    """Running text as it is; a table of words and meanings as a block."""
    return "\n\n".join(
        f"```text\n{paragraph}\n```"
        if re.search(r"^\S+ {2,}", paragraph, re.MULTILINE)
        else " ".join(paragraph.split())
        for paragraph in about.strip().split("\n\n")
    )


def exits() -> str:
    """Exit codes."""
    return table(("code", "meaning"), ((code(number), text) for number, text in PAGES["EXIT_CODES"]))


def alarms() -> str:
    """Every alarm: how bad, and what to do."""
    rows = []
    for one in Code:
        found = health([Episode(one, "", "", 0.0)], is_blind=False, is_function_check=False)
        what = words.ALARMS[one.value]
        is_critical = one.value in CRITICAL_ALARMS or found.value == "failure"
        rows.append((code(one.value), "critical" if is_critical else "warning", found.value, what))
    return table(("code", "`status --exit-code`", "health", "what to do"), rows)


def _words(of: Mapping[Any, str], head: str) -> str:
    return table((head, "in words"), ((code(key), text) for key, text in of.items()))


def reasons() -> str:
    """Why heat is on or off."""
    return _words(words.REASONS, "reason")


def healths() -> str:
    """Health."""
    return _words(words.HEALTH, "health")


def flags() -> str:
    """Flags of a reading."""
    return _words(words.FLAGS, "flag")


def modes() -> str:
    """Modes."""
    return _words(words.MODES, "mode")


def faults() -> str:
    """What may go wrong in a rehearsal."""
    rows = []
    for name, kind in FAULTS.items():
        size = f"`by`: {kind.least:g}..{kind.most:g} {kind.unit}, usually {kind.by:g}" if kind.unit else ""
        rows.append((code(name), kind.about, ", ".join(filter(None, ["`sensor`" * kind.of_sensor, size]))))
    return table(("kind", "what happens", "also says"), rows)


def materials() -> str:
    """What layers may be made of."""
    rows = [
        (code(one.name), ", ".join(map(code, one.aliases)), f"{one.conductivity_w_mk:g}", one.source)
        for one in MATERIALS
    ]
    return table(("material", "also called", "W/(m K)", "source"), rows)


def calls() -> str:
    """The methods of the socket."""
    rows = [(code(name), "any user of the machine") for name in sorted(methods.READS)]
    rows += [(code(name), "root, the user and the group `overwinter`") for name in sorted(methods.CHANGES)]
    return table(("method", "who may"), rows)


def errors() -> str:
    """The errors of the socket."""
    return table(("code", "meaning"), ((code(number), text) for number, text in ERRORS.items()))


def lines() -> str:
    """The fields of each kind of logbook line."""
    schema = schemas.load("logbook-line")
    known = schema["$defs"]
    rows = []
    for name in schema["properties"]["event"]["enum"]:
        of = known.get(f"event-{name}")
        if of is None:
            rows.append((code(name), "not promised"))
            continue
        must = of["required"]
        fields = [key for key in of["properties"] if key not in {"uid", "user", "pid"}]
        told = ", ".join(code(key) + ("" if key in must else " (may be missing)") for key in fields)
        who = "; who did it as `uid`, `user`, `pid`" if "uid" in of["properties"] else ""
        rows.append((code(name), told + who))
    return table(("event", "its fields, beside `t`, `up`, `boot`"), rows)


def shapes() -> str:
    """The schemas that ship with the program."""
    rows = [
        (f"[{name}.json](../src/overwinter/schemas/{name}.json)", schemas.load(name)["title"])
        for name in schemas.NAMES
    ]
    return table(("schema", "of what"), rows)


def checked() -> str:
    """Every published figure beside ours."""
    checks = [check for book in BOOKS.values() for check in book]
    by_source = Counter(check.source for check in checks)
    publications = [source for source in SOURCES if source not in LIBRARIES]
    parts = [
        f"**{len(checks)} figures: {sum(by_source[one] for one in publications)} of {len(publications)} "
        f"publications, {sum(by_source[one] for one in LIBRARIES)} computed once by {len(LIBRARIES)} "
        "independent libraries.**",
        "## The sources",
        table(
            ("short", "figures", "what it is"), ((one, str(by_source[one]), SOURCES[one]) for one in SOURCES)
        ),
    ]
    for book, rows in BOOKS.items():
        parts += [
            f"## {book[0].upper()}{book[1:]}: {len(rows)} figures",
            table(
                ("figure", "theirs", "ours", "allowed to differ by", "source"),
                (
                    (one.what, f"{one.theirs:.6g}", f"{one.ours():.5g}", _within(one), one.source)
                    for one in rows
                ),
            ),
        ]
    return "\n\n".join(parts)


def _within(check: Check) -> str:
    if check.within is not None:
        return f"{check.within:g}"
    assert check.within_share is not None
    return f"{check.within_share * 100:.3g} %"


PARTS: dict[str, Callable[[], str]] = {
    "settings": settings,
    "rules": rules,
    "site": site,
    "verbs": verbs,
    "exit codes": exits,
    "alarms": alarms,
    "reasons": reasons,
    "health": healths,
    "flags": flags,
    "modes": modes,
    "faults": faults,
    "materials": materials,
    "methods": calls,
    "errors": errors,
    "logbook lines": lines,
    "schemas": shapes,
    "checked": checked,
}


def made(text: str) -> str:
    """The text of a page with its made parts made anew."""
    return MADE.sub(lambda part: f"{part[1]}\n{PARTS[part[2]]()}\n\n{part[4]}", text)


def main(argv: list[str]) -> int:
    """Write, or check."""
    stale = []
    for page in sorted((ROOT / "docs").glob("*.md")):
        text = page.read_text(encoding="utf-8")
        fresh = made(text)
        if fresh == text:
            continue
        stale.append(page.name)
        if "--check" not in argv:
            page.write_text(fresh, encoding="utf-8")
    if stale:
        print("not as the program says:" if "--check" in argv else "made anew:", *stale)
    return int("--check" in argv and bool(stale))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""Settings and site in one text, to be kept somewhere else: how it is written, and what is wrong with one.

Rule 1: both files stand in it as they were, comments and line ends included.
Rule 2: what is read back is whole and right, both files, or it is refused with all problems at once.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from overwinter.core.nouns import Problem, Refused, Site
from overwinter.core.units import from_c
from overwinter.settings import reading, schema
from overwinter.settings.schema import ROWS, Kind
from overwinter.settings.site import parse_site, sense_s_min
from overwinter.settings.values import SAME_K, Parsed, parse_settings

FILE_BYTES_MAX = 4 * reading.TEXT_BYTES_MAX
"""Two files, each of which may be so long, and what it takes to spell the odd letters in them."""

VERSION = "overwinter"
SETTINGS, SITE = "settings", "site"

_HEAD = """\
# The settings and the site of one pump house, as its two files had them, to be carried to another card:
#   overwinter settings --import THIS_FILE
"""
_PLAIN = re.compile(r"(?:(?!''')[^\x00-\x08\x0b-\x1f\x7f])*\Z")
"""What can stand between three apostrophes; a parser takes a carriage return for a mere line end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """What a text brought, all of it right."""

    version: str
    settings_text: str
    settings: Parsed
    site_text: str
    site: Site


def carried_text(version: str, settings_text: str, site_text: str) -> str:
    """Both files in one text."""
    texts = "".join(
        f"\n{name} = {_spelled(text)}\n" for name, text in ((SETTINGS, settings_text), (SITE, site_text))
    )
    return f'{_HEAD}\n{VERSION} = "{version}"\n{texts}'


def read_carried(data: bytes, name: str) -> Carried:
    """What such a text brings; `name` is said in problems.

    Raises
    ------
    Refused
        With every problem of it and of the two files in it.
    """
    tree = reading.toml_tree(data, name, bytes_max=FILE_BYTES_MAX)
    problems: list[Problem] = []
    texts: dict[str, str] = {}
    for key in (VERSION, SETTINGS, SITE):
        value = tree.pop(key, None)
        if isinstance(value, str) and value:
            texts[key] = value
        else:
            allowed = "the text that an export writes there"
            problems.append(reading.refusal(f"{name}: ", key, value, allowed))
    problems += [
        reading.unknown_key(f"{name}: ", reading.dotted(key), value, (VERSION, SETTINGS, SITE))
        for key, value in tree.items()
    ]
    site = parse_site(texts[SITE]) if SITE in texts else None
    least_s = 1.0 if site is None or site.site is None else sense_s_min(site.site)
    settings = parse_settings(texts[SETTINGS], sense_s_min=least_s) if SETTINGS in texts else None
    problems += [*(settings.problems if settings else ()), *(site.problems if site else ())]
    if problems:
        raise Refused(list(reading.no_more_than(problems)))
    assert site is not None
    assert site.site is not None
    assert settings is not None
    return Carried(
        version=texts[VERSION],
        settings_text=texts[SETTINGS],
        settings=settings,
        site_text=texts[SITE],
        site=site.site,
    )


def changes_towards(wanted: Parsed, facts: Mapping[str, Any]) -> dict[str, object]:
    """What to ask of a guard whose settings are `facts` (as it answers them), so that it comes to `wanted`.

    All that the file says, and the defaults it leaves unsaid where the guard goes by something else.
    """
    changes: dict[str, object] = {}
    for row in ROWS:
        value = getattr(wanted.settings, row.field)
        home = facts.get(row.table, {}) if row.table else facts
        now = home.get(row.fact or row.name) if isinstance(home, Mapping) else None
        if row.kind is Kind.CHOICE:
            is_so = now == str(value)
        elif isinstance(now, int | float):
            is_so = abs(now - value) <= (SAME_K if row.kind is Kind.TEMPERATURE else schema.ROUNDING)
        else:
            is_so = False
        if is_so and row.key not in wanted.written:
            continue
        if row.kind is Kind.CHOICE:
            changes[row.key] = str(value)
        elif row.kind is Kind.TEMPERATURE:
            unit = wanted.settings.unit
            number = f"{from_c(value, unit):.9f}".rstrip("0").rstrip(".")
            changes[row.key] = f"{number}{unit}"
        else:
            changes[row.key] = value
    return changes


def _spelled(text: str) -> str:
    """A text as TOML, as it would look in its own file where that is possible."""
    if _PLAIN.match(text) and not text.endswith("'"):
        return f"'''\n{text}'''"
    escaped = "".join(_escaped(letter) for letter in text)
    return f'"""\n{escaped}"""'


def _escaped(letter: str) -> str:
    if letter in '"\\':
        return "\\" + letter
    if letter in "\n\t" or (letter >= " " and letter != "\x7f"):
        return letter
    return f"\\u{ord(letter):04x}"

"""Bytes to a TOML tree or to one problem, and how keys and values are shown in a sentence.

What must live here: everything that both files have in common before a key gets its meaning. Whatever
the bytes are, the answer is a tree or `Refused`: never another exception, never a long wait.
"""

import difflib
import math
import re
import tomllib
from collections.abc import Iterable

from overwinter.core.nouns import Problem, Refused

TEXT_BYTES_MAX = 65_536
"""A settings file is a page or two; more is the wrong file, and a slow board should not chew on it."""

LINE_CHARACTERS_MAX = 4_000
"""The parser's time grows with the square of a dotted key's parts; nobody's line is this long."""

PROBLEMS_MAX = 50
"""More than these are one mistake (the wrong file, a lost table head), not fifty."""

SHOWN_CHARACTERS_MAX = 60
"""A value in a sentence is cut here."""

# Slips people make where the parser's own words do not help. The first that fits the line is said.
_HINTS = (
    (re.compile(r"=\s*[+-]?\d+,\d"), "decimals are written with a point: 3.5, not 3,5"),
    (
        re.compile(r"=\s*[+-]?\d+(\.\d*)?\s*°?\s*[FC]\b"),
        'a number stands alone; what temperatures mean is said once, by unit = "F" or "C"',
    ),
    (re.compile(r"=\s*[+-]?(\.\d|\d+\.(\D|$))"), "a decimal point has a digit on both sides: 0.5, 3.0"),
    (re.compile(r"=\s*[+-]?0\d"), "a number does not begin with a superfluous 0"),
    (re.compile(r"=\s*\d+(\.\d+)?\s*[a-z]+"), "a number stands alone, without a unit behind it"),
    (re.compile(r"=\s*[A-Za-z]"), 'words stand in quotes: "freeze"'),
)
_BARE = re.compile(r"[A-Za-z0-9_\-]{1,60}")
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)\Z")


def toml_tree(text: str | bytes, file: str, *, bytes_max: int = TEXT_BYTES_MAX) -> dict[str, object]:
    """The tree that `text` holds, with plain Python values.

    Raises
    ------
    Refused
        It is no TOML, or no text at all; the one problem says where and, for a usual slip, what to write.
    """
    source = decoded(text, file, bytes_max=bytes_max).removeprefix("\ufeff")
    try:
        return tomllib.loads(source)
    except RecursionError:
        raise _refused(f"{file}: lists inside lists, deeper than anything that belongs here") from None
    except ValueError as error:
        # TOMLDecodeError, and what it does not wrap: a whole number of thousands of digits.
        raise _syntax(source, file, str(error)) from None


def decoded(text: str | bytes, file: str, *, bytes_max: int = TEXT_BYTES_MAX) -> str:
    """`text` as characters, a byte order mark kept; what cannot be in any text file is refused."""
    content = text if isinstance(text, bytes) else _encoded(text, file)
    if len(content) > bytes_max:
        raise _refused(f"{file}: {len(content)} bytes; allowed are {bytes_max}")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refused(f"{file}: saved as UTF-16; save it as UTF-8")
    try:
        source = content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise _refused(f"{file}: line {line}: byte 0x{content[error.start]:02x} is not UTF-8 text") from None
    if "\0" in source:
        place = _place(source, source.index("\0"))
        raise _refused(f"{file}: {place}: a NUL byte; the file is damaged or not text")
    for number, line_text in enumerate(source.split("\n"), start=1):
        if len(line_text) > LINE_CHARACTERS_MAX:
            raise _refused(
                f"{file}: line {number}: {len(line_text)} characters; allowed are {LINE_CHARACTERS_MAX}"
            )
    return source


def _encoded(text: str, file: str) -> bytes:
    try:
        return text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise _refused(f"{file}: {_place(text, error.start)}: half a character, not UTF-8 text") from None


def _place(text: str, index: int) -> str:
    line = text.count("\n", 0, index) + 1
    column = index - text.rfind("\n", 0, index)
    return f"line {line}, column {column}"


def _refused(text: str) -> Refused:
    return Refused([Problem("", None, "UTF-8 text in TOML", text)])


def _syntax(source: str, file: str, said: str) -> Refused:
    found = _PLACE.search(said)
    what = said[: found.start()] if found else said
    if found is None:
        place, line = "", ""
        what = "a number with too many digits" if "digits" in said else what
    elif found[1]:
        place = f"line {found[1]}, column {found[2]}: "
        line = source.replace("\r\n", "\n").split("\n")[int(found[1]) - 1]
    else:
        place = f"{_place(source, len(source.rstrip()))} (the end): "
        line = source.rstrip().rsplit("\n", 1)[-1]
    hint = next((f"; {hint}" for slip, hint in _HINTS if slip.search(line)), "")
    return Refused([Problem("", line.strip()[:SHOWN_CHARACTERS_MAX], "TOML", f"{file}: {place}{what}{hint}")])


def quoted(value: object) -> str:
    """`value` as it would stand in the file, cut where it gets long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    if value is None:
        return "nothing"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**20 else "a number of more than 20 digits"
    if isinstance(value, float):
        return repr(round(value, 6) if 1e-3 < abs(value) < 1e6 else value)
    if isinstance(value, str):
        shown = value if len(value) <= SHOWN_CHARACTERS_MAX else value[:SHOWN_CHARACTERS_MAX] + "…"
        inside = "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in shown)
        return f'"{inside}"'
    return str(value)[:SHOWN_CHARACTERS_MAX]


def plain(value: object) -> object:
    """`value` if it fits into a JSON answer as it is, else as `quoted` shows it."""
    if value is None or isinstance(value, bool) or (isinstance(value, int) and abs(value) < 10**15):
        return value
    if isinstance(value, float) and math.isfinite(value):
        return value
    if isinstance(value, str) and len(value) <= SHOWN_CHARACTERS_MAX and value.isprintable():
        return value
    return quoted(value)


def dotted(*parts: str) -> str:
    """A key as it would stand in the file: a part that is no bare one in quotes."""
    return ".".join(part if _BARE.fullmatch(part) else quoted(part) for part in parts)


def refusal(where: str, key: str, value: object, allowed: str, why: str = "") -> Problem:
    """The problem that says: this key, this value, what is allowed."""
    reason = why or f"must be {allowed}"
    return Problem(key, plain(value), allowed, f"{where}{key} = {quoted(value)}: {reason}")


def unknown_key(where: str, key: str, value: object, known: Iterable[str]) -> Problem:
    """The problem of a key (as `dotted` shows it) that nobody knows, with the nearest that is known."""
    known = tuple(known)
    near = nearest(key, known)
    allowed = f"did you mean {near}?" if near else "known here are " + ", ".join(known)
    return Problem(key, plain(value), allowed, f"{where}{key}: unknown key; {allowed}")


def nearest(key: str, known: Iterable[str]) -> str | None:
    """The one of `known` that `key` was most likely meant to be, by the whole or by its last part."""
    asked = key.lower()[:SHOWN_CHARACTERS_MAX]

    def likeness(candidate: str) -> float:
        whole = difflib.SequenceMatcher(None, asked, candidate).ratio()
        last = difflib.SequenceMatcher(None, asked.rpartition(".")[2], candidate.rpartition(".")[2]).ratio()
        # The whole key tips the scales between equal last parts.
        return max(whole, 0.9 * last + 0.1 * whole)

    best = max(known, key=likeness, default=None)
    return best if best is not None and likeness(best) >= 0.6 else None


def no_more_than(problems: list[Problem]) -> tuple[Problem, ...]:
    """The first `PROBLEMS_MAX` of `problems`, and one that counts the rest."""
    rest = len(problems) - PROBLEMS_MAX
    if rest <= 0:
        return tuple(problems)
    return (*problems[:PROBLEMS_MAX], Problem("", rest, "", f"and {rest} more"))

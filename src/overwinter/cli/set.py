"""`set`: any setting by its key, several together or not at all."""

import math

from overwinter.cli.ask import print_json
from overwinter.cli.changes import change, print_changes, settings_now, unit_of
from overwinter.cli.options import ANYWAY, JSON, Verb
from overwinter.cli.places import places

VERB = Verb(
    "set",
    "KEY=VALUE ...",
    about="""Change any setting by its key; several change together or not at all.

A bare temperature is in the settings' unit; 36F and 2.2C say theirs.
`overwinter settings` lists the keys.""",
    examples=(
        "overwinter set limits.alarm_low=34.5F",
        "overwinter set sampling.sense_s=5 sampling.record_s=30",
        "overwinter set unit=C",
    ),
    options={"anyway": ANYWAY, "json": JSON},
)
_DIGITS = frozenset("0123456789")


def run(argv: list[str]) -> int:
    """Have settings changed."""
    given = VERB.parse(argv, most=None)
    if not given.words:
        raise VERB.wrong("say what to change: KEY=VALUE")
    changes: dict[str, object] = {}
    for word in given.words:
        key, equals, value = word.partition("=")
        if not equals or not key or key != key.strip():
            raise VERB.wrong(f"{word!r} is not KEY=VALUE, without spaces around the equals sign")
        if key in changes:
            raise VERB.wrong(f"{key} stands there twice")
        changes[key] = _value(value)
    where = places(given.options, client=True)
    answer = change(where, changes, anyway=given.has("anyway"))
    if given.has("json"):
        print_json(answer)
        return 0
    print_changes(answer, unit=unit_of(settings_now(where)))
    print("saved")
    return 0


def _value(text: str) -> object:
    """A finite number as number, all else as text, which the guard judges."""
    plain = text.strip().replace("−", "-")
    if not plain or plain[-1] not in _DIGITS | {"."} or not set(plain) <= _DIGITS | set("+-.eE"):
        return text
    try:
        value = float(plain)
    except ValueError:
        return text
    if not math.isfinite(value):
        return text
    return int(plain) if set(plain) <= _DIGITS and value < 2**53 else value

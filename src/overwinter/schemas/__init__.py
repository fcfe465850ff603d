"""JSON Schemas (draft 2020-12) of what the program prints, answers and records, for programs to read.

One file a noun. They hold what is promised: names, types, enumerations and ranges. Keys may be added to the
status and to what the calculators print, so their top level is open; everything else is closed. Nothing here
validates: a reader brings its own validator.
"""

import json
from importlib.resources import files
from typing import Any

NAMES = (
    *("status", "settings", "set", "hand", "prove", "rpc-error", "logbook-line", "notice"),
    *("plan", "air", "pipe", "rehearse", "report"),
    *("forecast", "replay", "check", "rounds"),
)


def load(name: str) -> dict[str, Any]:
    """The schema of that name, one of `NAMES`.

    Raises
    ------
    LookupError
        There is none of that name; the text says which there are.
    """
    if name not in NAMES:
        raise LookupError(f"{name!r}: no such schema; there are {', '.join(NAMES)}")
    text = files("overwinter.schemas").joinpath(f"{name}.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema

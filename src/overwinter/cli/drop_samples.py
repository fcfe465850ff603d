"""`drop-samples`: forget the samples, not the events."""

import sys

from overwinter.cli.ask import ask
from overwinter.cli.options import Stop, Verb
from overwinter.cli.places import places

VERB = Verb(
    "drop-samples",
    about="""Forget every sample in the logbook; events stay. There is no way back.

Asks first; --yes is for scripts.""",
    examples=("overwinter drop-samples", "overwinter drop-samples --yes"),
    options={"yes": ("", "do not ask")},
)


def run(argv: list[str]) -> int:
    """Have the samples forgotten, once somebody is sure."""
    given = VERB.parse(argv)
    where = places(given.options, client=True)
    if not given.has("yes") and not _is_sure():
        raise Stop(1, "nothing was dropped")
    ask(where, "drop_samples")
    print("the samples are dropped; events are kept")
    return 0


def _is_sure() -> bool:
    if sys.stdin is None or not sys.stdin.isatty():
        raise Stop(1, "drop-samples asks first, and there is no terminal to ask at", "for scripts: --yes")
    print("Forget every sample in the logbook, for good? Type yes: ", end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() in {"y", "yes"}

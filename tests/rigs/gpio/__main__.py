"""The promises, one line each: `python -m tests.rigs.gpio [--cache DIR]`.

Exit code 1: a promise is broken, or was not heard of.
"""

import argparse
import json
import signal
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tests.rigs.gpio import LIMITS, machine
from tests.rigs.gpio.guest.promises import PROMISES
from tests.rigs.gpio.image import default_cache, image
from tests.rigs.gpio.recipe import CannotBuild

WITHIN_S = 1800.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the machine found of one promise."""

    promise: str
    is_kept: bool
    said: str
    took_s: float

    def __str__(self) -> str:
        return f"{'ok    ' if self.is_kept else 'FAILED'} {self.took_s:6.1f} s  {self.promise}: {self.said}"


def heard(line: str) -> Verdict | None:
    """A line of the machine's report; None: something else came through."""
    try:
        return Verdict(**json.loads(line))
    except (ValueError, TypeError):
        return None


def main() -> int:
    """Build what is missing, run the machine once; the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.rigs.gpio")
    parser.add_argument(
        "--cache", type=Path, default=default_cache(), help="where the machine's image is kept"
    )
    cache = parser.parse_args().cache
    if reason := machine.why_not():
        print(f"skipped: {reason}")
        return 0
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that what is temporary goes, too
    began = time.monotonic()
    cache.mkdir(parents=True, exist_ok=True)
    try:
        made = image(cache, lambda text: print(text, flush=True))
    except CannotBuild as error:
        print(f"no image: {error}")
        return 1
    console = cache / "console.txt"
    print(f"image: {time.monotonic() - began:.0f} s; now the machine; its console: {console}", flush=True)
    missing = [promise.text for promise in PROMISES]
    kept = 0
    for line in machine.report(made, console=console, within_s=WITHIN_S):
        verdict = heard(line)
        if verdict is None:
            print(line, flush=True)
            continue
        missing.remove(verdict.promise)
        kept += verdict.is_kept
        print(verdict, flush=True)
    for text in missing:
        print(Verdict(promise=text, is_kept=False, said=f"never heard of; see {console}", took_s=0.0))
    print("What this does not prove:", *LIMITS, sep="\n  - ")
    print(f"{kept} of {len(PROMISES)} promises kept, {time.monotonic() - began:.0f} s")
    return 0 if kept == len(PROMISES) else 1


if __name__ == "__main__":
    sys.exit(main())

"""Writes docs/benchmarks.md: `python tools/make_benchmarks.py [LEARNING...]`, on a machine that is idle.

Runs `make bench` and `make bench-safety` (some minutes). What is learned takes half an hour and may be
brought along as the file LEARNING: what `python -m tests.bench.learning` printed, with options or without;
further files are later runs, of a part of it.
"""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "benchmarks.md"

HEAD = """\
# Benchmarks

What the benchmarks printed, unchanged; `python tools/make_benchmarks.py` writes this page anew. Nothing here
was measured on a Pi. A figure by itself is this machine's; a ratio to a floor of the same run can be compared
with another machine's. A goal that was missed says so. What else was measured, and how:
[measured.md](measured.md).
"""

PARTS = (
    ("Cost", "make bench", "tests.bench"),
    ("Pipes and undershoot", "make bench-safety", "tests.bench.safety"),
)
LEARNED = "What is learned and found"


def said(module: str) -> str:
    """What a benchmark prints to stdout."""
    ran = subprocess.run(
        [sys.executable, "-m", module], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True
    )
    return ran.stdout


def main(argv: list[str]) -> int:
    """Measure, and write the page."""
    found = [(title, f"`{command}`", said(module)) for title, command, module in PARTS]
    for number, name in enumerate(argv):
        title = f"{LEARNED}{f', later run {number}' if number else ''}"
        how = "`python -m tests.bench.learning`, its table, with the options that its last lines tell"
        found.append((title, how, Path(name).read_text(encoding="utf-8")))
    text = [HEAD]
    for title, command, output in found:
        lines = "\n".join(line.rstrip() for line in output.strip().splitlines())
        text.append(f"## {title}\n\n{command}\n\n```text\n{lines}\n```\n")
    PAGE.write_text("\n".join(text), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

"""`python -m tests.bench [PART ...]`: each promise about cost, as a ratio to a floor of the same run.

Not a test: a noisy machine may miss a goal that a quiet one meets. So nothing fails here; the table says it.
"""

import os
import platform
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.bench import idle, night, reading, spikes, starts, storing, thousand, wear, winter, year
from tests.bench.rig import command, file_system, workplace
from tests.bench.table import Row, table

PARTS: dict[str, Callable[[Path], list[Row]]] = {
    "idle": idle.rows,
    "starts": starts.rows,
    "storing": storing.rows,
    "wear": wear.rows,
    "night": night.rows,
    "spikes": spikes.rows,
    "reading": reading.rows,
    "thousand": thousand.rows,
    "winter": winter.rows,
    "year": year.rows,
}


def machine(folder: Path) -> str:
    """In general words: enough to compare runs, nothing that says whose machine it is."""
    cores = len(os.sched_getaffinity(0))
    gib = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    load = os.getloadavg()[0]
    form = "the module" if "-m" in command() else "the installed command"
    return (
        f"Measured on {cores} core(s) of a {platform.machine()} machine with {gib:.0f} GiB of memory, "
        f"{platform.python_implementation()} {platform.python_version()} on {platform.system()} "
        f"{platform.release().split('-')[0]}, files on {file_system(folder)}; the load at the beginning was "
        f"{load:.1f}, and what else ran is in the figures. The program was called by {form}. Memory and "
        "times are this machine's; the ratios are what can be compared with another's."
    )


def main(argv: list[str]) -> int:
    unknown = [word for word in argv if word not in PARTS]
    if unknown:
        print(f"unknown: {', '.join(unknown)}; parts: {', '.join(PARTS)}", file=sys.stderr)
        return 2
    # An installed program has its bytecode; one from a source tree shall have it after the first run.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    rows: list[Row] = []
    with workplace() as folder:
        about = machine(folder)
        for name in argv or PARTS:
            print(f"measuring {name} ...", file=sys.stderr, flush=True)
            began_s = time.monotonic()
            rows += PARTS[name](folder)
            print(f"  {time.monotonic() - began_s:.0f} s", file=sys.stderr, flush=True)
    print(table(rows))
    missed = sum(row.verdict == "MISSED" for row in rows)
    judged = sum(bool(row.verdict) for row in rows)
    print(f"\n{judged - missed} of {judged} goals met" + (f", {missed} missed." if missed else "."))
    print(f"\n{about}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

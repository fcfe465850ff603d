"""`python -m tests.bench.learning`: the table of what is learned and found, on simulated winters.

Not a test: nothing fails here; the table says what was missed.
"""

import argparse
import sys

from tests.bench.learning import bench, winters


def main(argv: list[str]) -> int:
    """Run what is asked for and print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.learning", description=__doc__)
    parser.add_argument("--rows", nargs="+", choices=bench.KINDS, default=bench.KINDS)
    parser.add_argument("--models", nargs="+", choices=bench.MODELS, default=bench.MODELS)
    parser.add_argument("--houses", nargs="+", metavar="NAME", help="parts of names; all if not given")
    parser.add_argument("--winters", nargs="+", metavar="NAME", help="names, or: reported, tuning")
    parser.add_argument("--seeds", nargs="+", type=int, default=bench.SEEDS)
    parser.add_argument("--jobs", type=int, default=bench.cores())
    parser.add_argument("--details", action="store_true", help="house by house, and every miss")
    asked = parser.parse_args(argv)
    names = _winters(asked.winters)
    absent = winters.missing(names)
    if absent:
        print(f"not installed, so left out: {', '.join(absent)}", file=sys.stderr)
    wanted = bench.jobs(
        kinds=asked.rows,
        models=asked.models,
        names=[name for name in names if name not in absent],
        seeds=asked.seeds,
    )
    if asked.houses:
        wanted = [job for job in wanted if any(part in job.house for part in asked.houses)]
    if not wanted:
        print("nothing to run: no such house or winter", file=sys.stderr)
        return 2
    print(bench.page(bench.measured(wanted, asked.jobs), details=asked.details))
    return 0


def _winters(asked: list[str] | None) -> list[str]:
    sets = {"reported": winters.REPORTED, "tuning": winters.TUNING}
    if not asked:
        return list(bench.WINTERS)
    return [name for word in asked for name in sets.get(word, (word,))]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

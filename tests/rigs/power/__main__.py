"""Minutes of power cuts, and a table: `python -m tests.rigs.power [ROUNDS]`.

Exit code 1: the guard lost something, or a spoilt guard was not seen to.
"""

import shutil
import sys
import tempfile
from pathlib import Path

from tests.rigs.power.cut import Outcome, round_apart, why_not
from tests.rigs.power.sabotage import SPOILERS
from tests.rigs.power.scene import GOOD

ROUNDS = 3
LIVES_S = 10.0
STATES_MOST = 3000  # drawn from some 12 000 a round, anew each round
STARTS_MOST = 20
SPOILT_STATES_MOST = 1500
SPOILT_ROUNDS_MOST = 4  # whether an in-place writer is caught half way is a matter of timing
WITHIN_S = 900.0

HEADER = ("guard", "changes", "cuts", "states", "starts", "lost", "bad", "seconds")


def show(outcome: Outcome) -> None:
    """One row, and what is wrong in words."""
    numbers = (outcome.changes, outcome.cuts, outcome.states, outcome.starts, outcome.lost, outcome.bad)
    print(f"{outcome.guard:18}", *(f"{number:8}" for number in numbers), f"{outcome.took_s:8}", flush=True)


def one_round(guard: str, seed: int) -> Outcome:
    """A round in a folder of its own, which is kept if the guard failed."""
    is_good = guard == GOOD
    work = Path(tempfile.mkdtemp(prefix="ow-power-"))
    outcome = round_apart(
        work,
        guard=guard,
        for_s=LIVES_S,
        states_most=STATES_MOST if is_good else SPOILT_STATES_MOST,
        starts_most=STARTS_MOST if is_good else 0,
        seed=seed,
        within_s=WITHIN_S,
    )
    show(outcome)
    if is_good and outcome.bad:
        print(f"  the record is kept in {work / 'record'}")
        print(*(f"  {text}" for text in outcome.said), sep="\n")
    else:
        shutil.rmtree(work)  # nothing is mounted in it any more: the namespace that had it so is gone
    return outcome


def main() -> int:
    """All rounds; the exit code."""
    reason = why_not()
    if reason is not None:
        print(f"skipped: {reason}")
        return 0
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS
    print(f"{HEADER[0]:18}", *(f"{name:>8}" for name in HEADER[1:]), flush=True)
    outcomes = [one_round(GOOD, seed) for seed in range(1, rounds + 1)]
    seeds = range(1, SPOILT_ROUNDS_MOST + 1)
    missed = [spoilt for spoilt in SPOILERS if not any(one_round(spoilt, seed).bad for seed in seeds)]
    cuts = sum(outcome.cuts for outcome in outcomes)
    states = sum(outcome.states for outcome in outcomes)
    changes = sum(outcome.changes for outcome in outcomes)
    lost = sum(outcome.lost for outcome in outcomes)
    bad = sum(outcome.bad for outcome in outcomes)
    print(f"{changes} changes, {cuts} cuts, {states} states: answered changes lost {lost}, bad {bad}")
    for spoilt in missed:
        print(f"NOT SEEN: {spoilt}")
    return 1 if bad or missed else 0


if __name__ == "__main__":
    sys.exit(main())

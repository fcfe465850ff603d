"""One round: let a guard live, cut its power at many instants, look at every disk that may be left.

It runs as a process in namespaces of its own (`round_apart` starts it so) and prints its outcome as JSON.
"""

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
import time
from collections import Counter
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.rigs.power.check import Finding, Wrong, check, check_by_guard
from tests.rigs.power.disk import SIZE, CrashDisk
from tests.rigs.power.recorder import read_records
from tests.rigs.power.scene import GOOD, live
from tests.rigs.power.states import Crash, choose, crashes, cuts

APART = ("unshare", "--mount", "--pid", "--fork", "--kill-child", "--mount-proc")
SAID_MOST = 5


@dataclass(slots=True, kw_only=True)
class Outcome:
    """What a round found."""

    guard: str
    seed: int
    changes: int = 0
    notes: int = 0
    possible: int = 0  # cuts in the record
    cuts: int = 0  # tried
    states: int = 0
    starts: int = 0
    bad: int = 0  # states with anything wrong
    wrong: dict[str, int] = field(default_factory=dict)  # states by what is wrong
    said: list[str] = field(default_factory=list)
    took_s: float = 0.0

    @property
    def lost(self) -> int:
        """States in which an answered change was lost."""
        return self.wrong.get(Wrong.LOST, 0)


def run_round(
    work: Path,
    *,
    guard: str = GOOD,
    for_s: float,
    states_most: int | None,
    starts_most: int,
    seed: int,
    is_first_enough: bool = False,
) -> Outcome:
    """Record, cut, look. With `is_first_enough`, until something is wrong."""
    began = time.monotonic()
    outcome = Outcome(guard=guard, seed=seed)
    chance = random.Random(seed)
    record = work / "record"
    lived = live(work, record, guard=guard, for_s=for_s, seed=seed)
    outcome.changes, outcome.notes = lived.changes, lived.notes
    possible = cuts(read_records(record))
    chosen = choose(possible, states_most, chance)
    outcome.possible, outcome.cuts = len(possible), len(chosen)
    states = sum(possible[cut].states for cut in chosen)
    # Spread over the round; the guard's own start costs as much as a hundred looks.
    to_start = set(chance.sample(range(states), min(starts_most, states)))
    tally: Counter[str] = Counter()
    disk = CrashDisk(work)
    try:
        for crash in crashes(
            read_records(record), size=SIZE, is_chosen=chosen.__contains__, chance=random.Random(seed)
        ):
            findings = _look(disk, crash, starts=outcome.states in to_start)
            outcome.starts += outcome.states in to_start
            outcome.states += 1
            if not findings:
                continue
            outcome.bad += 1
            tally.update({finding.wrong.value for finding in findings})
            if len(outcome.said) < SAID_MOST:
                outcome.said.append(f"{crash.name}: " + "; ".join(map(str, findings)))
            if is_first_enough:
                break
    finally:
        disk.close()
    outcome.wrong = dict(tally)
    outcome.took_s = round(time.monotonic() - began, 1)
    return outcome


def _look(disk: CrashDisk, crash: Crash, *, starts: bool) -> list[Finding]:
    with disk.holding(crash.image) as folder:
        findings = check(folder, crash)
        return findings + check_by_guard(folder, crash) if starts else findings


def round_apart(
    work: Path,
    *,
    guard: str = GOOD,
    for_s: float,
    states_most: int | None,
    starts_most: int = 0,
    seed: int = 1,
    is_first_enough: bool = False,
    within_s: float,
) -> Outcome:
    """A round in a process whose mounts and children end with it. The record is left in `work`."""
    words = [f"--guard={guard}", f"--for-s={for_s}", f"--starts={starts_most}", f"--seed={seed}"]
    if states_most is not None:
        words.append(f"--states={states_most}")
    if is_first_enough:
        words.append("--first-is-enough")
    done = subprocess.run(
        [*APART, sys.executable, "-m", "tests.rigs.power.cut", work, *words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=within_s,
        check=False,
    )
    assert done.returncode == 0, f"the rig failed ({done.returncode}): {done.stderr[-3000:]}"
    return Outcome(**json.loads(done.stdout))


def why_not() -> str | None:
    """Why there can be no power cut here; None: there can."""
    if os.geteuid() != 0:
        return "a power cut needs root, to mount"
    for device in ("/dev/fuse", "/dev/loop-control"):
        if not Path(device).exists():
            return f"a power cut needs {device}"
    _install()
    for command in ("mkfs.ext4", "mount", "umount", "unshare"):
        if shutil.which(command) is None:
            return f"a power cut needs the command {command}, and it could not be installed"
    done = subprocess.run([*APART, "true"], capture_output=True, text=True, check=False)
    return None if done.returncode == 0 else f"namespaces are not allowed here: {done.stderr.strip()}"


def _install() -> None:
    """What a slim Debian image lacks."""
    packages = {"mkfs.ext4": "e2fsprogs", "mount": "mount", "unshare": "util-linux"}
    missing = {package for command, package in packages.items() if shutil.which(command) is None}
    if missing and shutil.which("apt-get") is not None:
        for words in (["update"], ["install", "-y", "--no-install-recommends", *sorted(missing)]):
            subprocess.run(["apt-get", "-q", *words], capture_output=True, check=False)


def main() -> None:
    """One round in the namespaces that somebody made for it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("work", type=Path)
    parser.add_argument("--guard", default=GOOD)
    parser.add_argument("--for-s", type=float, required=True)
    parser.add_argument("--states", type=int)
    parser.add_argument("--starts", type=int, required=True)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--first-is-enough", action="store_true")
    asked = parser.parse_args()
    outcome = run_round(
        asked.work,
        guard=asked.guard,
        for_s=asked.for_s,
        states_most=asked.states,
        starts_most=asked.starts,
        seed=asked.seed,
        is_first_enough=asked.first_is_enough,
    )
    print(json.dumps(asdict(outcome)))


if __name__ == "__main__":
    main()

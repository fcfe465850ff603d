"""What a turn costs: `python tests/bench/turn_cost.py [TURNS]` prints microseconds a turn.

One dht22 read every 10 s, a reading a turn, a sample every six turns: the pace of the defaults. A winter of
120 days is 1.04 million turns, and a rehearsal of one should take less than a minute. Not a test: a figure of
this machine, at this moment.
"""

import random
import sys
import time

from overwinter.core.nouns import Reading, Role, SensorSpec, Settings, Site
from overwinter.core.state import State
from overwinter.core.turn import turn

GOAL_US = 20.0
WINTER_TURNS = 120 * 24 * 360


def readings(count: int) -> list[Reading]:
    """A house that drifts through the band with a cheap sensor's noise; one read in twenty fails."""
    chance = random.Random(1)
    said, temperature_c = [], 3.0
    for index in range(count):
        temperature_c = min(max(temperature_c + chance.uniform(-0.05, 0.05), 0.5), 6.0)
        failed = chance.random() < 0.05
        said.append(
            Reading(
                sensor="by the pump",
                taken_s=10.0 * (index + 1),
                temperature_c=None if failed else round(temperature_c, 1),
                humidity_pct=None if failed else round(chance.uniform(70.0, 75.0), 1),
                error="checksum" if failed else None,
            )
        )
    return said


def run(inboxes: list[list[Reading]]) -> tuple[float, State]:
    """Seconds for all turns together, and the state they ended in."""
    site = Site(sensors=(SensorSpec(name="by the pump", role=Role.CONTROL, kind="dht22", pin=4),))
    state = State(site, Settings(), 0.0)
    now_s = 0.0
    begun_s = time.perf_counter()
    for inbox in inboxes:
        now_s += 10.0
        turn(state, inbox, now_s)
    return time.perf_counter() - begun_s, state


def main() -> None:
    turns = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    inboxes = [[reading] for reading in readings(turns)]
    best_s, state = min((run(inboxes) for _ in range(3)), key=lambda timed: timed[0])
    cost_us = best_s / turns * 1e6
    print(f"{cost_us:.1f} us a turn (best of 3 x {turns} turns; goal {GOAL_US:g}); ", end="")
    print(f"a winter of {WINTER_TURNS} turns: {cost_us * WINTER_TURNS / 1e6:.0f} s; ", end="")
    print(f"the relay switched on {state.cycles} times")


if __name__ == "__main__":
    main()

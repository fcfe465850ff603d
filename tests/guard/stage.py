"""`python -m tests.guard.stage SPEED HEATER`: the real guard on a simulated house whose heater may be broken.

HEATER is one of: good, dead, welded, inverted; with `+feedback` behind it the relay has a feedback input. Its
folders and socket are those of the OVERWINTER_* variables, and the house lives SPEED times faster than we do.
BENCH_BOOT, if it is set, stands in for the kernel's boot id: a board that was rebooted has another.
"""

import os
import sys
from pathlib import Path

from overwinter.guard.clock import Clock
from overwinter.guard.main import Simulation, guard
from overwinter.guard.paths import Paths
from overwinter.settings.site import parse_site
from overwinter.twin import play as theatre
from overwinter.twin.play import Play, SimulatedRelay


class BrokenRelay(SimulatedRelay):
    """What the relay is told, and what the heater then does; `feedback` is whether current flows."""

    def __init__(self, play: Play, heater: str) -> None:
        super().__init__(play)
        self._kind, _, self._feedback = heater.partition("+")

    def drive(self, heat: bool) -> None:
        super().drive({"good": heat, "dead": False, "welded": True, "inverted": not heat}[self._kind])

    def feedback(self) -> bool | None:
        return self.heat if self._feedback else None


def main(speed: str, heater: str) -> int:
    named = {
        name: Path(os.environ[f"OVERWINTER_{name.upper()}"]) for name in ("site", "state", "logs", "socket")
    }
    paths = Paths(**named)
    site = parse_site(paths.site.read_text()).site
    assert site is not None
    theatre.HOUSE = "insulated box"  # its air answers clearly, so that a test is no matter of luck
    clock = Clock(speed=float(speed))
    clock.boot_id = os.environ.get("BENCH_BOOT", clock.boot_id)
    play = Play(site, clock, seed=1)
    play.relay = BrokenRelay(play, heater)
    return guard(paths, simulation=Simulation(clock=clock, play=play))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))

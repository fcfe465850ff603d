"""The real guard on a clock that runs faster than life, as a process of its own: `python -m tests.rigs.fast`.

Everything that touches a disk is what ships. In place of the world stands one sensor whose temperature is a
sum of slow waves, or follows the heat where cycles are wanted; the keeper waits in the clock's seconds.
"""

import math
import sys
import threading
from pathlib import Path

from overwinter.core.nouns import Reading
from overwinter.guard.clock import Clock
from overwinter.guard.main import Simulation, guard
from overwinter.guard.paths import Paths
from overwinter.store.keeper import Keeper

SITE = """
[site]
name = "fast"
unit = "C"

[[sensor]]
name = "by the pump"
role = "control"
kind = "simulated"

[relay]
kind = "simulated"
"""


class World:
    """A sensor and a relay: the temperature stays inside the band, or `cycles` turns heat on and off."""

    def __init__(self, clock: Clock, *, half_cycle_s: float | None) -> None:
        self.relay = self
        self.drivers = {"by the pump": self}
        self.heat = False
        self._clock = clock
        self._half_cycle_s = half_cycle_s
        self._began_s = clock.now_s()
        self._lock = threading.Lock()

    def read(self, now_s: float) -> Reading:
        """Moves all the time, as a true sensor's last digit does; spelled as cheap sensors do."""
        run_s = now_s - self._began_s
        value_c = 3.3 + 0.6 * math.sin(run_s / 700.0) + 0.2 * math.sin(run_s / 37.0)
        if self._half_cycle_s is not None:
            is_cold = int(run_s // self._half_cycle_s) % 2 == 1
            value_c = (2.0 if is_cold else 4.8) + 0.1 * math.sin(run_s / 37.0)
        humidity_pct = 70.0 + 3.0 * math.sin(run_s / 900.0)
        return Reading(
            sensor="by the pump",
            taken_s=now_s,
            temperature_c=round(value_c, 1),
            humidity_pct=round(humidity_pct, 1),
        )

    def unstick(self) -> None:
        """It never hangs."""

    def drive(self, heat: bool) -> None:
        self.heat = heat

    def feedback(self) -> bool | None:
        """There is no such input."""
        return None

    def close(self) -> None:
        """Holds nothing."""


class Hasty(Keeper):
    """Waits in the seconds of its clock."""

    speed = 1.0

    def _wait_s(self) -> float | None:
        wait_s = super()._wait_s()
        return None if wait_s is None else wait_s / self.speed


def main(folder: Path, speed: float, half_cycle_s: float | None) -> int:
    from overwinter.guard import main as shell

    Hasty.speed = speed
    shell.Keeper = Hasty  # type: ignore[misc]
    (folder / "site.toml").write_text(SITE)
    (folder / "state").mkdir(exist_ok=True)
    if not (folder / "state" / "settings.toml").exists():
        # On a busy machine this hurried clock leaps by minutes; that is no lost sensor.
        (folder / "state" / "settings.toml").write_text("[failsafe]\nlost_after_s = 3600.0\n")
    paths = Paths(
        site=folder / "site.toml",
        state=folder / "state",
        logs=folder / "logs",
        socket=folder / "run" / "s",
    )
    clock = Clock(speed=speed)
    world = World(clock, half_cycle_s=half_cycle_s)
    return guard(paths, simulation=Simulation(clock=clock, play=world))  # type: ignore[arg-type]


if __name__ == "__main__":
    half_cycle = float(sys.argv[3])
    sys.exit(main(Path(sys.argv[1]), float(sys.argv[2]), half_cycle or None))

"""The bench on which all promises are tried: board, sensor, the record of the lines, the relay's wiring."""

from dataclasses import dataclass
from pathlib import Path

from tests.rigs.gpio.guest.board import IIO, LINES, Chip, Thermometer
from tests.rigs.gpio.guest.record import Recorder
from tests.rigs.gpio.guest.service import change, install, status, until, wired

RELAY, PUMP, FLOOR, FEEDBACK = 17, 22, 23, 27  # BCM numbers

UNITS = Path("/job/systemd")

LOW_C, HIGH_C = 2.0, 5.0
COLD_C, WARM_C = 1.0, 8.0
LOST_AFTER_S = 8.0

SETTINGS = {
    "band.low": LOW_C,
    "band.high": HIGH_C,
    "sampling.sense_s": 1,
    "sampling.record_s": 10,
    "filter.window": 3,
    "filter.max_rate_per_min": 600,
    "failsafe.lost_after_s": LOST_AFTER_S,
    "relay.min_on_s": 0,
    "relay.min_off_s": 0,
}

HEARD_S = 30.0
"""A reading a second, two of three for the median, and a processor that is slow and shared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """How the relay hangs on its line."""

    active_high: bool
    contact: str

    def __str__(self) -> str:
        return f"active_{'high' if self.active_high else 'low'}, {self.contact}"

    @property
    def released(self) -> int:
        """The level without us: no current in the coil."""
        return 0 if self.active_high else 1

    @property
    def pulled_in(self) -> int:
        """The level at which the relay pulls in."""
        return 1 - self.released

    def level(self, heat: bool) -> int:
        """The level that means heat, or none."""
        return self.released if heat == (self.contact == "NC") else self.pulled_in


class Rig:
    """Made by the first promise."""

    def __init__(self) -> None:
        self.chip = Chip()
        self.sensor = Thermometer()
        self.record = Recorder(LINES)
        self.wiring = Wiring(active_high=True, contact="NO")

    def make(self) -> None:
        """Chip, sensor, record and units; no guard yet."""
        self.chip.make()
        self.sensor.make()
        self.record.make()
        install(UNITS)

    def wire(self, wiring: Wiring) -> None:
        """While no guard runs."""
        self.wiring = wiring
        wired(pin=RELAY, active_high=wiring.active_high, contact=wiring.contact, sensor=IIO)

    def adjust(self) -> None:
        """Quick settings; they stay over all restarts."""
        change({"unit": "C"})
        change(SETTINGS)

    @property
    def level(self) -> int:
        """Of the relay's line, as seen from outside."""
        return self.chip.level(RELAY)

    def hears(self, temperature_c: float) -> None:
        """Put a temperature into the registers and wait until the guard goes by it."""
        exact_c = self.sensor.reads(temperature_c)
        until(lambda: status().get("temperature_c") == exact_c, f"{exact_c} °C is believed", HEARD_S)

    def heats(self, heat: bool, within_s: float = HEARD_S) -> float:
        """Wait until the line says so; how long that took [s]."""
        wanted = self.wiring.level(heat)
        return until(
            lambda: self.level == wanted, f"the line at {wanted}, heat {'on' if heat else 'off'}", within_s
        )

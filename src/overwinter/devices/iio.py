"""A sensor behind the kernel's industrial I/O drivers: dht11 and dht22, BME280, HTU21 and their like.

`in_temp_input` is in milli-°C and `in_humidityrelative_input` in milli-percent, says the kernel's interface.
Drivers differ on the second: some print plain percent (`41.074000000`), with the same decimals that others
put behind milli-percent. No cheap sensor reports a true humidity below 1 %, so the size tells them apart.
"""

from pathlib import Path

from overwinter.core.nouns import Reading
from overwinter.devices.sysfs import attribute, below, complaint, decimal


class Iio:
    """One IIO device folder; a file is read anew each time, so nothing here can grow old."""

    def __init__(self, name: str, path: Path, root: Path = Path("/")) -> None:
        self.name = name
        self.path = below(root, path)

    def read(self, now_s: float) -> Reading:
        """Temperature, and humidity where the driver has it."""
        file = self.path / "in_temp_input"
        try:
            temperature_c = decimal(attribute(file)) / 1000
        except (OSError, ValueError) as error:
            return Reading(sensor=self.name, taken_s=now_s, temperature_c=None, error=complaint(file, error))
        return Reading(
            sensor=self.name, taken_s=now_s, temperature_c=temperature_c, humidity_pct=self._humidity_pct()
        )

    def unstick(self) -> None:
        """A read that hangs inside the kernel cannot be woken from here."""

    def close(self) -> None:
        """Nothing is held open between reads."""

    def _humidity_pct(self) -> float | None:
        # A humidity that cannot be had costs no temperature: pipes freeze by temperature alone.
        try:
            value = decimal(attribute(self.path / "in_humidityrelative_input"))
        except (OSError, ValueError):
            return None
        if 0.0 <= value <= 100.0:
            return value
        if 1_000.0 <= value <= 100_000.0:
            return value / 1000
        return None

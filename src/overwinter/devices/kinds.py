"""Which kind of sensor is read by which driver. A new kind is one file and one row here.

The simulated kind has no row: it belongs to the simulated house, and whoever runs that one puts it in.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Protocol

from overwinter.core.nouns import OverwinterError, Reading, SensorSpec
from overwinter.devices.dht import Dht
from overwinter.devices.iio import Iio
from overwinter.devices.w1 import W1


class Driver(Protocol):
    """What reads one sensor. Used by one thread, save `unstick`, which another may call at any time."""

    def read(self, now_s: float) -> Reading:
        """One attempt; never raises."""
        ...

    def unstick(self) -> None:
        """Wake a read that hangs, if that is possible; never blocks, never raises."""
        ...

    def close(self) -> None:
        """Give everything back; may be called twice, and a later read opens anew."""
        ...


class UnknownKind(OverwinterError, LookupError):
    """No driver here has that kind."""


def driver_for(spec: SensorSpec, *, root: Path) -> Driver:
    """The driver of one `[[sensor]]`; kernel files are looked for below `root`.

    Raises
    ------
    UnknownKind
        No row for this kind, `simulated` included.
    OverwinterError
        The key that this kind needs (pin or path) is missing.
    """
    make = _DRIVERS.get(spec.kind)
    if make is None:
        raise UnknownKind(
            f"sensor {spec.name!r}: kind = {spec.kind!r} has no driver; allowed: {', '.join(_DRIVERS)}"
        )
    return make(spec, root)


def _dht(spec: SensorSpec, root: Path) -> Driver:  # noqa: ARG001 (its pin is no file)
    if spec.pin is None:
        raise OverwinterError(f"sensor {spec.name!r}: kind = {spec.kind!r} needs pin, a BCM number")
    return Dht(spec.name, spec.kind, spec.pin)


def _path(spec: SensorSpec) -> Path:
    if spec.path is None:
        raise OverwinterError(f"sensor {spec.name!r}: kind = {spec.kind!r} needs path, the device's folder")
    return Path(spec.path)


_DRIVERS: Mapping[str, Callable[[SensorSpec, Path], Driver]] = {
    "dht22": _dht,
    "dht11": _dht,
    "iio": lambda spec, root: Iio(spec.name, _path(spec), root),
    "w1": lambda spec, root: W1(spec.name, _path(spec), root),
}

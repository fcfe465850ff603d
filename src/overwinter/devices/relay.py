"""The relay that carries the heater's load, on one GPIO pin.

Released is the state without us: coil without current. Contact NO: released is no heat. NC: released is heat.
The pin is claimed released, and given back released, whatever that means for heat: it is the state the owner
chose for a guard that does not run. What the level is after that, without power or while the board boots,
only an external pull resistor decides.
"""

from pathlib import Path
from typing import Any

from overwinter.core.nouns import OverwinterError, RelaySpec
from overwinter.devices.pins import PinUnavailable, naming, pin_factory


class RelayUnavailable(PinUnavailable):
    """The relay cannot be driven; the text says why, and what to do."""


class Relay:
    """Heat on or off, and whether current flows. Used by one thread."""

    kind = "gpio"

    def __init__(self, output: Any, feedback: Any, *, name: str, released_heats: bool) -> None:
        self._output = output
        self._feedback = feedback
        self._name = name
        self._released_heats = released_heats
        self._heat = released_heats
        self._written: bool | None = released_heats  # None: a write failed, so nobody knows

    @property
    def heat(self) -> bool:
        """What was last driven; at the start and after `close`, what released means."""
        return self._heat

    def drive(self, heat: bool) -> None:
        """Switch, if it is a change.

        Raises
        ------
        RelayUnavailable
            The level could not be written, or the relay is closed; the next call tries again.
        """
        if heat != self._written:
            self._write(heat)

    def feedback(self) -> bool | None:
        """Whether current really flows; None without such an input, or when it cannot be read."""
        if self._feedback is None:
            return None
        try:
            return bool(self._feedback.is_active)
        except Exception:  # noqa: BLE001 (around a device: what cannot be read is not known)
            return None

    def close(self) -> None:
        """Release, then give the pins back; once closed, nothing happens.

        Raises
        ------
        RelayUnavailable
            It could not be released; the pins are given back all the same.
        """
        if self._output.closed:
            return
        try:
            self._write(self._released_heats)
        finally:
            with naming(self._name, RelayUnavailable):
                for device in (self._output, self._feedback):
                    if device is not None:
                        device.close()

    def _write(self, heat: bool) -> None:
        self._written = None
        with naming(self._name, RelayUnavailable):
            self._output.value = heat != self._released_heats
        self._written = self._heat = heat


def open_relay(spec: RelaySpec, *, runtime_dir: Path) -> Relay:
    """The relay of site.toml, claimed and released; `runtime_dir` is where lgpio may leave its FIFO.

    Raises
    ------
    RelayUnavailable
        It cannot be had; nothing is left claimed.
    OverwinterError
        Not a relay of kind gpio: the simulated one belongs to the simulated house.
    """
    if spec.kind != "gpio":
        raise OverwinterError(f"relay.kind = {spec.kind!r}: only gpio can be opened here")
    if spec.pin is None:
        raise RelayUnavailable("relay.pin: missing; a relay of kind gpio needs a BCM number")
    name = f"relay on GPIO {spec.pin}"
    with naming(name, RelayUnavailable):
        from gpiozero import InputDevice, OutputDevice

        factory = pin_factory(runtime_dir=runtime_dir)
        output = OutputDevice(
            spec.pin, active_high=spec.active_high, initial_value=False, pin_factory=factory
        )
    feedback = None
    if spec.feedback_pin is not None:
        try:
            with naming(f"relay feedback on GPIO {spec.feedback_pin}", RelayUnavailable):
                # Pulled down: a wire that came off reads as no current.
                feedback = InputDevice(spec.feedback_pin, pull_up=False, pin_factory=factory)
        except RelayUnavailable:
            output.close()
            raise
    return Relay(output, feedback, name=name, released_heats=spec.contact == "NC")

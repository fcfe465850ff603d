"""Inputs that are only read: the pump runs, the door is open, the floor is wet."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from overwinter.core.nouns import ContactSpec
from overwinter.devices.pins import PinUnavailable, naming, pin_factory


class Contact:
    """One input. Used by one thread."""

    def __init__(self, name: str, device: Any) -> None:
        self.name = name
        self._device = device

    def active(self) -> bool:
        """Whether it is so now; pulled towards no, so that a wire that came off reads as no.

        Raises
        ------
        PinUnavailable
            The level cannot be read, or the contact is closed.
        """
        with naming(f"contact {self.name!r}"):
            return bool(self._device.is_active)

    def close(self) -> None:
        """Give the pin back; may be called twice."""
        self._device.close()


def open_contacts(specs: Sequence[ContactSpec], *, runtime_dir: Path | None = None) -> list[Contact]:
    """All contacts of site.toml, in its order; `runtime_dir` matters only where no relay was opened before.

    Raises
    ------
    PinUnavailable
        One or more cannot be had; the text names each, and none is left claimed.
    """
    contacts: list[Contact] = []
    problems: list[str] = []
    for spec in specs:
        try:
            with naming(f"contact {spec.name!r} on GPIO {spec.pin}"):
                from gpiozero import InputDevice

                factory = pin_factory(runtime_dir=runtime_dir)
                device = InputDevice(spec.pin, pull_up=not spec.active_high, pin_factory=factory)
        except PinUnavailable as error:
            problems.append(str(error))
        else:
            contacts.append(Contact(spec.name, device))
    if problems:
        for contact in contacts:
            contact.close()
        raise PinUnavailable("; ".join(problems))
    return contacts

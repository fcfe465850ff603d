"""What the wheel asks of the things around it; the devices fit, and so do their twins in a rehearsal."""

from typing import Protocol

from overwinter.core.nouns import Reading


class Relay(Protocol):
    """What switches the heat."""

    def drive(self, heat: bool) -> None:
        """Heat on or off."""
        ...

    def feedback(self) -> bool | None:
        """Whether current flows; None: there is no such input."""
        ...

    def close(self) -> None:
        """Release it."""
        ...


class Contact(Protocol):
    """An input that is only read."""

    @property
    def name(self) -> str:
        """As in site.toml."""
        ...

    def active(self) -> bool:
        """Now."""
        ...


class SensorThread(Protocol):
    """What reads a sensor in its own thread."""

    def overdue(self, now_s: float) -> Reading | None:
        """The missing reading of a read that hangs."""
        ...

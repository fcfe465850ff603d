"""Pins without a board: gpiozero's own mock, and its real lgpio backend over a recording stand-in."""

import os
import sys
import types
from collections.abc import Iterator
from pathlib import Path

import gpiozero.pins.local
import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

PI_3B = 0xA02082
"""A published revision code of the Raspberry Pi 3B."""


@pytest.fixture
def no_factory(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No pin factory chosen yet, neither by name nor by an earlier test."""
    for name in ("LG_WD", "GPIOZERO_PIN_FACTORY"):
        monkeypatch.setenv(name, "")  # remembered, so that what the code sets is undone too
        monkeypatch.delenv(name)
    monkeypatch.setattr(Device, "pin_factory", None)
    yield
    if Device.pin_factory is not None:
        Device.pin_factory.close()


@pytest.fixture
def pins(no_factory: None) -> Iterator[MockFactory]:
    """The mock board, named as an owner would name it."""
    os.environ["GPIOZERO_PIN_FACTORY"] = "mock"
    factory = Device.pin_factory = MockFactory()
    yield factory
    factory.reset()


class RecordingLgpio(types.ModuleType):
    """What gpiozero calls of lgpio, with every call that can move a level written down."""

    SET_PULL_UP, SET_PULL_DOWN, SET_PULL_NONE = 32, 64, 128
    RISING_EDGE, FALLING_EDGE, BOTH_EDGES = 1, 2, 3
    IS_OUT = 1 << 1

    class error(Exception):  # noqa: N801 (lgpio's own name)
        pass

    def __init__(self) -> None:
        super().__init__("lgpio")
        self.calls: list[tuple[object, ...]] = []
        self.modes: dict[int, int] = {}
        self.levels: dict[int, int] = {}
        self.fails: dict[str, str] = {}  # function: what it raises

    def record(self, function: str, *arguments: object) -> None:
        if function in self.fails:
            raise self.error(self.fails[function])
        self.calls.append((function, *arguments))

    def of(self, pin: int) -> list[tuple[object, ...]]:
        """The calls for one pin, without its number."""
        return [(call[0], *call[2:]) for call in self.calls if call[1:2] == (pin,)]

    def outputs(self, pin: int) -> list[int]:
        """The levels that were put on the pin, in order."""
        return [int(call[2]) for call in self.calls if call[0] in {"output", "write"} and call[1] == pin]  # type: ignore[call-overload]

    def gpiochip_open(self, chip: int) -> int:
        self.record("open", None, chip)
        return 1

    def gpiochip_close(self, handle: int) -> None:
        self.record("close", None)

    def gpio_claim_input(self, handle: int, pin: int, flags: int = 0) -> None:
        self.record("input", pin, flags)
        self.modes[pin] = 0

    def gpio_claim_output(self, handle: int, pin: int, level: int = 0, flags: int = 0) -> None:
        self.record("output", pin, level)
        self.modes[pin], self.levels[pin] = self.IS_OUT, level

    def gpio_write(self, handle: int, pin: int, level: int) -> None:
        self.record("write", pin, int(level))
        self.levels[pin] = level

    def gpio_read(self, handle: int, pin: int) -> int:
        if "read" in self.fails:
            raise self.error(self.fails["read"])
        return self.levels.get(pin, 0)

    def gpio_free(self, handle: int, pin: int) -> None:
        self.record("free", pin)

    def gpio_get_mode(self, handle: int, pin: int) -> int:
        return self.modes.get(pin, 0)


@pytest.fixture
def lgpio(no_factory: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[RecordingLgpio]:
    """The real lgpio backend of gpiozero, as on a Pi 3B, over a recorder."""
    recorder = RecordingLgpio()
    monkeypatch.setitem(sys.modules, "lgpio", recorder)
    sys.modules.pop("gpiozero.pins.lgpio", None)
    monkeypatch.setattr(gpiozero.pins.local, "get_pi_revision", lambda: PI_3B)
    yield recorder
    recorder.fails.clear()
    if Device.pin_factory is not None:
        Device.pin_factory.close()
        Device.pin_factory = None
    sys.modules.pop("gpiozero.pins.lgpio", None)
    gpiozero.pins.local.LocalPiFactory._reservations.clear()


@pytest.fixture
def device_folder(tmp_path: Path) -> Path:
    """Where a device's kernel files would be, below a root of our own."""
    folder = tmp_path / "sys" / "bus" / "device"
    folder.mkdir(parents=True)
    return folder

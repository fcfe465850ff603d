"""The one gpiozero pin factory of this process, and what is wrong when a pin cannot be had.

The factory is the one GPIOZERO_PIN_FACTORY names, or lgpio. Left to itself gpiozero tries one after another
and only warns; a relay driven by another means than the one that was tried out is no relay to rely on.

lgpio has three habits that are undone here:

- it makes an output low before it writes the level asked for, which switches an active-low relay on;
- importing it makes a FIFO in the working directory or in LG_WD, and in the second case moves the whole
  process there;
- closing a pin leaves it floating. Here it is pulled towards the level it was first given, the released one.
  That pull is weak, and gone while the board is without power: an external resistor is what decides then.

Of the other factories rpigpio sets the level with the direction too; native and pigpio do not.
"""

import contextlib
import os
import tempfile
from collections.abc import Iterator
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any

from overwinter.core.nouns import OverwinterError

GROUP = "gpiozero_pin_factories"
"""Where gpiozero, and whoever adds to it, lists its pin factories."""

DEVICE_NODES = Path("/dev")


class PinUnavailable(OverwinterError):
    """A GPIO pin or the way to it cannot be had; the text says why, and what to do."""


def pin_factory(*, runtime_dir: Path | None) -> Any:
    """The factory that all our pins share; opened by the first call, closed by gpiozero at exit.

    Raises
    ------
    PinUnavailable
        No factory has that name, or it does not work here.
    """
    from gpiozero import Device

    if Device.pin_factory is None:
        # Where gpiozero looks for it too: then its own clean-up at exit covers our pins.
        Device.pin_factory = _opened(os.environ.get("GPIOZERO_PIN_FACTORY") or "lgpio", runtime_dir)
    return Device.pin_factory


@contextlib.contextmanager
def naming(what: str, error_class: type[PinUnavailable] = PinUnavailable) -> Iterator[None]:
    """Whatever gpiozero and the libraries below it raise, as our own error that begins with `what`."""
    try:
        yield
    except Exception as error:  # every backend raises classes of its own
        raise error_class(f"{what}: {_in_words(error)}") from error


def _opened(name: str, runtime_dir: Path | None) -> Any:
    found = {point.name: point for point in entry_points(group=GROUP)}
    point = found.get(name) or found.get(name.lower())
    if point is None:
        raise PinUnavailable(
            f"GPIOZERO_PIN_FACTORY={name}: no such pin factory; allowed: {', '.join(sorted(found))}"
        )
    with naming(f"pin factory {name}"):
        return _lgpio(point, runtime_dir) if point.name == "lgpio" else point.load()()


def _lgpio(point: Any, runtime_dir: Path | None) -> Any:
    os.environ.setdefault("LG_WD", _writable(runtime_dir))
    with _same_folder():
        factory_class = point.load()
    from gpiozero.pins import lgpio as backend

    lgpio = backend.lgpio

    class SteadyPin(backend.LGPIOPin):  # type: ignore[misc]
        """A pin whose first level is the one asked for, and whose last pull is towards it."""

        _released: bool | None = None

        def output_with_state(self, state: bool) -> None:
            lgpio.gpio_claim_output(self.factory._handle, self._number, int(state))  # noqa: SLF001
            self._released = bool(state)

        def close(self) -> None:
            handle = self.factory._handle  # noqa: SLF001
            if self._released is None or handle is None:
                super().close()
                return
            try:
                # A claimed line keeps its flags: it has to be freed first.
                lgpio.gpio_free(handle, self._number)
                pull = lgpio.SET_PULL_UP if self._released else lgpio.SET_PULL_DOWN
                lgpio.gpio_claim_input(handle, self._number, pull)
            except lgpio.error:  # a kernel older than 5.5 knows no pulls
                super().close()

    factory = factory_class()
    factory.pin_class = SteadyPin
    return factory


def _writable(runtime_dir: Path | None) -> str:
    # A FIFO that only interrupts need must not keep the relay from working: any folder will do.
    folders = [] if runtime_dir is None else [str(runtime_dir)]
    with contextlib.suppress(OSError):
        folders.append(tempfile.gettempdir())
    folders.append("/dev/shm")
    return next((folder for folder in folders if os.access(folder, os.W_OK | os.X_OK)), folders[0])


@contextlib.contextmanager
def _same_folder() -> Iterator[None]:
    before = os.open(".", os.O_PATH | os.O_DIRECTORY)
    try:
        yield
    finally:
        os.fchdir(before)
        os.close(before)


def _in_words(error: Exception) -> str:
    text = str(error).strip("'") or type(error).__name__
    hint = _hint(error, text)
    return f"{text}; {hint}" if hint else text


def _hint(error: Exception, text: str) -> str | None:
    """What a person can do about it."""
    if isinstance(error, OverwinterError):
        return None  # it brought its own
    kind = type(error).__name__
    if isinstance(error, ImportError | AttributeError) and "lgpio" in text:
        return "install lgpio 0.2.2 or later, or python3-lgpio for an environment that sees system packages"
    if kind == "PinUnknownPi":
        return "this is no Raspberry Pi, or its kernel hides the model"
    if kind == "GPIOPinInUse":
        return "two entries of site.toml name the same pin"
    if kind == "PinInvalidPin":
        return "pins are BCM numbers of the 40-pin header, 0 to 27"
    if "busy" in text.lower():
        return "another program holds this pin"
    if "gpiochip" not in text:
        return None
    chips = sorted(DEVICE_NODES.glob("gpiochip*"))
    if not chips:
        return "there is no /dev/gpiochip: the kernel has no GPIO here"
    if not any(os.access(chip, os.R_OK | os.W_OK) for chip in chips):
        # A unit that lacks the line is refused just like a user outside the group, and root with it.
        needs = "the user must be in the group gpio, a unit have DeviceAllow=char-gpiochip rw"
        return f"no access to {chips[0]}: {needs}"
    return None

"""A lamp or a buzzer on one pin, that repeats a pattern in a thread of its own.

Rule 1: a pattern holds only as long as the guard keeps showing it. A guard that hangs goes dark and silent.
Rule 2: a signal that breaks is told once and costs nothing else: it never steers heat, nor stops a guard.
"""

import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from overwinter.core.signals import OFF, Pattern
from overwinter.core.telling import Signal as Spec
from overwinter.devices.pins import PinUnavailable, naming, pin_factory

HOLDS_S = 10.0
"""A pattern that was not shown again for so long ends: turns come every second."""


class Signal:
    """One output that is shown a pattern at every turn."""

    def __init__(self, device: Any, *, name: str, tell: Callable[[str], None]) -> None:
        self._device = device
        self._name = name
        self._tell = tell
        self._pattern = OFF
        self._shown_s = time.monotonic()
        self._changed = threading.Event()
        self._is_over = False
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def show(self, pattern: Pattern) -> None:
        """From now on this; the same again lets it go on where it is."""
        self._shown_s = time.monotonic()
        if pattern != self._pattern:
            self._pattern = pattern
            self._changed.set()

    def close(self) -> None:
        """Dark and silent, and the pin given back; may be called twice."""
        self._is_over = True
        self._changed.set()
        self._thread.join(1.0)
        self._device.close()

    def _run(self) -> None:
        try:
            with naming(self._name):
                while not self._is_over:
                    self._changed.clear()
                    self._once(self._pattern)
                self._device.off()
        except PinUnavailable as error:
            self._tell(str(error))

    def _once(self, pattern: Pattern) -> None:
        """One round of the pattern, or less if another one is shown."""
        is_on = True
        for step_s in pattern or (1.0,):
            self._device.value = is_on and bool(pattern) and not self._is_stale()
            if self._waited(step_s):
                return
            # A pattern of one step never changes.
            is_on = not is_on or len(pattern) == 1

    def _waited(self, step_s: float) -> bool:
        """Whether something else is to be shown before the step is over; a guard that hangs ends it too."""
        ends_s = time.monotonic() + step_s
        while (left_s := ends_s - time.monotonic()) > 0.0:
            if self._changed.wait(min(left_s, 1.0)):
                return True
            if self._is_stale():
                self._device.off()
        return False

    def _is_stale(self) -> bool:
        return time.monotonic() - self._shown_s >= HOLDS_S


def open_signals(
    specs: Sequence[tuple[str, Spec | None]], *, runtime_dir: Path | None, tell: Callable[[str], None]
) -> list[Signal | None]:
    """The signals of site.toml in the order asked for; None for one that is not wired or cannot be had.

    A lamp that cannot be lit is told and does without: pipes come first.
    """
    return [_opened(name, spec, runtime_dir, tell) for name, spec in specs]


def _opened(
    name: str, spec: Spec | None, runtime_dir: Path | None, tell: Callable[[str], None]
) -> Signal | None:
    if spec is None:
        return None
    title = f"{name} on GPIO {spec.pin}"
    try:
        with naming(title):
            from gpiozero import OutputDevice

            factory = pin_factory(runtime_dir=runtime_dir)
            device = OutputDevice(
                spec.pin, active_high=spec.active_high, initial_value=False, pin_factory=factory
            )
    except PinUnavailable as error:
        tell(str(error))
        return None
    return Signal(device, name=title, tell=tell)

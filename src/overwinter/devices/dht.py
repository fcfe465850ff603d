"""A DHT22/AM2302 or DHT11 on one data line, through adafruit_dht and its pulse helper process.

What this file keeps away from the rest:

- The library answers a question within 2 s of the one before with the value from before, silently, even
  when the one before failed. Such a question is not asked; the reading says so.
- When the helper process dies, the library waits for ever. `unstick` takes the message queue away from
  under it, which ends the wait; the next read builds a new device with a new helper.
- Importing the library installs a SIGTERM handler that exits with status 1 from anywhere. `prepare` imports
  it in the main thread and puts back the handler that was there; call it once, before any reader starts.
- `board` is not imported: 7 MB for a name that a BCM number serves as well.

An all-zero frame has a right checksum and passes as (0.0 °C, 0.0 %): naming it is for the judge.
"""

import contextlib
import signal
import sys
import threading
from typing import Any

from overwinter.core.nouns import Reading

ASK_AGAIN_S = 2.0
"""The library's own limit, also for DHT11: only when more has passed since it was asked it measures anew."""

REBUILD_AFTER_FAILURES = 10
"""So many failed reads in a row end the helper process too: at one read each 10 s within 100 s, before a
sensor counts as lost. Half of the reads failing is ordinary for this part, ten in a row then is 1 in 1000."""

# How the library's texts begin, and what they mean at the pump house.
_REASONS = (
    ("DHT sensor not found", "no answer; wired and powered?"),
    ("A full buffer was not returned", "part of the answer is missing"),
    ("Checksum did not validate", "checksum wrong"),
    ("Received unplausible data", "humidity outside 0..100 %"),
    ("Timed out waiting for PulseIn message", "the pulse helper did not start"),
    ("Message queue creation failed", "no message queue for the pulse helper"),
    ("The queue no longer exists", "the pulse helper is gone"),
    ("name 'PulseIn'", "pulses cannot be timed on this board"),
    ("Cannot inspect Raspberry Pi GPIO", "no access to GPIO; in group gpio?"),
    ("No Raspberry Pi header GPIO", "no such GPIO on this board"),
    ("unsigned short", "a pulse far too long"),
)


class Dht:
    """One sensor on one pin. The device is built by the first read, in the thread that reads."""

    def __init__(self, name: str, kind: str, pin: int) -> None:
        self.name = name
        self.kind = kind  # dht22 | dht11
        self.pin = pin
        self._device: Any = None
        self._asked_s: float | None = None
        self._failures = 0
        self._rebuild = False  # set by `unstick`, from another thread

    @staticmethod
    def prepare() -> None:
        """Import the library while it is harmless; call in the main thread.

        A library that cannot be imported is no reason to end the guard: each read says so instead.
        """
        in_main_thread = threading.current_thread() is threading.main_thread()
        handler = signal.getsignal(signal.SIGTERM)
        with contextlib.suppress(Exception):
            _import_library()
        if in_main_thread and handler is not None:
            signal.signal(signal.SIGTERM, handler)

    def read(self, now_s: float) -> Reading:
        """Ask the sensor once; takes a quarter of a second."""
        if self._rebuild:
            self.close()
        if self._asked_s is not None and now_s - self._asked_s <= ASK_AGAIN_S:
            return self._failed(now_s, f"asked again within {ASK_AGAIN_S:g} s")
        try:
            device = self._built()
            self._asked_s = now_s
            # What an answer without a question would repeat is forgotten first: this clock and the
            # library's differ by the time it took to build the device.
            device._temperature = device._humidity = None  # noqa: SLF001
            temperature_c, humidity_pct = device.temperature, device.humidity
        except Exception as error:  # noqa: BLE001 (around a device: whatever it raises is a failed read)
            self._count_failure()
            return self._failed(now_s, _in_words(error))
        if temperature_c is None or humidity_pct is None:
            return self._failed(now_s, f"asked again within {ASK_AGAIN_S:g} s")
        self._failures = 0
        return Reading(
            sensor=self.name,
            taken_s=now_s,
            temperature_c=float(temperature_c),
            humidity_pct=float(humidity_pct),
        )

    def unstick(self) -> None:
        """Wake a read that hangs in another thread; the next read builds a new device."""
        self._rebuild = True
        with contextlib.suppress(Exception):
            self._device.pulse_in._mq.remove()  # noqa: SLF001

    def close(self) -> None:
        """End the helper process and forget the device."""
        device, self._device = self._device, None
        self._rebuild = False
        self._failures = 0
        if device is not None:
            with contextlib.suppress(Exception):
                device.exit()

    def _built(self) -> Any:
        if self._device is None:
            library, make_pin = _import_library()
            make = library.DHT11 if self.kind == "dht11" else library.DHT22
            # Always pulseio: the other way spins for a quarter of a second and on a busy board reads
            # wrong. Where there is none, saying so is better.
            self._device = make(make_pin(self.pin), use_pulseio=True)
        return self._device

    def _count_failure(self) -> None:
        self._failures += 1
        if self._failures >= REBUILD_AFTER_FAILURES:
            self.close()

    def _failed(self, now_s: float, words: str) -> Reading:
        error = f"{self.kind} on GPIO {self.pin}: {words}"
        return Reading(sensor=self.name, taken_s=now_s, temperature_c=None, error=error)


def _import_library() -> tuple[Any, Any]:
    # On a board it does not know the library prints a warning; standard output is for data.
    with contextlib.redirect_stdout(sys.stderr):
        import adafruit_dht
        from adafruit_blinka.microcontroller.bcm283x.pin import Pin
    return adafruit_dht, Pin


def _in_words(error: Exception) -> str:
    """Our own word for it, with the original text behind."""
    text = str(error) or type(error).__name__
    reason = next((ours for begin, ours in _REASONS if text.startswith(begin)), type(error).__name__)
    return f"{reason} ({text})"

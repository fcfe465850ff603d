"""Pulse trains as a DHT sensor puts them on its line, and two stand-ins for what times them.

`FakePulseIn` replaces the library's timer: each `resume` triggers, and the next train of `source` is there.
`HelperProcess` replaces the pulse helper program under the *real* timer: it speaks the same message queue,
and can die.
"""

import threading
from collections.abc import Callable, Sequence
from typing import ClassVar

import sysv_ipc

LOW_US, ZERO_US, ONE_US, RESPONSE_US = 50, 26, 70, 80


def train(frame: Sequence[int]) -> list[int]:
    """Lengths [µs] of response, 40 bits and closing low, as in the sensor's data sheet."""
    bits = [byte >> place & 1 for byte in frame for place in range(7, -1, -1)]
    ones_and_zeros = [length for bit in bits for length in (LOW_US, ONE_US if bit else ZERO_US)]
    return [RESPONSE_US, RESPONSE_US, *ones_and_zeros, LOW_US]


def frame22(temperature_c: float, humidity_pct: float) -> list[int]:
    """A DHT22 frame: sign and magnitude in tenths, not two's complement."""
    magnitude = round(abs(temperature_c) * 10) | (0x8000 if temperature_c < 0 else 0)
    humidity = round(humidity_pct * 10)
    data = [humidity >> 8, humidity & 255, magnitude >> 8, magnitude & 255]
    return [*data, sum(data) & 255]


class Clock:
    """The time module as the library uses it, without waiting."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def monotonic(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


class FakePulseIn:
    """As much of PulseIn as the library calls."""

    source: Callable[[], Sequence[int]]
    built = 0
    open = 0

    def __init__(self, pin: object, maxlen: int = 2, idle_state: bool = False) -> None:
        self.maxlen = maxlen
        self.queue: list[int] = []
        type(self).built += 1
        type(self).open += 1

    def pause(self) -> None:
        pass

    def deinit(self) -> None:
        type(self).open -= 1

    def clear(self) -> None:
        self.queue.clear()

    def resume(self, trigger_duration: int = 0) -> None:
        self.queue = list(type(self).source())[-self.maxlen :]

    def popleft(self) -> int:
        return self.queue.pop(0)

    def __len__(self) -> int:
        return len(self.queue)


class HelperProcess:
    """The pulse helper as a thread behind the face of `subprocess.Popen`."""

    pulses: Sequence[int] = ()
    started: ClassVar["list[HelperProcess]"] = []

    def __init__(self, command: Sequence[str]) -> None:
        self.queue = sysv_ipc.MessageQueue(int(command[command.index("--queue") + 1]))
        self.silent = False
        self.captured: list[int] = []
        type(self).started.append(self)
        threading.Thread(target=self._serve, daemon=True).start()

    def terminate(self) -> None:
        """The queue's removal, which follows, ends the thread."""

    def _serve(self) -> None:
        self.queue.send(b"!", type=2)
        try:
            while True:
                message, _ = self.queue.receive(type=1)
                self._answer(message.decode())
        except sysv_ipc.ExistentialError:
            return

    def _answer(self, message: str) -> None:
        if self.silent:
            return
        if message.startswith("t"):
            self.captured = list(type(self).pulses)
        elif message == "c":
            self.captured.clear()
        elif message == "l":
            self.queue.send(str(len(self.captured)), type=2)
        elif message == "^":
            self.queue.send(str(self.captured.pop(0) if self.captured else -1), type=2)

"""Every call that reaches the chip's driver, recorded by the kernel: nothing happens to a line in between.

Looking at a line's file again and again proves little: a blink between two looks is missed. So the kernel
writes down each call of the driver's functions (kprobes), with its arguments and time. What is not in the
record did not happen to the line, save a change of its pull from outside.
"""

import os
import re
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from tests.rigs.gpio.guest.board import run

TRACING = Path("/sys/kernel/tracing")
DRIVER = "gpio_sim_oot"

PROBES = (
    # On x86_64 the first arguments are in di, si, dx; the first of all is the chip.
    "out gpio_sim_direction_output pin=%si:u32 level=%dx:s32",
    "in gpio_sim_direction_input pin=%si:u32",
    "set gpio_sim_set pin=%si:u32 level=%dx:s32",
    "many gpio_sim_set_multiple mask=+0(%si):u64 bits=+0(%dx):u64",
    "config gpio_sim_set_config pin=%si:u32 packed=%dx:u64",
    "free gpio_sim_free pin=%si:u32",
)

PULL_DOWN, PULL_UP = 3, 5  # linux/pinctrl/pinconf-generic.h, the low byte of a packed configuration

# `  overwinter-412     [001] ...1.   105.271828: out: (gpio_sim_direction_output+0x0/0x50) pin=17 level=0`
_LINE = re.compile(
    r"\s*(?P<who>.+)-(?P<pid>\d+)\s+\[\d+\]\s+\S+\s+(?P<at_s>[\d.]+): (?P<what>\w+): \(.*?\)(?P<rest>.*)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """One call of the driver."""

    what: str  # out | in | set | pull | free
    pin: int
    level: int | None  # out, set and pull
    at_s: float
    who: str
    pid: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """From then on somebody drives the line so; None: nobody does."""

    level: int | None
    at_s: float
    who: str


def calls(text: str, lines: int) -> Iterator[Call]:
    """What the kernel wrote down, in its order."""
    for line in text.splitlines():
        found = _LINE.fullmatch(line)
        if found is None:
            continue  # its head, and remarks
        facts = {key: int(value) for key, value in re.findall(r"(\w+)=(-?\d+)", found["rest"])}
        for what, pin, level in _meant(found["what"], facts, lines):
            yield Call(
                what=what,
                pin=pin,
                level=level,
                at_s=float(found["at_s"]),
                who=found["who"].strip(),
                pid=int(found["pid"]),
            )


def _meant(what: str, facts: Mapping[str, int], lines: int) -> Iterator[tuple[str, int, int | None]]:
    """One call of the driver, line by line."""
    if what == "many":
        for pin in range(lines):
            if facts["mask"] >> pin & 1:
                yield "set", pin, facts["bits"] >> pin & 1
    elif what == "config":
        kind = facts["packed"] & 0xFF
        if kind in (PULL_DOWN, PULL_UP):
            yield "pull", facts["pin"], int(kind == PULL_UP)
    elif "level" in facts:
        yield what, facts["pin"], int(facts["level"] != 0)
    else:
        yield what, facts["pin"], None


def driven(record: Sequence[Call], pin: int) -> list[Level]:
    """How one line was driven, change by change."""
    found: list[Level] = []
    for call in record:
        if call.pin != pin or call.what == "pull":
            continue
        level = call.level if call.what in ("out", "set") else None
        if not found or found[-1].level != level:
            found.append(Level(level=level, at_s=call.at_s, who=call.who))
    return found


class Recorder:
    """The kernel's record of the chip's driver."""

    def __init__(self, lines: int) -> None:
        self._lines = lines

    def make(self) -> None:
        """Write down every call from now on."""
        if not (TRACING / "kprobe_events").exists():
            run("mount", "-t", "tracefs", "none", TRACING)
        (TRACING / "trace_clock").write_text("mono")  # as Python's time.monotonic
        # Not open("a"): it seeks, and this file cannot.
        events = os.open(TRACING / "kprobe_events", os.O_WRONLY | os.O_APPEND)
        try:
            for probe in PROBES:
                name, function, arguments = probe.split(" ", 2)
                os.write(events, f"p:rig/{name} {DRIVER}:{function} {arguments}\n".encode())
        finally:
            os.close(events)
        (TRACING / "events/rig/enable").write_text("1")
        (TRACING / "tracing_on").write_text("1")

    def forget(self) -> None:
        """Begin anew."""
        (TRACING / "trace").write_text("")

    def calls(self) -> list[Call]:
        """All since it was begun."""
        return list(calls((TRACING / "trace").read_text(), self._lines))


class Looks:
    """The level's file read as fast as can be, beside the record: what an outsider sees, and how seldom."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._ended = threading.Event()
        self.changes: list[tuple[float, int]] = []
        self.count = 0
        self.gap_s = 0.0

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    def _look(self) -> None:
        before_s = time.monotonic()
        with self._file.open("rb", buffering=0) as file:
            while not self._ended.is_set():
                file.seek(0)
                level = int(file.read(8))
                now_s = time.monotonic()
                self.count += 1
                self.gap_s = max(self.gap_s, now_s - before_s)
                before_s = now_s
                if not self.changes or self.changes[-1][1] != level:
                    self.changes.append((now_s, level))

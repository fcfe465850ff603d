"""A notifier that is told to end, at every line where a signal may find it."""

import sys
import threading
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from overwinter.core.nouns import Site
from overwinter.daemon import commentary
from overwinter.notify import notifier as module
from overwinter.notify.notifier import Notifier

LINES = 60
"""More than one rest has, with what it calls in the standard library."""


class Service:
    """A service manager that hears and says nothing."""

    def ready(self) -> None: ...
    def stopping(self) -> None: ...
    def turned(self, _status: str, _now_s: float) -> None: ...


def ended_at(line: int, folder: Path, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether `run` comes back when `stop` is called from within, at the so manyth line after a look."""
    notifier = Notifier(
        Site(name="orchard"),
        socket_path=str(folder / "nobody"),
        memory=None,
        password=None,
        log=commentary.get(),
        service=Service(),
    )
    passed = 0

    def at_a_line(_frame: FrameType, event: str, _value: Any) -> Any:
        nonlocal passed
        if event == "line":
            passed += 1
            if passed == line:
                notifier.stop()  # as a signal handler would, in the same thread
        return at_a_line

    def look() -> None:
        sys.settrace(at_a_line)

    monkeypatch.setattr(notifier, "look", look)
    running = threading.Thread(target=notifier.run, daemon=True)
    running.start()
    running.join(5.0)
    return not running.is_alive()


def test_it_ends_wherever_the_signal_finds_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LOOK_EVERY_S", 0.02)
    monkeypatch.setattr(module, "LOOK_AGAIN_S", 0.01)

    stuck_at = next((line for line in range(1, LINES) if not ended_at(line, tmp_path, monkeypatch)), None)

    assert stuck_at is None

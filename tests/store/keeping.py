"""A keeper on a disk that passes, blocks or fails as a test wants, and what it told."""

import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from overwinter.store.keeper import Keeper
from overwinter.store.logbook import encode, read_lines

PATIENCE_S = 20.0  # for what needs milliseconds, on a machine that is busy with other things


class Told:
    """What the keeper told, to be waited for."""

    def __init__(self) -> None:
        self.all: list[tuple[str, bool, str]] = []
        self.news = threading.Condition()

    def __call__(self, code: str, present: bool, text: str) -> None:
        with self.news:
            self.all.append((code, present, text))
            self.news.notify_all()

    def wait_for(self, present: bool, count: int = 1) -> str:
        with self.news:
            found = self.news.wait_for(
                lambda: [text for _, is_so, text in self.all if is_so is present][count - 1 :], PATIENCE_S
            )
        assert found, self.all
        return str(found[0])


class Disk:
    """Lets each call of `os` pass, block, or fail, as the test wants from now on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.errors: dict[str, int] = {}
        self.under = ""  # only calls for a descriptor or path of this folder fail
        self.calls: list[tuple[str, str]] = []
        self.may_pass = threading.Event()
        self.may_pass.set()
        self.is_waited_for = threading.Event()
        for name in ("open", "write", "fsync"):
            monkeypatch.setattr(os, name, self.through(name, getattr(os, name)))

    def through(self, name: str, true: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **named: Any) -> Any:
            if threading.current_thread().name != "keeper":
                return true(*arguments, **named)
            path = (
                str(arguments[0]) if name == "open" else str(Path(f"/proc/self/fd/{arguments[0]}").readlink())
            )
            self.calls.append((name, path))
            if not self.may_pass.is_set():
                self.is_waited_for.set()
                assert self.may_pass.wait(PATIENCE_S)
            if name in self.errors and path.startswith(self.under):
                raise OSError(self.errors[name], os.strerror(self.errors[name]))
            return true(*arguments, **named)

        return call

    def syncs_of_logbook(self) -> int:
        return sum(name == "fsync" and "logbook.jsonl" in path for name, path in self.calls)


class Rig:
    def __init__(self, folder: Path, *, start: bool = True, **changed: Any) -> None:
        self.state = folder / "state"
        self.logs = folder / "logs"
        self.told = Told()
        arguments: dict[str, Any] = {
            "state_dir": self.state,
            "logs_dir": self.logs,
            "max_bytes": 4_194_304,
            "tell": self.told,
            "clock": time.monotonic,
        }
        self.keeper = Keeper(**{**arguments, **changed})
        self.next = 0
        if start:
            self.keeper.start()
            self.settle()

    def record(self, count: int = 1, *, urgent: bool = False) -> None:
        for _ in range(count):
            kind = "heat" if urgent else "sample"
            self.keeper.record(encode({"event": kind, "n": self.next}), urgent=urgent)
            self.next += 1

    def settle(self) -> None:
        """Until all that was recorded or asked before has been tried."""
        self.keeper.ask(lambda: None).result(PATIENCE_S)

    def numbers(self) -> list[int]:
        return [found["n"] for found in read_lines(self.logs)]


def wait_until(truth: Callable[[], bool]) -> None:
    end_s = time.monotonic() + PATIENCE_S
    while not truth():
        assert time.monotonic() < end_s
        time.sleep(0.005)

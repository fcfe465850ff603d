"""A small guard that answers from a table over a real socket, and the command run against it."""

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import main

STATUS: dict[str, Any] = {
    "version": "0.1.0",
    "uptime_s": 812.0,
    "mode": "freeze",
    "unit": "F",
    "site": "mill house",
    "blind": False,
    "temperature_c": 2.1,
    "humidity_pct": 71.0,
    "dew_point_c": -2.6,
    "age_s": 3.0,
    "band": {"low_c": 2.2222, "high_c": 4.4444},
    "heat": {
        "on": True,
        "reason": "below-band",
        "since_s": 130.0,
        "hand_until": None,
        "cycles": 41,
        "on_s": 90210.0,
    },
    "sensors": [
        {
            "name": "by the pump",
            "role": "control",
            "kind": "iio",
            "at": "air",
            "flag": 1,
            "temperature_c": 2.1,
            "humidity_pct": 71.0,
            "age_s": 3.0,
            "error": None,
        },
        {
            "name": "yard",
            "role": "outdoor",
            "kind": "w1",
            "at": "air",
            "flag": 9,
            "temperature_c": None,
            "humidity_pct": None,
            "age_s": None,
            "error": "no such device",
        },
    ],
    "contacts": {"pump": True},
    "health": "normal",
    "alarms": [],
    "warnings": [],
    "disk": {"settings": "ok", "logbook": "ok"},
    "clock": "synchronised",
}

SETTINGS: dict[str, Any] = {
    "mode": "freeze",
    "unit": "F",
    "band": {"low_c": 2.2222, "high_c": 4.4444},
    "sampling": {"sense_s": 10.0, "record_s": 60.0},
    "filter": {"window": 5, "max_rate_k_per_min": 5.0, "flat_after_s": 7200.0},
    "failsafe": {"lost_after_s": 120.0, "duty": 1.0, "warm_above_c": 10.0},
    "relay": {"min_on_s": 120.0, "min_off_s": 60.0},
    "limits": {"ceiling_c": 23.8889, "alarm_low_c": 1.3889},
    "exercise": {"every_days": 7.0, "for_s": 600.0},
}

COLD_ALARM = {
    "code": "cold",
    "since": "2026-01-09T04:12:33Z",
    "acknowledged": False,
    "text": "34.0 F (1.1 C): at or below alarm_low",
}


@dataclass
class Refusal:
    """Answer with an error instead of a result."""

    code: int
    message: str
    problems: list[dict[str, Any]] = field(default_factory=list)


FORECAST: dict[str, Any] = {
    "known": True,
    "outdoor_c": -5.0,
    "hours_to": {
        "alarm_low": {"best": 2.0, "low": 1.5, "high": 3.0},
        "freezing": {"best": 6.5, "low": 6.0, "high": 9.0},
        "pipes": [],
    },
    "outdoor_limit_c": {"best": -15.6, "low": -17.0, "high": -14.0},
    "tomorrow": {"duty": 0.4, "kwh": None, "cost": None},
    "based_on_h": 336.0,
    "missing": [],
}


class FakeGuard:
    """Answers each method from `answers` and remembers what it was asked."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.asked: list[tuple[str, Any]] = []
        self.answers: dict[str, Any] = {
            "status": STATUS,
            "settings": SETTINGS,
            "hand": {"hand_until": "2031-01-09T05:00:00Z"},
            "release": {},
            "quiet": {},
            "note": {},
            "drop_samples": {},
            "samples": [],
            "events": [],
            "forecast": FORECAST,
            "set": {"saved": True, "changes": {}},
        }
        self._listener = socket.socket(socket.AF_UNIX)
        self._listener.bind(str(path))
        self._listener.listen()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def params(self, method: str) -> Any:
        """The params of the only call of `method`."""
        (found,) = [params for asked, params in self.asked if asked == method]
        return found

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join(5.0)

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            with connection, connection.makefile("rwb") as stream:
                for line in stream:
                    stream.write(json.dumps(self._answer(json.loads(line))).encode() + b"\n")
                    stream.flush()

    def _answer(self, request: dict[str, Any]) -> dict[str, Any]:
        self.asked.append((request["method"], request.get("params")))
        answer = self.answers[request["method"]]
        if isinstance(answer, Refusal):
            error = {
                "code": answer.code,
                "message": answer.message,
                "data": {"problems": answer.problems},
            }
            return {"jsonrpc": "2.0", "id": request["id"], "error": error}
        return {"jsonrpc": "2.0", "id": request["id"], "result": answer}


@dataclass(frozen=True)
class Ran:
    """How the command ended."""

    code: int
    out: str
    err: str


@pytest.fixture(autouse=True)
def _own_surroundings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[None]:
    """No variable of the machine leads anywhere, and local time is an hour ahead of UTC."""
    for variable in ("SITE", "STATE", "LOGS", "SOCKET"):
        monkeypatch.delenv(f"OVERWINTER_{variable}", raising=False)
    for variable in ("CONFIGURATION", "STATE", "LOGS", "RUNTIME"):
        monkeypatch.delenv(f"{variable}_DIRECTORY", raising=False)
    monkeypatch.setattr("overwinter.cli.places.SYSTEM_ROOT", str(tmp_path / "system"))
    (tmp_path / "runtime").mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    monkeypatch.setenv("TZ", "MEZ-1")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture
def guard(tmp_path: Path) -> Iterator[FakeGuard]:
    """A guard that is there."""
    fake = FakeGuard(tmp_path / "s")
    yield fake
    fake.close()


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """The command in this process, without a guard named."""

    def run(*argv: str) -> Ran:
        code = main(list(argv))
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return run


@pytest.fixture
def ask(guard: FakeGuard, run: Callable[..., Ran]) -> Callable[..., Ran]:
    """The command in this process, with the fake guard's socket."""

    def ask(*argv: str) -> Ran:
        return run("--socket", str(guard.path), *argv)

    return ask

"""A port without a guard, and a server over a real socket in a folder that other users may enter."""

import json
import shutil
import socket
import tempfile
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from pathlib import Path
from typing import Any

import pytest

from overwinter.core.nouns import Caller
from overwinter.wire.server import Server


class FakePort:
    """Answers at once with what it was told to, and remembers who asked for what."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, dict[str, Any]]] = []
        self.refusals: list[tuple[str, Caller, str]] = []
        self.answers: dict[str, Any] = {}  # method: a value, an exception or a Future
        self.listeners: list[Callable[[bytes], None]] = []

    def _said(self, method: str, **given: Any) -> Future[Any]:
        self.calls.append((method, given))
        answer = self.answers.get(method, {})
        if isinstance(answer, Future):
            return answer
        future: Future[Any] = Future()
        if isinstance(answer, BaseException):
            future.set_exception(answer)
        else:
            future.set_result(answer)
        return future

    def status(self) -> dict[str, Any]:
        return dict(self._said("status").result())

    def settings(self) -> dict[str, Any]:
        return dict(self._said("settings").result())

    def records(self, **given: Any) -> Future[list[dict[str, Any]]]:
        return self._said("records", **given)

    def forecast(self, outdoor_c: float | None) -> Future[dict[str, Any]]:
        return self._said("forecast", outdoor_c=outdoor_c)

    def set(self, changes: dict[str, Any], **given: Any) -> Future[dict[str, Any]]:
        return self._said("set", changes=changes, **given)

    def hand(self, **given: Any) -> Future[dict[str, Any]]:
        return self._said("hand", **given)

    def release(self, caller: Caller) -> Future[dict[str, Any]]:
        return self._said("release", caller=caller)

    def quiet(self, caller: Caller) -> Future[dict[str, Any]]:
        return self._said("quiet", caller=caller)

    def note(self, text: str, caller: Caller) -> Future[dict[str, Any]]:
        return self._said("note", text=text, caller=caller)

    def drop_samples(self, caller: Caller) -> Future[dict[str, Any]]:
        return self._said("drop_samples", caller=caller)

    def take_away(self, **given: Any) -> Future[dict[str, Any]]:
        return self._said("take_away", **given)

    def give_back(self, caller: Caller) -> Future[dict[str, Any]]:
        return self._said("give_back", caller=caller)

    def prove(self, verdict: str, steps: list[dict[str, Any]], caller: Caller) -> Future[dict[str, Any]]:
        return self._said("prove", verdict=verdict, steps=steps, caller=caller)

    def refused(self, method: str, caller: Caller, text: str) -> None:
        self.refusals.append((method, caller, text))

    def subscribe(self, callback: Callable[[bytes], None]) -> Callable[[], None]:
        self.listeners.append(callback)
        return lambda: self.listeners.remove(callback)

    def record(self, line: bytes) -> None:
        """A new logbook line, as the wheel would hand it over."""
        for listener in self.listeners:
            listener(line)


class Talker:
    """One raw connection: exactly the bytes that are told, and whole lines back."""

    def __init__(self, path: Path, timeout_s: float = 10.0) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.socket.settimeout(timeout_s)
        self.socket.connect(str(path))
        self._file = self.socket.makefile("rb")

    def send(self, data: bytes) -> None:
        self.socket.sendall(data)

    def line(self) -> bytes:
        """The next line, empty at the end."""
        try:
            return self._file.readline()
        except ConnectionResetError:  # closed with something of ours unread
            return b""

    def ask_raw(self, line: bytes) -> Any:
        self.send(line + b"\n")
        return json.loads(self.line())

    def ask(self, method: str, params: object = None, request_id: object = 1) -> Any:
        request: dict[str, object] = {"jsonrpc": "2.0", "method": method, "id": request_id}
        if params is not None:
            request["params"] = params
        return self.ask_raw(json.dumps(request).encode())

    def close(self) -> None:
        self._file.close()
        self.socket.close()


@pytest.fixture
def port() -> FakePort:
    return FakePort()


@pytest.fixture
def place() -> Iterator[Path]:
    """A folder that another user can pass through, with a path short enough for a socket."""
    folder = Path(tempfile.mkdtemp(prefix="wire-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def path(place: Path) -> Path:
    return place / "control.sock"


@pytest.fixture
def server(port: FakePort, path: Path) -> Iterator[Server]:
    served = Server(port, path=path, listening=None)
    served.start()
    yield served
    served.stop(10.0)
    assert "wire" not in {thread.name for thread in threading.enumerate()}


@pytest.fixture
def talk(server: Server, path: Path) -> Iterator[Callable[[], Talker]]:
    """Makes connections to the server, closed at the end."""
    talkers: list[Talker] = []

    def connect() -> Talker:
        talkers.append(Talker(path))
        return talkers[-1]

    yield connect
    for talker in talkers:
        talker.close()


@pytest.fixture
def talker(talk: Callable[[], Talker]) -> Talker:
    return talk()

"""The commands' side: whatever sits at the socket, the wait ends and the text says what to do."""

import contextlib
import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from overwinter.core.nouns import Problem, Refused
from overwinter.wire import client
from tests.wire.conftest import FakePort

SHORT_S = 0.3
MARGIN_S = 1.0  # for a busy machine; without a deadline these tests would wait for ever


@pytest.fixture
def listening(path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(path))
        listener.listen(8)
        yield listener


@pytest.fixture
def answering(listening: socket.socket) -> Iterator[Callable[[Callable[[socket.socket], None]], None]]:
    """Has one connection attended by a function, in a thread."""
    threads: list[threading.Thread] = []

    def attend(act: Callable[[socket.socket], None]) -> None:
        def run() -> None:
            connection, _ = listening.accept()
            with connection, contextlib.suppress(OSError):
                act(connection)

        threads.append(threading.Thread(target=run))
        threads[-1].start()

    yield attend
    for thread in threads:
        thread.join(10)
        assert not thread.is_alive()


@pytest.mark.usefixtures("server")
def test_a_call_returns_the_result(port: FakePort, path: Path) -> None:
    port.answers["status"] = {"mode": "freeze", "temperature_c": 2.1}

    assert client.call(str(path), "status") == {"mode": "freeze", "temperature_c": 2.1}


@pytest.mark.usefixtures("server")
def test_a_refusal_comes_with_its_problems(port: FakePort, path: Path) -> None:
    port.answers["set"] = Refused([Problem("band.low", 99.0, "below band.high", "band.low: too high")])

    with pytest.raises(client.RpcError, match=r"band\.low: too high") as caught:
        client.call(str(path), "set", {"changes": {"band.low": 99.0}})

    error = caught.value
    assert (error.code, error.message, error.exit_code) == (-32003, "band.low: too high", 1)
    assert error.problems == [
        {"key": "band.low", "value": 99.0, "allowed": "below band.high", "text": "band.low: too high"}
    ]


@pytest.mark.usefixtures("server")
def test_an_error_says_what_its_problems_say(path: Path) -> None:
    with pytest.raises(client.RpcError, match=r"^Method not found: heat: there is no such method$"):
        client.call(str(path), "heat")


def test_no_socket_is_unreachable_with_what_to_do(path: Path) -> None:
    with pytest.raises(client.Unreachable) as caught:
        client.call(str(path), "status")

    assert str(path) in str(caught.value)
    assert "systemctl status overwinter" in str(caught.value)
    assert caught.value.exit_code == 3
    assert isinstance(caught.value, ConnectionError)


@pytest.mark.parametrize(
    ("socket", "unit"),
    [
        ("/run/overwinter/control.sock", "overwinter"),
        ("/run/overwinter@mill/control.sock", "overwinter@mill"),
        ("/srv/elsewhere/control.sock", "overwinter"),
    ],
)
def test_what_to_do_names_the_service_of_the_house(socket: str, unit: str) -> None:
    with pytest.raises(client.Unreachable, match=f"`systemctl status {unit}`"):
        client.call(socket, "status")


def test_a_dead_guards_socket_is_unreachable(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(path))
        listener.listen(1)

    with pytest.raises(client.Unreachable, match=r"Connection refused.*systemctl status overwinter"):
        client.call(str(path), "status")


@pytest.mark.parametrize(
    "path", ["x" * 200, "a\0b", "/proc/self/status"], ids=["long", "zero byte", "a file"]
)
def test_a_path_that_is_no_socket_is_unreachable(path: str) -> None:
    with pytest.raises(client.Unreachable, match="systemctl status overwinter"):
        client.call(path, "status")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may open any socket")
def test_a_socket_that_may_not_be_opened_is_unreachable(path: Path, listening: socket.socket) -> None:
    path.chmod(0)

    with pytest.raises(client.Unreachable, match="Permission denied"):
        client.call(str(path), "status")


def took_s(act: Callable[[], object]) -> float:
    began_s = time.monotonic()
    with pytest.raises(client.Unreachable, match=r"within 0\.3 s.*may still happen.*systemctl"):
        act()
    return time.monotonic() - began_s


@pytest.mark.usefixtures("listening")
def test_a_guard_that_never_answers_is_given_up(path: Path) -> None:
    waited_s = took_s(lambda: client.call(str(path), "status", timeout_s=SHORT_S))

    assert SHORT_S <= waited_s < SHORT_S + MARGIN_S


@pytest.mark.usefixtures("listening")
def test_a_guard_that_never_reads_is_given_up(path: Path) -> None:
    params: dict[str, object] = {"text": "x" * 4_000_000}  # more than any socket buffer holds

    waited_s = took_s(lambda: client.call(str(path), "note", params, timeout_s=SHORT_S))

    assert waited_s < SHORT_S + MARGIN_S


def test_a_guard_whose_queue_is_full_is_given_up(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as listener, socket.socket(socket.AF_UNIX) as first:
        listener.bind(str(path))
        listener.listen(0)
        first.connect(str(path))

        waited_s = took_s(lambda: client.call(str(path), "status", timeout_s=SHORT_S))

    assert SHORT_S <= waited_s < SHORT_S + MARGIN_S


def test_a_full_queue_that_empties_is_waited_for(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as listener, socket.socket(socket.AF_UNIX) as first:
        listener.bind(str(path))
        listener.listen(0)
        first.connect(str(path))

        def serve() -> None:
            listener.accept()[0].close()
            connection, _ = listener.accept()
            with connection:
                connection.recv(1_000)
                connection.sendall(b'{"jsonrpc":"2.0","result":"here","id":1}\n')

        timer = threading.Timer(0.1, serve)
        timer.start()
        assert client.call(str(path), "status") == "here"
        timer.join(10)


def test_an_answer_that_drips_does_not_stretch_the_wait(
    path: Path, answering: Callable[[Callable[[socket.socket], None]], None]
) -> None:
    def drip(connection: socket.socket) -> None:
        while True:
            connection.sendall(b" ")
            time.sleep(0.02)

    answering(drip)
    waited_s = took_s(lambda: client.call(str(path), "status", timeout_s=SHORT_S))

    assert waited_s < SHORT_S + MARGIN_S


@pytest.mark.parametrize(
    "answer",
    [
        pytest.param(b"HTTP/1.1 400 Bad Request\n", id="another protocol"),
        pytest.param(b"\xff\xfe\n", id="no text"),
        pytest.param(b"[1]\n", id="a list"),
        pytest.param(b"[" * 100_000 + b"\n", id="deep"),
        pytest.param(b'{"jsonrpc":"2.0","result":1,"id":2}\n', id="another's answer"),
        pytest.param(b'{"jsonrpc":"2.0","id":1}\n', id="neither result nor error"),
    ],
)
def test_a_stranger_at_the_socket_is_not_the_guard(
    path: Path, answering: Callable[[Callable[[socket.socket], None]], None], answer: bytes
) -> None:
    answering(lambda connection: connection.sendall(answer))

    with pytest.raises(client.Unreachable, match="is not the guard"):
        client.call(str(path), "status")


def test_an_endless_answer_is_cut_off(
    path: Path,
    answering: Callable[[Callable[[socket.socket], None]], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(client, "MAX_REPLY_BYTES", 1_000_000)

    def pour(connection: socket.socket) -> None:
        while True:
            connection.sendall(b"x" * 65_536)

    answering(pour)
    with pytest.raises(client.Unreachable, match="is not the guard"):
        client.call(str(path), "status")


def test_a_guard_that_hangs_up_is_unreachable(
    path: Path, answering: Callable[[Callable[[socket.socket], None]], None]
) -> None:
    def listen_and_leave(connection: socket.socket) -> None:
        connection.recv(1_000)

    answering(listen_and_leave)

    with pytest.raises(client.Unreachable, match="closed the connection"):
        client.call(str(path), "status")


def test_what_was_said_before_hanging_up_is_heard(
    path: Path, answering: Callable[[Callable[[socket.socket], None]], None]
) -> None:
    refusal = {"jsonrpc": "2.0", "error": {"code": -32003, "message": "too many connections"}, "id": None}
    answering(
        lambda connection: connection.sendall(json.dumps(refusal).encode() + b"\n")
    )  # and reads nothing

    with pytest.raises(client.RpcError, match="too many connections") as caught:
        client.call(str(path), "note", {"text": "x" * 4_000_000})

    assert caught.value.problems == []


@pytest.mark.usefixtures("server")
def test_a_watcher_gets_every_line_from_the_beginning_on(port: FakePort, path: Path) -> None:
    watching = client.watch(str(path))
    for number in range(100):
        port.record(b'{"event":"note","number":%d}' % number)

    assert [next(watching)["number"] for _ in range(100)] == list(range(100))
    watching.close()


def test_a_watcher_hears_when_the_guard_goes(
    path: Path, answering: Callable[[Callable[[socket.socket], None]], None]
) -> None:
    answering(
        lambda connection: connection.sendall(
            b'{"jsonrpc":"2.0","result":{},"id":1}\n'
            b'{"jsonrpc":"2.0","method":"event","params":{"event":"stop"}}\n{"jsonrpc":"2.0","met'
        )
    )
    watching = client.watch(str(path))

    assert next(watching) == {"event": "stop"}
    with pytest.raises(client.Unreachable, match=r"closed the connection|is gone"):
        next(watching)
    watching.close()


def test_a_watch_that_cannot_begin_leaves_nothing_open(path: Path) -> None:
    with pytest.raises(client.Unreachable):
        client.watch(str(path))


def test_the_client_imports_next_to_nothing() -> None:
    """It is on the way of every command: each of these costs a small board more than the call itself."""
    script = "import sys, overwinter.wire.client; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)

    heavy = {"asyncio", "typing", "dataclasses", "overwinter.core", "logging", "inspect", "pathlib"}
    assert heavy.isdisjoint(loaded.stdout.split())

"""Clients that watch: whole lines in order, and nobody who is slow holds up another."""

import json
import threading
import time
from collections.abc import Callable

import pytest

from overwinter.wire import server
from overwinter.wire.server import Server
from tests.wire.asked import STATUS, WATCH
from tests.wire.conftest import FakePort, Talker
from tests.wire.test_desk import until


def test_the_answer_comes_before_the_first_event_and_no_line_is_missed(
    port: FakePort, talk: Callable[[], Talker]
) -> None:
    is_over = threading.Event()
    last = 0

    def write() -> None:
        nonlocal last
        while not is_over.wait(0.001):
            last += 1
            port.record(b'{"n":%d}' % last)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(5):
            talker = talk()
            assert talker.ask_raw(WATCH) == {"jsonrpc": "2.0", "result": {}, "id": 1}
            numbers = [json.loads(talker.line())["params"]["n"] for _ in range(20)]
            assert numbers == list(range(numbers[0], numbers[0] + 20))
    finally:
        is_over.set()
        writer.join(10)


def test_a_watcher_may_go_on_asking(port: FakePort, talker: Talker) -> None:
    talker.ask_raw(WATCH)
    assert talker.ask_raw(WATCH)["result"] == {}  # twice is once
    assert talker.ask("status")["result"] == {}
    port.record(b'{"event":"stop"}\n')

    assert json.loads(talker.line()) == {"jsonrpc": "2.0", "method": "event", "params": {"event": "stop"}}
    assert talker.ask("status", request_id=7)["id"] == 7


def test_an_answer_does_not_cut_an_event_in_two(port: FakePort, talker: Talker) -> None:
    talker.ask_raw(WATCH)
    port.record(b'{"padding":"' + b"x" * 2_000_000 + b'"}')  # more than a socket buffer holds
    beginning = talker.socket.recv(1)  # on its way, and stuck
    talker.send(STATUS + b"\n")
    until(lambda: bool(port.calls))
    time.sleep(0.05)  # the answer would be out by now

    event = json.loads(beginning + talker.line())
    assert len(event["params"]["padding"]) == 2_000_000
    assert json.loads(talker.line())["result"] == {}


def test_watching_may_be_asked_for_in_a_batch_and_without_an_id(
    port: FakePort, talk: Callable[[], Talker]
) -> None:
    in_batch, silently = talk(), talk()
    assert len(in_batch.ask_raw(b"[" + WATCH + b"," + STATUS + b"]")) == 2
    silently.send(b'{"jsonrpc":"2.0","method":"watch"}\n')
    assert silently.ask("status")["result"] == {}
    port.record(b'{"event":"stop"}')

    for talker in (in_batch, silently):
        assert json.loads(talker.line())["params"] == {"event": "stop"}


def test_a_refused_watch_watches_nothing(port: FakePort, talker: Talker) -> None:
    assert talker.ask("watch", {"since": "1h"})["error"]["code"] == -32602
    port.record(b'{"event":"stop"}')

    assert talker.ask("status", request_id="next")["id"] == "next"


def test_a_slow_reader_is_dropped_while_another_gets_everything(
    port: FakePort, talk: Callable[[], Talker]
) -> None:
    slow, quick = talk(), talk()
    slow.ask_raw(WATCH)
    quick.ask_raw(WATCH)
    padding = "x" * 1_000
    count = server.MAX_WAITING_LINES * 2 + 500  # more than his queue and the kernel's buffers hold

    for number in range(count):
        port.record(json.dumps({"n": number, "padding": padding}).encode())
        assert json.loads(quick.line())["params"]["n"] == number

    received = 0
    while slow.line().endswith(b"\n"):
        received += 1
    assert 0 < received < count
    assert talk().ask("status")["result"] == {}


def test_a_reader_who_takes_nothing_for_long_is_dropped_even_with_few_lines(
    port: FakePort, talker: Talker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "WRITE_S", 0.2)
    talker.ask_raw(WATCH)
    line = json.dumps({"padding": "x" * 300_000}).encode()
    for _ in range(5):
        port.record(line)
    time.sleep(0.5)  # longer than he has

    received = 0
    while talker.line().endswith(b"\n"):
        received += 1
    assert received < 5


@pytest.fixture
def served(server: Server) -> Server:
    """The fixture under a name that does not hide the module."""
    return server


def test_when_lines_come_faster_than_the_loop_every_watcher_is_dropped_and_none_has_a_gap(
    port: FakePort, served: Server, talker: Talker
) -> None:
    talker.ask_raw(WATCH)
    loop = served._loop
    assert loop is not None
    may_go_on = threading.Event()
    loop.call_soon_threadsafe(may_go_on.wait, 10.0)
    began_s = time.monotonic()
    for number in range(server.MAX_WAITING_LINES + 1):
        port.record(b'{"n":%d}' % number)
    took_s = time.monotonic() - began_s
    may_go_on.set()

    assert took_s < 1.0  # the recording thread never waited for the stuck loop
    assert talker.line() == b""

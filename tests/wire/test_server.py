"""Connections and their limits, over a real socket."""

import contextlib
import json
import os
import random
import socket
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path

import pytest

from overwinter.core.nouns import OverwinterError
from overwinter.wire import peer, rpc, server
from overwinter.wire.server import Server
from tests.wire.asked import STATUS, WATCH, holds_64
from tests.wire.conftest import FakePort, Talker
from tests.wire.test_desk import until


def test_pipelined_requests_are_answered_in_order(port: FakePort, talker: Talker) -> None:
    numbers = range(200)
    talker.send(b"".join(STATUS.replace(b":1}", b":%d}" % number) + b"\n" for number in numbers))

    assert [json.loads(talker.line())["id"] for _ in numbers] == list(numbers)


def test_a_line_may_come_byte_by_byte(talker: Talker) -> None:
    for byte in STATUS + b"\r\n":
        talker.send(bytes([byte]))

    assert json.loads(talker.line())["result"] == {}


@pytest.mark.parametrize("cut", [1, 20, len(STATUS), len(STATUS) + 1, len(STATUS) + 10])
def test_a_line_may_come_in_two_pieces(talker: Talker, cut: int) -> None:
    both = STATUS + b"\n" + STATUS + b"\n"
    talker.send(both[:cut])
    time.sleep(0.01)  # so that the pieces are read apart
    talker.send(both[cut:])

    assert [json.loads(talker.line())["result"] for _ in range(2)] == [{}, {}]


def test_the_longest_line_is_answered(talker: Talker) -> None:
    assert talker.ask_raw(STATUS + b" " * (rpc.MAX_LINE_BYTES - len(STATUS)))["result"] == {}


@pytest.mark.parametrize("end", [b"\n", b""], ids=["ended", "not ended"])
@pytest.mark.parametrize("length", [rpc.MAX_LINE_BYTES + 1, 2_000_000])
def test_a_longer_line_is_answered_once_and_the_connection_closed(
    talk: Callable[[], Talker], length: int, end: bytes
) -> None:
    talker = talk()
    talker.send(STATUS + b" " * (length - len(STATUS)) + end)

    assert (
        json.loads(talker.line())["error"]["data"]["problems"][0]["allowed"] == "at most 65536 bytes a line"
    )
    assert talker.line() == b""
    assert talk().ask("status")["result"] == {}


def test_half_a_line_at_the_end_is_no_line(port: FakePort, talk: Callable[[], Talker]) -> None:
    leaving = talk()
    leaving.send(b'{"jsonrpc":"2.0","method":"drop_samples","id":1}')
    leaving.socket.shutdown(socket.SHUT_WR)

    assert leaving.line() == b""
    assert port.calls == []


def test_who_stops_writing_still_gets_his_answers(talker: Talker) -> None:
    talker.send(STATUS + b"\n" + STATUS + b"\n")
    talker.socket.shutdown(socket.SHUT_WR)

    assert [json.loads(talker.line())["result"] for _ in range(2)] == [{}, {}]
    assert talker.line() == b""


def test_half_a_line_that_never_ends_is_dropped_even_if_it_drips(
    talk: Callable[[], Talker], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "HALF_LINE_S", 0.3)
    silent, dripping = talk(), talk()
    silent.send(b'{"jsonrpc"')
    began_s = time.monotonic()
    with contextlib.suppress(BrokenPipeError):  # which is what is waited for
        while time.monotonic() < began_s + 10.0:
            dripping.send(b" ")
            time.sleep(0.02)

    assert 0.3 <= time.monotonic() - began_s < 5.0
    assert silent.line() == b""
    assert talk().ask("status")["result"] == {}


def test_a_whole_line_renews_the_time_for_the_next(talker: Talker, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(server, "HALF_LINE_S", 0.4)
    for _ in range(6):  # each line comes in the same piece as the beginning of the next
        talker.send(STATUS[:10])
        time.sleep(0.1)
        talker.send(STATUS[10:] + b"\n")

    assert [json.loads(talker.line())["result"] for _ in range(6)] == [{}] * 6


def test_an_idle_client_is_closed_but_not_one_who_watches(
    port: FakePort, talk: Callable[[], Talker], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "IDLE_S", 0.2)
    idle, watching = talk(), talk()
    watching.ask_raw(WATCH)

    assert idle.line() == b""
    time.sleep(0.3)  # longer than the idle one had
    port.record(b'{"event":"start"}')
    assert json.loads(watching.line())["method"] == "event"


@holds_64
def test_64_silent_clients_disturb_nobody_and_the_65th_is_told_why(
    port: FakePort, path: Path, talk: Callable[[], Talker]
) -> None:
    crowd = [talk() for _ in range(server.MAX_CONNECTIONS)]
    assert crowd[-1].ask("status")["result"] == {}

    one_more = talk()
    refusal = json.loads(one_more.line())
    assert refusal["error"]["code"] == -32003
    assert "at most 64 in all" in refusal["error"]["message"]
    assert refusal["id"] is None
    assert one_more.line() == b""

    assert [talker.ask("status")["result"] for talker in crowd] == [{}] * len(crowd)
    crowd[0].close()

    def is_let_in() -> bool:
        try:
            return "result" in talk().ask("status")
        except BrokenPipeError:
            return False

    until(is_let_in)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may hold more than 16 connections")
def test_the_17th_connection_of_one_user_is_told_why(talk: Callable[[], Talker]) -> None:
    crowd = [talk() for _ in range(server.MAX_CONNECTIONS_A_USER)]
    assert crowd[-1].ask("status")["result"] == {}

    assert "at most 16 of one user" in json.loads(talk().line())["error"]["message"]


def test_who_does_not_take_his_answer_is_closed(
    port: FakePort, talk: Callable[[], Talker], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "WRITE_S", 0.3)
    port.answers["settings"] = {"text": "x" * 2_000_000}  # more than a socket buffer holds
    stuffed = talk()
    stuffed.send(STATUS.replace(b"status", b"settings") + b"\n")

    until(lambda: bool(port.calls))
    assert talk().ask("status")["result"] == {}
    time.sleep(0.5)  # he does not read for longer than he has
    assert not stuffed.line().endswith(b"\n")
    assert stuffed.line() == b""


def test_a_server_that_is_stopped_leaves_nothing(port: FakePort, path: Path) -> None:
    served = Server(port, path=path, listening=None)
    served.start()
    talker = Talker(path)
    talker.ask_raw(WATCH)
    served.stop(10.0)

    assert talker.line() == b""
    assert not path.exists()
    assert port.listeners == []
    talker.close()
    served.stop(10.0)  # twice is once


def test_a_stop_before_a_start_does_nothing(port: FakePort, path: Path) -> None:
    Server(port, path=path, listening=None).stop(1.0)

    assert not path.exists()


def test_a_stop_does_not_wait_for_the_guard(port: FakePort, path: Path) -> None:
    never: Future[object] = Future()
    port.answers["quiet"] = never
    served = Server(port, path=path, listening=None)
    served.start()
    talker = Talker(path)
    talker.send(b'{"jsonrpc":"2.0","method":"quiet","id":1}\n')
    until(lambda: bool(port.calls))

    began_s = time.monotonic()
    served.stop(10.0)
    assert time.monotonic() - began_s < 3.0
    never.set_result({})  # after the end of the loop, as a wheel's last turn would
    talker.close()


def test_a_second_server_at_the_same_path_does_not_start(port: FakePort, server: Server, path: Path) -> None:
    second = Server(port, path=path, listening=None)
    with pytest.raises(OverwinterError, match="another guard answers there"):
        second.start()
    second.stop(1.0)

    assert path.is_socket()


def test_a_socket_that_was_handed_over_is_served_and_its_file_left_alone(port: FakePort, path: Path) -> None:
    listening = socket.socket(socket.AF_UNIX)
    listening.bind(str(path))
    listening.listen(8)
    served = Server(port, path=None, listening=listening)
    served.start()
    talker = Talker(path)

    assert talker.ask("status")["result"] == {}
    served.stop(10.0)
    assert path.is_socket()
    assert listening.fileno() == -1
    talker.close()


class Exhausted(socket.socket):
    """A listening socket of a process that has no file descriptor left, for a while."""

    failures = 3

    def accept(self) -> tuple[socket.socket, object]:
        self.failures -= 1
        if self.failures >= 0:
            raise OSError(24, "Too many open files")
        return super().accept()


def test_without_file_descriptors_it_says_so_once_waits_and_goes_on(
    port: FakePort, path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(server, "ACCEPT_PAUSE_S", 0.02)
    listening = Exhausted(socket.AF_UNIX)
    listening.bind(str(path))
    listening.listen(8)
    served = Server(port, path=None, listening=listening)
    served.start()
    talker = Talker(path)

    assert talker.ask("status")["result"] == {}
    assert listening.failures < 0
    assert caplog.text.count("no connection can be accepted") == 1
    talker.close()
    served.stop(10.0)


def test_a_caller_who_cannot_be_known_is_turned_away_and_the_next_is_served(
    talk: Callable[[], Talker], monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(_connection: socket.socket) -> peer.Peer:
        raise RuntimeError("no user database")

    with monkeypatch.context() as broken:
        broken.setattr(peer, "peer_of", fails)
        assert talk().line() == b""
    assert "no user database" in caplog.text
    assert talk().ask("status")["result"] == {}


@pytest.mark.parametrize("attempt", range(30))
def test_a_stop_loses_no_connection_that_is_just_coming(port: FakePort, path: Path, attempt: int) -> None:
    """A lost one would stay open: pytest turns its ResourceWarning into an error."""
    served = Server(port, path=path, listening=None)
    served.start()
    talker = Talker(path)
    served.stop(10.0)

    assert talker.line() == b""
    talker.close()


# Whatever comes.


def garbage(rng: random.Random) -> bytes:
    """A line that is wrong in some way, or right."""
    kind = rng.randrange(6)
    if kind == 0:
        return rng.randbytes(rng.randrange(200)).replace(b"\n", b"")
    if kind == 1:
        line = bytearray(STATUS)
        for _ in range(rng.randrange(1, 4)):
            line[rng.randrange(len(line))] = rng.randrange(11, 256)
        return bytes(line)
    if kind == 2:
        return b"[" * rng.randrange(1, 5_000)
    if kind == 3:
        method = rng.choice(["set", "hand", "note", "samples", "watch", "rpc.x", ""])
        params: object = rng.choice(
            [None, 1, [1e308], {"heat": "on"}, {"changes": {}}, {"text": "\x1b"}, [[[]]]]
        )
        return json.dumps({"jsonrpc": "2.0", "method": method, "params": params, "id": rng.random()}).encode()
    if kind == 4:
        return b"[" + b",".join([STATUS] * rng.randrange(60)) + b"]"
    return STATUS[: rng.randrange(len(STATUS) + 1)]


@pytest.mark.parametrize("seed", range(4))
def test_after_each_of_a_hundred_wild_lines_it_answers(talker: Talker, seed: int) -> None:
    rng = random.Random(seed)
    for number in range(100):
        line = garbage(rng)
        talker.send(line + b"\n" + STATUS.replace(b":1}", b':"after %d"}' % number) + b"\n")
        answers = []
        while True:
            answer = json.loads(talker.line())
            if isinstance(answer, dict) and answer.get("id") == f"after {number}":
                break
            answers.append(answer)

        assert answer["result"] == {}, f"seed {seed}, line {line!r}"
        assert len(answers) <= 1, f"seed {seed}, line {line!r}"


def test_who_has_asked_is_answered_before_the_end(tmp_path: Path, port: FakePort) -> None:
    """A restart closes nothing under the hands of a caller who has come in time."""
    path = tmp_path / "s"
    for _ in range(20):
        served = Server(port, path=path, listening=None)
        served.start()
        with socket.socket(socket.AF_UNIX) as client:
            client.connect(str(path))
            while not served._connections:
                time.sleep(0.0005)
            stopping = threading.Thread(target=served.stop, args=(5.0,))
            stopping.start()
            client.sendall(b'{"jsonrpc": "2.0", "id": 1, "method": "status"}\n')
            client.settimeout(5.0)
            assert b'"result"' in client.recv(65536)
            stopping.join()


def test_who_only_stands_there_does_not_hold_up_the_end(tmp_path: Path, port: FakePort) -> None:
    served = Server(port, path=tmp_path / "s", listening=None)
    served.start()
    with socket.socket(socket.AF_UNIX) as client:
        client.connect(str(tmp_path / "s"))
        began_s = time.monotonic()
        served.stop(5.0)

    assert time.monotonic() - began_s < 3.0

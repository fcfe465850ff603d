"""From a line to the answer: what the port's futures become, and how much may wait at once."""

import asyncio
import json
import logging
import threading
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

import pytest

from overwinter.core.nouns import NotStored, OverwinterError, Problem, Refused
from overwinter.wire import desk, methods, rpc
from overwinter.wire.server import Server
from tests.wire.conftest import FakePort, Talker

HAND = {"heat": True, "for_s": 60}


def until(is_so: Callable[[], bool], within_s: float = 10.0) -> None:
    """Wait for another thread; ends as soon as it is so."""
    ends_s = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < ends_s
        time.sleep(0.005)


def test_what_the_port_refuses_comes_with_its_problems(port: FakePort, talker: Talker) -> None:
    problems = [
        Problem("band.low", 99.0, "below band.high", "band.low: too high"),
        Problem("mode", "cosy", "freeze, warm or observe", "mode: unknown"),
    ]
    port.answers["set"] = Refused(problems)

    error = talker.ask("set", {"changes": {"band.low": 99.0, "mode": "cosy"}})["error"]

    assert (error["code"], error["message"]) == (-32003, "band.low: too high; mode: unknown")
    assert error["data"]["problems"] == [
        {"key": one.key, "value": one.value, "allowed": one.allowed, "text": one.text} for one in problems
    ]


def test_what_could_not_be_stored_says_that_nothing_changed(port: FakePort, talker: Talker) -> None:
    port.answers["set"] = NotStored("No space left on device")

    error = talker.ask("set", {"changes": {"band.low": 36}})["error"]

    assert error["code"] == -32002
    assert error["message"] == "could not be stored, nothing was changed: No space left on device"
    assert error["data"]["problems"][0]["text"] == error["message"]


@pytest.mark.parametrize(
    ("method", "name", "params"),
    [("quiet", "quiet", None), ("status", "status", None), ("events", "records", None)],
)
def test_our_own_mistake_is_a_short_internal_error_and_is_logged(
    port: FakePort,
    talker: Talker,
    caplog: pytest.LogCaptureFixture,
    method: str,
    name: str,
    params: object,
) -> None:
    port.answers[name] = KeyError("first line\nFile /a/b.py")
    with caplog.at_level(logging.ERROR):
        error = talker.ask(method, params)["error"]

    assert error["code"] == -32603
    assert error["message"] == r"Internal error: KeyError: 'first line\nFile /a/b.py'"
    assert "a request failed" in caplog.text
    assert talker.ask("settings")["result"] == {}


def test_a_failure_with_a_name_is_told_and_not_logged(
    port: FakePort, talker: Talker, caplog: pytest.LogCaptureFixture
) -> None:
    port.answers["quiet"] = OverwinterError("the guard stops\nand more")

    assert talker.ask("quiet")["error"]["message"] == "Internal error: OverwinterError: the guard stops"
    assert caplog.text == ""


@pytest.mark.parametrize("failure", [SystemExit(3), KeyboardInterrupt()], ids=repr)
def test_not_even_an_exit_in_the_guard_ends_the_server(
    port: FakePort, talker: Talker, failure: BaseException
) -> None:
    port.answers["quiet"] = failure

    assert talker.ask("quiet")["error"]["message"] == "the guard gave up on this"
    assert talker.ask("status")["result"] == {}


def test_a_future_that_the_guard_cancels_is_answered(port: FakePort, talker: Talker) -> None:
    given_up: Future[Any] = Future()
    given_up.cancel()
    port.answers["quiet"] = given_up

    assert talker.ask("quiet")["error"]["code"] == -32603


def test_an_answer_that_is_no_json_is_an_internal_error(port: FakePort, talker: Talker) -> None:
    port.answers["status"] = {"temperature_c": float("nan")}

    assert talker.ask("status")["error"]["code"] == -32603
    assert talker.ask("settings")["result"] == {}


def test_the_guard_may_answer_later_from_its_own_thread(port: FakePort, talker: Talker) -> None:
    later: Future[Any] = Future()
    port.answers["hand"] = later
    timer = threading.Timer(0.05, later.set_result, [{"hand_until": "2026-01-09T04:12:33Z"}])
    timer.start()

    assert talker.ask("hand", HAND)["result"] == {"hand_until": "2026-01-09T04:12:33Z"}
    timer.join(10)


def test_a_guard_that_does_not_answer_is_not_waited_for_and_may_still_settle(
    port: FakePort, talker: Talker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desk, "ANSWER_S", 0.1)
    late: Future[Any] = Future()
    port.answers["hand"] = late

    error = talker.ask("hand", HAND)["error"]

    assert error["code"] == -32603
    assert "whether hand was done is not known" in error["message"]
    assert not late.cancelled()
    late.set_result({})  # raises if the server had touched it
    assert talker.ask("status")["result"] == {}


def test_who_hangs_up_before_the_answer_does_not_disturb_the_guard(
    port: FakePort, talk: Callable[[], Talker]
) -> None:
    late: Future[Any] = Future()
    port.answers["hand"] = late
    impatient = talk()
    impatient.send(b'{"jsonrpc":"2.0","method":"hand","params":[true,60],"id":1}\n')
    until(lambda: bool(port.calls))
    impatient.close()

    late.set_result({})

    assert talk().ask("status")["result"] == {}


def test_only_so_many_commands_wait_in_the_guard_at_once(port: FakePort, talk: Callable[[], Talker]) -> None:
    waiting: Future[Any] = Future()
    port.answers["quiet"] = waiting
    crowd = [talk() for _ in range(desk.MAX_CHANGES_AT_ONCE + 4)]
    for one in crowd:
        one.send(b'{"jsonrpc":"2.0","method":"quiet","id":1}\n')
    until(lambda: len(port.calls) == desk.MAX_CHANGES_AT_ONCE)

    # Reads are served meanwhile, and by then the others would have got through.
    reader = talk()
    for _ in range(20):
        assert reader.ask("settings")["result"] == {}
    asked = [name for name, _ in port.calls if name == "quiet"]
    assert len(asked) == desk.MAX_CHANGES_AT_ONCE

    waiting.set_result({})
    assert [json.loads(one.line())["result"] for one in crowd] == [{}] * len(crowd)


def test_slow_readings_of_the_logbook_hold_up_no_command(port: FakePort, talk: Callable[[], Talker]) -> None:
    reading: Future[Any] = Future()
    port.answers["records"] = reading
    readers = [talk() for _ in range(5)]
    for reader in readers:
        reader.send(b'{"jsonrpc":"2.0","method":"samples","id":1}\n')
    until(lambda: len(port.calls) == desk.MAX_RECORDS_AT_ONCE)

    assert talk().ask("hand", HAND)["result"] == {}

    assert [name for name, _ in port.calls].count("records") == desk.MAX_RECORDS_AT_ONCE
    reading.set_result([])
    assert [json.loads(reader.line())["result"] for reader in readers] == [[]] * 5


def test_a_slot_is_free_again_after_bad_params(talker: Talker) -> None:
    for _ in range(desk.MAX_CHANGES_AT_ONCE * 2):
        assert talker.ask("hand", {})["error"]["code"] == -32602

    assert talker.ask("hand", HAND)["result"] == {}


@pytest.mark.parametrize("count", [0, 1, 99, 100, 101, 250])
def test_a_list_arrives_whole_however_it_was_cut(port: FakePort, talker: Talker, count: int) -> None:
    port.answers["records"] = [{"number": number, "text": "°"} for number in range(count)]

    assert talker.ask("samples")["result"] == port.answers["records"]


def test_the_longest_list_is_answered_and_one_more_is_refused(port: FakePort, talker: Talker) -> None:
    port.answers["records"] = [{}] * methods.MAX_RECORDS
    assert len(talker.ask("samples")["result"]) == methods.MAX_RECORDS

    port.answers["records"] = [{}] * (methods.MAX_RECORDS + 1)
    error = talker.ask("samples")["error"]

    assert error["code"] == -32003
    assert "narrow it with since, until or limit" in error["message"]


@pytest.mark.parametrize(
    ("method", "name", "answer"),
    [
        pytest.param("samples", "records", [{"text": "x" * 1_000}] * 5_000, id="a list"),
        pytest.param("status", "status", {"text": "x" * 5_000_000}, id="an object"),
    ],
)
def test_an_answer_of_too_many_bytes_is_refused(
    port: FakePort, talker: Talker, method: str, name: str, answer: object
) -> None:
    port.answers[name] = answer

    assert talker.ask(method)["error"]["code"] == -32003


def test_a_batch_shares_the_room_of_one_answer(port: FakePort, talker: Talker) -> None:
    port.answers["status"] = {"text": "x" * 1_500_000}
    request = {"jsonrpc": "2.0", "method": "status"}

    answers = talker.ask_raw(json.dumps([{**request, "id": number} for number in range(4)]).encode())

    assert ["result" in answer for answer in answers] == [True, True, False, False]
    assert answers[3]["error"]["code"] == rpc.REFUSED


# How clients share the interpreter with the wheel.


def test_a_crowd_gets_no_more_turns_than_one_a_rest() -> None:
    """Measured: without rests, 64 clients in a loop make another thread's file work ten times slower."""

    async def crowd() -> tuple[int, float]:
        turnstile = desk.Turnstile()
        turns = 0

        async def one() -> None:
            nonlocal turns
            while True:
                async with turnstile.turn():
                    turns += 1

        began_s = time.monotonic()
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.3):
                await asyncio.gather(*(one() for _ in range(20)))
        return turns, time.monotonic() - began_s

    turns, took_s = asyncio.run(crowd())

    assert 10 < turns <= took_s / desk.REST_S + 1


def test_a_long_turn_is_followed_by_as_long_a_rest() -> None:
    async def two_turns() -> float:
        turnstile = desk.Turnstile()
        async with turnstile.turn():
            time.sleep(0.1)
        rested_from_s = time.monotonic()
        async with turnstile.turn():
            return time.monotonic() - rested_from_s

    assert 0.09 < asyncio.run(two_turns()) < 1.0


def test_a_failed_turn_lets_the_next_one_through() -> None:
    async def after_a_failure() -> bool:
        turnstile = desk.Turnstile()
        with pytest.raises(ZeroDivisionError):
            async with turnstile.turn():
                raise ZeroDivisionError
        async with asyncio.timeout(5.0), turnstile.turn():
            return True

    assert asyncio.run(after_a_failure())


# Memory: the service may have 128 MiB, and a guard that is killed for it keeps nothing warm.

LINE = {"event": "sample", "text": "x" * 300}
A_MEGABYTE = [LINE] * 3_200
SAMPLES = b'{"jsonrpc":"2.0","method":"samples","id":1}\n'


def test_the_next_reading_begins_only_when_the_one_before_is_json(
    port: FakePort, talk: Callable[[], Talker], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reading as objects takes some seven times the room of its JSON."""
    port.answers["records"] = [LINE] * 2_000
    begun: list[int] = []  # readings, whenever a portion is written down
    encode = rpc.encode

    def counted(value: object) -> bytes:
        if isinstance(value, list):
            begun.append(len(port.calls))
        return encode(value)

    monkeypatch.setattr(rpc, "encode", counted)
    readers = [talk() for _ in range(3)]
    for reader in readers:
        reader.send(SAMPLES)

    assert [len(json.loads(reader.line())["result"]) for reader in readers] == [2_000] * 3
    portions = 2_000 // desk.RECORDS_A_TURN
    assert begun == [1] * portions + [2] * portions + [3] * portions


def test_answers_that_nobody_takes_fill_the_room_of_their_user_and_then_others_are_refused(
    port: FakePort, talk: Callable[[], Talker], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desk, "MAX_UNREAD_BYTES_A_USER", 3_000_000)
    port.answers["records"] = A_MEGABYTE
    idlers = [talk() for _ in range(3)]
    for count, idler in enumerate(idlers, start=1):
        idler.send(SAMPLES)
        until(lambda count=count: len(port.calls) == count)
    reader = talk()

    until(lambda: "too many long answers wait" in reader.ask("samples").get("error", {}).get("message", ""))
    port.answers["status"] = {"text": "x" * 60_000}
    assert "result" in reader.ask("status")  # whatever waits, this is heard

    assert len(json.loads(idlers[0].line())["result"]) == len(A_MEGABYTE)
    until(lambda: "result" in reader.ask("samples"))


def test_one_user_leaves_room_for_another() -> None:
    held: Counter[int] = Counter()
    hoarder, other = desk._Unread(held, 1_000), desk._Unread(held, 1_001)
    hoarder.add(desk.MAX_UNREAD_BYTES_A_USER)

    assert hoarder.room <= 0
    assert other.room == desk.MAX_REPLY_BYTES
    assert desk._Unread(held, 1_000).room == desk.ALWAYS_BYTES

    hoarder.taken()
    assert desk._Unread(held, 1_000).room == desk.MAX_REPLY_BYTES
    assert not held


def test_who_hangs_up_on_a_long_answer_gives_its_room_back(
    port: FakePort, server: Server, talk: Callable[[], Talker]
) -> None:
    port.answers["records"] = A_MEGABYTE
    leaving = talk()
    leaving.send(SAMPLES)
    until(lambda: server._desk._unread.total() > 0)
    leaving.close()

    until(lambda: server._desk._unread.total() == 0)


def test_only_so_many_long_lines_are_objects_at_once_and_short_ones_do_not_wait(
    port: FakePort, talk: Callable[[], Talker], monkeypatch: pytest.MonkeyPatch
) -> None:
    slow: Future[Any] = Future()
    port.answers["records"] = slow
    long_line = SAMPLES.strip() + b" " * desk.LONG_LINE_BYTES + b"\n"
    crowd = [talk() for _ in range(desk.MAX_LONG_LINES_AT_ONCE + 2)]
    parsed: list[bytes] = []
    parse = rpc.parse

    def counted(line: bytes) -> rpc.Message:
        parsed.append(line)
        return parse(line)

    monkeypatch.setattr(rpc, "parse", counted)
    for one in crowd:
        one.send(long_line)
    until(lambda: len(parsed) == desk.MAX_LONG_LINES_AT_ONCE)
    for _ in range(10):
        assert talk().ask("settings")["result"] == {}
    assert [len(line) > desk.LONG_LINE_BYTES for line in parsed].count(True) == desk.MAX_LONG_LINES_AT_ONCE

    slow.set_result([])
    assert [json.loads(one.line())["result"] for one in crowd] == [[]] * len(crowd)

"""Whatever a line holds: an answer by the rules of JSON-RPC 2.0 or none, and time in proportion."""

import asyncio
import gc
import json
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from overwinter.core.nouns import Caller, Problem, Refused
from overwinter.wire import desk, peer, rpc
from overwinter.wire.desk import Desk
from tests.wire.conftest import FakePort
from tests.wire.hostile import GROWING, Restless, Supply, check_answer, deep, lines, messages

OWNER = peer.Peer(Caller(uid=0, user="root", pid=1), frozenset({0}))
STRANGER = peer.Peer(Caller(uid=4_000_000, user="stranger", pid=1), frozenset())

shared = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
"""One desk serves all examples of a test, as it serves all clients of a guard."""


class Office:
    """A desk with a loop to itself, and no rest between the turns."""

    def __init__(self, runner: asyncio.Runner, port: FakePort) -> None:
        self.port = port
        self._runner = runner
        self._desk = runner.run(self._open(port))
        self.watches = 0

    @staticmethod
    async def _open(port: FakePort) -> Desk:
        return Desk(port, Restless())

    def answer(self, line: bytes, caller: peer.Peer = OWNER) -> bytes | None:
        def watch() -> None:
            self.watches += 1

        async def ask() -> bytes | None:
            async with self._desk.answer(line, caller, watch) as reply:
                return reply

        return self._runner.run(ask())

    @property
    def unread(self) -> int:
        return self._desk._unread.total()


@pytest.fixture
def office(port: FakePort) -> Iterator[Office]:
    port.answers["records"] = [{"event": "note", "text": "°"}] * 3
    with asyncio.Runner() as runner:
        yield Office(runner, port)


@shared
@given(line=lines, is_owner=st.booleans())
def test_any_line_gets_an_answer_by_the_rules_or_none(
    office: Office, caplog: pytest.LogCaptureFixture, line: bytes, is_owner: bool
) -> None:
    caplog.clear()
    reply = office.answer(line, OWNER if is_owner else STRANGER)

    if reply is not None:
        check_answer(reply)
        assert len(reply) <= desk.MAX_REPLY_BYTES
    assert not caplog.records, "an exception that nobody foresaw"
    assert office.unread == 0


def expected_id(message: object) -> tuple[bool, object]:
    """Whether a message is answered, and with which id: sections 4, 4.1 and 5, by hand."""
    if not isinstance(message, dict):
        return True, None
    request_id = message.get("id")
    is_id = request_id is None or isinstance(request_id, (str, float)) or type(request_id) is int
    is_request = (
        message.get("jsonrpc") == "2.0"
        and isinstance(message.get("method"), str)
        and isinstance(message.get("params", {}), (dict, list))
        and is_id
    )
    if is_request and "id" not in message:
        return False, None
    return True, request_id if is_id else None


def is_plain(value: object) -> bool:
    """Whether Python writes it as JSON that reads back the same."""
    text = json.dumps(value)
    return (
        not any(word in text for word in ("NaN", "Infinity", "\\ud"))
        and len(text) < rpc.MAX_LINE_BYTES
        and max(map(len, text.replace("-", " ").replace(",", " ").split()), default=0) < rpc.MAX_DIGITS
    )


@shared
@given(batch=st.lists(messages.filter(is_plain), min_size=1, max_size=8))
def test_each_message_of_a_batch_is_answered_in_its_place_and_no_notification_is(
    office: Office, batch: list[object]
) -> None:
    expected = [request_id for answered, request_id in map(expected_id, batch) if answered]

    reply = office.answer(json.dumps(batch).encode())

    responses = check_answer(reply) if reply is not None else []
    assert [response["id"] for response in responses] == expected
    if reply is not None:
        assert reply.startswith(b"["), "an answer to a batch is a list, also of one"


@shared
@given(message=messages.filter(is_plain).filter(lambda value: not isinstance(value, list)))
def test_a_message_alone_is_answered_alone(office: Office, message: object) -> None:
    answered, request_id = expected_id(message)

    reply = office.answer(json.dumps(message).encode())

    assert (reply is not None) == answered
    if reply is not None:
        assert [response["id"] for response in check_answer(reply)] == [request_id]
        assert reply.startswith(b"{")


def test_thousands_of_spoilt_lines_change_nothing_that_was_not_asked_well(office: Office) -> None:
    """Whatever reaches the port is of the type it expects: the guard trusts that."""
    supply = Supply(1)
    for number in range(3_000):
        reply = office.answer(supply.batch()[0] if number % 20 == 0 else supply.line())
        if reply is not None:
            check_answer(reply)
    for _ in range(500):
        reply = office.answer(supply.change())
        assert reply is not None
        check_answer(reply)

    assert office.port.calls
    for name, given_values in office.port.calls:
        assert_is_what_the_port_expects(name, given_values)


def assert_is_what_the_port_expects(name: str, values: dict[str, Any]) -> None:
    match name:
        case "set":
            assert all(isinstance(key, str) for key in values["changes"])
            assert all(type(value) in {str, int, float} for value in values["changes"].values())
            assert type(values["anyway"]) is bool
            assert values["until"] is None or isinstance(values["until"], str)
        case "hand":
            assert type(values["heat"]) is bool
            assert 1.0 <= values["for_s"] <= 43_200.0
        case "note":
            assert 1 <= len(values["text"]) <= 1_000
            assert values["text"].isprintable() or not any(ord(letter) < 32 for letter in values["text"])
        case "records":
            assert 1 <= values["limit"] <= 10_001


@pytest.mark.parametrize("depth", [100, 900, 990, 1_000, 5_000, 20_000, 32_767, 100_000])
@pytest.mark.parametrize(("opening", "closing"), [(b"[", b"]"), (b'{"a":', b"}")], ids=["lists", "objects"])
def test_any_depth_is_an_answer(office: Office, depth: int, opening: bytes, closing: bytes) -> None:
    (response,) = check_answer(office.answer(deep(depth, opening, closing)) or b"")
    assert response["error"]["code"] in {rpc.PARSE_ERROR, rpc.INVALID_REQUEST}

    inside = b'{"jsonrpc":"2.0","id":1,"method":"set","params":{"changes":{"band.low":%s}}}'
    (response,) = check_answer(office.answer(inside % deep(depth, opening, closing)) or b"")
    assert response["error"]["code"] in {rpc.PARSE_ERROR, rpc.INVALID_PARAMS}


# Time in proportion to the bytes.

SMALL_BYTES, LARGE_BYTES = 8_000, 64_000
GROWTH = 4.0 * LARGE_BYTES / SMALL_BYTES
"""Eight times the bytes may take eight times as long, four times over for caches and other work on the
machine; quadratic time takes 64 times as long."""
SHORTEST_S = 20e-6
"""Below that a clock and a call weigh more than the bytes."""


def best_s(act: Callable[[], object], repeats: int = 7) -> float:
    """The least disturbed of a few runs, and at least the shortest time that says anything."""
    found = []
    gc.collect()
    gc.disable()  # it would walk through all that the tests hold, whenever many lists are made
    try:
        for _ in range(repeats):
            began_s = time.thread_time()  # what other work on the machine takes does not count
            act()
            found.append(time.thread_time() - began_s)
    finally:
        gc.enable()
    return max(min(found), SHORTEST_S)


@pytest.mark.parametrize("shape", GROWING)
def test_eight_times_the_bytes_take_no_more_than_their_share_longer(office: Office, shape: str) -> None:
    small, large = (GROWING[shape](size) for size in (SMALL_BYTES, LARGE_BYTES))
    assert len(small) < len(large) <= rpc.MAX_LINE_BYTES

    ratio = best_s(lambda: office.answer(large)) / best_s(lambda: office.answer(small))

    assert ratio < GROWTH, f"{ratio:.1f} times as long"


def test_the_growth_test_would_see_quadratic_time() -> None:
    def clumsy(line: bytes) -> None:
        rest = line
        while rest:
            rest = rest[64:]
            sum(rest)  # all that is left, again and again: next to it a step's own cost is nothing

    small, large = b" " * SMALL_BYTES, b" " * LARGE_BYTES

    assert best_s(lambda: clumsy(large)) / best_s(lambda: clumsy(small)) > GROWTH


# Answers in proportion too.


def test_a_batch_of_requests_with_endless_problems_is_answered_within_the_room(office: Office) -> None:
    """A change may be refused with a text about each key, fifty times a line."""
    problems = [Problem(f"key {number}", 1.0, "x" * 1_900, "y" * 1_900) for number in range(200)]
    office.port.answers["set"] = Refused(problems)
    request = {"jsonrpc": "2.0", "method": "set", "params": {"changes": {"band.low": 1}}}
    batch = json.dumps([{**request, "id": number} for number in range(50)]).encode()

    reply = office.answer(batch) or b""

    responses = check_answer(reply)
    assert [response["id"] for response in responses] == list(range(50))
    assert {response["error"]["code"] for response in responses} == {rpc.REFUSED}
    assert len(responses[0]["error"]["data"]["problems"]) == rpc.MAX_PROBLEMS + 1
    assert len(responses[-1]["error"]["data"]["problems"]) == 1
    assert len(reply) < desk.MAX_REPLY_BYTES + 50 * 10_000

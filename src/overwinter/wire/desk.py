"""From one line of one caller to the answer: permission, the port, its future, the answer's size.

Runs in the server's loop and never touches a socket. Work is done in small turns with a rest after each
(`Turnstile`), because the wheel that keeps the pipes warm shares this process and its interpreter.
"""

import asyncio
import contextlib
import logging
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Future
from typing import Any

from overwinter.core.nouns import NotStored, OverwinterError, Problem, Refused
from overwinter.wire import methods, peer, rpc
from overwinter.wire.rpc import Fault

MAX_CHANGES_AT_ONCE = 8
"""Commands that wait in the guard; the next one waits here, where it costs the wheel nothing."""
MAX_RECORDS_AT_ONCE = 2
"""Readings of the logbook at the same time: each holds up to MAX_RECORDS lines in memory."""
MAX_REPLY_BYTES = 4 * 1024 * 1024
"""One answer: a week of samples, and what a small board can hold for a few slow readers."""
MAX_REFUSALS_A_MINUTE = 5
"""Refusals of one user that become events; a loop of forbidden requests must not fill the logbook."""
ANSWER_S = 4.0
"""For the guard to answer: less than a client waits, so that it hears why. A turn takes far less."""
REST_S = 0.001
"""The shortest rest after a turn: a thousand turns a second at most, for all clients together."""
RECORDS_A_TURN = 100
"""Logbook lines made into JSON in one turn: a few milliseconds on a small board."""

_log = logging.getLogger(__name__)


class Turnstile:
    """Lets one piece of work through at a time, and then nothing for as long as that took.

    So clients, all together, never hold more than about half of the interpreter that the wheel needs too.
    The rest is the next one's to wait out.
    """

    def __init__(self) -> None:
        self._lock = asyncio.Lock()  # fair: first come, first served

    @contextlib.asynccontextmanager
    async def turn(self) -> AsyncIterator[None]:
        await self._lock.acquire()
        began_s = time.monotonic()
        try:
            yield
        finally:
            rest_s = max(time.monotonic() - began_s, REST_S)
            asyncio.get_running_loop().call_later(rest_s, self._lock.release)


class Desk:
    """Answers lines with what the port says. Must be made inside the running loop."""

    def __init__(self, port: methods.Port, turnstile: Turnstile) -> None:
        self._port = port
        self._turn = turnstile.turn
        self._loop = asyncio.get_running_loop()
        self._change_slots = asyncio.Semaphore(MAX_CHANGES_AT_ONCE)
        self._record_slots = asyncio.Semaphore(MAX_RECORDS_AT_ONCE)
        self._told_s: dict[int, deque[float]] = {}  # user: when his latest refusals became events

    async def answer(self, line: bytes, caller: peer.Peer, watch: Callable[[], None]) -> bytes | None:
        """The answer to a line, None where nobody waits for one; `watch` is called for a watcher."""
        async with self._turn():
            message = rpc.parse(line)
        replies: list[bytes] = []
        room = MAX_REPLY_BYTES  # for a whole batch
        for part in message.parts:
            reply = await self._reply(part, caller, watch, room)
            if reply is not None:
                replies.append(reply)
                room -= len(reply)
        if not replies:
            return None
        return rpc.encode_batch(replies) if message.is_batch else replies[0]

    async def _reply(
        self, part: rpc.Request | rpc.Unusable, caller: peer.Peer, watch: Callable[[], None], room: int
    ) -> bytes | None:
        if isinstance(part, rpc.Unusable):
            return rpc.encode_error(part.id, part.fault)
        try:
            result = await self._result(part, caller)
            if part.method == "watch":
                # Before the answer goes out, so that no line is missed from the answer on.
                watch()
            if part.is_notification:
                return None
            return rpc.encode_result(part.id, await self._json(result, room))
        except Exception as error:  # noqa: BLE001 - one request's failure is that request's
            fault = _fault_of(error)
        return None if part.is_notification else rpc.encode_error(part.id, fault)

    async def _result(self, request: rpc.Request, caller: peer.Peer) -> object:
        name = request.method
        is_change = name in methods.CHANGES
        function = methods.CHANGES[name] if is_change else methods.READS.get(name)
        if function is None:
            raise _no_such_method(name)
        if is_change and not peer.may_change(caller):
            fault = peer.not_permitted(name, caller)
            self._tell_refusal(name, caller, fault.message)
            raise fault
        slots = self._change_slots if is_change else self._record_slots if name in methods.WAITS else None
        if slots is None:
            async with self._turn():
                return function(self._port, request.params, caller.caller)
        try:
            async with asyncio.timeout(ANSWER_S):
                await slots.acquire()
                return await self._waited_for(
                    slots, lambda: function(self._port, request.params, caller.caller)
                )
        except TimeoutError:
            text = f"the guard did not answer within {ANSWER_S:g} s; whether {name} was done is not known"
            raise Fault(rpc.INTERNAL_ERROR, text) from None

    async def _waited_for(self, slots: asyncio.Semaphore, ask: Callable[[], object]) -> object:
        """What the port answers; the slot is free again when the port is done, not when we stop waiting.

        Not asyncio.wrap_future: its cancellation would reach the port's future, and settling that one
        would then raise into the wheel.
        """
        asked: object = None
        try:
            async with self._turn():
                asked = ask()
        finally:
            if not isinstance(asked, Future):
                slots.release()
        if not isinstance(asked, Future):
            return asked
        answer: asyncio.Future[object] = self._loop.create_future()

        def settle(done: Future[Any]) -> None:
            slots.release()
            if answer.done():
                return  # nobody waits any more
            error = None if done.cancelled() else done.exception()
            if isinstance(error, Exception):
                answer.set_exception(error)
            elif error is not None or done.cancelled():
                answer.set_exception(Fault(rpc.INTERNAL_ERROR, "the guard gave up on this"))
            else:
                answer.set_result(done.result())

        def hand_over(done: Future[Any]) -> None:
            with contextlib.suppress(RuntimeError):  # the loop has ended, and with it whoever waited
                self._loop.call_soon_threadsafe(settle, done)

        asked.add_done_callback(hand_over)
        return await answer

    async def _json(self, result: object, room: int) -> bytes:
        """A result as JSON: a long list in portions, so that no single turn is long."""
        if not isinstance(result, list):
            encoded = rpc.encode(result)
            if len(encoded) > room:
                raise _too_large()
            return encoded
        if len(result) > methods.MAX_RECORDS:
            raise _too_large()
        portions: list[bytes] = []
        for first in range(0, len(result), RECORDS_A_TURN):
            async with self._turn():
                portions.append(rpc.encode(result[first : first + RECORDS_A_TURN])[1:-1])
            room -= len(portions[-1]) + 1
            if room < 0:
                raise _too_large()
        return b"[" + b",".join(portions) + b"]"

    def _tell_refusal(self, method: str, caller: peer.Peer, text: str) -> None:
        now_s = time.monotonic()
        # Only the last minute's users are kept: no more than can have connected in it.
        self._told_s = {uid: told for uid, told in self._told_s.items() if now_s - told[-1] < 60.0}
        told = self._told_s.setdefault(caller.caller.uid, deque(maxlen=MAX_REFUSALS_A_MINUTE))
        if len(told) == told.maxlen and now_s - told[0] < 60.0:
            return
        told.append(now_s)
        self._port.refused(method, caller.caller, text)


def _no_such_method(name: str) -> Fault:
    text = f"{rpc.shown(name)}: there is no such method"
    allowed = ", ".join((*methods.READS, *methods.CHANGES))
    return Fault(rpc.METHOD_NOT_FOUND, "Method not found", [Problem("method", name, allowed, text)])


def _too_large() -> Fault:
    allowed = f"at most {methods.MAX_RECORDS} lines and {MAX_REPLY_BYTES} bytes in one answer"
    text = f"the answer is too large: {allowed}; narrow it with since, until or limit"
    return Fault(rpc.REFUSED, text, [Problem("limit", None, allowed, text)])


def _fault_of(error: Exception) -> Fault:
    """The answer to whatever went wrong."""
    if isinstance(error, Fault):
        return error
    if isinstance(error, Refused):
        return Fault(rpc.REFUSED, str(error), error.problems)
    if isinstance(error, NotStored):
        text = f"could not be stored, nothing was changed: {error}"
        return Fault(rpc.NOT_STORED, text, [Problem("storage", None, "a disk that takes it", text)])
    if not isinstance(error, OverwinterError):
        _log.error("a request failed", exc_info=error)  # our mistake: it must be heard somewhere
    first_line, *_ = f"Internal error: {type(error).__name__}: {error}".splitlines()
    return Fault(rpc.INTERNAL_ERROR, first_line[: rpc.MAX_SHOWN])

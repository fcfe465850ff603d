"""From one line of one caller to the answer: permission, the port, its future, the answer's size.

Runs in the server's loop and never touches a socket. Work is done in small turns with a rest after each
(`Turnstile`), because the wheel that keeps the pipes warm shares this process and its interpreter.
"""

import asyncio
import contextlib
import logging
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Future
from typing import Any

from overwinter.core.nouns import NotStored, OverwinterError, Problem, Refused
from overwinter.wire import methods, peer, rpc
from overwinter.wire.rpc import Fault

MAX_CHANGES_AT_ONCE = 8
"""Commands that wait in the guard; the next one waits here, where it costs the wheel nothing."""
MAX_RECORDS_AT_ONCE = 1
"""Readings of the logbook at a time, until they are JSON: each holds MAX_RECORDS lines, some 20 MB."""
MAX_LONG_LINES_AT_ONCE = 4
"""Lines of more than LONG_LINE_BYTES in work: as objects one may need thirty times its bytes, 2 MB."""
LONG_LINE_BYTES = 4_096
"""No honest line is longer: every setting at once is under 2 KiB."""
MAX_REPLY_BYTES = 4 * 1024 * 1024
"""One answer: a week of samples."""
MAX_UNREAD_BYTES = 16 * 1024 * 1024
"""Answers that are made and not yet taken, of all clients together: what a small board can hold."""
MAX_UNREAD_BYTES_A_USER = 8 * 1024 * 1024
"""Of one user, so that no single account can keep everybody else from the logbook."""
ALWAYS_BYTES = 65_536
"""Whatever others leave unread, an answer up to this length is given: `status` is always heard."""
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


class _Slot:
    """A place that is free again once both have let go of it: the port, and whoever asked it."""

    def __init__(self, places: asyncio.Semaphore) -> None:
        self._places = places
        self._holders = 2

    def let_go(self) -> None:
        """One of the two is done with it."""
        self._holders -= 1
        if self._holders == 0:
            self._places.release()


class Desk:
    """Answers lines with what the port says. Must be made inside the running loop."""

    def __init__(self, port: methods.Port, turnstile: Turnstile) -> None:
        self._port = port
        self._turn = turnstile.turn
        self._loop = asyncio.get_running_loop()
        self._change_slots = asyncio.Semaphore(MAX_CHANGES_AT_ONCE)
        self._record_slots = asyncio.Semaphore(MAX_RECORDS_AT_ONCE)
        self._long_slots = asyncio.Semaphore(MAX_LONG_LINES_AT_ONCE)
        self._unread: Counter[int] = Counter()  # user: bytes of his answers that are not yet taken

    @contextlib.asynccontextmanager
    async def answer(
        self, line: bytes, caller: peer.Peer, watch: Callable[[], None]
    ) -> AsyncIterator[bytes | None]:
        """The answer to a line, None where nobody waits for one; `watch` is called for a watcher.

        Its bytes count as unread until the block that sends it ends.
        """
        unread = _Unread(self._unread, caller.caller.uid)
        try:
            async with self._long_slots if len(line) > LONG_LINE_BYTES else contextlib.nullcontext():
                replies, is_batch = await self._replies(line, caller, watch, unread)
            if not replies:
                yield None
            elif is_batch:
                yield rpc.encode_batch(replies)
            else:
                yield replies[0]
        finally:
            unread.taken()

    async def _replies(
        self, line: bytes, caller: peer.Peer, watch: Callable[[], None], unread: "_Unread"
    ) -> tuple[list[bytes], bool]:
        replies: list[bytes] = []
        async with self._turn():
            message = rpc.parse(line)
            ready = [
                rpc.encode_error(part.id, part.fault) if isinstance(part, rpc.Unusable) else None
                for part in message.parts
            ]
        for part, reply in zip(message.parts, ready, strict=True):
            if isinstance(part, rpc.Request):
                reply = await self._reply(part, caller, watch, unread)  # noqa: PLW2901
            if reply is not None:
                replies.append(reply)
                unread.add(len(reply))
        return replies, message.is_batch

    async def _reply(
        self, request: rpc.Request, caller: peer.Peer, watch: Callable[[], None], unread: "_Unread"
    ) -> bytes | None:
        try:
            with contextlib.ExitStack() as until_encoded:
                result = await self._result(request, caller, until_encoded)
                if request.method == "watch":
                    # Before the answer goes out, so that no line is missed from the answer on.
                    watch()
                if request.is_notification:
                    return None
                return rpc.encode_result(request.id, await self._json(result, unread))
        except Exception as error:  # noqa: BLE001 - one request's failure is that request's
            fault = _fault_of(error)
        if request.is_notification:
            return None
        if len(fault.problems) <= 1:
            return rpc.encode_error(request.id, fault)
        async with self._turn():
            reply = rpc.encode_error(request.id, fault)
            if len(reply) > unread.room:
                reply = rpc.encode_error(request.id, Fault(fault.code, fault.message, fault.problems[:1]))
        return reply

    async def _result(
        self, request: rpc.Request, caller: peer.Peer, until_encoded: contextlib.ExitStack
    ) -> object:
        name = request.method
        is_change = name in methods.CHANGES
        function = methods.CHANGES[name] if is_change else methods.READS.get(name)
        if function is None:
            raise _no_such_method(name)
        if is_change and not peer.may_change(caller):
            fault = peer.not_permitted(name, caller)
            self._port.refused(name, caller.caller, fault.message)
            raise fault
        slots = self._change_slots if is_change else self._record_slots if name in methods.WAITS else None
        if slots is None:
            async with self._turn():
                return function(self._port, request.params, caller.caller)
        try:
            async with asyncio.timeout(ANSWER_S):
                await slots.acquire()
                slot = _Slot(slots)
                until_encoded.callback(slot.let_go)
                return await self._waited_for(
                    slot, lambda: function(self._port, request.params, caller.caller)
                )
        except TimeoutError:
            text = f"the guard did not answer within {ANSWER_S:g} s; whether {name} was done is not known"
            raise Fault(rpc.INTERNAL_ERROR, text) from None

    async def _waited_for(self, slot: _Slot, ask: Callable[[], object]) -> object:
        """What the port answers; it lets go of the slot when it is done, not when we stop waiting.

        Not asyncio.wrap_future: its cancellation would reach the port's future, and settling that one
        would then raise into the wheel.
        """
        asked: object = None
        try:
            async with self._turn():
                asked = ask()
        finally:
            if not isinstance(asked, Future):
                slot.let_go()
        if not isinstance(asked, Future):
            return asked
        answer: asyncio.Future[object] = self._loop.create_future()

        def settle(done: Future[Any]) -> None:
            slot.let_go()
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

    async def _json(self, result: object, unread: "_Unread") -> bytes:
        """A result as JSON: a long list in portions, so that no single turn is long."""
        if not isinstance(result, list):
            encoded = rpc.encode(result)
            if len(encoded) > unread.room:
                raise unread.refusal()
            return encoded
        if len(result) > methods.MAX_RECORDS:
            raise _too_large()
        portions: list[bytes] = []
        size = 1
        for first in range(0, len(result), RECORDS_A_TURN):
            async with self._turn():
                portions.append(rpc.encode(result[first : first + RECORDS_A_TURN])[1:-1])
            size += len(portions[-1]) + 1
            if size > unread.room:
                raise unread.refusal()
        return b"[" + b",".join(portions) + b"]"


class _Unread:
    """What one line's answer holds of the memory that all of them share."""

    def __init__(self, held: Counter[int], uid: int) -> None:
        self._held = held
        self._uid = uid
        self._own = 0

    @property
    def room(self) -> int:
        """Bytes by which the answer may still grow."""
        shared = min(MAX_UNREAD_BYTES - self._held.total(), MAX_UNREAD_BYTES_A_USER - self._held[self._uid])
        return min(MAX_REPLY_BYTES - self._own, max(shared, ALWAYS_BYTES - self._own))

    def add(self, size: int) -> None:
        """The answer has grown."""
        self._own += size
        self._held[self._uid] += size

    def taken(self) -> None:
        """Sent, or not wanted any more."""
        self._held[self._uid] -= self._own
        if self._held[self._uid] <= 0:
            del self._held[self._uid]

    def refusal(self) -> Fault:
        """Why there is no room."""
        if self._own + self.room >= MAX_REPLY_BYTES:
            return _too_large()
        allowed = f"at most {MAX_UNREAD_BYTES} bytes in all, {MAX_UNREAD_BYTES_A_USER} of one user"
        text = (
            f"too many long answers wait to be read: {allowed}; read them, or narrow this one and try again"
        )
        return Fault(rpc.REFUSED, text, [Problem("limit", None, allowed, text)])


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

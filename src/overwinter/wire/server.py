"""The guard's socket: connections and their limits, in an asyncio loop and a thread of its own.

Rule 1: nothing a client does reaches the wheel but through the port, and the port never waits for a client.
Rule 2: everything a client can make us hold or wait for has a limit with a name.
Rule 3: one connection's failure ends that connection and nothing else.
"""

import asyncio
import contextlib
import logging
import socket
import threading
from collections import Counter, deque
from collections.abc import Callable
from pathlib import Path

from overwinter.core.nouns import Problem
from overwinter.wire import peer, rpc
from overwinter.wire.desk import REST_S, Desk, Turnstile
from overwinter.wire.listening import Bound, bind
from overwinter.wire.methods import Port

MAX_CONNECTIONS = 64
"""In all, root's own included: enough for a house full of clients, few enough to serve on a small board."""
MAX_CONNECTIONS_A_USER = 16
"""Of one user who is not root, so that no single account can lock out the owner."""
MAX_WAITING_LINES = 1_000
"""Logbook lines that wait for one reader: hours of them. One who is so far behind is dropped."""
HALF_LINE_S = 5.0
"""From a line's first byte to its end: as long as a client waits for its answer."""
IDLE_S = 600.0
"""Without a word from one who does not watch; a client that keeps its connection asks more often."""
WRITE_S = 10.0
"""For one answer to be taken off our hands, even the largest."""
LAST_ANSWERS_S = 0.5
"""At the end, for those who have asked, or have just come: a restart need not cut anybody off."""
ACCEPT_PAUSE_S = 1.0
"""After a failed accept (no file descriptors left), before the next try."""
START_S = 5.0
"""For the thread to come up; it has nothing to wait for."""
CHUNK_BYTES = 16_384
"""Read at once; 64 clients that never end their lines hold 64 times this and a line, 5 MiB."""

_log = logging.getLogger(__name__)


class _Connection:
    """One client: the socket, who he is, and the logbook lines he has not taken yet."""

    def __init__(self, client: socket.socket, caller: peer.Peer) -> None:
        self.client = client
        self.peer = caller
        self.sending = asyncio.Lock()  # answers and events share the stream; no line is cut in two
        self.is_watching = False
        self.is_owed = True  # he has come to ask, or has asked, and has no answer yet
        self.waiting: deque[bytes] = deque()
        self.news = asyncio.Event()
        self.feeding: asyncio.Task[None] | None = None
        self.attending: asyncio.Task[None] | None = None

    async def receive(self, ends_s: float | None) -> bytes:
        """What comes next; empty at the end. Raises TimeoutError at `ends_s`."""
        async with asyncio.timeout_at(ends_s):
            return await asyncio.get_running_loop().sock_recv(self.client, CHUNK_BYTES)

    async def send(self, message: bytes) -> None:
        """One line out. Raises TimeoutError when the reader does not take it."""
        loop = asyncio.get_running_loop()
        async with asyncio.timeout(WRITE_S), self.sending:
            if len(message) <= CHUNK_BYTES:
                await loop.sock_sendall(self.client, message + b"\n")
                return
            await loop.sock_sendall(self.client, message)  # not a second copy of a long one
            await loop.sock_sendall(self.client, b"\n")

    def drop(self) -> None:
        """End it from outside its own task."""
        assert self.attending is not None
        self.attending.cancel()


class Server:
    """Serves a port over a Unix socket until stopped.

    At `listening` (from systemd; the server closes it at the end) or else at `path`. `start` raises
    OverwinterError when the socket can't be had; after that nothing in here raises into its caller.
    """

    def __init__(self, port: Port, *, path: Path | None, listening: socket.socket | None) -> None:
        assert path is not None or listening is not None
        self._port = port
        self._path = path
        self._listening = listening
        self._bound: Bound | None = None
        self._thread: threading.Thread | None = None
        self._is_up = threading.Event()
        self._stopping = asyncio.Event()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._unsubscribe: Callable[[], None] | None = None
        self._connections: set[_Connection] = set()
        self._watchers: set[_Connection] = set()
        self._is_accepting = True  # false while accepting fails, which is said once
        # Between whichever thread records and the loop.
        self._lines: deque[bytes] = deque(maxlen=MAX_WAITING_LINES)
        self._is_behind = False
        self._is_woken = False

    # What other threads call.

    def start(self) -> None:
        """Bind, if need be, and serve from a thread of our own; returns when it serves."""
        assert self._thread is None
        if self._listening is None:
            assert self._path is not None
            self._bound = bind(self._path)
            self._listening = self._bound.listening
        self._listening.setblocking(False)
        self._thread = threading.Thread(target=self._run, args=(self._listening,), name="wire", daemon=True)
        self._thread.start()
        self._is_up.wait(START_S)
        self._unsubscribe = self._port.subscribe(self._publish)

    def stop(self, timeout_s: float) -> None:
        """Close every connection and the socket; waits at most `timeout_s` for the thread."""
        if self._thread is None:
            return
        if self._unsubscribe is not None:
            self._unsubscribe()
            self._unsubscribe = None
        self._call_soon(self._stopping.set)
        self._thread.join(timeout_s)
        if self._bound is not None:
            self._bound.remove()

    def _publish(self, line: bytes) -> None:
        """A new logbook line: never waits, and costs the same however many watch."""
        if not self._watchers:
            return
        self._is_behind = self._is_behind or len(self._lines) == self._lines.maxlen
        self._lines.append(line)
        if not self._is_woken:
            self._is_woken = True
            self._call_soon(self._distribute)

    def _call_soon(self, act: Callable[[], None]) -> None:
        """Have the loop do something; a loop that has ended does nothing."""
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(act)

    # From here on: the loop's own thread.

    def _run(self, listening: socket.socket) -> None:
        try:
            asyncio.run(self._serve(listening))
        except Exception:  # noqa: BLE001 - the guard goes on without a socket
            _log.exception("the socket is no longer served")
        finally:
            listening.close()
            self._is_up.set()

    async def _serve(self, listening: socket.socket) -> None:
        self._loop = asyncio.get_running_loop()
        self._turnstile = Turnstile()
        self._desk = Desk(self._port, self._turnstile)
        self._listen(listening)
        self._is_up.set()
        await self._stopping.wait()
        self._loop.remove_reader(listening)
        # Who came before the end is answered; who comes now waits at the socket for the next guard.
        ends_s = self._loop.time() + LAST_ANSWERS_S
        while any(one.is_owed for one in self._connections) and self._loop.time() < ends_s:
            await asyncio.sleep(REST_S)
        # Whoever is still connected is cancelled, and his socket closed, when this returns.

    def _listen(self, listening: socket.socket) -> None:
        # Not loop.sock_accept: cancelled at the wrong moment, it loses a connection that is already open.
        if not self._stopping.is_set():
            asyncio.get_running_loop().add_reader(listening, self._accept, listening)

    def _accept(self, listening: socket.socket) -> None:
        """Take one connection, then rest: one who connects in a loop is not to hold the interpreter."""
        rest_s = REST_S
        try:
            client, _ = listening.accept()
        except BlockingIOError:
            pass  # gone again
        except OSError as error:
            if self._is_accepting:
                _log.warning("no connection can be accepted: %s", error)
            self._is_accepting = False
            rest_s = ACCEPT_PAUSE_S
        else:
            self._is_accepting = True
            client.setblocking(False)
            self._admit(client)
        loop = asyncio.get_running_loop()
        loop.remove_reader(listening)
        loop.call_later(rest_s, self._listen, listening)

    def _admit(self, client: socket.socket) -> None:
        try:
            caller = peer.peer_of(client)
            refusal = self._no_room_for(caller.caller.uid)
            if refusal is not None:
                # A fresh socket has room for a line.
                client.send(rpc.encode_error(None, refusal) + b"\n", socket.MSG_DONTWAIT)
                client.close()
                return
        except Exception as error:  # noqa: BLE001 - one client's failure is that client's
            _log.warning("a connection was turned away: %s", error)
            client.close()
            return
        connection = _Connection(client, caller)
        self._connections.add(connection)
        connection.attending = asyncio.create_task(self._attend(connection))
        connection.attending.add_done_callback(lambda _: self._forget(connection))

    def _forget(self, connection: _Connection) -> None:
        self._watchers.discard(connection)
        self._connections.discard(connection)
        connection.client.close()

    def _no_room_for(self, uid: int) -> rpc.Fault | None:
        held = Counter(connection.peer.caller.uid for connection in self._connections)
        if held.total() >= MAX_CONNECTIONS:
            count, allowed = held.total(), f"at most {MAX_CONNECTIONS} in all"
        elif uid != 0 and held[uid] >= MAX_CONNECTIONS_A_USER:
            count, allowed = held[uid], f"at most {MAX_CONNECTIONS_A_USER} of one user"
        else:
            return None
        text = f"too many connections: {count} are open, {allowed}"
        return rpc.Fault(rpc.REFUSED, text, [Problem("connections", count, allowed, text)])

    async def _attend(self, connection: _Connection) -> None:
        try:
            await self._converse(connection)
        except OSError:
            pass  # gone, or too slow (TimeoutError): nobody to tell
        except Exception:  # noqa: BLE001 - one client's failure is that client's
            _log.exception("a connection failed")
        finally:
            if connection.feeding is not None:
                connection.feeding.cancel()
                await asyncio.wait([connection.feeding])  # it lets go of the socket before that is closed

    async def _converse(self, connection: _Connection) -> None:
        loop = asyncio.get_running_loop()
        unfinished = bytearray()
        half_line_ends_s = 0.0
        while True:
            if unfinished:
                ends_s: float | None = half_line_ends_s
            else:
                ends_s = None if connection.is_watching else loop.time() + IDLE_S
            chunk = await connection.receive(ends_s)
            if not chunk:
                return  # half a line at the end is no line
            connection.is_owed = True
            begins, ends = 0, chunk.find(b"\n")
            if ends < 0:
                async with self._turnstile.turn():
                    pass  # one who sends byte by byte waits his turn too
            while ends >= 0:  # not split: thousands of tiny lines would weigh many times the chunk
                line = bytes(unfinished) + chunk[begins:ends]
                unfinished.clear()
                if len(line) > rpc.MAX_LINE_BYTES:
                    await self._turn_away(connection)
                    return
                await self._answer(connection, line)
                begins = ends + 1
                ends = chunk.find(b"\n", begins)
            if begins < len(chunk) and not unfinished:
                half_line_ends_s = loop.time() + HALF_LINE_S
            unfinished += chunk[begins:]
            connection.is_owed = bool(unfinished)
            if len(unfinished) > rpc.MAX_LINE_BYTES:
                await self._turn_away(connection)
                return

    async def _answer(self, connection: _Connection, line: bytes) -> None:
        def watch() -> None:
            connection.is_watching = True
            self._watchers.add(connection)

        async with self._desk.answer(line, connection.peer, watch) as reply:
            if reply is not None:
                await connection.send(reply)
        if connection.is_watching and connection.feeding is None:
            # Only now, so that the answer comes before the first event.
            connection.feeding = asyncio.create_task(self._feed(connection))

    async def _turn_away(self, connection: _Connection) -> None:
        """Say once that the line is too long, and let its writer get as far as reading that."""
        await connection.send(rpc.encode_error(None, rpc.too_long()))
        connection.client.shutdown(socket.SHUT_WR)
        ends_s = asyncio.get_running_loop().time() + HALF_LINE_S
        while await connection.receive(ends_s):
            async with self._turnstile.turn():
                pass  # what he still sends is thrown away at the pace of everybody's turns

    def _distribute(self) -> None:
        self._is_woken = False
        if self._is_behind:
            # Lines were lost on the way here: nobody can be given every one of them any more.
            self._is_behind = False
            self._lines.clear()
            for watcher in self._watchers:
                watcher.drop()
            self._watchers.clear()
        while self._lines:
            event = rpc.encode_event(self._lines.popleft())
            for watcher in tuple(self._watchers):
                if len(watcher.waiting) >= MAX_WAITING_LINES:
                    self._left_behind(watcher)
                    continue
                watcher.waiting.append(event)
                watcher.news.set()

    async def _feed(self, connection: _Connection) -> None:
        """Pass on what waits, until the reader is too slow or gone."""
        try:
            while await connection.news.wait():
                connection.news.clear()
                while connection.waiting:
                    await connection.send(connection.waiting.popleft())
        except TimeoutError:
            self._left_behind(connection)
        except OSError:
            connection.drop()

    def _left_behind(self, connection: _Connection) -> None:
        """Drop a watcher that does not read, and let it be known: it may not know itself."""
        if connection not in self._watchers:
            return
        self._watchers.discard(connection)
        connection.drop()
        caller = connection.peer.caller
        text = f"watch: {caller.user} (pid {caller.pid}) is too slow to read what happens, so it is dropped"
        self._port.refused("watch", caller, text)

"""Clients that do everything to a socket that a client must not do, until so many messages were sent."""

import asyncio
import contextlib
import json
import os
import random
import socket
import time
from collections import Counter
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

from overwinter.schemas import load
from overwinter.wire import rpc
from overwinter.wire.server import MAX_CONNECTIONS, MAX_CONNECTIONS_A_USER
from tests.wire.hostile import GROWING, Supply, check_answer

CONNECTIONS = MAX_CONNECTIONS if os.geteuid() == 0 else MAX_CONNECTIONS_A_USER
"""That this user may hold."""
WORKERS = 10
"""Who storm at once; one that interleaves takes three connections."""
PATIENCE_S = 30.0
"""For an answer, far beyond any fair wait: who waits longer has found a fault."""
BATCH_SHARE = 0.14
CHANGE_SHARE = 0.03
NEVER_READ_S = 4.0
CHANGES = 300

_status = Draft202012Validator(load("status"))


class TurnedAway(Exception):
    """The guard has no room for one more connection: those that just closed are not all forgotten yet."""


class Client:
    """One connection that sends what it is told, and checks every answer that it reads."""

    def __init__(self, storm: "Storm", reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._storm = storm
        self.reader = reader
        self.writer = writer
        self._is_let_in = False

    async def send(self, data: bytes) -> None:
        self.writer.write(data)
        try:
            await self.writer.drain()
        except ConnectionError:
            if self._is_let_in:
                raise
            raise TurnedAway from None

    async def line(self) -> bytes:
        """The next line, empty at the end."""
        try:
            async with asyncio.timeout(PATIENCE_S):
                line = await self.reader.readline()
        except ConnectionError:
            if self._is_let_in:
                return b""
            raise TurnedAway from None
        if not line.endswith(b"\n"):
            return b""
        self._storm.take(line)
        if b"too many connections" in line:
            raise TurnedAway
        self._is_let_in = True
        return line

    async def until_answered(self, marker: str) -> None:
        """Everything sent before was worked off once this is answered: requests are answered in order."""
        request = {"jsonrpc": "2.0", "method": "settings", "id": marker}
        await self.send(b"\n" + json.dumps(request).encode() + b"\n")
        wanted = json.dumps(marker).encode()
        while line := await self.line():
            if wanted in line:
                return
        raise AssertionError(f"the guard hung up before it answered {marker}")

    def close(self, *, abort: bool = False) -> None:
        if abort:
            self.writer.transport.abort()
        else:
            self.writer.close()


class Storm:
    """All clients together, and what they saw."""

    def __init__(self, path: Path, *, storm_seed: int, messages: int, lines: int = 0) -> None:
        """It is over when so many messages were sent, in at least so many lines."""
        self.path = path
        self.messages_at_least = messages
        self.lines_at_least = lines
        self.supply = Supply(storm_seed)
        self.chance = random.Random(storm_seed)
        self.sent: Counter[str] = Counter()  # messages by the way they were sent
        self.lines = 0
        self.answers = 0
        self.codes: Counter[object] = Counter()
        self.saved: list[dict[str, Any]] = []
        self.status_s: list[float] = []
        self.sessions = 0
        self.turned_away = 0
        self.at_half: Callable[[], None] = lambda: None
        self.is_over = False
        self._markers = 0

    @property
    def messages(self) -> int:
        """Sent so far; each request of a batch is one."""
        return self.sent.total()

    def take(self, line: bytes) -> None:
        """Check an answer and count it."""
        if line.startswith(b'{"jsonrpc":"2.0","method":"event"'):
            assert json.loads(line)["params"]["event"]
            return
        for response in check_answer(line):
            self.answers += 1
            self.codes[response["error"]["code"] if "error" in response else "result"] += 1
            result = response.get("result")
            if isinstance(result, dict) and result.get("saved") and result["changes"]:
                self.saved.append(result["changes"])

    async def connect(self) -> Client:
        while True:
            try:
                reader, writer = await asyncio.open_unix_connection(str(self.path), limit=16 * 1024 * 1024)
            except BlockingIOError:
                await asyncio.sleep(0.02)  # the kernel's queue is full
                continue
            return Client(self, reader, writer)

    def marker(self) -> str:
        self._markers += 1
        return f"marker {self._markers}"

    # Ways to send. Each counts what it sent when all of it was sent.

    def _count(self, way: str, messages: int, lines: int) -> None:
        self.sent[way] += messages
        self.lines += lines

    def _some_lines(self, count: int) -> tuple[list[bytes], int]:
        lines, messages = [], 0
        for _ in range(count):
            kind = self.chance.random()
            if kind < BATCH_SHARE:
                line, inside = self.supply.batch()
                messages += inside
            else:
                line = self.supply.change() if kind < BATCH_SHARE + CHANGE_SHARE else self.supply.line()
                messages += 1
            lines.append(line)
        return lines, messages

    async def pipelined(self) -> None:
        """Many lines at once, cut anywhere, read while they go out."""
        client = await self.connect()
        lines, messages = self._some_lines(self.chance.choice([5, 50, 150]))
        data = b"\n".join(lines)

        async def send() -> None:
            begins = 0
            while begins < len(data):
                ends = begins + self.chance.choice([1, 3, 100, 4_096, 16_384, 60_000])
                await client.send(data[begins:ends])
                begins = ends
            await client.until_answered(self.marker())

        try:
            await send()
        finally:
            client.close()
        self._count("pipelined", messages, len(lines))

    async def interleaved(self) -> None:
        """Three connections, byte by byte and bit by bit in turn."""
        clients = [await self.connect() for _ in range(3)]
        shares = [self._some_lines(12) for _ in clients]
        queues = [b"\n".join(lines) for lines, _ in shares]
        try:
            while any(queues):
                at = self.chance.randrange(3)
                cut = self.chance.choice([1, 2, 30, 300, 3_000])
                if queues[at]:
                    await clients[at].send(queues[at][:cut])
                    queues[at] = queues[at][cut:]
            for client in clients:
                await client.until_answered(self.marker())
        finally:
            for client in clients:
                client.close()
        self._count("interleaved", sum(share[1] for share in shares), sum(len(share[0]) for share in shares))

    async def batches(self) -> None:
        """Batches of rubbish, an empty one, ones too long."""
        client = await self.connect()
        messages = 0
        try:
            for _ in range(20):
                line, inside = self.supply.batch()
                messages += inside
                await client.send(line + b"\n")
            await client.send(b"[]\n[" + b"1," * rpc.MAX_BATCH + b"1]\n[" + b"{}," * 20_000 + b"{}]\n")
            await client.until_answered(self.marker())
        finally:
            client.close()
        self._count("batches", messages + 3, 23)

    async def half(self) -> None:
        """Half a line, then gone, or quiet for a while and then gone."""
        client = await self.connect()
        line = self.supply.line()
        await client.send(line[: 1 + len(line) // 2])
        if self.chance.random() < 0.1:
            await asyncio.sleep(1.0)
        if self.chance.random() < 0.3:
            client.writer.write_eof()
            await client.line()
        client.close(abort=self.chance.random() < 0.5)
        self._count("half", 1, 0)

    async def dripped(self) -> None:
        """A line byte by byte, slowly."""
        client = await self.connect()
        for byte in self.supply.line()[:200]:
            await client.send(bytes([byte]))
            await asyncio.sleep(0.002)
        await client.until_answered(self.marker())
        client.close()
        self._count("dripped", 1, 1)

    async def oversized(self) -> None:
        """A line of the longest length, one byte more or less, or without end; deep or flat."""
        client = await self.connect()
        size = rpc.MAX_LINE_BYTES + self.chance.choice([-1, 0, 1, 1, 34_464, 1_000_000])
        line = self.chance.choice([*GROWING.values()])(size)[:size].replace(b"\n", b" ")
        try:
            await client.send(line + self.chance.choice([b"\n", b""]))
            if len(line) <= rpc.MAX_LINE_BYTES:
                await client.until_answered(self.marker())
            else:
                await client.line()
        except ConnectionError:
            pass  # hung up on while it still sent: rightly
        client.close()
        self._count("oversized", 1, 1)

    async def flapping(self) -> None:
        """Connections that open and close, with a word or without."""
        for _ in range(8):
            client = await self.connect()
            if self.chance.random() < 0.5:
                with contextlib.suppress(TurnedAway):
                    await client.send(b"{}\n")
                    self._count("flapping", 1, 1)
            client.close(abort=self.chance.random() < 0.5)
            await asyncio.sleep(0)

    async def stuffed(self) -> None:
        """Asks for as much as there is, and never collects it."""
        client = await self.connect()
        method = self.chance.choice(["samples", "events"])
        await client.send(
            b'{"jsonrpc":"2.0","method":"%s","params":{"limit":10000},"id":1}\n' % method.encode() * 3
        )
        client.reader._transport.pause_reading()  # type: ignore[attr-defined]
        await asyncio.sleep(self.chance.uniform(0.5, NEVER_READ_S))
        client.close(abort=True)
        self._count("stuffed", 3, 3)

    async def stalled(self) -> None:
        """Watches, and takes nothing."""
        client = await self.connect()
        await client.send(b'{"jsonrpc":"2.0","method":"watch"}\n' * 3)
        client.reader._transport.pause_reading()  # type: ignore[attr-defined]
        await asyncio.sleep(self.chance.uniform(0.5, NEVER_READ_S))
        client.close(abort=True)
        self._count("stalled", 3, 3)

    # Who goes about it.

    async def run(self, *, progress: Callable[[str], None] = lambda _: None) -> None:
        """Storm until all messages were sent; a fault that a client finds is raised."""
        duties: list[list[Callable[[], Awaitable[None]]]] = [
            *([self.pipelined] for _ in range(5)),
            [self.pipelined, self.batches],
            [self.interleaved, self.pipelined],
            [self.half, self.dripped, self.oversized, self.flapping],
            [self.half, self.oversized, self.flapping],
            [self.stuffed, self.stalled],
        ]
        assert len(duties) == WORKERS
        began_s = time.monotonic()

        async def work(duty: list[Callable[[], Awaitable[None]]]) -> None:
            while self.messages < self.messages_at_least or self.lines < self.lines_at_least:
                self.sessions += 1
                if self.messages >= self.messages_at_least / 2:
                    self.at_half()
                try:
                    await self.chance.choice(duty)()
                except TurnedAway:
                    self.turned_away += 1
                    await asyncio.sleep(0.05)

        async def tell() -> None:
            while True:
                await asyncio.sleep(10.0)
                progress(
                    f"{self.messages} messages in {self.lines} lines, {time.monotonic() - began_s:.0f} s"
                )

        telling = asyncio.create_task(tell())
        try:
            async with asyncio.TaskGroup() as group:
                for duty in duties:
                    group.create_task(work(duty))
        finally:
            telling.cancel()
            self.is_over = True

    async def witness(self, client: Client, between_s: float = 0.1) -> None:
        """Ask for the status, properly, all the time; each answer is the right one."""
        number = 0
        while not self.is_over:
            number += 1
            began_s = time.monotonic()
            status = await self.ask(client, "status", number)
            self.status_s.append(time.monotonic() - began_s)
            _status.validate(status)
            await asyncio.sleep(between_s)

    async def patiently(self, act: Callable[[], Awaitable[None]]) -> None:
        """Again until it is let in: clients that have gone are forgotten once what they asked for is done."""
        ends_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                return await act()
            except TurnedAway:
                assert time.monotonic() < ends_s, "nobody is let in any more"
                await asyncio.sleep(0.2)

    async def crowd(self, line: bytes, size: int, stay_s: float) -> None:
        """So many clients send the same at the same time, and none of them reads what comes of it."""
        clients = [await self.connect() for _ in range(size)]
        for client in clients:
            client.reader._transport.pause_reading()  # type: ignore[attr-defined]
            client.writer.write(line + b"\n")
        await asyncio.sleep(stay_s)
        for client in clients:
            client.close(abort=True)
        self._count("in a crowd", size, size)

    async def refused_changes(self) -> None:
        """Changes that must all be refused, by one who may change."""
        client = await self.connect()
        try:
            for _ in range(CHANGES):
                await client.send(self.supply.change() + b"\n")
            await client.until_answered(self.marker())
        finally:
            client.close()
        self._count("changes", CHANGES, CHANGES)

    async def ask(self, client: Client, method: str, number: int, params: object = None) -> Any:
        """One proper request; its result."""
        request: dict[str, object] = {"jsonrpc": "2.0", "method": method, "id": number}
        if params is not None:
            request["params"] = params
        await client.send(json.dumps(request).encode() + b"\n")
        response = json.loads(await client.line())
        assert response["id"] == number
        return response["result"]


def silent(path: Path) -> socket.socket:
    """A client that connects and says nothing."""
    client = socket.socket(socket.AF_UNIX)
    client.settimeout(5.0)
    while True:
        try:
            client.connect(str(path))
        except BlockingIOError:
            time.sleep(0.02)
            continue
        return client

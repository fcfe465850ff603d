"""What the guard says, heard once and passed on to every open page.

Rule 1: however many pages are open, the guard has one watcher and one question at a time to answer.
Rule 2: a page that does not read is left behind: it gets the latest when it reads again, never a backlog.
Rule 3: without a page that listens nobody asks.
Rule 4: an answer that did not come is told as that; an old one is never shown in its place.
"""

import asyncio
import contextlib
import threading
import time
from dataclasses import dataclass
from typing import Any

from overwinter.wire.client import RpcError, Unreachable, call, watch

STREAMS_AT_MOST = 64
"""Open pages that are told of every change; the next is refused and tries again later."""

LOOK_EVERY_S = 5.0
LOOK_AGAIN_S = 0.5
FRESH_S = 1.0
"""An answer so young serves everybody who asks meanwhile."""

PATIENCE_S = 1.0
"""So long a page waits for a guard that does not answer; then it says so."""

ASK_S = 4.0
LISTEN_AGAIN_S = 2.0


class Busy(Exception):
    """Too many pages are open."""


@dataclass(frozen=True, slots=True)
class News:
    """The guard's state, and a number that grows with every new sample."""

    status: dict[str, Any] | None
    why: str  # there is none
    samples: int


class Hub:
    """One for the process; made and used inside the event loop."""

    def __init__(self, socket_path: str) -> None:
        self._socket = socket_path
        self._loop = asyncio.get_running_loop()
        self._changed = asyncio.Condition()
        self._news = News(None, "it has not been asked yet", 0)
        self._asked_s = -1e9
        self._asking: asyncio.Task[None] | None = None
        self._streams = 0
        self._samples = 0
        self._wake = asyncio.Event()
        self._is_over = False
        self._work = asyncio.create_task(self._look())
        threading.Thread(target=self._listen, name="watch", daemon=True).start()

    @property
    def streams(self) -> int:
        """How many pages listen."""
        return self._streams

    @property
    def is_over(self) -> bool:
        """Whether every stream shall end."""
        return self._is_over

    async def status(self) -> tuple[dict[str, Any] | None, str]:
        """The guard's state, about a second old at most; None and why."""
        if time.monotonic() - self._asked_s >= FRESH_S:
            asking = self._ask()
            await asyncio.wait({asking}, timeout=PATIENCE_S)
            if not asking.done():
                await self._tell(News(None, f"it has not answered within {PATIENCE_S:g} s", self._samples))
        return self._news.status, self._news.why

    def join(self) -> None:
        """One page more listens.

        Raises
        ------
        Busy
            Too many do already.
        """
        if self._streams >= STREAMS_AT_MOST:
            raise Busy
        self._streams += 1
        self._wake.set()

    def leave(self) -> None:
        """It does no more."""
        self._streams -= 1

    async def newer(self, told: News | None, within_s: float) -> News | None:
        """What is now, as soon as it is not what was told; None: nothing new in this time."""
        if told is None:
            await self.status()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s), self._changed:
                await self._changed.wait_for(lambda: self._news is not told or self._is_over)
        return None if self._news is told else self._news

    async def close(self) -> None:
        """Let every stream end."""
        self._is_over = True
        self._work.cancel()
        async with self._changed:
            self._changed.notify_all()

    async def _look(self) -> None:
        while True:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LOOK_EVERY_S if self._streams else None):
                    await self._wake.wait()
            self._wake.clear()
            if self._streams:
                await asyncio.wait({self._ask()})
                await asyncio.sleep(LOOK_AGAIN_S)

    def _ask(self) -> asyncio.Task[None]:
        if self._asking is None or self._asking.done():
            self._asking = asyncio.create_task(self._ask_once())
        return self._asking

    async def _ask_once(self) -> None:
        status, why = await asyncio.to_thread(self._asked)
        self._asked_s = time.monotonic()
        await self._tell(News(status, why, self._samples))

    async def _tell(self, news: News) -> None:
        if news != self._news:
            self._news = news
            async with self._changed:
                self._changed.notify_all()

    def _asked(self) -> tuple[dict[str, Any] | None, str]:
        try:
            status = call(self._socket, "status", timeout_s=ASK_S)
        except (Unreachable, RpcError) as error:
            return None, str(error).partition(";")[0]
        return (status, "") if isinstance(status, dict) else (None, "its answer is not understood")

    def _listen(self) -> None:
        """In a thread: a new line is a reason to look, and so is a guard that comes or goes."""
        while not self._is_over:
            try:
                lines = watch(self._socket)
                self._look_now()
                for line in lines:
                    self._samples += line.get("event") == "sample"
                    self._look_now()
            except (Unreachable, RpcError, OSError):
                self._look_now()
                time.sleep(LISTEN_AGAIN_S)

    def _look_now(self) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._wake.set)

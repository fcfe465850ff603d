"""The server around the page: connections that are bounded in number and in time, and a quick end.

Rule 1: who connects and says nothing, or drips, is let go after seconds; when all places are taken, the one
        goes that has waited for longest without a whole request, so that an honest reader always gets in.
Rule 2: nobody's request is logged: the commentary is for what the owner can mend.
"""

import asyncio
import contextlib
import logging
import os
import signal
import socket
import time
from collections.abc import Iterator
from typing import Any, NoReturn, Protocol

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from overwinter.daemon.commentary import Repeats
from overwinter.daemon.service import Service
from overwinter.web.answers import raw_headers
from overwinter.web.app import Page, Parts

CONNECTIONS_AT_MOST = 256
HEADER_BYTES = 16_384
REQUEST_S = 10.0
"""For a whole head of a request."""

ANSWER_S = 120.0
"""For an answer to be read, however slowly it is made: a season on a small board takes half a minute."""

KEEP_ALIVE_S = 5
END_S = 1
BEAT_S = 2.0
BACKLOG = 128
STREAM = "/stream"


class Log(Protocol):
    """The running commentary."""

    def info(self, event: str, **fields: object) -> None: ...

    def error(self, event: str, **fields: object) -> None: ...


class _Bounded(H11Protocol):
    """One connection."""

    def connection_made(self, transport: Any) -> None:
        self.since_s = self.loop.time()
        self._timer = self.loop.call_later(REQUEST_S, self._look)
        # One that is let go leaves the set a moment later.
        others = [
            one for one in self.connections if isinstance(one, _Bounded) and not one.transport.is_closing()
        ]
        super().connection_made(transport)
        if len(others) >= CONNECTIONS_AT_MOST:
            idle = [one for one in others if one.is_idle]
            min(idle, key=lambda one: one.since_s, default=self).transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        self._timer.cancel()
        super().connection_lost(exc)

    def on_response_complete(self) -> None:
        super().on_response_complete()
        self.since_s = self.loop.time()

    @property
    def is_idle(self) -> bool:
        """Whether no request is being answered."""
        return self.cycle is None or self.cycle.response_complete

    def _look(self) -> None:
        allowed_s = REQUEST_S if self.is_idle else ANSWER_S
        is_stream = not self.is_idle and self.scope["path"] == STREAM
        if self.loop.time() - self.since_s >= allowed_s and not is_stream:
            self.transport.abort()  # a close would wait until what was written is read
        else:
            self._timer = self.loop.call_later(REQUEST_S / 2.0, self._look)

    def send_400_response(self, msg: str) -> None:
        """With the policy, as every answer."""
        body = f"{msg}\n".encode("ascii")
        head = [b"HTTP/1.1 400 Bad Request", b"content-type: text/plain; charset=utf-8", b"connection: close"]
        head += [b"content-length: %d" % len(body), *(b": ".join(pair) for pair in raw_headers())]
        self.transport.write(b"\r\n".join(head) + b"\r\n\r\n" + body)
        self.transport.close()


class _Server(uvicorn.Server):
    """Ends its streams first, so that nothing is left to wait for."""

    def __init__(self, page: Page, service: Service) -> None:
        super().__init__(
            uvicorn.Config(
                page.asgi,
                http=_Bounded,
                loop="asyncio",
                ws="none",
                lifespan="on",
                interface="asgi3",
                log_config=None,
                access_log=False,
                server_header=False,
                proxy_headers=True,  # of a proxy on this machine only: whether it is TLS, and who asks
                forwarded_allow_ips=["127.0.0.1", "::1"],
                h11_max_incomplete_event_size=HEADER_BYTES,
                timeout_keep_alive=KEEP_ALIVE_S,
                timeout_graceful_shutdown=END_S,
                backlog=BACKLOG,
            )
        )
        self._page, self._service = page, service

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """A signal is the usual end: it is not raised once more behind it."""
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, self._stop)
        yield

    def _stop(self) -> None:
        self.should_exit = True

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Ready once it listens."""
        await super().startup(sockets)
        self._service.ready()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Streams first."""
        self._service.stopping()
        await self._page.close()
        await super().shutdown(sockets)


class _Faults(logging.Handler):
    """What goes wrong inside an answer, into the commentary, and not a line for each time."""

    def __init__(self, log: Log) -> None:
        super().__init__(logging.ERROR)
        self._log, self._repeats = log, Repeats()

    def emit(self, record: logging.LogRecord) -> None:
        """One fault."""
        error = record.exc_info[1] if record.exc_info else None
        why = f"{type(error).__name__}: {error}" if error is not None else ""
        count = self._repeats.count(record.msg, time.monotonic())
        if count:
            self._log.error("an answer failed", what=record.getMessage().strip(), why=why, times=count)


def bound(bind: str, port: int) -> socket.socket:
    """A socket that listens there; `::` is every address of the machine.

    Raises
    ------
    OSError
        The system does not let us.
    """
    if ":" not in bind:
        return socket.create_server((bind, port), backlog=BACKLOG)
    both = bind == "::" and socket.has_dualstack_ipv6()
    return socket.create_server((bind, port), family=socket.AF_INET6, dualstack_ipv6=both, backlog=BACKLOG)


def serve(parts: Parts, listening: socket.socket, *, service: Service, log: Log) -> NoReturn:
    """Answer until SIGTERM, and end the process then."""
    faults = _Faults(log)
    for name in ("uvicorn.error", "asyncio"):
        logging.getLogger(name).setLevel(logging.ERROR)
        logging.getLogger(name).addHandler(faults)
        logging.getLogger(name).propagate = False
    asyncio.run(_serve(Page(parts), listening, service))
    raise AssertionError("the process has ended")


async def _serve(page: Page, listening: socket.socket, service: Service) -> None:
    beat = asyncio.create_task(_beat(page, service))
    await _Server(page, service).serve([listening])
    beat.cancel()
    # Threads may still draw a season, or wait for a guard that is silent: nothing in them needs an end.
    os._exit(0)


async def _beat(page: Page, service: Service) -> None:
    """Feeds the watchdog from the loop that answers: when that hangs, the service is started again."""
    while True:
        service.turned(f"{page.streams} pages open", time.monotonic())
        await asyncio.sleep(BEAT_S)

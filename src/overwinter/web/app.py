"""The page's addresses: what each answers, and to whom.

Rule 1: reading is open to whoever reaches the address, which is this machine unless site.toml says otherwise.
        The addresses that change anything exist only where changes are allowed.
Rule 2: what is asked of the guard goes over its socket and is held to the guard's own limits.
Rule 3: one picture is drawn at a time, and serves everybody who asks meanwhile.
"""

import asyncio
import json
import math
import time
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from overwinter.core.telling import Web
from overwinter.notify.metrics import openmetrics
from overwinter.show import web_page
from overwinter.web.answers import App, Receive, Scope, Send, html, plain, with_policy
from overwinter.web.changing import Changing
from overwinter.web.hub import STREAMS_AT_MOST, Busy, Hub

BEAT_S = 15.0
"""A silent stream says this often that it is there: proxies end what says nothing, and the page can tell."""

KEPT_S: Mapping[str, float] = {"day": 5.0, "week": 60.0, "season": 300.0}
"""For so long one drawing serves everybody."""

DAY_S = 86_400.0
LENGTH_S: Mapping[str, float] = {"day": DAY_S, "week": 7 * DAY_S, "season": 120 * DAY_S}
CLOSER_S = 60.0
"""Ends of a span that is looked at closer are widened to whole minutes, so that one drawing serves many."""

DRAWN_AT_MOST = 12
WAITING_AT_MOST = 8

METRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"


class NoRecord(Exception):
    """The logbook cannot be read, and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What the page is made of."""

    house: str
    version: str
    socket: str
    web: Web
    password: str | None  # the kept line of the credential
    assets: Mapping[str, tuple[str, bytes]]  # by name: type and text
    draw: Callable[[float, float], dict[str, Any]]  # from, to: {"html", "picture"}; slow: runs in a thread
    local: Callable[[str], str]
    wrong_password: Callable[[str], None]  # told of the address, as often as guesses are let through


@dataclass(frozen=True, slots=True)
class _Drawn:
    at_s: float
    body: bytes


class Page:
    """The application; `asgi` is what a server runs."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._hub: Hub | None = None
        self._drawn: dict[str, _Drawn] = {}
        self._one_at_a_time = asyncio.Lock()
        self._waiting = 0
        self._changing = (
            Changing(
                house=parts.house,
                version=parts.version,
                socket=parts.socket,
                password=parts.password,
                bind=parts.web.bind,
                wrong_password=parts.wrong_password,
            )
            if parts.web.change and parts.password is not None
            else None
        )
        routes = [
            Route("/", self._front),
            Route("/stream", self._stream),
            Route("/record", self._record),
            Route("/metrics", self._metrics),
            Route("/assets/{name}", self._asset),
        ]
        if self._changing is not None:
            routes += [
                Route("/sign-in", self._changing.sign_in, methods=["GET", "POST"]),
                Route("/sign-out", self._changing.sign_out, methods=["POST"]),
                Route("/change", self._changing.change, methods=["POST"]),
            ]
        self.asgi: App = with_policy(Starlette(routes=routes, lifespan=self._lifespan))

    @property
    def streams(self) -> int:
        """How many pages are told of every change."""
        return 0 if self._hub is None else self._hub.streams

    async def close(self) -> None:
        """Let every stream end."""
        if self._hub is not None:
            await self._hub.close()

    @asynccontextmanager
    async def _lifespan(self, _app: Starlette) -> AsyncIterator[None]:
        self._hub = Hub(self._parts.socket)
        yield
        await self.close()

    @property
    def _guard(self) -> Hub:
        assert self._hub is not None
        return self._hub

    async def _front(self, request: Request) -> Response:
        """The page itself."""
        span = request.query_params.get("span", "day")
        if span not in web_page.SPANS:
            return plain(f"span: {', '.join(web_page.SPANS)}", 400)
        status, why = await self._guard.status()
        change, told, warning = "", "", ""
        if self._changing is not None:
            change, told = await self._changing.part(request, status)
            warning = self._changing.warning(request)
        elif self._parts.web.change:
            warning = "site.toml allows changes, but there is no password yet: see `overwinter web --help`."
        return html(
            web_page.page(
                house=self._parts.house,
                span=span,
                now=web_page.now(status, why=why, local=self._parts.local),
                change=change,
                told=told,
                warning=warning,
                version=self._parts.version,
            )
        )

    async def _stream(self, _request: Request) -> Response:
        """Server-sent events: the present state, at every change."""
        try:
            self._guard.join()
        except Busy:
            text = f"{STREAMS_AT_MOST} pages are open already; this one is not told of changes for now"
            return plain(text, 503, **{"Retry-After": "30"})
        return _Stream(self._guard, lambda news: web_page.now(news[0], why=news[1], local=self._parts.local))

    async def _record(self, request: Request) -> Response:
        """The chart of a span, as HTML and as data for the script."""
        now_s = time.time()
        asked = request.query_params
        if "from" in asked or "to" in asked:
            begins_s, ends_s = (_seconds(asked.get(name, "")) for name in ("from", "to"))
            if not (0.0 < begins_s < ends_s <= now_s + DAY_S and ends_s - begins_s <= LENGTH_S["season"]):
                return plain("from, to: seconds of the epoch, 120 days apart at most", 400)
            begins_s = begins_s // CLOSER_S * CLOSER_S
            ends_s = min(-(-ends_s // CLOSER_S) * CLOSER_S, now_s)
            name, kept_s = f"{begins_s:.0f} {ends_s:.0f}", KEPT_S["week"]
        else:
            name = asked.get("span", "day")
            if name not in LENGTH_S:
                return plain(f"span: {', '.join(LENGTH_S)}", 400)
            begins_s, ends_s, kept_s = now_s - LENGTH_S[name], now_s, KEPT_S[name]
        if self._waiting >= WAITING_AT_MOST:
            return plain("too many ask for a chart at once", 503, **{"Retry-After": "10"})
        self._waiting += 1
        try:
            async with self._one_at_a_time:
                body = await self._body(name, begins_s, ends_s, kept_s)
        except NoRecord as error:
            return plain(f"The record cannot be read: {error}", 503)
        finally:
            self._waiting -= 1
        return Response(body, media_type="application/json")

    async def _body(self, name: str, from_s: float, to_s: float, kept_s: float) -> bytes:
        drawn = self._drawn.pop(name, None)
        if drawn is None or time.monotonic() - drawn.at_s >= kept_s:
            body = await asyncio.to_thread(lambda: json.dumps(self._parts.draw(from_s, to_s)).encode())
            drawn = _Drawn(time.monotonic(), body)
        self._drawn[name] = drawn  # the newest last
        while len(self._drawn) > DRAWN_AT_MOST:
            del self._drawn[next(iter(self._drawn))]
        return drawn.body

    async def _metrics(self, _request: Request) -> Response:
        """OpenMetrics, for a metrics store that asks here."""
        status, _ = await self._guard.status()
        return Response(
            openmetrics(status, house=self._parts.house).encode(), headers={"Content-Type": METRICS}
        )

    async def _asset(self, request: Request) -> Response:
        """Scripts and styles, from this program and nowhere else."""
        found = self._parts.assets.get(request.path_params["name"])
        if found is None:
            return plain("there is no such file", 404)
        kind, data = found
        return Response(data, media_type=kind, headers={"Cache-Control": "no-cache"})


class _Stream(StreamingResponse):
    """Told of every change until its reader goes or the server ends; its place is then free again."""

    def __init__(self, hub: Hub, shown: Callable[[tuple[dict[str, Any] | None, str]], str]) -> None:
        self._hub, self._shown = hub, shown
        super().__init__(self._events(), media_type="text/event-stream")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._hub.leave()

    async def _events(self) -> AsyncIterator[bytes]:
        told = None
        while not self._hub.is_over:
            news = await self._hub.newer(told, BEAT_S)
            if news is None:
                yield b"event: beat\ndata:\n\n"
                continue
            told = news
            body = json.dumps({"html": self._shown((news.status, news.why)), "samples": news.samples})
            yield f"event: now\ndata: {body}\n\n".encode()


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan

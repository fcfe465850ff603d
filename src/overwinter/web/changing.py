"""Signing in, and what may be changed then: mode, band and pace.

Rule 1: changing needs `change = true`, the password, a session and its token.
Rule 2: one guess at a time: a hash is dear, and the page must stay quick for whoever only reads.
Rule 3: only what the reader altered is sent: what he did not touch may have been changed elsewhere meanwhile.
Rule 4: the guard decides, and `anyway` is never said from here.
"""

import asyncio
import hmac
import math
import secrets
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from overwinter.show import web_page
from overwinter.web.answers import Refused, form, html, plain, redirect
from overwinter.web.passwords import is_right
from overwinter.web.sessions import Guesses, Session, Sessions, is_token
from overwinter.wire.client import RpcError, Unreachable, call

COOKIE = "overwinter"
KEYS: Mapping[str, str] = {
    "mode": "mode",
    "low": "band.low",
    "high": "band.high",
    "pace": "sampling.sense_s",
}
"""The fields of the form, and the settings that they are."""

NOT_PERMITTED = -32001


class Changing:
    """Who has signed in, and what became of it."""

    def __init__(
        self,
        *,
        house: str,
        version: str,
        socket: str,
        password: str,
        bind: str,
        wrong_password: Callable[[str], None],
    ) -> None:
        self._house, self._version, self._socket, self._password = house, version, socket, password
        self._wrong_password = wrong_password
        self._is_local = bind in ("127.0.0.1", "::1")
        self._sessions, self._guesses = Sessions(), Guesses()
        self._one_at_a_time = asyncio.Lock()
        self._token = secrets.token_urlsafe(32)  # of the form before there is a session

    def warning(self, request: Request) -> str:
        """What everybody must know who is about to type a password."""
        if self._is_local or request.url.scheme == "https":
            return ""
        return "Not encrypted: a password typed here can be read on the way. Put a proxy with TLS before it."

    async def part(self, request: Request, status: Mapping[str, Any] | None) -> tuple[str, str]:
        """The form or the way to it, and what came of the last one."""
        session = self._session(request)
        if session is None:
            return web_page.sign_in_link(), ""
        note, session.note = session.note, ""
        settings: object = None
        if status is not None:
            with suppress(Unreachable, RpcError):
                settings = await asyncio.to_thread(call, self._socket, "settings")
        known = settings if isinstance(settings, dict) else None
        return web_page.change_part(settings=known, token=session.token), note

    async def sign_in(self, request: Request) -> Response:
        """Show the form, or look at what came of it."""
        if request.method != "POST":
            return self._sign_in_page(request, "", 200)
        address = request.client.host if request.client else ""
        try:
            given = await form(request)
            if not hmac.compare_digest(given.get("token", "").encode(), self._token.encode()):
                raise Refused(403, "this form is old or not ours; try again")
            async with self._one_at_a_time:
                wait_s = self._guesses.wait_s(address, time.monotonic())
                if wait_s > 0.0:
                    minutes = math.ceil(wait_s / 60.0)
                    raise Refused(429, f"too many wrong passwords; try again in {minutes} min")
                if not await asyncio.to_thread(is_right, given.get("password", ""), self._password):
                    self._guesses.wrong(address, time.monotonic())
                    self._wrong_password(address)
                    raise Refused(403, "that is not the password")
        except Refused as refused:
            return self._sign_in_page(request, str(refused), refused.code)
        self._guesses.right(address)
        self._sessions.end(request.cookies.get(COOKIE))
        answer = redirect("/#change")
        answer.set_cookie(
            COOKIE,
            self._sessions.begin(time.monotonic()),
            httponly=True,
            samesite="strict",
            secure=request.url.scheme == "https",
            path="/",
        )
        return answer

    async def sign_out(self, request: Request) -> Response:
        """End the session."""
        try:
            await self._signed_form(request)
        except Refused as refused:
            return plain(str(refused), refused.code)
        self._sessions.end(request.cookies.get(COOKIE))
        answer = redirect("/")
        answer.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
        return answer

    async def change(self, request: Request) -> Response:
        """Mode, band and pace, all together or not at all."""
        try:
            session, given = await self._signed_form(request)
        except Refused as refused:
            return plain(str(refused), refused.code)
        changes = {
            key: value if name == "mode" else _number(value)
            for name, key in KEYS.items()
            if (value := given.get(name, "").strip()) and value != given.get(f"was-{name}")
        }
        session.note = await asyncio.to_thread(self._ask_for, changes) if changes else web_page.saved({})
        return redirect("/#told")

    def _ask_for(self, changes: dict[str, object]) -> str:
        try:
            answer = call(self._socket, "set", {"changes": changes})
            settings = call(self._socket, "settings")
        except RpcError as error:
            told = "; ".join(str(problem.get("text")) for problem in error.problems) or error.message
            if error.code == NOT_PERMITTED:
                told += ". The page's service is not in the group overwinter: see `overwinter web --help`"
            return f"Refused, nothing was changed: {told}"
        except Unreachable as error:
            return f"The guard cannot be reached, so it is not known whether this was changed: {error}"
        changed = answer.get("changes") if isinstance(answer, dict) else None
        unit = settings.get("unit") if isinstance(settings, dict) else ""
        return web_page.saved(changed or {}, unit=str(unit or ""))

    def _session(self, request: Request) -> Session | None:
        return self._sessions.of(request.cookies.get(COOKIE), time.monotonic())

    async def _signed_form(self, request: Request) -> tuple[Session, dict[str, str]]:
        session = self._session(request)
        if session is None:
            raise Refused(403, "not signed in, or for too long without a word: sign in again")
        given = await form(request)
        if not is_token(session, given.get("token")):
            raise Refused(403, "this form is old or not ours; reload the page")
        return session, given

    def _sign_in_page(self, request: Request, error: str, code: int) -> Response:
        body = web_page.sign_in_form(error=error, token=self._token, warning=self.warning(request))
        return html(web_page.plain_page(title=self._house, body=body, version=self._version), code)


def _number(text: str) -> object:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    return value if math.isfinite(value) else text  # the guard says what is allowed

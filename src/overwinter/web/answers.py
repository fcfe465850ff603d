"""What goes with every answer, and the small forms that are taken.

Rule 1: nothing from outside is run, fetched or framed: the policy goes with every answer, errors as well.
Rule 2: a form is small, complete within seconds, and came from our own page.
"""

import asyncio
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any, TypeAlias
from urllib.parse import parse_qs, urlsplit

from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response

HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: browsers would then send `Origin: null` with our own forms.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
FORM_BYTES = 4096
FORM_S = 5.0
FIELDS_AT_MOST = 20

Scope: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send: TypeAlias = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App: TypeAlias = Callable[[Scope, Receive, Send], Awaitable[None]]


class Refused(Exception):
    """A request that is not taken: the code of the answer, and why."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(text)
        self.code = code


def with_policy(app: App) -> App:
    """The same application; no answer of it lacks the headers."""

    async def guarded(scope: Scope, receive: Receive, send: Send) -> None:
        async def send_with_policy(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                there = {name.lower() for name, _ in message.get("headers", [])}
                message["headers"] = [
                    *message.get("headers", []),
                    *(pair for pair in raw_headers() if pair[0] not in there),
                ]
            await send(message)

        await app(scope, receive, send_with_policy)

    return guarded


def raw_headers() -> list[tuple[bytes, bytes]]:
    """The policy as the server sends it."""
    return [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]


def html(text: str, code: int = 200) -> Response:
    """A page."""
    return Response(text, code, media_type="text/html; charset=utf-8")


def plain(text: str, code: int, **headers: str) -> Response:
    """A line of text."""
    return PlainTextResponse(text + "\n", code, headers=headers)


def redirect(where: str) -> Response:
    """Go there and ask again with GET."""
    return RedirectResponse(where, 303)


async def form(request: Request) -> dict[str, str]:
    """The fields of a small form that came from our own page.

    Raises
    ------
    Refused
        It is none.
    """
    # A browser sends both with every form, and a page of somebody else's cannot leave them out.
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise Refused(403, "this form is not ours")
    if request.headers.get("sec-fetch-site", "same-origin") != "same-origin":
        raise Refused(403, "this form is not ours")
    body = b""
    try:
        async with asyncio.timeout(FORM_S):
            async for chunk in request.stream():
                body += chunk
                if len(body) > FORM_BYTES:
                    raise Refused(413, f"this form has more than {FORM_BYTES} bytes")
        fields = parse_qs(
            body.decode("ascii"), keep_blank_values=True, max_num_fields=FIELDS_AT_MOST, errors="strict"
        )
    except ClientDisconnect:
        raise Refused(400, "the form broke off") from None
    except TimeoutError:
        raise Refused(408, f"the form was not complete within {FORM_S:g} s") from None
    except ValueError:
        raise Refused(400, "that is no form") from None
    return {name: values[0] for name, values in fields.items()}

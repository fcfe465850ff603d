"""Who has signed in, and how often somebody may guess. No clock: `now_s` is seconds that do not jump.

Rule 1: what a form needs beside the cookie (`token`) is another secret: a page of somebody else's can make
        the browser send the cookie, but cannot know the token.
Rule 2: everything is bounded: sessions, guesses, addresses.
"""

import hmac
import secrets
from collections import deque
from dataclasses import dataclass

IDLE_S = 3600.0
LONGEST_S = 12 * 3600.0
SESSIONS_AT_MOST = 16

GUESSES = 5
"""So many wrong passwords from one address within `GUESS_S`, and four times as many from all of them."""

GUESS_S = 900.0
ADDRESSES_AT_MOST = 1000


@dataclass(slots=True)
class Session:
    """One browser that signed in."""

    token: str
    began_s: float
    seen_s: float
    note: str = ""  # said once, on the next page


class Sessions:
    """Everybody who signed in."""

    def __init__(self) -> None:
        self._sessions: dict[str, Session] = {}

    def begin(self, now_s: float) -> str:
        """A new session; its cookie's value. Of too many the one unused for longest ends."""
        self._forget(now_s)
        while len(self._sessions) >= SESSIONS_AT_MOST:
            del self._sessions[min(self._sessions, key=lambda name: self._sessions[name].seen_s)]
        cookie = secrets.token_urlsafe(32)
        self._sessions[cookie] = Session(secrets.token_urlsafe(32), now_s, now_s)
        return cookie

    def of(self, cookie: str | None, now_s: float) -> Session | None:
        """The session of this cookie, if it still lasts; it counts as used."""
        self._forget(now_s)
        session = None if cookie is None else self._sessions.get(cookie)
        if session is not None:
            session.seen_s = now_s
        return session

    def end(self, cookie: str | None) -> None:
        """Sign out."""
        if cookie is not None:
            self._sessions.pop(cookie, None)

    def _forget(self, now_s: float) -> None:
        for cookie, session in list(self._sessions.items()):
            if now_s - session.seen_s >= IDLE_S or now_s - session.began_s >= LONGEST_S:
                del self._sessions[cookie]


def is_token(session: Session, given: str | None) -> bool:
    """Whether a form bears the session's own token."""
    return given is not None and hmac.compare_digest(session.token.encode(), given.encode())


class Guesses:
    """Wrong passwords, so that nobody goes on guessing."""

    def __init__(self) -> None:
        self._wrong: dict[str, deque[float]] = {}
        self._all: deque[float] = deque(maxlen=4 * GUESSES)

    def wait_s(self, address: str, now_s: float) -> float:
        """For how long this address may not try; 0: it may."""
        own = self._wrong.get(address)
        waits = [
            GUESS_S - (now_s - times[0])
            for times in (own, self._all)
            if times is not None and len(times) == times.maxlen
        ]
        return max([0.0, *waits])

    def wrong(self, address: str, now_s: float) -> None:
        """This address was wrong."""
        if address not in self._wrong and len(self._wrong) >= ADDRESSES_AT_MOST:
            del self._wrong[min(self._wrong, key=lambda name: self._wrong[name][-1])]
        self._wrong.setdefault(address, deque(maxlen=GUESSES)).append(now_s)
        self._all.append(now_s)

    def right(self, address: str) -> None:
        """This address was right: its own mistakes are forgotten."""
        self._wrong.pop(address, None)

"""A sign of life at a set pace, for somebody elsewhere who notices when it stops.

Rule 1: it beats only after good turns of the guard: an answer whose uptime has moved on. A board that
        hangs, a power cut and a guard that no longer turns all look the same from outside: silent.
Rule 2: a beat that fails is not made up for; the next one comes at its time.
"""

import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping, Sequence

from overwinter.notify.program import run

TIMEOUT_S = 20.0
ANSWER_BYTES = 4096


class Heartbeat:
    """Beats in a thread of its own, as long as `turned` goes on being called."""

    def __init__(
        self,
        beat: Callable[[], str | None],
        *,
        every_s: float,
        tell: Callable[[str | None], None],
    ) -> None:
        """`beat` says what went wrong, None if nothing did; `tell` is told of both."""
        self._beat = beat
        self._every_s = every_s
        self._tell = tell
        self._has_turned = False
        self._mark: object = None
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._work, name="heartbeat", daemon=True)

    def start(self) -> None:
        """Begin to beat."""
        self._thread.start()

    def turned(self, mark: object) -> None:
        """The guard answered; `mark` differs from the last one only if it has turned since."""
        if mark != self._mark:
            self._mark = mark
            self._has_turned = True

    def close(self) -> None:
        """Stop."""
        self._over.set()
        self._thread.join(1.0)

    def _work(self) -> None:
        # The first beat as soon as there is reason for one, so that an owner who waits for it sees it.
        pause_s = min(1.0, self._every_s)
        while not self._over.wait(pause_s):
            if not self._has_turned:
                pause_s = min(1.0, self._every_s)
                continue
            self._has_turned = False
            self._tell(self._beat())
            pause_s = self._every_s


def by_command(command: Sequence[str], environment: Mapping[str, str]) -> Callable[[], str | None]:
    """A beat that runs a command."""
    return lambda: run(command, timeout_s=TIMEOUT_S, environment=environment).error


def by_url(url: str) -> Callable[[], str | None]:
    """A beat that asks for an address; any answer below 400 is one."""

    def beat() -> str | None:
        request = urllib.request.Request(url, headers={"User-Agent": "overwinter"})
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:
                answer.read(ANSWER_BYTES)
        except urllib.error.HTTPError as error:
            return f"the heartbeat address answered {error.code}"
        except (OSError, ValueError) as error:
            return f"the heartbeat address cannot be reached: {error}"
        return None

    return beat

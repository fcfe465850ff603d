"""What the guard tells systemd: READY, STATUS, WATCHDOG, RELOADING, STOPPING (sd_notify).

The library behind it swallows every error unless told not to, spells in Latin-1 and blocks when the reader
sleeps. All three would cost a watchdog's life here: so errors are raised and handed back as text, text goes
out as UTF-8, and the socket does not block.
"""

import os
import time
from collections.abc import Callable

import sdnotify


class Service:
    """The notify socket, or nothing where no service manager listens."""

    def __init__(self, complain: Callable[[str], None]) -> None:
        """`complain` is told once of each run of datagrams that could not be sent."""
        self._complain = complain
        self._is_failing = False
        self._notifier: sdnotify.SystemdNotifier | None = None
        self._listens = bool(os.environ.get("NOTIFY_SOCKET"))
        self._status = ""
        self._fed_s = -1e9
        usec, pid = os.environ.get("WATCHDOG_USEC", ""), os.environ.get("WATCHDOG_PID")
        is_ours = usec.isdigit() and (not pid or pid == str(os.getpid()))
        self.watchdog_s: float | None = int(usec) / 1e6 if is_ours else None
        """Within this time the watchdog wants to be fed [s]; None: there is none."""

    def ready(self) -> None:
        """The first decision has been made."""
        self._send("READY=1")

    def reloading(self) -> None:
        """Both files are being read again."""
        self._send(f"RELOADING=1\nMONOTONIC_USEC={time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000}")

    def stopping(self) -> None:
        """The relay is about to be released."""
        self._send("STOPPING=1")

    def turned(self, status: str, real_now_s: float) -> None:
        """A turn was finished: say how things are if that is news, and feed the watchdog."""
        if not self._listens:
            return
        if status != self._status:
            self._status = status
            self._send(f"STATUS={status}")
        is_hungry = self.watchdog_s is not None and real_now_s - self._fed_s >= min(
            self.watchdog_s / 4.0, 5.0
        )
        # A datagram of its own: a status that cannot be sent must not take the watchdog with it.
        if is_hungry and self._send("WATCHDOG=1"):
            self._fed_s = real_now_s

    def close(self) -> None:
        """Give the socket back; what is said later opens it again."""
        if self._notifier is not None:
            self._notifier.socket.close()
            self._notifier = None

    def _send(self, text: str) -> bool:
        if not self._listens:
            return True
        try:
            if self._notifier is None:
                self._notifier = sdnotify.SystemdNotifier(debug=True)
                self._notifier.socket.setblocking(False)
            self._notifier.notify(text.encode().decode("latin-1"))
        except Exception as error:  # noqa: BLE001 (around telling: what cannot be told is heard, and heating goes on)
            self.close()  # it never connects again by itself
            if not self._is_failing:
                self._is_failing = True
                self._complain(f"{text.split('=', 1)[0]}: {error}")
            return False
        self._is_failing = False
        return True

"""A thread for one sensor: it may be slow, hang or raise, and the wheel turns on.

Rule 1: one read a period, on an even grid. After a stall the grid starts afresh: nothing is caught up on.
Rule 2: a reading bears the time its read began. A hung read that answers late is posted with that time, so
that its age is true and the judge drops it.
Rule 3: silence is told by `overdue`, which the wheel asks; a thread that hangs cannot tell it itself.
"""

import contextlib
import math
import threading
from collections.abc import Callable

from overwinter.core.nouns import Reading
from overwinter.devices.kinds import Driver

PERIOD_S_MIN = 0.1
"""A shorter period would spin; no setting allows one near it."""

NOTICE_S = 1.0
"""A wait is cut into pieces of this length, so that a shorter period counts now and not in five minutes."""

STALL_SHARE = 0.1
"""A read that begins later than this share of a period starts the grid afresh, so that the next one does not
follow on its heels: a DHT sensor read each 2.5 s, the shortest allowed, still gets its 2 s of rest."""

STOP_S = 1.0
"""`stop` blocks no longer; the thread of a read that hangs for good is left to the end of the process."""


class Reader:
    """Reads one driver once per period and posts what it got."""

    def __init__(
        self,
        driver: Driver,
        *,
        sensor: str,
        clock: Callable[[], float],
        post: Callable[[Reading], None],
        period_s: Callable[[], float],
        deadline_s: float = 5.0,
        wait: Callable[[threading.Event, float], bool] = lambda event, s: event.wait(s),
    ) -> None:
        """`wait(event, s)` is given seconds of `clock`; a clock that runs faster than life divides them."""
        self.sensor = sensor
        self._driver = driver
        self._clock = clock
        self._post = post
        self._period_s = period_s
        self._deadline_s = deadline_s
        self._wait = wait
        self._stopped = threading.Event()
        self._thread: threading.Thread | None = None
        self._began_s: float | None = None  # of the read that is running
        self._stuck_s: float | None = None  # of the read that was unstuck: once per hang
        self._told_s = -math.inf

    def start(self) -> None:
        """Read from now on; the first read begins at once. Started already, nothing happens."""
        self._stopped.clear()
        if self._is_alive():
            return
        self._thread = threading.Thread(target=self._run, name=f"sensor {self.sensor}", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Read no more, and close the driver; blocks one second at most."""
        self._stopped.set()
        if self._thread is None:
            return
        self._thread.join(STOP_S / 2)
        if self._thread.is_alive():
            self._unstick()
            self._thread.join(STOP_S / 2)

    def overdue(self, now_s: float) -> Reading | None:
        """What the thread cannot say itself: that it hangs, or has ended. At most once per period.

        The first time for each hang the driver is asked to wake its read; an ended thread is started again.
        """
        if self._thread is None or self._stopped.is_set():
            return None
        words = self._silence(now_s)
        if words is None or now_s - self._told_s < self._period():
            return None
        self._told_s = now_s
        self.start()
        return Reading(sensor=self.sensor, taken_s=now_s, temperature_c=None, error=words)

    def _silence(self, now_s: float) -> str | None:
        if not self._is_alive():
            return "the reading thread had ended and is started again"
        began_s = self._began_s  # once: the thread may end its read between two looks
        if began_s is None or now_s - began_s < self._deadline_s:
            return None
        if self._stuck_s != began_s:
            self._stuck_s = began_s
            self._unstick()
        return f"no answer for {now_s - began_s:.0f} s: the read hangs"

    def _is_alive(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def _unstick(self) -> None:
        with contextlib.suppress(Exception):  # around a device; a read that stays asleep is told as such
            self._driver.unstick()

    def _run(self) -> None:
        try:
            self._read_on_the_grid()
        finally:
            self._began_s = None
            self._driver.close()  # by the thread that owns the device

    def _read_on_the_grid(self) -> None:
        due_s = self._clock()
        while not self._stopped.is_set():
            self._read_once()
            done_s = self._clock()
            while (next_s := _grid_s(due_s, done_s, self._period())) > (now_s := self._clock()):
                if self._wait(self._stopped, min(next_s - now_s, NOTICE_S)):
                    return
            stalled = now_s - next_s >= self._period() * STALL_SHARE
            due_s = now_s if stalled else next_s

    def _read_once(self) -> None:
        began_s = self._began_s = self._clock()
        try:
            reading = self._driver.read(began_s)
        except Exception as error:  # noqa: BLE001 (around a device: it costs this reading, not the thread)
            words = f"{self.sensor}: {type(error).__name__}: {error}"
            reading = Reading(sensor=self.sensor, taken_s=began_s, temperature_c=None, error=words)
        self._began_s = None
        if not self._stopped.is_set():
            self._post(reading)

    def _period(self) -> float:
        return max(self._period_s(), PERIOD_S_MIN)


def _grid_s(due_s: float, done_s: float, period_s: float) -> float:
    """The first instant of the grid through `due_s` that is later than it and not before `done_s`."""
    return due_s + period_s * max(1, math.ceil((done_s - due_s) / period_s))

"""Forecasts for whoever asks: what is known is copied between two turns then, not every minute for nobody.

Asked from the socket's thread, answered from the wheel's, reckoned in a thread that may take its time.
"""

import math
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeAlias

from overwinter.core.nouns import NotStored, Settings, Site
from overwinter.know.nouns import Span

Answer: TypeAlias = Future[dict[str, object]]

STOPPING = "the guard is stopping"

WAKE_EVERY_S = 1.0
"""Whoever asks more often waits for a turn that comes by itself: many who ask must not drive the wheel."""


class Forecasts:
    """Those that are asked for and not answered yet."""

    def __init__(self, reckoners: ThreadPoolExecutor, *, wake: Callable[[], None]) -> None:
        """`wake` makes the wheel turn now."""
        self._reckoners = reckoners
        self._wake = wake
        self._lock = threading.Lock()  # of what follows
        self._asked: list[tuple[float | None, Answer]] = []
        self._is_closed = False
        self._woken_s = -math.inf  # real time

    def ask(self, outdoor_c: float | None) -> Answer:
        """For this outdoor temperature [°C], or for the present one."""
        answer: Answer = Future()
        now_s = time.monotonic()
        with self._lock:
            is_closed = self._is_closed
            wakes = not is_closed and now_s - self._woken_s >= WAKE_EVERY_S
            if not is_closed:
                self._asked.append((outdoor_c, answer))
            if wakes:
                self._woken_s = now_s
        if is_closed:
            answer.set_exception(NotStored(STOPPING))
        if wakes:
            self._wake()
        return answer

    @property
    def are_asked(self) -> bool:
        """Whether somebody waits for `know`."""
        return bool(self._asked)

    def know(self, site: Site, settings: Settings, learned: Mapping[str, object], last: Span | None) -> None:
        """Answer with what is known now, as of the last span; nothing of it is changed any more."""
        with self._lock:
            asked, self._asked = self._asked, []
        for outdoor_c, answer in asked:
            job = self._reckoners.submit(_forecast, site, settings, learned, last, outdoor_c)
            job.add_done_callback(_passed_on_to(answer))

    def close(self) -> None:
        """Answer nobody any more."""
        with self._lock:
            self._is_closed = True
            asked, self._asked = self._asked, []
        for _, answer in asked:
            answer.set_exception(NotStored(STOPPING))


def _forecast(
    site: Site,
    settings: Settings,
    learned: Mapping[str, object],
    last: Span | None,
    outdoor_c: float | None,
) -> dict[str, object]:
    from overwinter.know.answer import forecast_facts  # only for who asks
    from overwinter.know.knowledge import Knowledge

    return forecast_facts(Knowledge(site, learned, last=last).forecast(settings, outdoor_c))


def _passed_on_to(answer: Answer) -> Callable[[Answer], None]:
    def pass_on(job: Answer) -> None:
        error = NotStored(STOPPING) if job.cancelled() else job.exception()
        if error is None:
            answer.set_result(job.result())
        else:
            answer.set_exception(error)

    return pass_on

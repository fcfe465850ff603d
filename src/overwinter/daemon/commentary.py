"""The running commentary on stderr: for people on a terminal, with priorities under systemd.

Not the logbook: the journal of many boards is lost with the power. Nothing here may hold up or end the guard,
and a fault that lasts a day costs ten lines, not ten thousand (`Repeats`).
"""

import os
import sys
from collections.abc import MutableMapping
from dataclasses import dataclass
from typing import Any, TextIO

import structlog

_PRIORITY = {"debug": 7, "info": 6, "warning": 4, "error": 3, "critical": 2}  # sd-daemon(3)


class _Quietly:
    """A stream that never raises: a closed or full pipe must not end the guard."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        try:
            return self._stream.write(text)
        except (OSError, ValueError):
            return 0

    def flush(self) -> None:
        try:
            self._stream.flush()
        except (OSError, ValueError):
            return


def _with_priority(_logger: Any, method: str, event: MutableMapping[str, Any]) -> str:
    fields = " ".join(f"{key}={value!r}" for key, value in event.items() if key not in ("event", "level"))
    return f"<{_PRIORITY.get(method, 6)}>{event['event']}" + (f": {fields}" if fields else "")


def configure(stream: TextIO | None = None) -> None:
    """Choose the form by where it goes, stderr if not told otherwise; called once, by the daemon only."""
    stream = stream or sys.stderr
    processors: list[Any]
    if stream is sys.stderr and os.environ.get("JOURNAL_STREAM"):
        processors = [structlog.processors.format_exc_info, _with_priority]
    else:
        colors = stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
        processors = [
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="%H:%M:%S", utc=False),
            structlog.dev.ConsoleRenderer(
                colors=colors, exception_formatter=structlog.dev.plain_traceback, pad_event_to=0
            ),
        ]
    structlog.configure(
        processors=processors,
        wrapper_class=structlog.make_filtering_bound_logger(20),  # info
        logger_factory=structlog.PrintLoggerFactory(_Quietly(stream)),  # type: ignore[arg-type]
        cache_logger_on_first_use=True,
    )


def get() -> Any:
    """The logger; events with values, never prose."""
    return structlog.get_logger()


class Repeats:
    """Which repetitions of a fault are worth a line: the first, then at ever longer distances.

    After one minute, ten, an hour, then every four hours: a fault of a day costs at most ten lines, also one
    that comes and goes all day. After an hour without it, it is new again.
    """

    DISTANCES_S = (60.0, 600.0, 3600.0, 14400.0)
    FORGOTTEN_S = 3600.0

    def __init__(self) -> None:
        self._said: dict[str, _Said] = {}  # by subject; subjects are sensors and files, so few

    def count(self, subject: str, now_s: float) -> int:
        """How often it has happened since a line was last due, this time included, or 0: say nothing."""
        said = self._said.get(subject)
        if said is None or now_s - said.last_s > self.FORGOTTEN_S:
            self._said[subject] = _Said(last_s=now_s, next_s=now_s + self.DISTANCES_S[0])
            return 1
        said.last_s = now_s
        said.count += 1
        if now_s < said.next_s:
            return 0
        said.step = min(said.step + 1, len(self.DISTANCES_S) - 1)
        said.next_s = now_s + self.DISTANCES_S[said.step]
        count, said.count = said.count, 0
        return count


@dataclass(slots=True)
class _Said:
    last_s: float
    next_s: float
    step: int = 0
    count: int = 0

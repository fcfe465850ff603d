"""The only clocks of the guard: time since boot to decide by, wall time to label records with."""

import os
import time
from datetime import UTC, datetime
from pathlib import Path

from overwinter.core.nouns import Problem, Refused

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_SYNCHRONISED = Path("/run/systemd/timesync/synchronized")  # touched by the time service at each true sync


class Clock:
    """The machine's clocks; `speed` makes both run faster than life, for the demo."""

    def __init__(self, *, speed: float = 1.0) -> None:
        self.speed = speed
        self._zero_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        self._zero_utc_s = time.time()
        try:
            self.boot_id = _BOOT_ID.read_text().strip()
        except OSError:
            # Without one, records of this run still group together, under an id of the same shape.
            digits = os.urandom(16).hex()
            self.boot_id = "-".join(digits[a:b] for a, b in ((0, 8), (8, 12), (12, 16), (16, 20), (20, 32)))

    def now_s(self) -> float:
        """Seconds since boot, suspend included; no step of the wall clock changes it."""
        now_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        return now_s if self.speed == 1.0 else self._zero_s + (now_s - self._zero_s) * self.speed

    def utc_s(self) -> float:
        """Wall time as seconds of the epoch: a label, never a reason."""
        now_s = time.time()
        return now_s if self.speed == 1.0 else self._zero_utc_s + (now_s - self._zero_utc_s) * self.speed

    def real_s(self, duration_s: float) -> float:
        """How long to wait in life for so many seconds of this clock."""
        return duration_s / self.speed

    @staticmethod
    def is_synchronised() -> bool:
        """Whether the time service has set the wall clock since boot."""
        return _SYNCHRONISED.exists()


def rfc3339(utc_s: float) -> str:
    """Seconds of the epoch as RFC 3339 in UTC with milliseconds, as the logbook spells it."""
    return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="milliseconds")[:-6] + "Z"


def rfc3339_s(utc_s: float) -> str:
    """The same without milliseconds, for people and for `status`."""
    return rfc3339(utc_s)[:19] + "Z"


def moment(name: str, text: str | None) -> datetime | None:
    """A client's RFC 3339 time; Refused names the param where it is none."""
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        allowed = "RFC 3339 with a zone, such as 2026-01-09T04:12:33Z"
        raise Refused([Problem(name, text, allowed, f"{name} = {text!r}: {allowed}")])
    return moment

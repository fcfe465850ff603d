"""Whether a reading can be believed, and what a sensor says once the doubtful is set aside.

Rule 1: every reading gets one QARTOD flag, and nothing that a sensor said is silently dropped.
Rule 2: doubt is lopsided. `cold_c` listens to suspects, so a doubtful cold may turn heat on; `warm_c` does
        not, so a doubtful warm never turns heat off.
Rule 3: time comes with the reading. Nothing here waits, retries or knows the date.

The tests are those of QARTOD (gap, gross range, rate of change, flat line) in causal form, stricter than the
public reference implementation where that one is blind: a step in no time is a fault, not a pass; a rate is
not averaged over a gap; the first reading after a gap is "not evaluated", not "good"; and the rate is taken
against the last reading that passed, so that one spike does not condemn the honest reading behind it.
"""

import math
from collections import deque
from collections.abc import Collection
from operator import itemgetter

from overwinter.core.nouns import Flag, Reading, SensorSpec, Settings

GAP_WINDOWS = 3
"""Where reads fail, a window may be this many times as long as it is where none does."""

RATE_READINGS = 3
"""A rate is taken over at most so many periods of sensing; what really moved on lasts, and is believed."""

SOON_S, SOON_READINGS = 120.0, 3
"""Of readings that are far apart the last few may say "cold" by themselves: half a window would be minutes,
in which a leaky shed falls by a kelvin. "Warm" waits for the whole window."""

_SAID_C = itemgetter(1)
_PASS = Flag.PASS  # met in every reading, where going through the class takes longer
_TOLERANCE_K = 1e-9  # so that a step of exactly the limit passes whatever binary fractions make of it

RANGE_C = {
    "dht22": (-40.0, 80.0),  # data sheet range (AM2302)
    "dht11": (0.0, 50.0),  # data sheet range
    "w1": (-55.0, 84.9),  # data sheet starts at -55; 85 is the power-up value
    "iio": (-55.0, 84.9),
    "simulated": (-55.0, 84.9),
}
"""Gross range by kind of sensor [°C]; a reading outside is a fault of the sensor or of its wire."""


def patience(settings: Settings) -> int:
    """How many suspect readings in a row it takes until they are heard: as cold, or as too hot.

    One less than a window. Damaged frames that pass a checksum come in bursts of two or three, and three of
    them are the median of five. What is real lasts: it is heard a few readings later, and one more makes it
    believed.
    """
    return max(settings.window - 1, 1)


def sentinel(kind: str, temperature_c: float, humidity_pct: float | None) -> str | None:
    """The name of the error value that this raw reading is, or None for an honest number."""
    if temperature_c == 85.0:
        return "85 °C exactly is the sensor chip's power-up value, not a temperature"
    if temperature_c == -127.0:
        return "-127 °C is a failed transfer on the sensor's bus, not a temperature"
    if abs(temperature_c) > 3270.0:
        return f"{temperature_c:g} °C is a small negative number whose sign was lost on the way"
    if humidity_pct is None:
        return None
    if temperature_c == 0.0 and humidity_pct == 0.0:
        return "0.0 °C with 0.0 % humidity is an all-zero frame, which passes the sensor's checksum"
    if kind in ("dht22", "dht11") and humidity_pct < 1.0:
        return f"{humidity_pct:g} % humidity does not occur in a pump house: a damaged frame"
    return None


def lost_after_s(settings: Settings) -> float:
    """For how long nothing believable must have come for a sensor to be lost [s].

    Never less than two readings apart: a slow pace is not a lost sensor.
    """
    return max(settings.lost_after_s, 2.0 * settings.sense_s)


class Track:
    """What is remembered of one sensor. `hear` takes the next reading; the rest is for asking."""

    __slots__ = (
        "_cold",
        "_doubts",
        "_failed_s",
        "_flat_s",
        "_fresh_until_s",
        "_is_split",
        "_last_raw",
        "_median_of_cold",
        "_median_of_warm",
        "_passed_c",
        "_passed_s",
        "_pending",
        "_same_since_s",
        "_settings",
        "_unheard",
        "_warm",
        "believed_c",
        "believed_s",
        "error",
        "flag",
        "flat_since_s",
        "heard_s",
        "humidity_pct",
        "seen_c",
        "seen_s",
        "spec",
        "temperature_c",
    )

    def __init__(self, spec: SensorSpec) -> None:
        self.spec = spec
        self.flag = Flag.MISSING
        self.error: str | None = "no reading yet"
        self.temperature_c: float | None = None
        """The last reading, calibration added, whatever its flag; None if it was missing."""
        self.heard_s: float | None = None
        """When the last reading was taken, whatever its flag, a failed one too."""
        self.humidity_pct: float | None = None
        self.believed_s: float | None = None
        self.believed_c: float | None = None
        self.seen_s: float | None = None
        """When the last reading that was no failure (flag 1, 2 or 3) was taken, and what it said."""
        self.seen_c: float | None = None
        self.flat_since_s: float | None = None
        """Since when the raw values have not moved, once that is long enough to be a failure."""
        self._flat_s = 0.0  # when they were last found so
        self._cold: deque[tuple[float, float]] = deque()  # (taken_s, °C) flagged 1, 2 or 3
        self._warm: deque[tuple[float, float]] = deque()  # (taken_s, °C) flagged 1 or 2
        self._fresh_until_s = -math.inf  # until then nothing in both windows is too old
        self._settings: Settings | None = None  # by these
        self._is_split = False  # a suspect may be among the cold: else both are the same readings
        self._median_of_cold: float | None = None
        self._median_of_warm: float | None = None
        self._pending: list[tuple[float, float]] = []  # suspects that agree with one another
        self._doubts = 0  # how many suspects came since a reading passed
        self._unheard: list[tuple[float, float]] = []  # those of them that are not among the cold yet
        self._passed_s = self._passed_c = 0.0  # of no meaning before the first reading is seen
        self._failed_s: float | None = None
        self._last_raw: tuple[float, float | None] | None = None
        self._same_since_s = 0.0

    def hear(self, reading: Reading, settings: Settings) -> Flag:
        """Flag the next reading and remember what it says.

        Parameters
        ----------
        reading : Reading
            Of this sensor. `taken_s` must not run backwards; one that does is flagged 4.
        settings : Settings
            Uses window, sense_s, max_rate_k_min and flat_after_s.
        """
        raw_c, now_s = reading.temperature_c, reading.taken_s
        self.heard_s = now_s
        if raw_c is None or not math.isfinite(raw_c):
            self._fail(Flag.MISSING, now_s, reading.error or "not a number")
            self.temperature_c = self.humidity_pct = None
            return self.flag
        humidity_pct = reading.humidity_pct
        if humidity_pct is not None and not 0.0 <= humidity_pct <= 100.0:  # NaN as well
            humidity_pct = None
        self.humidity_pct = humidity_pct
        self.temperature_c = raw_c + self.spec.offset_c
        kind = self.spec.kind
        why = sentinel(kind, raw_c, humidity_pct)
        if why is None:
            low_c, high_c = RANGE_C[kind]
            if not low_c <= raw_c <= high_c:
                why = f"{raw_c:g} °C is outside what this kind of sensor can read, {low_c:g} to {high_c:g} °C"
        if why is None and self.seen_s is not None and now_s <= self.seen_s:
            why = "taken at the same time as the reading before, or earlier: a time fault"
        if why is None:
            # Last, so that a value which is no value, or of no time, does not count as a movement.
            why = self._flat(raw_c, humidity_pct, now_s, settings.flat_after_s)
        if why is not None:
            self._fail(Flag.FAIL, now_s, why)
            return self.flag
        self.error = None
        self._take(self.temperature_c, now_s, settings)
        self.seen_s, self.seen_c = now_s, self.temperature_c
        return self.flag

    def grow_old(self, now_s: float, lost_s: float) -> None:
        """Judge silence by its age: what was said `lost_s` ago or earlier must not look fresh."""
        if self.heard_s is not None and now_s - self.heard_s >= lost_s and self.flag is not Flag.MISSING:
            # Nobody even said that a read failed: the sensor's own thread may hang.
            self.flag = Flag.MISSING
            self.error = f"nothing came for {now_s - self.heard_s:.0f} s, not even an error"
            self.temperature_c = self.humidity_pct = None
        if self.flat_since_s is not None and now_s - self._flat_s >= lost_s:
            self.flat_since_s = None  # it fails in some other way by now

    def cold_c(self, now_s: float, settings: Settings) -> float | None:
        """What may turn heat on: the median of readings flagged 1, 2 or 3, or of the last few of them where
        those are colder and readings far apart. None: there is none young enough.

        Never above the median of the believable ones: a doubtful warm must not keep heat off either.
        """
        if now_s > self._fresh_until_s or settings is not self._settings:
            self._forget(now_s, settings)
        cold_c, believed_c = self._median_of_cold, self._median_of_warm
        return believed_c if cold_c is not None and believed_c is not None and believed_c < cold_c else cold_c

    def warm_c(self, now_s: float, settings: Settings) -> float | None:
        """What may turn heat off: the median of readings flagged 1 or 2. None: there are too few."""
        if now_s > self._fresh_until_s or settings is not self._settings:
            self._forget(now_s, settings)
        # With half a window one freak reading could be the median.
        return self._median_of_warm if len(self._warm) >= (settings.window + 1) // 2 else None

    def is_lost(self, now_s: float, lost_after_s: float) -> bool:
        """Whether nothing believable came for so long (or ever)."""
        return self.believed_s is None or now_s - self.believed_s >= lost_after_s

    def _fail(self, flag: Flag, now_s: float, why: str) -> None:
        self.flag = flag
        self.error = why
        self._failed_s = now_s

    def _flat(
        self, raw_c: float, humidity_pct: float | None, now_s: float, flat_after_s: float
    ) -> str | None:
        raw = (raw_c, humidity_pct)
        if raw != self._last_raw:
            self._last_raw = raw
            self._same_since_s = now_s
            self.flat_since_s = None
            return None
        if now_s - self._same_since_s < flat_after_s:
            return None
        self.flat_since_s = self._same_since_s
        self._flat_s = now_s
        return (
            f"exactly the same values for {(now_s - self._same_since_s) / 60.0:.0f} minutes: a stuck sensor"
        )

    def _take(self, temperature_c: float, now_s: float, settings: Settings) -> None:
        """Rate of change, and what follows from it."""
        longest_s = GAP_WINDOWS * settings.window * settings.sense_s
        max_rate_k_s = settings.max_rate_k_min / 60.0
        if self.seen_s is None or now_s - self.seen_s > longest_s:
            # Nothing to compare with: the first, or the first after a gap. A rate over a gap says nothing.
            self._cold.clear()
            self._warm.clear()
            self._believe(Flag.NOT_EVALUATED, temperature_c, now_s, settings)
            return
        # The time is bounded: otherwise a few failed reads would let a damaged frame of some kelvin in, and
        # noise that never passes would be let in once enough time had gone by.
        elapsed_s = min(now_s - self._passed_s, RATE_READINGS * settings.sense_s)
        if abs(temperature_c - self._passed_c) <= max_rate_k_s * elapsed_s + _TOLERANCE_K:
            self._believe(_PASS, temperature_c, now_s, settings)
            return
        self.flag = Flag.SUSPECT
        pending = self._pending
        if pending:
            last_s, last_c = pending[-1]
            if abs(temperature_c - last_c) > max_rate_k_s * (now_s - last_s) + _TOLERANCE_K:
                pending.clear()
        pending.append((now_s, temperature_c))
        if len(pending) < settings.window:
            self._doubt(temperature_c, now_s, settings)
            return
        # It lasted a whole window in agreement: a door was opened, not a wire hit.
        for window in (self._cold, self._warm):
            window.clear()
            window.extend(pending[:-1])
        self._believe(Flag.PASS, temperature_c, now_s, settings)

    def _doubt(self, temperature_c: float, now_s: float, settings: Settings) -> None:
        """A suspect among the cold: heard once there are too many in a row for a burst of damaged frames."""
        self._doubts += 1
        self._unheard.append((now_s, temperature_c))
        if self._doubts >= patience(settings):
            self._cold.extend(self._unheard)
            self._unheard.clear()
            self._is_split = True
        self._refresh(settings)

    def _believe(self, flag: Flag, temperature_c: float, now_s: float, settings: Settings) -> None:
        self.flag = flag
        self._passed_s = self.believed_s = now_s
        self._passed_c = self.believed_c = temperature_c
        if self._pending:
            self._pending.clear()
            self._unheard.clear()
            self._doubts = 0
        said = (now_s, temperature_c)
        self._cold.append(said)
        self._warm.append(said)
        self._refresh(settings)

    def _refresh(self, settings: Settings) -> None:
        """Both windows no longer than they may be, their medians, and until when they are fresh."""
        cold, warm, at_most, sense_s = self._cold, self._warm, settings.window, settings.sense_s
        while len(cold) > at_most:
            cold.popleft()
        while len(warm) > at_most:
            warm.popleft()
        is_same = not self._is_split
        if not is_same:
            is_same = warm == cold
            self._is_split = not is_same
        cold_c = self._median_of_cold = _median_of(cold) if cold else None
        self._median_of_warm = cold_c if is_same else _median_of(warm) if warm else None
        if at_most * sense_s > SOON_S and cold_c is not None:
            soon = max(int(SOON_S / sense_s), SOON_READINGS)
            self._median_of_cold = min(cold_c, _median_of(list(cold)[-soon:]))
        # Half a period on top: a read that comes a little late must not open a hole in the window.
        lasts_s = (at_most + 0.5) * sense_s
        oldest_s = cold[0][0] if cold else math.inf
        if not is_same and warm and warm[0][0] < oldest_s:
            oldest_s = warm[0][0]
        self._fresh_until_s = oldest_s + lasts_s
        self._settings = settings

    def _forget(self, now_s: float, settings: Settings) -> None:
        """Drop what is older than a window is long, or longer ago where reads fail."""
        oldest_s = now_s - (settings.window + 0.5) * settings.sense_s
        if self._failed_s is not None and self._failed_s >= oldest_s:
            oldest_s = now_s - GAP_WINDOWS * settings.window * settings.sense_s
        for window in (self._cold, self._warm):
            while window and window[0][0] < oldest_s:
                window.popleft()
        self._refresh(settings)


def _median_of(said: Collection[tuple[float, float]]) -> float:
    """Median; of an even number the lower of the middle two, since the colder one protects pipes."""
    return sorted(said, key=_SAID_C)[(len(said) - 1) // 2][1]

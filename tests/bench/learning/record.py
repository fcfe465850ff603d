"""A winter as it was recorded, and what was true of it.

Rule 1: what is learned from sees `spans` alone; every truth comes from the house itself.
Rule 2: on disk it is small: a sensor speaks in tenths, which are whole numbers of a sixtieth.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np

from overwinter.core.nouns import Flag
from overwinter.know.nouns import Seen, Span
from tests.bench.learning.faults import Kind
from tests.bench.learning.plants import Plant, plant

MINUTE_S = 60.0

COOLING_H_MAX = 240.0
"""A house that has not cooled after ten days never does, for our purposes."""

BEGAN = datetime(2025, 11, 15, tzinfo=UTC)
UP_S = 100.0
"""The machine's age when the first minute begins."""

AIR, OUTDOOR, PUMP = "air", "outdoor", "pump"


@dataclass(frozen=True, slots=True)
class Happened:
    """A fault that set in, and healed (or the trace ended)."""

    kind: Kind
    from_s: float
    until_s: float

    def __iter__(self) -> Iterator[Kind | float]:
        return iter((self.kind, self.from_s, self.until_s))


@dataclass(frozen=True, slots=True)
class Day:
    """The truth of one day from midnight to midnight."""

    first: int  # index of its first span
    outdoor_c: float
    duty: float


@dataclass
class Trace:
    """A winter as it was recorded, with what was true of it."""

    house: str
    winter: str
    seed: int
    model: str
    low_c: float
    high_c: float
    heater_w: float
    wind_mean_m_s: float
    faults: list[Happened]
    moments: list[int]
    days: list[Day]
    air_c: np.ndarray
    outdoor_true_c: np.ndarray
    ice_share: np.ndarray
    columns: dict[str, np.ndarray]
    has_outdoor: bool
    has_pump_contact: bool
    _kept: list[tuple[float, ...]]
    _winds: list[float]
    _make: dict[str, float]
    _spans: list[Span] | None = field(default=None, repr=False)
    _coolings: dict[int, tuple[list[float], float]] = field(default_factory=dict, repr=False)

    def __getstate__(self) -> dict[str, object]:
        """What goes to disk: a sensor's tenths as whole numbers, since a winter has 170,000 minutes."""
        packed = {name: _packed(values) for name, values in self.columns.items()}
        truths = {name: getattr(self, name).astype(np.float32) for name in _TRUTHS}
        return {**self.__dict__, **truths, "columns": packed, "_spans": None, "_coolings": {}}

    def __setstate__(self, state: dict[str, object]) -> None:
        self.__dict__ |= state
        self.columns = {name: _unpacked(values) for name, values in self.columns.items()}

    @property
    def spans(self) -> list[Span]:
        """All of it, one a minute; `ends_s` of span i is `UP_S + 60·(i + 1)`."""
        if self._spans is None:
            self._spans = list(_spans(self))
        return self._spans

    def ends_s(self, at: int) -> float:
        """On the axis of `faults` and of the spans."""
        return UP_S + MINUTE_S * (at + 1)

    def limit_c(self, low_c: float) -> float:
        """Outdoors at which this heater, always on, just holds `low_c`: mean wind of the winter, no sun."""
        return self._plant().limit_c(low_c, wind_m_s=self.wind_mean_m_s)

    def hours_to(self, to_c: float, at: int) -> float:
        """Hours until the true air is at `to_c` if heat fails at the end of span `at`, one of `moments`.

        Outdoors and the wind stay as they are then; there is no sun. Infinite where it takes over ten days.
        """
        air_c, _ = self._cooling(at)
        return next((minute / 60.0 for minute, now_c in enumerate(air_c) if now_c <= to_c), math.inf)

    def hours_to_ice(self, at: int) -> float:
        """The same until the first ice is in the pipe."""
        return self._cooling(at)[1]

    def _cooling(self, at: int) -> tuple[list[float], float]:
        if at not in self._coolings:
            number = self.moments.index(at)
            self._coolings[at] = self._plant().cooling(
                self._kept[number],
                outdoor_c=float(self.outdoor_true_c[at]),
                wind_m_s=self._winds[number],
                to_c=-1.0,
                hours=COOLING_H_MAX,
            )
        return self._coolings[at]

    def _plant(self) -> Plant:
        return plant(
            self.model,
            self.house,
            self.seed,
            start_c=self._make["start_c"],
            heater_share=self._make["heater_share"],
        )


_TRUTHS = ("air_c", "outdoor_true_c", "ice_share")
_PARTS = 60.0  # tenths and sixths alike are whole numbers of it
_UNKNOWN = -32768


def _packed(values: np.ndarray) -> np.ndarray:
    if values.dtype != np.float64:
        return values
    whole = np.rint(values * _PARTS)
    return np.where(np.isnan(whole), _UNKNOWN, whole).astype(np.int16)


def _unpacked(values: np.ndarray) -> np.ndarray:
    if values.dtype != np.int16:
        return values
    return np.where(values == _UNKNOWN, np.nan, np.round(values / _PARTS, 4))


def _spans(trace: Trace) -> Iterator[Span]:
    columns = {name: values.tolist() for name, values in trace.columns.items()}
    size = len(columns["heat"])
    nothing = [math.nan] * size
    began_s = BEGAN.timestamp()
    rows = zip(
        columns["temperature_c"],
        columns["humidity_pct"],
        columns["raw_c"],
        columns["raw_pct"],
        columns["flag"],
        columns["heat"],
        columns["forced"],
        columns["pump"],
        columns.get("outdoor_c", nothing),
        columns.get("outdoor_raw_c", nothing),
        columns.get("outdoor_pct", nothing),
        strict=True,
    )
    for at, row in enumerate(rows):
        t, h, raw, raw_h, flag, heat, forced, runs, out, out_raw, out_h = row
        sensors = {AIR: Seen(temperature_c=_known(raw), humidity_pct=_known(raw_h), flag=flag)}
        if trace.has_outdoor:
            is_there = not math.isnan(out_raw)
            sensors[OUTDOOR] = Seen(
                temperature_c=out_raw if is_there else None,
                humidity_pct=out_h if is_there else None,
                flag=int(Flag.PASS) if is_there else int(Flag.MISSING),
            )
        yield Span(
            ends_s=UP_S + MINUTE_S * (at + 1),
            lasts_s=MINUTE_S,
            utc_s=began_s + MINUTE_S * (at + 1),
            temperature_c=_known(t),
            humidity_pct=_known(h),
            outdoor_c=_known(out),
            flag=flag,
            heat=heat,
            low_c=trace.low_c,
            high_c=trace.high_c,
            is_forced=forced,
            sensors=sensors,
            contacts={PUMP: runs} if trace.has_pump_contact else {},
        )


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value

"""A cheap sensor in the simulated house: late, off, noisy, coarse, and at times absent or absurd.

Rule 1: it says what a real one would say, and never how warm it truly is.
Rule 2: it never raises; a failed read is a reading without temperature and with its reason.
Rule 3: every whim is drawn from the seed and the sensor's own name, so two sensors do not err together.
"""

import math
import random
from dataclasses import dataclass
from enum import StrEnum
from operator import attrgetter

from overwinter.core.nouns import Problem, Reading, Refused
from overwinter.twin.house import House

BURST_SHARE = 0.3
"""So many of the outbursts are of two or three readings that agree with one another."""

BURST_MEAN = 1.0 - BURST_SHARE + BURST_SHARE * 2.5
"""Readings of an outburst, on average."""

FLIPS_K = (3.2, 6.4, 12.8, 25.6, 51.2)
"""What a flipped bit makes of a reading counted in tenths of a kelvin [K]; smaller flips are noise."""


class Fault(StrEnum):
    """What a sensor can be forced into."""

    NONE = "none"
    LOST = "lost"
    """No read succeeds."""
    STUCK = "stuck"
    """The same raw values for ever."""
    SENTINEL = "sentinel"
    """The error value of its kind, as if it were a temperature."""


_NONE, _LOST = Fault.NONE, Fault.LOST  # asked in every reading, where going through the class takes longer
_TURN = 2.0 * math.pi


class Place(StrEnum):
    """What it is fastened to."""

    AIR = "air"
    PIPE = "pipe"
    OUTDOOR = "outdoor"


@dataclass(frozen=True, slots=True)
class Kind:
    """How good a kind of sensor is. The figures are those of common parts, lag and noise are guesses."""

    counts_k: float
    """It tells so many steps in a kelvin."""
    noise_k: float  # standard deviation
    lag_s: float
    humidity_noise_pct: float | None  # None: it has no humidity
    sentinel: tuple[float, float | None]  # what it says when it has nothing to say


KINDS: dict[str, Kind] = {
    # 0.1 °C and 0.1 %, repeatable to 0.2 °C and 1 % (data sheet of the AM2302); all zeros pass its checksum.
    "dht-like": Kind(10.0, 0.1, 60.0, 0.5, (0.0, 0.0)),
    # A one-wire chip of 12 bits: sixteenths, and 85 °C after power-up.
    "wire-like": Kind(16.0, 0.03, 30.0, None, (85.0, None)),
}


class SimulatedSensor:
    """Reads one place of a house."""

    __slots__ = (
        "_around_c",
        "_burst_left",
        "_burst_starts",
        "_chance",
        "_failed_share",
        "_feels_c",
        "_flip_k",
        "_house",
        "_is_outdoors",
        "_kept",
        "_kept_s",
        "_kind",
        "_last",
        "_random",
        "_read_s",
        "bias_k",
        "fault",
        "name",
    )

    def __init__(
        self,
        name: str,
        house: House,
        seed: int,
        kind: str = "dht-like",
        *,
        place: Place = Place.AIR,
        bias_k: float = 0.0,
        failed_share: float = 0.0,
        spike_share: float = 0.0,
    ) -> None:
        """A sensor on its place.

        Parameters
        ----------
        name : str
            As in the site file; it takes part in the seed.
        house : House
            The house it hangs in. It must be advanced to the time of each read.
        seed : int
            Draws noise, failures and spikes.
        kind : str
            A row of `KINDS`.
        place : Place
            The air, the pipe or outdoors.
        bias_k : float
            Added to every reading, -10 to 10 K. It may be changed later: a drift.
        failed_share : float
            Share of the reads that fail, 0 to 1.
        spike_share : float
            Share of the other readings that are wrong and yet pass the checksum, 0 to 0.9.

        Raises
        ------
        Refused
            An unknown kind and every number out of range.
        """
        _refuse(kind, bias_k, failed_share, spike_share)
        self.name = name
        self.bias_k = bias_k
        self.fault = Fault.NONE
        self._house = house
        self._kind = KINDS[kind]
        self._is_outdoors = place is Place.OUTDOOR
        self._around_c = attrgetter(f"{place}_c")
        self._chance = random.Random(f"{seed} {name}")
        self._random = self._chance.random
        self._failed_share = failed_share
        self.spike(spike_share)
        self._burst_left, self._flip_k = 0, 0.0
        self._read_s: float | None = None
        self._feels_c = 0.0
        self._kept_s, self._kept = 0.0, 1.0
        self._last: tuple[float, float | None] | None = None

    @property
    def is_cheap(self) -> bool:
        """Whether it is of the kind that fails and lies in the best of health."""
        return self._kind.humidity_noise_pct is not None

    def spike(self, share: float) -> None:
        """From now on let this share of the readings that come be wrong, 0 to 0.9."""
        _refuse(next(iter(KINDS)), 0.0, 0.0, share)
        # A spike or burst begins after so many honest readings that spikes are `share` of all.
        self._burst_starts = share / (BURST_MEAN * (1.0 - share) + share)

    def read(self, now_s: float) -> Reading:
        """One attempt at `now_s`, which never runs backwards.

        Its own temperature follows its surroundings, late, whether or not reads succeed.
        """
        feels_c, read_s = self._around_c(self._house), self._read_s
        if read_s is not None:
            since_s = now_s - read_s
            if since_s != self._kept_s:
                self._kept_s, self._kept = since_s, math.exp(-max(since_s, 0.0) / self._kind.lag_s)
            feels_c += self._kept * (self._feels_c - feels_c)
        self._feels_c, self._read_s = feels_c, now_s
        fault = self.fault
        if fault is _LOST or (self._failed_share and self._random() < self._failed_share):
            return Reading(sensor=self.name, taken_s=now_s, temperature_c=None, error="no answer")
        said = None
        if fault is not _NONE:
            said = self._kind.sentinel if fault is Fault.SENTINEL else self._last
        if said is None:
            said = self._last = self._say()
        temperature_c, humidity_pct = said
        return Reading(
            sensor=self.name, taken_s=now_s, temperature_c=temperature_c, humidity_pct=humidity_pct
        )

    def power_up(self) -> None:
        """The power was away: it begins at the temperature around it, and its time may begin anew."""
        self._read_s = None

    def unstick(self) -> None:
        """Nothing: it never hangs."""

    def close(self) -> None:
        """Nothing: it holds nothing."""

    def _say(self) -> tuple[float, float | None]:
        kind, house = self._kind, self._house
        humidity_noise_pct = kind.humidity_noise_pct
        if humidity_noise_pct is None:
            noise = self._chance.gauss(0.0, 1.0)
        else:
            # The pair that `gauss` would draw in two calls: they took a quarter of a reading's time.
            angle, length = self._random() * _TURN, math.sqrt(-2.0 * math.log(1.0 - self._random()))
            noise = math.cos(angle) * length
        temperature_c = self._feels_c + self.bias_k + noise * kind.noise_k
        if self._burst_starts:
            temperature_c += self._spike_k()
        temperature_c = round(temperature_c * kind.counts_k) / kind.counts_k
        if humidity_noise_pct is None:
            return temperature_c, None
        true_pct = house.parameters.outdoor_humidity_pct if self._is_outdoors else house.humidity_pct
        counts = round((true_pct + math.sin(angle) * length * humidity_noise_pct) * 10.0)
        return temperature_c, (10 if counts < 10 else min(counts, 999)) / 10.0

    def _spike_k(self) -> float:
        """How far off the next reading is [K]: mostly nothing; in a burst every time the same."""
        if self._burst_left == 0:
            if self._random() >= self._burst_starts:
                return 0.0
            chance = self._chance
            self._burst_left = chance.choice((2, 3)) if chance.random() < BURST_SHARE else 1
            self._flip_k = chance.choice(FLIPS_K) * chance.choice((-1.0, 1.0))
        self._burst_left -= 1
        return self._flip_k


def _refuse(kind: str, bias_k: float, failed_share: float, spike_share: float) -> None:
    problems = []
    if kind not in KINDS:
        allowed = " or ".join(KINDS)
        problems.append(Problem("kind", kind, allowed, f"kind = {kind!r}: must be {allowed}"))
    rows = (
        ("bias_k", bias_k, -10, 10),
        ("failed_share", failed_share, 0, 1),
        ("spike_share", spike_share, 0, 0.9),
    )
    for key, value, low, high in rows:
        if not low <= value <= high:  # refuses NaN too
            allowed = f"{low:g} to {high:g}"
            problems.append(Problem(key, value, allowed, f"{key} = {value}: must be {allowed}"))
    if problems:
        raise Refused(problems)

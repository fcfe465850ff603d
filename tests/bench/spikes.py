"""What a cheap sensor's lies cost: relay actions that nothing true asked for, and delay of those due.

Rule 1: the truth is not fed back. Two guards, one with an honest sensor and one with a lying sensor, read the
same house at the same instants with the same noise; so what differs is the lies' doing.
Rule 2: the truth crosses both ends of the band well: a wider thermostat of its own heats the house. A guard
that acts a little later than the other then still meets every crossing.
Rule 3: how a sensor lies (flips of one bit, alone or in bursts that agree) is as in the twin.
"""

import random
from array import array
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import mean, quantiles

from overwinter.core.nouns import Reading, Reason, Role, SensorSpec, Settings, Site
from overwinter.core.state import State
from overwinter.core.turn import turn
from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from overwinter.twin.sensor import BURST_MEAN, BURST_SHARE, FLIPS_K
from overwinter.twin.weather import cold_night
from tests.bench.table import Row

FAILED_SHARE, SPIKE_SHARE = 0.2, 0.01
SENSE_S = 10.0
NOISE_K, HUMIDITY_NOISE_PCT = 0.1, 0.5  # as the twin's DHT-like sensor
BEYOND_K = 0.7
"""So far beyond the band's ends the truth turns round: seven times the noise."""
NEAR_READINGS = 3
"""So far apart the same action of both guards may lie to be the same."""
NEAR_K = 3 * NOISE_K
"""An action is also due while the truth is so near the end of the band: the house passes it at some 0.03 K a
minute, so that a single failed read may part the two guards by minutes, both of them right."""

MISSED_READINGS = 60

RAMP_K_MIN = 1.0
MEAN_S, P95_S = 25.0, 30.0
"""What a guard may add to the delay of one that takes every reading at its word. The median of five waits for
two more readings: 20 s, or 25 s on average where every fifth read fails."""
WINTER_DAYS = 120.0
SENSOR = "by the pump"
NEVER = 1 << 60


@dataclass(slots=True)
class Liar:
    """A sensor of the twin's manners: reads fail, bits flip, some flips last two or three readings."""

    chance: random.Random
    apart: bool  # an honest reading at least lies between two outbursts
    spikes: int = 0
    failed: int = 0
    _left: int = 0
    _flip_k: float = 0.0
    _is_over: bool = False  # the reading before ended an outburst

    def spoil(self, honest_c: float) -> float | None:
        """What it says instead of `honest_c`; None: nothing."""
        chance = self.chance
        if chance.random() < FAILED_SHARE:
            self.failed += 1
            return None
        if self._left == 0:
            # Outbursts begin so often that spikes are their share of all readings that come.
            begins = chance.random() < SPIKE_SHARE / (BURST_MEAN * (1.0 - SPIKE_SHARE) + SPIKE_SHARE)
            if self._is_over and self.apart:
                self._is_over = begins = False
            if not begins:
                return honest_c
            self._left = chance.choice((2, 3)) if chance.random() < BURST_SHARE else 1
            self._flip_k = chance.choice(FLIPS_K) * chance.choice((-1.0, 1.0))
        self._left -= 1
        self._is_over = self._left == 0
        self.spikes += 1
        return round(honest_c + self._flip_k, 1)


@dataclass(frozen=True, slots=True)
class Action:
    """The relay switched, or should have."""

    index: int  # of the reading
    heat: bool
    is_blind: bool = False  # by the rule for a lost sensor, not by what a sensor said


@dataclass(slots=True)
class Watched:
    """A guard's core on one sensor, and when it switched."""

    settings: Settings
    switched: list[Action] = field(default_factory=list)
    _state: State = field(init=False)

    def __post_init__(self) -> None:
        site = Site(sensors=(SensorSpec(name=SENSOR, role=Role.CONTROL, kind="dht22", pin=4),))
        self._state = State(site, self.settings, 0.0)

    def reads(self, index: int, temperature_c: float | None, humidity_pct: float) -> None:
        """One turn with one reading."""
        now_s = SENSE_S * (index + 1)
        failed = temperature_c is None
        reading = Reading(
            sensor=SENSOR,
            taken_s=now_s,
            temperature_c=temperature_c,
            humidity_pct=None if failed else humidity_pct,
            error="no answer" if failed else None,
        )
        before = self._state.decision.heat
        decision = turn(self._state, (reading,), now_s).decision
        if decision.heat != before:
            is_blind = decision.reason is Reason.SENSOR_LOST
            self.switched.append(Action(index, decision.heat, is_blind))


@dataclass(frozen=True, slots=True)
class Winter:
    """What the lies of a winter came to."""

    turns: int
    spikes: int
    failed: int
    actions: int  # of the guard with the honest sensor
    false_on: int
    false_off: int
    false_blind: int  # of these, by the rule for a lost sensor
    missed: int  # crossings at which the guard that is lied to did nothing for ten minutes


@dataclass(frozen=True, slots=True)
class Delay:
    """From the first true reading that is across to the action, over all crossings of one kind."""

    mean_s: float
    p95_s: float


@dataclass(frozen=True, slots=True)
class Delays:
    """Of both guards, by heat going on (True) or off."""

    crossings: int
    honest: dict[bool, Delay]
    lied_to: dict[bool, Delay]


def rows(_folder: Path) -> list[Row]:
    """Two winters, and crossings at one kelvin a minute."""
    rows = []
    for apart, how in ((True, "bursts of 2-3 apart"), (False, "bursts may touch")):
        lied = winter(apart=apart)
        rows.append(
            Row(
                what=f"false relay actions, {WINTER_DAYS:g} days, {how}",
                value=f"{lied.false_on} on ({lied.false_blind} blind), {lied.false_off} off",
                floor=f"{lied.actions} true, {lied.missed} missed; {lied.spikes} spikes",
                judged=lied.false_on + lied.false_off,
                goal=0.0,
            )
        )
    found = delays()
    for name, by_kind in (("honest sensor", found.honest), ("20 % failed, 1 % spikes", found.lied_to)):
        for heat in (True, False):
            delay = by_kind[heat]
            what = f"delay of heat {'on' if heat else 'off'} at {RAMP_K_MIN:g} K/min, {name}"
            for word, late_s, goal_s in (("mean", delay.mean_s, MEAN_S), ("p95", delay.p95_s, P95_S)):
                rows.append(
                    Row(
                        what=f"{what}, {word}",
                        value=f"{late_s:.1f} s",
                        floor="0 s, at the first true reading across",
                        judged=late_s,
                        goal=goal_s,
                        sign=" s",
                    )
                )
    return rows


def winter(*, apart: bool, days: float = WINTER_DAYS, seed: int = 1) -> Winter:
    """Two guards on one house through one winter."""
    settings = Settings()
    truth_c = _house(settings, round(days * 86400.0 / SENSE_S), seed)
    liar = Liar(random.Random(f"{seed} lies"), apart)
    honest, lied_to, _ = _both(truth_c, settings, liar, seed)
    false = [action for action in lied_to.switched if _is_false(action, honest.switched, truth_c, settings)]
    due = _due(truth_c, settings)
    return Winter(
        turns=len(truth_c),
        spikes=liar.spikes,
        failed=liar.failed,
        actions=len(honest.switched),
        false_on=sum(action.heat for action in false),
        false_off=sum(not action.heat for action in false),
        false_blind=sum(action.is_blind for action in false),
        missed=_missed(due, lied_to.switched),
    )


def delays(*, crossings: int = 4000, seed: int = 1) -> Delays:
    """Up and down through the band at one kelvin a minute, so often."""
    settings = Settings()
    truth_c = _ramps(settings, crossings, seed)
    due = _due(truth_c, settings)
    liar = Liar(random.Random(f"{seed} lies"), True)
    honest, lied_to, is_true = _both(truth_c, settings, liar, seed)
    heard = [Action(is_true.index(1, action.index), action.heat) for action in due]
    return Delays(
        crossings=len(due),
        honest=_by_kind(due, honest.switched),
        lied_to=_by_kind(heard, lied_to.switched),
    )


def _both(
    truth_c: Sequence[float], settings: Settings, liar: Liar, seed: int
) -> tuple[Watched, Watched, bytearray]:
    """The guard with the honest sensor, the one that is lied to, and 1 for each of its true readings."""
    gauss = random.Random(f"{seed} noise").gauss
    honest, lied_to, is_true = Watched(settings), Watched(settings), bytearray()
    for index, true_c in enumerate(truth_c):
        said_c = round(true_c + gauss(0.0, NOISE_K), 1)
        humidity_pct = round(72.0 + gauss(0.0, HUMIDITY_NOISE_PCT), 1)
        honest.reads(index, said_c, humidity_pct)
        lie_c = liar.spoil(said_c)
        lied_to.reads(index, lie_c, humidity_pct)
        is_true.append(lie_c == said_c)
    return honest, lied_to, is_true


def _house(settings: Settings, turns: int, seed: int) -> Sequence[float]:
    """The air of a shed in cold nights, heated by a thermostat wider than the band."""
    weather = cold_night(seed=seed)
    house = House(HOUSES["timber shed"], seed, start_c=6.0)
    truth_c = array("d")
    heat = False
    for _ in range(turns):
        house.advance(SENSE_S, heat, weather(house.elapsed_s))
        air_c = house.air_c
        if air_c <= settings.low_c - BEYOND_K:
            heat = True
        elif air_c >= settings.high_c + BEYOND_K:
            heat = False
        truth_c.append(air_c)
    return truth_c


def _ramps(settings: Settings, crossings: int, seed: int) -> Sequence[float]:
    """Down and up, each time a little farther or less far, so that reads fall anywhere on a crossing."""
    chance = random.Random(f"{seed} ramps")
    step_k = RAMP_K_MIN * SENSE_S / 60.0
    true_c = settings.high_c + 2.0
    truth_c = array("d")
    for number in range(crossings):
        is_falling = number % 2 == 0
        beyond_k = chance.uniform(2.0, 3.0)
        end_c = settings.low_c - beyond_k if is_falling else settings.high_c + beyond_k
        while (true_c > end_c) is is_falling:
            true_c += -step_k if is_falling else step_k
            truth_c.append(true_c)
    return truth_c


def _due(truth_c: Sequence[float], settings: Settings) -> list[Action]:
    """The actions of a guard that knows the truth."""
    due: list[Action] = []
    heat = False
    for index, true_c in enumerate(truth_c):
        if (true_c >= settings.high_c) if heat else (true_c <= settings.low_c):
            heat = not heat
            due.append(Action(index, heat))
    return due


def _is_false(action: Action, honest: Sequence[Action], truth_c: Sequence[float], settings: Settings) -> bool:
    """Whether neither the guard with the honest sensor does the same nor the truth is near."""
    index = action.index
    lately_c = truth_c[max(index - 2 * settings.window, 0) : index + 1]
    if action.heat:
        is_near = min(lately_c) <= settings.low_c + NEAR_K
    else:
        is_near = max(lately_c) >= settings.high_c - NEAR_K
    if is_near:
        return False
    first = bisect_left(honest, index - NEAR_READINGS, key=lambda other: other.index)
    return not any(
        other.heat is action.heat and other.index <= index + NEAR_READINGS
        for other in honest[first : first + 2 * NEAR_READINGS + 1]
    )


def _missed(due: Sequence[Action], switched: Sequence[Action]) -> int:
    """How many crossings were not acted on within ten minutes."""
    missed = at = 0
    heat = False
    for crossing in due:
        while at < len(switched) and switched[at].index <= crossing.index + MISSED_READINGS:
            heat = switched[at].heat
            at += 1
        missed += heat is not crossing.heat
    return missed


def _by_kind(due: Sequence[Action], switched: Sequence[Action]) -> dict[bool, Delay]:
    late_s: dict[bool, list[float]] = {True: [], False: []}
    indices = [action.index for action in switched]
    for number, crossing in enumerate(due):
        end = due[number + 1].index if number + 1 < len(due) else NEVER
        # Noise brings the action a reading or two forward; what lies further back was a spike's doing.
        first = bisect_left(indices, crossing.index - NEAR_READINGS)
        last = bisect_left(indices, end - NEAR_READINGS)
        acted = [action.index for action in switched[first:last] if action.heat is crossing.heat]
        if acted:
            late_s[crossing.heat].append((acted[0] - crossing.index) * SENSE_S)
    return {heat: Delay(mean(all_s), quantiles(all_s, n=20)[-1]) for heat, all_s in late_s.items()}

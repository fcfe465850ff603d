"""How the air answers heat and frost, fast and slow, and so how it would cool without heat.

The answer to heat is taken as a sum of lags, some minutes to days, of which only the shares are learned: any
house of walls, air and things answers in this way, and shares are found by plain least squares. What is
slower than `steady_s` is taken out of all signals alike before they are compared: sun and thaw are not the
heater's doing, and where the band's control holds the air, what is slow shows in the heat and not in the
air. So the slow end comes from ties: the shares add up to the rise that the loss knows (`loss.py`), and
neighbours are alike.

What follows heat off, from the state that the lags are in: each share of heat dies away, each share of
frost comes in. Whether it does so as fast as the shares say is held against each pause of the heat: least
squares among heat that answers the air make the slow shares too small, and sums over whole pauses do not.
What long pauses do at their end shows the other way round where a house is held by the ground.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from overwinter.know.recursive import Sums, Tie, numbers_of

HEAT_S = (120.0, 300.0, 750.0, 2400.0, 9600.0, 38_400.0, 120_000.0)
OUTDOOR_S = (3600.0, 28_800.0, 120_000.0)
"""Time constants of the lags [s]: close together where the air alone answers, for what does not fit there is
taken for the walls' doing; a factor of four apart beyond, where finer does not change a prediction."""

LAGS_S = (*HEAT_S, *OUTDOOR_S)
SIZE = len(LAGS_S)
Shares = tuple[tuple[float, ...], tuple[float, ...]]  # of heat [K at full heat], of outdoors [K/K]
QUICK = 3
"""So many of them are the air's own, with what sensor and heater add; the rest is of walls and things. Their
shares may be below 0: what a sensor tells, and what a heater full of oil gives, comes late."""

STEADY_S, STEADY_S_MOST = 3000.0, 20_000.0
CYCLES = 1.3
"""How slow that is: so many of the house's own cycles from heat to heat, since what it does within them
is the heater's doing; but within these limits."""

CYCLE_MEMORY = 10.0
CYCLE_S_MOST = 2 * 86400.0
ROW_S = 120.0
"""A row for the sums so often: the fastest lag is hardly faster."""

SETTLE_S = 10_800.0
"""No row for so long after a beginning or a gap: the lags do not know yet what was before."""

USED = 0.002
"""Heat of the last half day below which nothing is learned: then the sun alone moves the air."""

FADE_S = 21 * 86400.0
ROWS_LEAST = 3 * 86400.0 / ROW_S
RIDGE = 1e-4
GROUND_TIE = 0.1
RISE_TIE = 3.0
"""How sure it is, against one row for each that was taken: that the shares of frost add up to 1, and those
of heat to the rise in the steady state."""

ALIKE = (1.0, 2.0, 4.0, 6.0)
ALIKE_TIE = 3e-4
"""The shares of the slower lags stand to one another like this unless the record says otherwise, the slowest
standing for all that is slower still. By choice, on 14 simulated houses in four winters."""

STEEPER_MOST = 5.0
"""What the air fell in pauses beyond what the quick shares explain, the slow ones must: they are made
steeper for it, up to so many times. Never flatter, since pauses in the sun fall less; and until the air ends
as cold as outdoors, for what else warms it (a pump's motor and water) may stop with the power."""

PAUSES_LEAST = 5.0
PAUSE_S = 180.0, 43_200.0
"""Longer ones are of mild weather, or of a contact that is welded: neither says how the house cools."""
PAUSE_ROSE_K = 0.3
"""Air that rises by so much without heat was warmed by something else."""

LATE_S, LATE_S_LEAST, LATE_S_MOST = 2400.0, 3600.0, 21_600.0
"""So long after heat went off only slow shares are left; what they do until the end of the pause is looked
at in pauses that last for long enough, and for the first hours of longer ones."""
SMOOTH_S = 300.0
"""A mean over this stands for the air then: heat comes on at the first reading that is low enough, and so at
one that noise made too low."""
LATE_LEAST, LATE_K_LEAST = 10.0, 0.05
"""So many pauses, in each of which slow shares should make it fall by so much in the mean: less is noise."""
HELD, HELD_MORE, HELD_MOST = 0.65, 1.5, 0.05
"""Air that falls less than so much of what slow shares would make it fall then is held by the ground or the
like, which gives the more the colder the air becomes: they are made flatter by this power of what was seen,
down to so much. By choice: on the same houses and winters two vaults came to 0.3 to 0.7 nine times of ten,
and all others, which sun and calm hold for a while, to 0.8 and more; higher powers were too hopeful."""

HOURS_MAX = 240.0
"""Nobody needs to know more; the weather does not stay for so long either."""


@dataclass(frozen=True, slots=True)
class Course:
    """The air without heat from now on, if the weather stays."""

    air_c: float
    falls: tuple[tuple[float, float], ...]  # time constant [s], kelvin that go by it in the end

    def at_c(self, time_s: float) -> float:
        """After so many seconds."""
        return self.air_c - sum(fall_k * -math.expm1(-time_s / lag_s) for lag_s, fall_k in self.falls)

    def hours_to(self, to_c: float, *, quicker: float = 1.0, higher_k: float = 0.0) -> float:
        """Hours until it first is at `to_c`, infinite beyond `HOURS_MAX`.

        `quicker`: so many times steeper than the best guess; `higher_k`: it starts from so much more.
        """

        def air_c(time_s: float) -> float:
            return self.air_c + higher_k - quicker * (self.air_c - self.at_c(time_s))

        if air_c(0.0) <= to_c:
            return 0.0
        early_s, late_s = 0.0, 60.0
        while air_c(late_s) > to_c:
            early_s, late_s = late_s, late_s * 1.15
            if late_s > HOURS_MAX * 3600.0:
                return math.inf
        for _ in range(20):
            middle_s = (early_s + late_s) / 2.0
            if air_c(middle_s) > to_c:
                early_s = middle_s
            else:
                late_s = middle_s
        return late_s / 3600.0


@dataclass(slots=True)
class _Pause:
    """Heat off, from the last minute with heat on."""

    heat: list[float]
    outdoor_c: list[float]
    air_c: float
    is_sound: bool
    lasts_s: float = 0.0
    outdoor_ks: float = 0.0
    low_c: float = math.inf
    late_c: float | None = None  # the air `LATE_S` after its beginning


@dataclass(slots=True)
class Cooling:
    """The lags and what their shares are learned from."""

    heat: list[float] = field(default_factory=lambda: [0.0] * len(HEAT_S))
    outdoor_c: list[float] = field(default_factory=lambda: [0.0] * len(OUTDOOR_S))
    steady: list[float] = field(default_factory=lambda: [0.0] * (SIZE + 1))
    sums: Sums = field(default_factory=lambda: Sums(SIZE))
    settled_s: float = -1.0  # below 0: nothing was seen yet
    waited_s: float = 0.0
    cycle_s: float = 0.0  # from switch-on to switch-on, a short mean; 0: none was seen yet
    since_on_s: float = 0.0
    was_on: bool = False
    # How much each lag would have fallen in the pauses at a share of 1, how much the air did, and how many.
    pauses: list[float] = field(default_factory=lambda: [0.0] * (SIZE + 2))
    late: list[float] = field(default_factory=lambda: [0.0] * (SIZE + 2))  # the same late in long pauses
    _pause: _Pause | None = None  # not kept over a restart, nor is the air at its beginning
    _air_c: float | None = None
    _smooth_c: float = 0.0  # the same, a short mean
    _lasts_s: float = 0.0
    _kept: tuple[tuple[float, ...], tuple[float, ...], float] = ((), (), 0.0)

    def begin(self, air_c: float, outdoor_c: float, heat: float) -> None:
        """As if it had always been like this: the best guess after a gap or at the very beginning."""
        self.heat = [heat] * len(HEAT_S)
        self.outdoor_c = [outdoor_c] * len(OUTDOOR_S)
        self.steady = [*self.heat, *self.outdoor_c, air_c]
        self.settled_s = self.waited_s = 0.0
        self._pause, self._air_c, self._smooth_c = None, air_c, air_c

    def take(self, *, lasts_s: float, air_c: float, outdoor_c: float, heat: float, is_sound: bool) -> None:
        """A minute or so. Not sound: the lags go on, nothing is learned until it has passed for a while."""
        self._see_pause(lasts_s, air_c, outdoor_c, heat, is_sound=is_sound)
        self._air_c = air_c
        self._smooth_c += min(lasts_s / SMOOTH_S, 1.0) * (air_c - self._smooth_c)
        self._see_cycle(lasts_s, heat)
        if lasts_s != self._lasts_s:
            self._lasts_s = lasts_s
            self._kept = (
                tuple(math.exp(-lasts_s / lag_s) for lag_s in HEAT_S),
                tuple(math.exp(-lasts_s / lag_s) for lag_s in OUTDOOR_S),
                math.exp(-lasts_s / self.steady_s),
            )
        of_heat, of_outdoor, of_steady = self._kept
        self.heat = [heat + kept * (lag - heat) for lag, kept in zip(self.heat, of_heat, strict=True)]
        self.outdoor_c = [
            outdoor_c + kept * (lag - outdoor_c) for lag, kept in zip(self.outdoor_c, of_outdoor, strict=True)
        ]
        now = [*self.heat, *self.outdoor_c, air_c]
        steady = self.steady = [
            value + of_steady * (mean - value) for mean, value in zip(self.steady, now, strict=True)
        ]
        self.settled_s += lasts_s
        self.waited_s += lasts_s
        if self.waited_s < ROW_S:
            return
        self.waited_s = 0.0
        if is_sound and self.settled_s >= SETTLE_S and self.heat[5] > USED:
            self.sums.take([value - mean for value, mean in zip(now, steady, strict=True)])

    @property
    def steady_s(self) -> float:
        """What is slower than this is not compared."""
        return min(max(CYCLES * self.cycle_s, STEADY_S), STEADY_S_MOST)

    def _see_cycle(self, lasts_s: float, heat: float) -> None:
        self.since_on_s = min(self.since_on_s + lasts_s, CYCLE_S_MOST)
        if heat > 0.0 and not self.was_on:
            step = 1.0 / CYCLE_MEMORY if self.cycle_s else 1.0
            self.cycle_s += step * (self.since_on_s - self.cycle_s)
            self.since_on_s = 0.0
            self._lasts_s = 0.0
        self.was_on = heat > 0.0

    def _see_pause(
        self, lasts_s: float, air_c: float, outdoor_c: float, heat: float, *, is_sound: bool
    ) -> None:
        """What the air does between heat and heat; before the lags go on."""
        pause, before_c = self._pause, self._air_c
        if before_c is None:
            return
        if heat > 0.0:
            self._pause = None
            if pause is not None and pause.is_sound:
                if PAUSE_S[0] <= pause.lasts_s <= PAUSE_S[1]:
                    self.pauses = _added(self.pauses, pause, 0.0, pause.air_c - before_c)
                if LATE_S_LEAST <= pause.lasts_s < LATE_S_MOST:
                    self._see_late(pause)
            return
        if self.was_on:
            is_settled = self.settled_s >= SETTLE_S
            pause = self._pause = _Pause(self.heat, self.outdoor_c, before_c, is_sound=is_settled)
        if pause is not None:
            pause.low_c = min(pause.low_c, air_c)
            pause.is_sound = pause.is_sound and is_sound and air_c < pause.low_c + PAUSE_ROSE_K
            pause.lasts_s += lasts_s
            pause.outdoor_ks += outdoor_c * lasts_s
            if pause.late_c is None and pause.lasts_s >= LATE_S:
                pause.late_c = self._smooth_c
            if pause.is_sound and pause.lasts_s >= LATE_S_MOST > pause.lasts_s - lasts_s:
                self._see_late(pause)

    def _see_late(self, pause: _Pause) -> None:
        if pause.late_c is not None:
            self.late = _added(self.late, pause, LATE_S, pause.late_c - self._smooth_c)

    def fade(self, lasts_s: float) -> None:
        """Called now and then: what is so much older counts less."""
        kept = math.exp(-lasts_s / FADE_S)
        self.sums.fade(kept)
        self.pauses = [kept * value for value in self.pauses]
        self.late = [kept * value for value in self.late]

    @property
    def is_known(self) -> bool:
        """Whether enough was seen to say anything."""
        return self.sums.weight >= ROWS_LEAST and self.settled_s >= 0.0

    def shares(self, rise_k: float | None) -> Shares | None:
        """Of heat [K at full heat], of outdoors [K/K]; `rise_k`: what heat comes to in the end."""
        if not self.is_known:
            return None
        weight, heats = self.sums.weight, len(HEAT_S)
        ties = [Tie((0.0,) * heats + (1.0,) * (SIZE - heats), 1.0, GROUND_TIE * weight)]
        if rise_k is not None and rise_k > 0.0:
            row = (1.0 / rise_k,) * heats + (0.0,) * (SIZE - heats)
            ties.append(Tie(row, 1.0, RISE_TIE * weight))
        for place in range(len(ALIKE) - 1):
            pair = [0.0] * SIZE
            pair[QUICK + place] = 1.0 / ALIKE[place]
            pair[QUICK + place + 1] = -1.0 / ALIKE[place + 1]
            ties.append(Tie(tuple(pair), 0.0, ALIKE_TIE * weight))
        solution = self.sums.solved(ridge=RIDGE**2 * weight, ties=ties, positive=range(QUICK, SIZE))
        if solution is None:
            return None
        return solution.coefficients[:heats], solution.coefficients[heats:]

    def course(self, air_c: float, outdoor_c: float, rise_k: float | None) -> Course | None:
        """What follows if the heat fails now."""
        shares = self.shares(rise_k)
        if shares is None or sum(shares[0]) <= 0.0:
            return None
        away = _away(self.heat, self.outdoor_c, outdoor_c)
        falls_k = list(map(float.__mul__, (*shares[0], *shares[1]), away))
        quick_k, slow_k = sum(falls_k[:QUICK]), sum(falls_k[QUICK:])
        whole = (air_c - outdoor_c - quick_k) / slow_k if slow_k > 0.0 else 1.0
        by = self._held(shares, max(self.steeper(shares), min(whole, STEEPER_MOST)))
        falls_k[QUICK:] = [by * fall_k for fall_k in falls_k[QUICK:]]
        return Course(air_c, tuple(zip(LAGS_S, falls_k, strict=True)))

    def steeper(self, shares: Shares) -> float:
        """How much steeper than by these shares the air fell in pauses, but for what was quick; 1 or more."""
        left_k, slow_k = _slow_k(self.pauses, shares)
        if self.pauses[-1] < PAUSES_LEAST or slow_k <= 0.0:
            return 1.0
        return min(max(left_k / slow_k, 1.0), STEEPER_MOST)

    def _held(self, shares: Shares, by: float) -> float:
        """So many times as steep; far less where the air hardly falls late in long pauses."""
        count = self.late[-1]
        left_k, slow_k = _slow_k(self.late, shares)
        said_k = by * slow_k
        if count < LATE_LEAST or said_k < LATE_K_LEAST * count or left_k >= HELD * said_k:
            return by
        return by * max(math.pow(max(left_k / said_k, 0.0), HELD_MORE), HELD_MOST)

    def facts(self) -> dict[str, object]:
        """To be written down."""
        state = [*self.heat, *self.outdoor_c, *self.steady, self.settled_s, self.waited_s]
        state += [self.cycle_s, self.since_on_s, float(self.was_on)]
        return {
            "state": _short(state, 5),
            "sums": self.sums.facts(),
            "pauses": _short(self.pauses, 4),
            "late": _short(self.late, 4),
        }

    @classmethod
    def recalled(cls, facts: Mapping[str, object]) -> "Cooling":
        """What was written down; ValueError where it is not that."""
        heats, outdoors = len(HEAT_S), len(OUTDOOR_S)
        state = numbers_of(facts.get("state"), 2 * SIZE + 6)
        *lags, settled_s, waited_s, cycle_s, since_on_s, was_on = state
        if not all(0.0 <= share <= 1.0 for share in lags[:heats]) or max(map(abs, lags[heats:])) > 200.0:
            raise ValueError(f"{state}: no state of a house")
        pauses, late = (numbers_of(facts.get(key), SIZE + 2) for key in ("pauses", "late"))
        if min(pauses[-1], late[-1]) < 0.0:
            raise ValueError(f"{pauses}, {late}: a count must not be negative")
        if not (0.0 <= cycle_s <= CYCLE_S_MOST and 0.0 <= since_on_s <= CYCLE_S_MOST):
            raise ValueError(f"{state}: no cycles of a house")
        return cls(
            heat=lags[:heats],
            outdoor_c=lags[heats : heats + outdoors],
            steady=lags[heats + outdoors :],
            settled_s=settled_s,
            waited_s=waited_s,
            cycle_s=cycle_s,
            since_on_s=since_on_s,
            was_on=was_on > 0.0,
            pauses=pauses,
            late=late,
            sums=Sums.recalled(SIZE, facts.get("sums")),
        )


def _away(heat: list[float], outdoor_lags_c: list[float], outdoor_c: float) -> tuple[float, ...]:
    """How far each lag is from where it ends without heat."""
    return (*heat, *(lag_c - outdoor_c for lag_c in outdoor_lags_c))


def _short(values: list[float], digits: int) -> list[float]:
    """With fewer digits: all of a house shall fit into 2 kB, and a sensor's noise is more than these tell."""
    return [float(f"{value:.{digits}g}") for value in values]


def _added(sums: list[float], pause: _Pause, from_s: float, fell_k: float) -> list[float]:
    """With one pause more: what each lag does in it from then on at a share of 1, what the air did, and 1."""
    away = _away(pause.heat, pause.outdoor_c, pause.outdoor_ks / pause.lasts_s)
    now = [
        lag * (math.exp(-from_s / lag_s) - math.exp(-pause.lasts_s / lag_s))
        for lag, lag_s in zip(away, LAGS_S, strict=True)
    ]
    return [sum_ + value for sum_, value in zip(sums, (*now, fell_k, 1.0), strict=True)]


def _slow_k(sums: list[float], shares: Shares) -> tuple[float, float]:
    """What the air fell in these pauses beyond what is quick, and what the slow shares say of it [K]."""
    *lags, fell_k, _ = sums
    said_k = list(map(float.__mul__, (*shares[0], *shares[1]), lags))
    return fell_k - sum(said_k[:QUICK]), sum(said_k[QUICK:])

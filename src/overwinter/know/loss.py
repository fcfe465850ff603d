"""What share of the time heat must be on, against how much warmer than outdoors it is kept.

    duty = slope · (air - outdoors) + offset + stored · (change of the air) + lags · (outdoors - its past)
           + what that quarter of the day needs more or less than the others

Duty stands on the left, because it is what wind and sun disturb; temperatures are known. The offset is what
the ground gives; 1 / slope is how far full heat lifts the air in the end. A row is of six hours, always the
same four of a day: sun, and a pump that runs by day, then show as a quarter that needs less heat. The limit
is reckoned for the quarter that needs most, so night is found from the data and no clock or place is asked.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from overwinter.know.recursive import Solution, Sums, Tie, numbers_of, shortened

BLOCK_S = 21_600.0
BLOCKS = 4
LAGS_S = (7200.0, 28_800.0)
"""How long outdoors is remembered by walls: light ones, heavy ones, the ground under the floor."""

QUARTERS_AT = 3 + len(LAGS_S)
SIZE = QUARTERS_AT + BLOCKS - 1
SLOPE, OFFSET = 0, 1

FADE_BLOCKS = 4 * 28
"""Weeks are forgotten: snow on the roof, wet insulation, a new lamp."""

HELD = 0.9
"""So much of a block must be sound."""

DUTY_LEAST, DUTY_MOST = 0.015, 0.985
"""Without heat, and at full heat, the band no longer holds the air and duty says nothing of the loss."""

ROWS_LEAST = 16
"""Five days nearly, with heat in use all the while."""

RISE_K_LEAST, RISE_K_MOST = 1.0, 300.0
DRAWN = (0.0, 0.05, 0.001) + (4.0,) * len(LAGS_S) + (1.0,) * (BLOCKS - 1)
"""How firmly each coefficient is drawn to nothing until something is seen of it, in squares of its regressor:
the square of a usual residual, 0.02, over that of a usual coefficient (0.1; 1 per K/h; 0.01 per K; 0.02)."""

MISSES_KEPT = 0.1
"""How much of each miss goes into the mean that is added to tomorrow: windy spells last for days."""

RESIDUAL_LEAST = 0.01
FLOOR_K = 0.8
FLOOR_SHARE = 0.045
"""What no log shows: the sensors' bias, wind and sun that were not those of the coming night; and with it a
share of the distance from what was seen to the limit, since no house is quite linear."""

OVERLAP = 2.0
"""Neighbouring rows share their weather: so many hold what one seems to."""

SPREADS = 1.7


@dataclass(frozen=True, slots=True)
class Line:
    """What the rows say."""

    solution: Solution
    warmer_k: float  # the mean of the rows
    duty: float

    @property
    def rise_k(self) -> float:
        """How far full heat lifts the air in the end."""
        return 1.0 / self.solution.coefficients[SLOPE]

    @property
    def offset_k(self) -> float:
        """How much warmer than outdoors it is without heat: ground and sun."""
        return -self.solution.coefficients[OFFSET] * self.rise_k

    @property
    def _quarters(self) -> tuple[float, ...]:
        return self.solution.coefficients[QUARTERS_AT:]

    def warmer_at(self, duty: float) -> tuple[float, float]:
        """How much warmer than outdoors a steady duty keeps it [K], and how wrong that may be either way."""
        by_quarter = [_quarter_row(quarter) for quarter in range(BLOCKS)]
        dark = min(by_quarter, key=lambda signs: -sum(map(float.__mul__, signs, self._quarters)))
        more = sum(map(float.__mul__, dark, self._quarters))
        warmer_k = (duty - more) * self.rise_k + self.offset_k
        row = (warmer_k, 1.0) + (0.0,) * (QUARTERS_AT - 2) + dark
        residual = max(self.solution.residual, RESIDUAL_LEAST)
        spread_k = residual * math.sqrt(self.solution.variance(row) * OVERLAP) * self.rise_k
        floor_k = FLOOR_K + FLOOR_SHARE * abs(warmer_k - self.warmer_k)
        return warmer_k, SPREADS * math.hypot(spread_k, floor_k)


@dataclass(slots=True)
class Loss:
    """The present six hours, and the sums over all days."""

    lags_c: list[float] = field(default_factory=list)  # empty: nothing was seen yet
    block: list[float] = field(default_factory=lambda: [0.0] * (3 + len(LAGS_S)))
    sound_s: float = 0.0
    passed_s: float = 0.0
    begins_c: float = 0.0
    air_c: float = 0.0  # a short mean
    sums: Sums = field(default_factory=lambda: Sums(SIZE))
    misses: float = 0.0  # recent days' duty beyond what the line said
    _lasts_s: float = 0.0
    _kept: tuple[float, ...] = ()

    def begin(self, air_c: float, outdoor_c: float) -> None:
        """After a gap: outdoors as now, unless something is remembered."""
        self.lags_c = [(lag_c + outdoor_c) / 2.0 for lag_c in self.lags_c] or [outdoor_c] * len(LAGS_S)
        self.air_c = air_c
        self._next_block()

    def take(
        self, *, ends_s: float, lasts_s: float, air_c: float, outdoor_c: float, heat: float, is_sound: bool
    ) -> bool:
        """A minute or so, ending at `ends_s` of a steady clock; True where a quarter of a day is over."""
        if lasts_s != self._lasts_s:
            self._lasts_s = lasts_s
            self._kept = tuple(math.exp(-lasts_s / lag_s) for lag_s in LAGS_S)
        self.lags_c = [
            outdoor_c + kept * (lag_c - outdoor_c)
            for lag_c, kept in zip(self.lags_c, self._kept, strict=True)
        ]
        self.air_c += min(lasts_s / 600.0, 1.0) * (air_c - self.air_c)
        block = self.block
        block[0] += heat * lasts_s
        block[1] += air_c * lasts_s
        block[2] += outdoor_c * lasts_s
        for place, lag_c in enumerate(self.lags_c, start=3):
            block[place] += lag_c * lasts_s
        self.passed_s += lasts_s
        if is_sound:
            self.sound_s += lasts_s
        quarter = int(ends_s // BLOCK_S)
        is_over = quarter != int((ends_s - lasts_s) // BLOCK_S)
        if not is_over and self.passed_s < 1.5 * BLOCK_S:
            return False
        self._end_block((quarter - 1) % BLOCKS)
        return True

    def _end_block(self, quarter: int) -> None:
        means = [value / self.passed_s for value in self.block]
        change_k_h = (self.air_c - self.begins_c) / self.passed_s * 3600.0
        # A clock that was set makes it longer or shorter.
        is_held = self.sound_s >= HELD * BLOCK_S and self.passed_s <= BLOCK_S / HELD
        self._next_block()
        self.sums.fade(1.0 - 1.0 / FADE_BLOCKS)
        if not is_held:
            return
        heat, air_c, outdoor_c, *lags_c = means
        if not DUTY_LEAST <= heat <= DUTY_MOST:
            self.misses *= 0.8
            return
        row = [air_c - outdoor_c, 1.0, change_k_h, *(outdoor_c - lag_c for lag_c in lags_c)]
        row += _quarter_row(quarter)
        line = self.line()
        if line is not None:
            said = sum(map(float.__mul__, row, line.solution.coefficients))
            self.misses += MISSES_KEPT * (min(max(heat - said, -0.2), 0.2) - self.misses)
        self.sums.take([*row, heat])

    def _next_block(self) -> None:
        self.block = [0.0] * (3 + len(LAGS_S))
        self.sound_s = self.passed_s = 0.0
        self.begins_c = self.air_c

    def line(self) -> Line | None:
        """What is known; None as long as it is not."""
        weight = self.sums.weight
        if weight < ROWS_LEAST:
            return None
        solution = self.sums.solved(ties=_TIES)
        if solution is None:
            return None
        slope = solution.coefficients[SLOPE]
        if not 1.0 / RISE_K_MOST <= slope <= 1.0 / RISE_K_LEAST:
            return None
        products = self.sums.products
        # The regressor that is always 1 has the sums of the others beside it.
        return Line(solution, products[1] / weight, products[2 * SIZE] / weight)

    def day_duty(self, line: Line, *, air_c: float, outdoor_c: float) -> tuple[float, float]:
        """The share of a day, from now on, that heat will be on with that mean outdoors; and its spread."""
        day_s = BLOCK_S * BLOCKS
        row = [air_c - outdoor_c, 1.0, (air_c - self.air_c) * 3600.0 / day_s]
        for lag_c, lag_s in zip(self.lags_c, LAGS_S, strict=True):
            row.append(-(lag_c - outdoor_c) * lag_s / day_s * -math.expm1(-day_s / lag_s))
        row += (0.0,) * (BLOCKS - 1)
        duty = sum(map(float.__mul__, row, line.solution.coefficients)) + 0.5 * self.misses
        residual = max(line.solution.residual, RESIDUAL_LEAST)
        return duty, residual * math.sqrt(1.0 + line.solution.variance(row) * OVERLAP)

    def facts(self) -> dict[str, object]:
        """To be written down."""
        state = [*self.block, self.sound_s, self.passed_s, self.begins_c, self.air_c, self.misses]
        return {
            "lags_c": [shortened(lag_c) for lag_c in self.lags_c],
            "block": [float(f"{value:.7g}") for value in state],
            "sums": self.sums.facts(),
        }

    @classmethod
    def recalled(cls, facts: Mapping[str, object]) -> "Loss":
        """What was written down; ValueError where it is not that."""
        lags = facts.get("lags_c")
        state = numbers_of(facts.get("block"), 8 + len(LAGS_S))
        lags_c = numbers_of(lags, len(LAGS_S)) if lags else []
        sound_s, passed_s, begins_c, air_c, misses = state[-5:]
        if not (0.0 <= sound_s <= passed_s <= 2 * BLOCK_S and -1.0 <= misses <= 1.0):
            raise ValueError(f"{state}: no state of a block")
        if max(map(abs, [begins_c, air_c, *lags_c])) > 200.0:
            raise ValueError(f"{state}: no temperatures of a house")
        return cls(
            lags_c=lags_c,
            block=state[:-5],
            sound_s=sound_s,
            passed_s=passed_s,
            begins_c=begins_c,
            air_c=air_c,
            misses=misses,
            sums=Sums.recalled(SIZE, facts.get("sums")),
        )


def _quarter_row(quarter: int) -> tuple[float, ...]:
    """Each quarter but the last has a column of its own, and the last is less by all of theirs."""
    if quarter == BLOCKS - 1:
        return (-1.0,) * (BLOCKS - 1)
    return tuple(float(at == quarter) for at in range(BLOCKS - 1))


_TIES = tuple(
    Tie(tuple(float(at == place) for at in range(SIZE)), 0.0, weight)
    for place, weight in enumerate(DRAWN)
    if weight
)

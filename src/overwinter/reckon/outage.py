"""How long pipes last once the heat is gone: the room cools, and the water in a pipe follows it.

Two stores of heat one behind the other: the room behind the building's conductance, the water behind the
pipe's insulation or film. What the pipe gives back to the room is left out; it is little.

A real house has more stores than a room of one lump, so every time is a range. Its ends: the early one has
only the air and light things to cool, the sensor reading too high and the pipe colder than the air, a
draught on it or bad insulation; the late one has a heavier house that failed at the high end of its band.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from overwinter.core.nouns import PipeSpec
from overwinter.physics.advice import air_heat_j_k, cycle_heat_j_k
from overwinter.physics.bounds import check, check_above
from overwinter.physics.constants import ICE_W_MK, WATER_J_KGK, WATER_KG_M3
from overwinter.physics.pipe import NEVER, Freezing, latent_j_m, resistances_m_kw, wall_j_mk
from overwinter.physics.ranges import Range

HEAVY = 10.0
"""The late end of a range counts so many times the heat that goes along with a cycle: pump, tank, thick walls
and floor give theirs over hours. An assumption: of seven simulated ways of building all lie below it but the
vault, which hangs on the ground."""

_HALVINGS = 60
_DOUBLINGS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """What cools when the heat fails."""

    ua_w_k: float
    heat_j_k: Range

    @classmethod
    def of_volume(cls, *, volume_m3: float, ua_w_k: float) -> "Room":
        """A room of that many cubic metres, 0.1 to 1e5, behind a conductance [W/K] above 0."""
        check_above("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
        with_lining_j_k = cycle_heat_j_k(volume_m3)
        heat_j_k = Range(best=with_lining_j_k, low=air_heat_j_k(volume_m3), high=HEAVY * with_lining_j_k)
        return cls(ua_w_k=ua_w_k, heat_j_k=heat_j_k)


@dataclass(frozen=True, slots=True, kw_only=True)
class Before:
    """How it was when the heat failed: the band, and how far off the sensor and the pipe may be."""

    low_c: float
    high_c: float
    error_k: float  # the sensor's, half of its resolution included
    spread_k: float  # how much colder than the sensor the coldest pipe may be


@dataclass(frozen=True, slots=True)
class _Course:
    """One way it may go: room and water at the start, and how slowly each gives up its heat."""

    outdoor_c: float
    air_c: float
    water_c: float
    room_s: float  # time constant of the room
    pipe_s: float  # and of the water behind the pipe's insulation or film

    def air_at_c(self, time_s: float) -> float:
        return self.outdoor_c + (self.air_c - self.outdoor_c) * math.exp(-time_s / self.room_s)

    def water_at_c(self, time_s: float) -> float:
        """The water, before any of it is ice: the exact solution of the two stores."""
        own = (self.water_c - self.outdoor_c) * math.exp(-time_s / self.pipe_s)
        # (exp(-t/room) - exp(-t/pipe)) / (1/pipe - 1/room), which is 0/0 where both are as slow.
        difference_per_s = 1.0 / self.pipe_s - 1.0 / self.room_s
        exponent = difference_per_s * time_s
        if abs(exponent) < 1e-6:
            lagged_s = time_s * math.exp(-time_s / self.pipe_s)
        else:
            lagged_s = (math.exp(-time_s / self.room_s) - math.exp(-time_s / self.pipe_s)) / difference_per_s
        return self.outdoor_c + own + (self.air_c - self.outdoor_c) * lagged_s / self.pipe_s

    def start_s(self) -> float:
        """When the water reaches 0 °C."""
        if self.water_c <= 0.0:
            return 0.0
        return _first(lambda time_s: self.water_at_c(time_s) <= 0.0, about_s=self.room_s + self.pipe_s)

    def solid_s(self, start_s: float, latent_m_kw_j: float) -> float:
        """When all of it is ice; `latent_m_kw_j` is the cold that takes [K s]."""
        air_at_zero_s = 0.0 if self.air_c <= 0.0 else self._air_zero_s()
        begin_s = max(start_s, air_at_zero_s)

        def cold_ks(end_s: float) -> float:
            air_part = self.room_s * (self.air_at_c(begin_s) - self.air_at_c(end_s))
            return -self.outdoor_c * (end_s - begin_s) - air_part

        about_s = latent_m_kw_j / -self.outdoor_c + self.room_s
        return begin_s + _first(lambda time_s: cold_ks(begin_s + time_s) >= latent_m_kw_j, about_s=about_s)

    def _air_zero_s(self) -> float:
        return self.room_s * math.log((self.air_c - self.outdoor_c) / -self.outdoor_c)


def room_zero_h(room: Room, before: Before, *, outdoor_c: float) -> Range:
    """Hours until the air of a room whose heat has failed reaches 0 °C.

    Parameters
    ----------
    room : Room
        What cools.
    before : Before
        How it was; both ends of the band above 0 °C or the answer is 0.
    outdoor_c : float
        Outdoors [°C], -90 to 60, held there.

    Returns
    -------
    Range
        Hours; infinite where outdoors is not below 0 °C.
    """
    check("outdoor_c", outdoor_c, -90.0, 60.0, "°C")
    if outdoor_c >= 0.0:
        return NEVER

    def hours(heat_j_k: float, air_c: float) -> float:
        if air_c <= 0.0:
            return 0.0
        return heat_j_k / room.ua_w_k * math.log((air_c - outdoor_c) / -outdoor_c) / 3600.0

    return _range(
        best=hours(room.heat_j_k.best, before.low_c),
        low=hours(room.heat_j_k.low, before.low_c - before.error_k),
        high=hours(room.heat_j_k.high, before.high_c + before.error_k),
    )


def freezing_in_room(pipe: PipeSpec, room: Room, before: Before, *, outdoor_c: float) -> Freezing:
    """Hours from the failure of the heat until the water in a pipe reaches 0 °C, and until all of it is ice.

    Parameters
    ----------
    pipe : PipeSpec
        One `[[pipe]]` of site.toml, hanging in the air of the room; one on an outer wall freezes sooner.
    room : Room
        What cools around it.
    before : Before
        How it was.
    outdoor_c : float
        Outdoors [°C], -90 to 60, held there.

    Returns
    -------
    Freezing
        Both counted from the failure; infinite where outdoors is not below 0 °C.

    Notes
    -----
    Best: from the low end of the band. Water that stays liquid below 0 °C for a while is not counted.
    """
    check("outdoor_c", outdoor_c, -90.0, 60.0, "°C")
    if outdoor_c >= 0.0:
        return Freezing(start_h=NEVER, solid_h=NEVER)
    resistance_m_kw = resistances_m_kw(pipe, air_c=outdoor_c)
    water_j_mk = WATER_KG_M3 * WATER_J_KGK * math.pi / 4.0 * pipe.bore_m**2

    def both_h(
        heat_j_k: float, one_m_kw: float, *, air_c: float, water_c: float, of_wall_j_mk: float = 0.0
    ) -> tuple[float, float]:
        course = _Course(
            outdoor_c=outdoor_c,
            air_c=max(air_c, outdoor_c),  # below outdoors nothing was heated
            water_c=water_c,
            room_s=heat_j_k / room.ua_w_k,
            pipe_s=one_m_kw * (water_j_mk + of_wall_j_mk),
        )
        start_s = course.start_s()
        # The shell of ice grows inwards, as in `physics.pipe.freezing_h` with a share of 1.
        cold_ks = latent_j_m(pipe.bore_m) * (one_m_kw + 1.0 / (4.0 * math.pi * ICE_W_MK))
        return start_s / 3600.0, course.solid_s(start_s, cold_ks) / 3600.0

    low_c, high_c = before.low_c, before.high_c + before.error_k
    coldest_c = low_c - before.error_k
    best = both_h(room.heat_j_k.best, resistance_m_kw.best, air_c=low_c, water_c=low_c)
    low = both_h(room.heat_j_k.low, resistance_m_kw.low, air_c=coldest_c, water_c=coldest_c - before.spread_k)
    high = both_h(
        room.heat_j_k.high,
        resistance_m_kw.high,
        air_c=high_c,
        water_c=high_c,
        of_wall_j_mk=wall_j_mk(pipe),
    )
    return Freezing(
        start_h=_range(best=best[0], low=low[0], high=high[0]),
        solid_h=_range(best=best[1], low=low[1], high=high[1]),
    )


def _range(*, best: float, low: float, high: float) -> Range:
    """The three are in order by what they are made of, but for the last digits of a float."""
    return Range(best=best, low=min(low, best), high=max(high, best))


def _first(is_there: Callable[[float], bool], *, about_s: float) -> float:
    """The moment from which on it is so, for something that comes true once and stays."""
    late_s = about_s
    for _ in range(_DOUBLINGS):
        if is_there(late_s):
            break
        late_s *= 2.0
    early_s = 0.0
    for _ in range(_HALVINGS):
        middle_s = (early_s + late_s) / 2.0
        if is_there(middle_s):
            late_s = middle_s
        else:
            early_s = middle_s
    return late_s


__all__ = ["HEAVY", "Before", "Range", "Room", "freezing_in_room", "room_zero_h"]

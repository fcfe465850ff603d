"""How far freezing went in a pipe while the air around it was recorded: "did my pipe freeze?"

One lump of water behind one resistance, first cooling to 0 °C, then giving off its latent heat, and thawing
the same way. Nothing here knows whether the pipe broke: that takes a plug of ice and trapped water, no share.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from overwinter.core.nouns import PipeSpec
from overwinter.physics.bounds import check
from overwinter.physics.constants import WATER_J_KGK, WATER_KG_M3
from overwinter.physics.pipe import latent_j_m, resistances_m_kw, wall_j_mk
from overwinter.physics.ranges import Range


@dataclass(frozen=True, slots=True, kw_only=True)
class Excursion:
    """What the cold did to one pipe."""

    ice_share: Range  # the most ice at any moment, as a share of the water, 0 to 1
    below_h: float  # hours that the recorded air was below 0 °C
    coldest_c: float


@dataclass(frozen=True, slots=True)
class _Lump:
    """One metre of pipe: what stands between water and air, and what its water and ice hold."""

    resistance_m_kw: float
    stored_j_mk: float
    latent_j_m: float


def excursion(
    pipe: PipeSpec,
    times_s: Sequence[float],
    air_c: Sequence[float],
    *,
    water_c: float | None = None,
    error_k: float = 0.5,
) -> Excursion:
    """How far freezing went in a pipe.

    Parameters
    ----------
    pipe : PipeSpec
        One `[[pipe]]` of site.toml.
    times_s : sequence of float
        When the air was recorded [s], rising; at least two.
    air_c : sequence of float
        The air around the pipe [°C], -90 to 60, as many. For a sensor strapped to the pipe this reads late:
        it already sees the water.
    water_c : float, optional
        Water at the start [°C], 0 to 60; that of the first air where it is not given, at least 0.
    error_k : float
        Accuracy of the sensor [K], 0 to 20.

    Returns
    -------
    Excursion
        Best: the air between two records is their mean, and `resistances_m_kw` is its best. High: the colder
        of the two all the time, less the error, with the lowest resistance. Low: the warmer one, plus the
        error, with the highest resistance and the heat of the wall. So a gap in the record widens the range.

    Raises
    ------
    ValueError
        Fewer than two records, not as many of one as of the other, times that do not rise, or out of range.

    Notes
    -----
    Water may stay liquid some kelvins below 0 °C until something makes it freeze; that is not counted, so all
    three figures err to the early side. The shell of ice that slows the rest by at most 2 % is left out too.

    References
    ----------
    .. [1] As `pipe.cooling_h` and `pipe.freezing_h`.
    """
    if len(times_s) < 2 or len(times_s) != len(air_c):
        raise ValueError(
            f"records: {len(times_s)} times and {len(air_c)} temperatures; must be as many, at least 2"
        )
    for at_c in air_c:
        check("air_c", at_c, -90.0, 60.0, "°C")
    for later in range(1, len(times_s)):
        if not times_s[later - 1] < times_s[later] < math.inf:
            earlier_s = times_s[later - 1]
            raise ValueError(
                f"times_s[{later}] = {times_s[later]:g}: must be above the one before, {earlier_s:g}"
            )
    check("error_k", error_k, 0.0, 20.0, "K")
    start_c = max(0.0, air_c[0]) if water_c is None else water_c
    check("water_c", start_c, 0.0, 60.0, "°C")

    spans_s = [times_s[later] - times_s[later - 1] for later in range(1, len(times_s))]
    ends_c = [(air_c[later - 1], air_c[later]) for later in range(1, len(air_c))]
    coldest_c = min(air_c)
    resistance_m_kw = resistances_m_kw(pipe, air_c=min(-1.0, coldest_c))
    water_j_mk = WATER_KG_M3 * WATER_J_KGK * math.pi / 4.0 * pipe.bore_m**2
    latent = latent_j_m(pipe.bore_m)

    best = _most_ice(
        _Lump(resistance_m_kw.best, water_j_mk, latent),
        start_c,
        spans_s,
        [(one_c + other_c) / 2.0 for one_c, other_c in ends_c],
    )
    high = _most_ice(
        _Lump(resistance_m_kw.low, water_j_mk, latent),
        start_c,
        spans_s,
        [min(pair_c) - error_k for pair_c in ends_c],
    )
    low = _most_ice(
        _Lump(resistance_m_kw.high, water_j_mk + wall_j_mk(pipe), latent),
        start_c,
        spans_s,
        [max(pair_c) + error_k for pair_c in ends_c],
    )
    below_s = sum(
        span_s for span_s, (one_c, other_c) in zip(spans_s, ends_c, strict=True) if one_c + other_c < 0.0
    )
    return Excursion(
        # The quicker pipe also thaws quicker, so the order of the three is not certain by itself.
        ice_share=Range(best=best, low=min(low, best), high=max(high, best)),
        below_h=below_s / 3600.0,
        coldest_c=coldest_c,
    )


def _most_ice(lump: _Lump, water_c: float, spans_s: Sequence[float], air_c: Sequence[float]) -> float:
    share, most = 0.0, 0.0
    for span_s, at_c in zip(spans_s, air_c, strict=True):
        water_c, share = _step(lump, water_c, share, at_c, span_s)
        most = max(most, share)
    return most


def _step(lump: _Lump, water_c: float, share: float, air_c: float, span_s: float) -> tuple[float, float]:
    """Water and share of ice after `span_s` in air of one temperature: exact, phase by phase."""
    left_s = span_s
    if share > 0.0:
        share_per_s = -air_c / (lump.resistance_m_kw * lump.latent_j_m)
        after = share + share_per_s * left_s
        if after > 0.0:
            return 0.0, min(1.0, after)
        left_s += share / share_per_s  # thawed; `share_per_s` is below 0
        water_c = 0.0
    time_constant_s = lump.resistance_m_kw * lump.stored_j_mk
    if air_c >= 0.0 or water_c > 0.0:
        after_c = air_c + (water_c - air_c) * math.exp(-left_s / time_constant_s)
        if after_c > 0.0 or air_c >= 0.0:
            return max(0.0, after_c), 0.0
        left_s -= time_constant_s * math.log((water_c - air_c) / -air_c)
    share_per_s = -air_c / (lump.resistance_m_kw * lump.latent_j_m)
    return 0.0, min(1.0, share_per_s * max(0.0, left_s))

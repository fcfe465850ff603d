"""How far pipes may have frozen in a silence, when nobody measured: `no`, `may have` or `cannot be known`.

Rule 1: the cold end takes the heat as off all the time, since silence is most often a power cut.
Rule 2: `no` is said only where even the cold end gives no ice. In doubt it is not said.
Rule 3: a length that is only a least proves ice where it is long enough, and never the lack of it.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from overwinter.core.nouns import PipeSpec
from overwinter.physics.freezing import excursion
from overwinter.physics.ranges import Range

BARE = PipeSpec(name="a bare 15 mm copper pipe", length_m=None, bore_m=0.0136, outside_m=0.015)
"""Judged where site.toml names no pipe: thinner ones are seldom fitted, and a bare one freezes first."""

COLDEST_C = -40.0
"""Outdoors where nothing is known of it: an assumption, colder than all but a few inhabited places."""

DAY_S = 86400.0
OUTDOOR_MARGIN_K = 5.0
"""So much colder than before and after it may have been outdoors in a gap of a day at most: an assumption."""

COOLS_ONLY_S = 6 * 3600.0
WARMED_K = 2.0
"""Without heat a house only cools, so in so short a time it was hardly colder than at the end: the sun or a
front may have warmed it by so much since. Assumptions."""

STEPS = 200
"""Parts into which the silence is cut; the worst end of each counts, so few only widen the range."""

NO_ICE = 0.001

ADVICE = (
    "Keep the pump off: open its breaker before anyone touches it, and leave mains work to a licensed "
    "electrician. Look for frost, bulges, split joints and water on the floor. Shut the supply and open a "
    "tap so that melting ice is not trapped. Thaw slowly, from the open tap backwards, by warm air or warm "
    "cloths, never with a flame. Watch for leaks as pressure comes back: a split shows only after the thaw."
)

Cooling = Callable[[float, float], Range]
"""Hours without heat and outdoors [°C], to the air then [°C]."""


class Verdict(StrEnum):
    """What can be said of one pipe."""

    NO = "no"
    MAY_HAVE = "may have"
    UNKNOWN = "cannot be known"


WORST_FIRST = (Verdict.MAY_HAVE, Verdict.UNKNOWN, Verdict.NO)


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeIce:
    """One pipe; the share is None where not even a length of the silence is known."""

    name: str
    ice_share: Range | None
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Frozen:
    """All pipes, the worst verdict of them, and the sentence for the owner."""

    pipes: tuple[PipeIce, ...]
    verdict: Verdict
    text: str
    is_assumed_pipe: bool


def may_have_frozen(
    *,
    pipes: Sequence[PipeSpec],
    gap_s: float | None,
    before_c: float | None,
    after_c: float | None,
    outdoor_c: Sequence[float] = (),
    cooling: Cooling | None = None,
    is_least: bool = False,
    error_k: float = 0.5,
) -> Frozen:
    """How far pipes may have frozen in a silence.

    Parameters
    ----------
    pipes : sequence of PipeSpec
        Those of site.toml; none: `BARE` stands for them.
    gap_s : float, optional
        How long nothing was recorded [s]; None: not known.
    before_c, after_c : float, optional
        The air before and after [°C].
    outdoor_c : sequence of float
        What is known of outdoors near the gap [°C], before and after it.
    cooling : callable, optional
        As learned; without it the cold end is air as cold as outdoors from the first moment.
    is_least : bool
        The gap may have been longer.
    error_k : float
        Accuracy of the sensor [K].
    """
    judged = tuple(pipes) or (BARE,)
    length_s = gap_s if gap_s is not None and math.isfinite(gap_s) and gap_s > 0.0 else None
    before_c, after_c = _plausible(before_c), _plausible(after_c)
    outdoors_c = [at_c for at_c in outdoor_c if _plausible(at_c) is not None]
    lacks = _lacks(length_s, is_least, before_c, after_c, outdoors_c)
    if length_s is None:
        found = tuple(PipeIce(name=pipe.name, ice_share=None, verdict=Verdict.UNKNOWN) for pipe in judged)
    else:
        outside_c = _outside_c(outdoors_c, length_s)
        found = tuple(
            _judged(
                pipe,
                length_s=length_s,
                before_c=before_c,
                after_c=after_c,
                outside_c=outside_c,
                cooling=cooling,
                error_k=error_k,
                is_sure=not lacks,
                is_least=is_least,
            )
            for pipe in judged
        )
    verdicts = {pipe.verdict for pipe in found}
    worst = next(one for one in WORST_FIRST if one in verdicts)
    return Frozen(
        pipes=found, verdict=worst, text=_text(found, worst, lacks, not pipes), is_assumed_pipe=not pipes
    )


def _plausible(at_c: float | None) -> float | None:
    return at_c if at_c is not None and -80.0 <= at_c <= 55.0 else None


def _lacks(
    length_s: float | None,
    is_least: bool,
    before_c: float | None,
    after_c: float | None,
    outdoors_c: Sequence[float],
) -> list[str]:
    lacks = []
    if length_s is None:
        lacks.append("how long it lasted is not known")
    elif is_least:
        lacks.append("it may have lasted longer than the clock says")
    if before_c is None:
        lacks.append("the temperature before it is not known")
    if after_c is None:
        lacks.append("the temperature after it is not known")
    if not outdoors_c:
        lacks.append("the temperature outdoors is not known")
    elif length_s is not None and length_s > DAY_S:
        lacks.append("outdoors may have been much colder in so long a time")
    return lacks


def _outside_c(outdoors_c: Sequence[float], length_s: float) -> float:
    if not outdoors_c or length_s > DAY_S:
        return COLDEST_C
    return max(COLDEST_C, min(outdoors_c) - OUTDOOR_MARGIN_K)


def _judged(
    pipe: PipeSpec,
    *,
    length_s: float,
    before_c: float | None,
    after_c: float | None,
    outside_c: float,
    cooling: Cooling | None,
    error_k: float,
    is_sure: bool,
    is_least: bool,
) -> PipeIce:
    times_s = [length_s * step / STEPS for step in range(STEPS + 1)]
    ends_c = [at_c for at_c in (before_c, after_c) if at_c is not None]
    floor_c = min([outside_c, *ends_c])
    if after_c is not None and length_s <= COOLS_ONLY_S and not is_least:
        floor_c = max(floor_c, min(ends_c) - WARMED_K)
    cold_c = [floor_c] * len(times_s)
    if cooling is not None and before_c is not None:
        learned_c = [_bounded(cooling(at_s / 3600.0, outside_c).low, floor_c, before_c) for at_s in times_s]
        if after_c is None or after_c >= learned_c[-1] - error_k:  # else what was measured disproves it
            cold_c = learned_c
    start_c = 0.0 if before_c is None else max(0.0, before_c - error_k)
    cold = excursion(pipe, times_s, cold_c, water_c=start_c, error_k=error_k).ice_share
    low = best = 0.0
    if before_c is not None and after_c is not None:
        # The best guess without more knowledge: a straight line. The warm end: the warmer of the two.
        line_c = [before_c + (after_c - before_c) * at_s / length_s for at_s in times_s]
        best = excursion(pipe, times_s, line_c, error_k=error_k).ice_share.best
        low = excursion(pipe, [0.0, length_s], [before_c, after_c], error_k=error_k).ice_share.low
    high = max(cold.high, best, low)
    share = Range(best=max(best, low), low=low, high=high)
    if share.best > NO_ICE or (high > NO_ICE and is_sure):
        verdict = Verdict.MAY_HAVE
    elif high > NO_ICE or is_least:
        verdict = Verdict.UNKNOWN
    else:
        verdict = Verdict.NO
    return PipeIce(name=pipe.name, ice_share=share, verdict=verdict)


def _bounded(at_c: float, low_c: float, high_c: float) -> float:
    return low_c if math.isnan(at_c) else max(low_c, min(high_c, at_c))


def _text(found: Sequence[PipeIce], worst: Verdict, lacks: Sequence[str], is_assumed: bool) -> str:
    by = " (no pipe is named in site.toml: judged by a bare 15 mm copper pipe)" if is_assumed else ""
    why = "; ".join(lacks)
    if worst is Verdict.NO:
        return f"No pipe can have frozen while nothing was recorded{by}."
    if worst is Verdict.UNKNOWN:
        return f"Whether pipes froze while nothing was recorded cannot be known: {why}{by}. {ADVICE}"
    named = ", ".join(
        f"{pipe.name} (up to {100.0 * pipe.ice_share.high:.0f} % ice)"
        for pipe in found
        if pipe.verdict is Verdict.MAY_HAVE and pipe.ice_share is not None
    )
    unsure = f" Not certain: {why}." if why else ""
    return f"Water may have frozen while nothing was recorded: {named}{by}.{unsure} {ADVICE}"

"""What a span of the logbook says should be changed before the next winter: codes and their evidence.

Rule: one finding for one cause. Whoever words them is `show`; nothing is advised without a figure.
"""

from dataclasses import dataclass

from overwinter.core.nouns import Site
from overwinter.core.watch import WORN_SHARE
from overwinter.physics.advice import CYCLES_H_MAX, FREEZE_LOW_C, WINTERS
from overwinter.reckon.report import DAY_S, Figures

NEAR_LIMIT_DUTY = 0.85
"""A heater that is on so much of its busiest day has little left for a colder one."""

IDLE_SHARE = 0.5
"""Heat that is on less than that while it is too cold was not called for, or did not come."""

DOUBTFUL_SHARE = 0.01
LAMP_H = 5000.0
"""What heat lamps are commonly sold for [h]: from memory."""

LONG_S = 30.0 * 86_400.0
"""Only from so long a record on is a winter's wear foretold."""

MARGIN_K = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the advice rests on, beside the figures."""

    low_c: float | None  # the band's low end as last recorded
    alarm_low_c: float
    samples: int
    doubtful: int
    cycles: int
    cycles_ever: int | None  # the relay's counter
    lamp_h: float  # heat since the note "new lamp", else in the whole span
    has_lamp_note: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing to change; `value` is its evidence, and what the others mean is said by `code`."""

    code: str
    value: float
    other: float | None = None
    third: float | None = None


def advise(found: Figures, seen: Seen, site: Site) -> tuple[Advice, ...]:
    """What to change, the most dangerous first."""
    advice = _cold(found, seen)
    if not any(one.code == "heater-too-small" for one in advice):
        advice += _busy(found)
    cuts_s = [gap.to_s - gap.from_s for gap in found.gaps if gap.cause == "power"]
    if cuts_s:
        advice.append(Advice(code="power-cuts", value=len(cuts_s), other=sum(cuts_s), third=max(cuts_s)))
    silent_s = [gap.to_s - gap.from_s for gap in found.gaps if gap.cause in ("killed", "unknown")]
    if silent_s:
        advice.append(Advice(code="silences", value=len(silent_s), other=sum(silent_s)))
    if seen.samples and seen.doubtful / seen.samples >= DOUBTFUL_SHARE:
        advice.append(Advice(code="failed-readings", value=seen.doubtful, other=seen.samples))
    if site.heater.kind == "lamp" and (seen.has_lamp_note or found.recorded_s >= LONG_S):
        code = "lamp-hours" if seen.has_lamp_note else "lamp-hours-at-least"
        advice.append(Advice(code=code, value=seen.lamp_h, other=LAMP_H))
    return (*advice, *_relay(found, seen, site))


def _cold(found: Figures, seen: Seen) -> list[Advice]:
    limit_c = max(seen.alarm_low_c, FREEZE_LOW_C)
    if found.coldest_c is None or found.coldest_c > limit_c or _fell_in_a_gap(found, limit_c):
        return []
    share = found.heat_share_while_cold
    if share is not None and share >= NEAR_LIMIT_DUTY:
        return [Advice(code="heater-too-small", value=found.coldest_c, other=share)]
    if (
        share is not None
        and share < IDLE_SHARE
        and (seen.low_c is None or found.coldest_c < seen.low_c - 1.0)
    ):
        return [Advice(code="heat-was-off", value=found.coldest_c, other=share)]
    if seen.low_c is None:
        return []
    raised_c = seen.low_c + (limit_c - found.coldest_c) + MARGIN_K
    return [Advice(code="band-too-low", value=found.coldest_c, other=seen.low_c, third=raised_c)]


def _fell_in_a_gap(found: Figures, limit_c: float) -> bool:
    """Whether it got so cold while the guard was away: then neither band nor heater is to blame."""
    assert found.coldest_at_s is not None
    return any(
        gap.to_s <= found.coldest_at_s <= gap.to_s + DAY_S
        and gap.after_c is not None
        and gap.after_c <= limit_c
        and (gap.before_c is None or gap.before_c > limit_c)
        for gap in found.gaps
    )


def _busy(found: Figures) -> list[Advice]:
    if found.busiest_duty is None or found.busiest_duty < NEAR_LIMIT_DUTY:
        return []
    return [Advice(code="heater-near-limit", value=found.busiest_duty)]


def _relay(found: Figures, seen: Seen, site: Site) -> list[Advice]:
    rated, advice = site.relay.rated_cycles, []
    if rated is not None and seen.cycles_ever is not None and seen.cycles_ever >= WORN_SHARE * rated:
        advice.append(Advice(code="relay-worn", value=seen.cycles_ever, other=rated))
    elif rated is not None and found.recorded_s >= LONG_S and seen.cycles * WINTERS > rated:
        advice.append(Advice(code="relay-wears", value=seen.cycles, other=rated))
    recorded_h = found.recorded_s / 3600.0
    if recorded_h >= 1.0 and seen.cycles / recorded_h > CYCLES_H_MAX:
        advice.append(Advice(code="short-cycles", value=seen.cycles / recorded_h, other=CYCLES_H_MAX))
    return advice

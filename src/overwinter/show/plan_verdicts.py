"""What fits and what does not: each thing of a plan in one sentence with its numbers, and a mark."""

from collections.abc import Iterator

from overwinter.reckon.plan import Plan
from overwinter.show import text
from overwinter.show.plan_page import Item, Mark

CONTINUOUS_SHARE = 0.8
"""What a breaker carries for hours; `physics.circuit` judges by the same, and a test sees to it."""

LIFE_YEARS = 5.0
"""A relay that is worn out sooner is the wrong one: common practice."""


def verdicts(plan: Plan) -> Iterator[Item]:
    """Heater, weather, band, circuit, relay and high limit."""
    yield from _heater_verdict(plan)
    yield from _winter_verdict(plan)
    yield _band_verdict(plan)
    yield from _circuit_verdicts(plan)
    yield from _contact_verdict(plan)
    if plan.site.heater.limiter:
        yield Item("An independent high limit is in the heater's circuit.", Mark.FITS)
    else:
        yield Item(
            "No independent high limit is in the heater's circuit (heater.limiter): a welded contact would "
            "heat without end. Have a listed one fitted, then say limiter = true.",
            Mark.MEND,
        )


def _heater_verdict(plan: Plan) -> Iterator[Item]:
    unit, watts, low_c = plan.site.unit, plan.site.heater.watts, plan.band.low_c
    held = text.setting(low_c, unit)
    if plan.site.heater.kind == "cable":
        yield Item("The heater is a cable, which warms its pipe and not the room: not judged.", Mark.UNKNOWN)
        return
    if plan.heater_limit_c is None or watts is None:
        yield Item("Whether the heater is strong enough; see what is missing below.", Mark.UNKNOWN)
        return
    limit = text.temperature(plan.heater_limit_c, unit)
    bound = "" if plan.conductance.is_complete else " at the very best, since not all of the loss is known,"
    if plan.loss_w is None or plan.design_c is None:
        yield Item(
            f"The heater of {watts:g} W holds {held}{bound} down to {limit} outdoors; whether it gets colder "
            "than that is not said.",
            Mark.UNKNOWN,
        )
        return
    at_design = text.setting(plan.design_c, unit)
    loss = f"{'' if plan.conductance.is_complete else 'at least '}{plan.loss_w:.0f} W"
    if not plan.is_heater_enough:
        yield Item(
            f"The heater of {watts:g} W holds {held}{bound} only down to {limit} outdoors. At {at_design} "
            f"the house loses {loss}: {plan.loss_w - watts:.0f} W more than it gives.",
            Mark.MEND,
        )
        return
    yield Item(
        f"The heater of {watts:g} W holds {held}{bound} down to {limit} outdoors; at {at_design} the house "
        f"loses {loss}.",
        Mark.FITS if plan.conductance.is_complete else Mark.UNKNOWN,
    )


def _winter_verdict(plan: Plan) -> Iterator[Item]:
    winter, watts = plan.winter, plan.site.heater.watts
    if winter is None or winter.short_h is None or winter.short_kwh is None:
        return
    held = text.setting(plan.band.low_c, plan.site.unit)
    if winter.short_h == 0.0:
        yield Item(f"In this weather {watts:g} W hold {held} at all times.", Mark.FITS)
        return
    yield Item(
        f"In {winter.short_h:.0f} h of this weather it is too cold for {watts:g} W to hold {held}: "
        f"{winter.short_kwh:.0f} kWh are wanting.",
        Mark.MEND,
    )


def _band_verdict(plan: Plan) -> Item:
    unit, low_c = plan.site.unit, plan.band.low_c
    advised = text.span(low_c=plan.advice.low_c, high_c=plan.advice.high_c, unit=unit)
    if plan.band.source == "advice":
        return Item(f"Band advised for this house: {advised}.", Mark.FITS)
    if not is_band_enough(plan):
        return Item(
            f"The low end of {text.setting(low_c, unit)} is below the "
            f"{text.setting(plan.advice.low_c, unit)} that protects the pipes; the reasons stand below.",
            Mark.MEND,
        )
    if plan.band.high_c - low_c < plan.advice.high_c - plan.advice.low_c - 0.01:
        return Item(
            f"The band of {band_words(plan)} is narrower than advised, so the relay switches more often; "
            f"advised is {advised}.",
            Mark.MEND,
        )
    return Item(f"The band of {band_words(plan)} protects the pipes; advised is {advised}.", Mark.FITS)


def _circuit_verdicts(plan: Plan) -> Iterator[Item]:
    load, circuit, watts = plan.circuit, plan.site.circuit, plan.site.heater.watts
    if load is None or circuit is None or load.current_a is None:
        yield Item("Whether breaker, cord and contact carry the heater.", Mark.UNKNOWN)
        return
    bad = {problem.key for problem in load.problems}
    for problem in load.problems:
        yield Item(f"{problem.text[0].upper()}{problem.text[1:]}.", Mark.MEND)
    current = f"{watts:g} W at {circuit.volts:g} V take {load.current_a:.1f} A"
    if circuit.breaker_a is None:
        yield Item(f"{current}; the breaker is not given.", Mark.UNKNOWN)
    elif "circuit.breaker_a" not in bad:
        yield Item(
            f"{current}; a breaker of {circuit.breaker_a:g} A carries "
            f"{CONTINUOUS_SHARE * circuit.breaker_a:.1f} A for hours.",
            Mark.FITS,
        )
    if circuit.cord_length_m and not bad & {"circuit.cord_mm2", "circuit.cord_length_m"}:
        if load.drop_v is None:
            yield Item("The cord's gauge is not given.", Mark.UNKNOWN)
        else:
            yield Item(f"The cord loses {load.drop_v:.1f} V, {load.drop_pct:.1f} % (3 % at most).", Mark.FITS)
    if circuit.relay_resistive_a is None:
        yield Item("Whether the relay's contact carries it; its rating is not given.", Mark.UNKNOWN)
    elif "circuit.relay_resistive_a" not in bad:
        inrush = "" if plan.inrush_a is None else f" and {plan.inrush_a:.1f} A while the lamp is cold"
        yield Item(
            f"The relay's contact of {circuit.relay_resistive_a:g} A carries {load.current_a:.1f} A{inrush}.",
            Mark.FITS,
        )


def _contact_verdict(plan: Plan) -> Iterator[Item]:
    contact = plan.contact
    if contact is None:
        return
    pace = f"at most about {contact.cycles_h:.1f} times an hour"
    if contact.life_years is None:
        yield Item(f"The relay switches {pace}; for how many winters is not known.", Mark.UNKNOWN)
    elif contact.life_years < LIFE_YEARS:
        yield Item(
            f"The relay switches {pace}, and is worn out after {contact.life_years:.1f} winters of 4000 h; "
            "widen the band, or fit one with a longer life.",
            Mark.MEND,
        )
    else:
        yield Item(f"The relay switches {pace}: {contact.life_years:.0f} winters or more.", Mark.FITS)


def is_band_enough(plan: Plan) -> bool:
    """Whether the low end is not below the advised one; a hundredth of a kelvin is rounding."""
    return plan.band.low_c >= plan.advice.low_c - 0.01


def band_words(plan: Plan) -> str:
    """The band in both units."""
    return text.span(low_c=plan.band.low_c, high_c=plan.band.high_c, unit=plan.site.unit)

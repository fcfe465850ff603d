"""A plan in sentences: what fits, what does not, what to change, each with its numbers."""

from collections.abc import Iterator, Sequence

from overwinter.core.units import K_PER_F, Unit, c_from_f
from overwinter.reckon.plan import Plan, Winter
from overwinter.reckon.savings import MORE_M2K_W, Saving
from overwinter.show import text
from overwinter.show.plan_page import Item, Mark, Page, Section, Table, counted, hours
from overwinter.show.plan_verdicts import CONTINUOUS_SHARE, band_words, is_band_enough, verdicts

FT2_M2 = 0.09290304
R_US_M2K_W = MORE_M2K_W / 5.0

MISSING = {
    "building": "[building] with its parts would tell heat loss, the heater's limit, energy and cost of a "
    "winter, and how fast the room cools",
    "building.design_outdoor": "building.design_outdoor, a cold night as it comes every few years, would "
    "tell whether the heater is enough then, and how soon pipes freeze then",
    "heater.watts": "heater.watts would tell down to which cold the heater holds the band, and its current",
    "pipe": "[[pipe]] with bore, outside and insulation would tell how soon each pipe freezes",
    "circuit": "[circuit] would tell whether breaker, cord and the relay's contact carry the heater",
    "relay.rated_cycles": "relay.rated_cycles, from its data sheet, would tell how many winters it lasts",
    "tariff.per_kwh": "tariff.per_kwh would tell what a winter costs",
    "--weather": "--weather FILE (EPW, TMY3 or plain CSV), or --degree-days, would tell energy and cost "
    "of a winter",
}
"""What each input that is not given would tell, by its key."""

NO_APPROVAL = (
    "General figures, no approval: local code, the listing of the equipment and a licensed electrician "
    "decide. Damp places need more, such as a GFCI or RCD."
)
SOURCES = {"asked": "as asked for", "settings": "as set", "advice": "as advised"}


def plan_page(plan: Plan, *, made_by: str = "") -> Page:
    """The whole plan as a page."""
    found = list(verdicts(plan))
    to_mend = sum(item.mark is Mark.MEND for item in found)
    unknown = sum(item.mark is Mark.UNKNOWN for item in found)
    counts = [f"{counted(to_mend, 'thing')} to mend" if to_mend else "nothing found to mend"]
    counts += [f"{unknown} not known"] if unknown else []
    sections = [
        Section(title="What fits, and what does not", items=found),
        *_changes(plan),
        *_heat(plan),
        *_winter(plan),
        _band(plan),
        *_pipes(plan),
        Section(title="Cautions", items=[Item(one) for one in cautions(plan)]),
        *_listed("Not given, and what it would tell", missing(plan)),
        *_listed("Assumed", assumptions(plan)),
    ]
    return Page(
        title=f"{plan.site.name}: plan",
        lead=f"For a band of {band_words(plan)}, {SOURCES[plan.band.source]}: {', '.join(counts)}.",
        sections=sections,
        foot=made_by,
    )


def cautions(plan: Plan) -> list[str]:
    """What must be heeded whatever the figures say."""
    unit, site, found = plan.site.unit, plan.site, []
    found += [f"{one[0].upper()}{one[1:]}." for one in plan.advice.cautions]
    if plan.blind is not None:
        limit_c = plan.blind.outdoor_limit_c
        found.append(
            f"When no sensor can be believed, heat is on {100.0 * plan.blind.duty:.0f} % of the time in mode "
            f"freeze and may carry the house {_step(plan.blind.rise_k, unit)} above outdoors: where it is "
            f"warmer than {text.temperature(limit_c, unit)} outdoors, past its ceiling of "
            f"{text.temperature(plan.blind.ceiling_c, unit)}. Only an independent high limit stops that."
        )
    if site.heater.kind == "lamp":
        found.append(
            "A heat lamp sets fire to what touches it or falls on it: keep its listed clearance, "
            "behind a guard."
        )
    if site.heater.backup_thermostat_c is None:
        found.append(
            "No backup thermostat is given: with a dead board, relay or sensor nothing else heats. Without "
            "power nothing heats at all; hang up the card, overwinter plan --card."
        )
    else:
        found.append("Without power nothing heats: hang up the card, overwinter plan --card.")
    if plan.winter is not None and plan.winter.held_kwh is None:
        found.append(
            f"The degree days count as days below {text.setting(plan.band.middle_c, unit)}. Most tables "
            f"count below {text.temperature(c_from_f(65.0), unit)}, which would be many times too much."
        )
    found.append(NO_APPROVAL)
    return found


def assumptions(plan: Plan) -> list[str]:
    """What was taken for granted."""
    unit, found = plan.site.unit, list(plan.conductance.assumptions)
    if plan.heater_limit_c is not None:
        found.append(
            "the heater gives all of its rated watts to the room"
            + (f"; the cord takes {_lost_pct(plan):.0f} % of that" if _lost_pct(plan) >= 0.5 else "")
        )
    if plan.winter is not None:
        found.append(
            f"the middle of the band, {text.setting(plan.band.middle_c, unit)}, is held; every hour is "
            "steady, and sun, people and the pump's own warmth are left out, so energy is rather too high"
        )
    if plan.savings:
        found.append(
            f"insulation is added as R-5 ({MORE_M2K_W:.2f} m2 K/W), about an inch of foam board; closing "
            "gaps halves the air that comes through; a floor on the ground saves less than stated"
        )
    if plan.pipes:
        found.append(
            f"water stands still in the pipes, at {text.setting(plan.band.low_c, unit)} when heat fails; "
            "pipes hang in the air of the room: one on an outer wall or in a draught freezes sooner"
        )
        found.append(
            "times to freeze: ASHRAE's method for insulated pipes, the still air's film for bare ones; "
            "fittings, and water that stays liquid below freezing for a while, are left out"
        )
    if plan.room is not None and plan.pipes:
        heat = plan.room.heat_j_k
        found.append(
            f"the room cools with {heat.best / 1000.0:.0f} kJ/K ({heat.low / 1000.0:.0f} to "
            f"{heat.high / 1000.0:.0f}): air, shelves and the skin of the walls, at most much masonry and "
            "water; the early end also has the sensor reading "
            f"{_step(plan.before.error_k, unit)} too high and the pipe {_step(plan.before.spread_k, unit)} "
            "colder than the air"
        )
    return [f"{one[0].upper()}{one[1:]}." for one in found]


def missing(plan: Plan) -> list[str]:
    """Inputs that are not given, and what each would tell."""
    found = [MISSING[key] for key in plan.missing]
    found += list(plan.conductance.missing) if plan.site.building is not None else []
    if plan.circuit is not None and plan.site.heater.watts is not None:
        found += list(plan.circuit.unknown)
    return [
        f"{one[0].upper()}{one[1:]}." if one[0].islower() and "." not in one.split()[0] else f"{one}."
        for one in found
    ]


def _changes(plan: Plan) -> Iterator[Section]:
    savings = (_saving(plan, one) for one in plan.savings)
    items = [Item(one) for one in (*_band_change(plan), *_heater_changes(plan), *savings)]
    if plan.all_savings is not None:
        items.append(Item(_together(plan, plan.all_savings)))
    if items:
        watts_at = ""
        if plan.savings and plan.design_c is not None:
            watts_at = f"Watts: what each saves at {text.setting(plan.design_c, plan.site.unit)} outdoors."
        yield Section(title="What to change", items=items, note=watts_at)


def _band_change(plan: Plan) -> Iterator[str]:
    if is_band_enough(plan):
        return
    unit = plan.site.unit
    low, high = (text.number(text.in_unit(one_c, unit)) for one_c in (plan.advice.low_c, plan.advice.high_c))
    yield f"Raise the band to what is advised: overwinter band {low}{unit} {high}{unit}."


def _heater_changes(plan: Plan) -> Iterator[str]:
    watts, loss_w = plan.site.heater.watts, plan.loss_w
    if plan.is_heater_enough is not False or watts is None or loss_w is None or plan.design_c is None:
        return
    needed_w = 10.0 * -(-loss_w // 10.0)
    least = "at least " if plan.conductance.is_complete else "more than "
    sentence = (
        f"A heater of {least}{needed_w:.0f} W holds {text.setting(plan.band.low_c, plan.site.unit)} at "
        f"{text.setting(plan.design_c, plan.site.unit)} outdoors"
    )
    circuit = plan.site.circuit
    if circuit is not None and circuit.breaker_a is not None:
        most_w = CONTINUOUS_SHARE * circuit.breaker_a * circuit.volts
        sentence += (
            f"; this circuit carries {most_w:.0f} W for hours"
            if needed_w <= most_w
            else f", but this circuit carries only {most_w:.0f} W for hours"
        )
    yield f"{sentence}."


def _saving(plan: Plan, saving: Saving) -> str:
    what = f"R-5 more on the {saving.what}"
    if plan.site.unit is Unit.C:
        what = f"{MORE_M2K_W:.1f} m2 K/W more (R-5) on the {saving.what}"
    if saving.is_air:
        what = "Closing gaps, to half of the air that comes through,"
    return f"{what[0].upper()}{what[1:]} saves {_saved(plan, saving)}."


def _together(plan: Plan, saving: Saving) -> str:
    sentence = f"All of these together save {_saved(plan, saving)}"
    watts = plan.site.heater.watts
    if plan.heater_limit_c is not None and watts is not None:
        limit_c = plan.band.low_c - watts / saving.left_w_k
        sentence += (
            f"; {watts:g} W then hold {text.setting(plan.band.low_c, plan.site.unit)} down to "
            f"{text.temperature(limit_c, plan.site.unit)} outdoors"
        )
    return f"{sentence}."


def _saved(plan: Plan, saving: Saving) -> str:
    parts = []
    if saving.saved_kwh is not None:
        cost = ""
        if plan.site.per_kwh is not None:
            cost = f" ({_money(plan, saving.saved_kwh * plan.site.per_kwh)})"
        parts.append(f"{saving.saved_kwh:.0f} kWh a winter{cost}")
    if plan.design_c is not None and plan.design_c < plan.band.low_c:
        parts.append(f"{saving.saved_w_k * (plan.band.low_c - plan.design_c):.0f} W")
    return " and ".join(parts) or f"{saving.saved_w_k:.1f} W/K"


def _heat(plan: Plan) -> Iterator[Section]:
    total_w_k, unit = plan.ua_w_k, plan.site.unit
    if not total_w_k:
        return
    is_us = unit is Unit.F
    rows = [
        (
            part.name,
            f"{part.area_m2 / FT2_M2:.0f} ft2" if is_us else f"{part.area_m2:.1f} m2",
            f"R-{1.0 / part.u_w_m2k / R_US_M2K_W:.1f}" if is_us else f"{part.u_w_m2k:.2f} W/m2K",
            *_loss_cells(plan, part.ua_w_k, total_w_k),
        )
        for part in plan.conductance.parts
    ]
    if plan.conductance.air_w_k is not None:
        rows.append(("air through gaps", "", "", *_loss_cells(plan, plan.conductance.air_w_k, total_w_k)))
    bound = "" if plan.conductance.is_complete else "at least "
    rows.append((f"{bound}in all", "", "", *_loss_cells(plan, total_w_k, total_w_k)))
    head = ["part", "area", "insulation" if is_us else "U", "W/K", "share"]
    note = ""
    if plan.design_c is not None:
        head.append(f"at {text.setting(plan.design_c, unit)}")
        note = f"Watts at that outdoor temperature, with {text.setting(plan.band.low_c, unit)} inside."
    yield Section(title="Where the heat goes", table=Table(head=head, rows=rows), note=note)


def _loss_cells(plan: Plan, one_w_k: float, total_w_k: float) -> list[str]:
    cells = [f"{one_w_k:.1f}", f"{100.0 * one_w_k / total_w_k:.0f} %"]
    if plan.design_c is not None:
        cells.append(f"{one_w_k * max(0.0, plan.band.low_c - plan.design_c):.0f} W")
    return cells


def _winter(plan: Plan) -> Iterator[Section]:
    winter = plan.winter
    if winter is None:
        return
    asked = f"{winter.kwh:.0f} kWh" + ("" if winter.cost is None else f", {_money(plan, winter.cost)}")
    items = [Item(f"Holding the band takes {asked}.")]
    if winter.held_kwh is not None and winter.saved_kwh is not None:
        held = f"{winter.held_kwh:.0f} kWh"
        held += "" if winter.held_cost is None else f", {_money(plan, winter.held_cost)}"
        saved = f"{winter.saved_kwh:.0f} kWh"
        saved += "" if winter.saved_cost is None else f", {_money(plan, winter.saved_cost)},"
        items.append(
            Item(
                f"Holding {text.temperature(c_from_f(60.0), plan.site.unit)} all the time would take "
                f"{held}: the band saves {saved} of it."
            )
        )
    items += _hours_of(plan, winter)
    yield Section(title=f"A winter, by {winter.source}", items=items)


def _hours_of(plan: Plan, winter: Winter) -> Iterator[Item]:
    if winter.hours is None or winter.heating_h is None or winter.coldest_c is None:
        return
    yield Item(
        f"{winter.heating_h:.0f} of {winter.hours:.0f} h ask for heat; the coldest is "
        f"{text.temperature(winter.coldest_c, plan.site.unit)}."
    )
    if winter.filled:
        yield Item(f"{counted(winter.filled, 'missing temperature')} of the file filled by a straight line.")


def _band(plan: Plan) -> Section:
    advised = text.span(low_c=plan.advice.low_c, high_c=plan.advice.high_c, unit=plan.site.unit)
    return Section(
        title=f"Why {advised}", items=[Item(f"{one[0].upper()}{one[1:]}.") for one in plan.advice.why]
    )


def _pipes(plan: Plan) -> Iterator[Section]:
    if not plan.pipes or plan.design_c is None:
        return
    in_room = plan.room is not None
    head = ["pipe", *(["room closed", "frozen through"] if in_room else []), "open to outdoors"]
    head += [] if in_room else ["frozen through"]
    where = "in the closed room, or as if it stood open" if in_room else "as if the house stood open"
    rows = []
    for pipe in plan.pipes:
        assert pipe.open_air is not None
        cells = [hours(pipe.open_air.start_h)] + ([] if in_room else [hours(pipe.open_air.solid_h)])
        if pipe.in_room is not None:
            cells = [hours(pipe.in_room.start_h), hours(pipe.in_room.solid_h), *cells]
        rows.append((pipe.name, *cells))
    yield Section(
        title=f"Without heat at {text.setting(plan.design_c, plan.site.unit)} outdoors",
        lead=f"Until the water in a pipe has {text.setting(0.0, plan.site.unit)}; {where}.",
        table=Table(head=head, rows=rows),
        note="From then on ice may form, and a plug of it may burst a pipe long before it is frozen "
        "through. In brackets: the least and the most it may be.",
    )


def _listed(title: str, found: Sequence[str]) -> Iterator[Section]:
    """No title over nothing."""
    if found:
        yield Section(title=title, items=[Item(one) for one in found])


def _step(step_k: float, unit: Unit) -> str:
    """A difference, in the site's unit first: `1.8 F degrees (1.0 K)`."""
    return f"{step_k / K_PER_F:.1f} F degrees ({step_k:.1f} K)" if unit is Unit.F else f"{step_k:.1f} K"


def _money(plan: Plan, amount: float) -> str:
    return f"{amount:.2f} {plan.site.currency or 'of the tariff'}"


def _lost_pct(plan: Plan) -> float:
    """What a cord takes of a heater's power [%]."""
    pct = plan.circuit.drop_pct if plan.circuit is not None else None
    return 0.0 if pct is None else 100.0 * (1.0 - (1.0 - min(100.0, pct) / 100.0) ** 2)

"""The door card: one page on the wall, for when the power and the board are dead.

What is reckoned says so, and what is common practice says so. Whoever reads it stands in the cold with a
torch: few words, in the order in which things are done.
"""

from overwinter.core.units import Unit
from overwinter.reckon.plan import Outage, Plan
from overwinter.show import text
from overwinter.show.plan_page import Item, Page, Section, Table, counted, hours

PIPES_MAX = 6
"""More rows do not fit on the page; the ones that freeze first are shown."""

NAME_MAX = 40
"""Longer names are cut, so that the card stays one page."""


def card_page(plan: Plan, *, made_by: str = "") -> Page:
    """The card as a page."""
    return Page(
        title=f"{_short(plan.site.name, NAME_MAX)}: no power, no heat",
        lead="When power and board are dead. Water and mains voltage together kill: breaker off, then touch.",
        sections=[
            _hours(plan),
            _drain(plan),
            _cautions(),
            _generator(plan),
            _after(),
        ],
        foot=made_by,
    )


def _hours(plan: Plan) -> Section:
    unit = plan.site.unit
    head = ["outdoors", *(_outdoors(one, unit) for one in plan.outages)]
    shown = plan.pipes[:PIPES_MAX]
    rows = [
        (_short(pipe.name, NAME_MAX), *(hours(one.pipes[at].start_h) for one in plan.outages))
        for at, pipe in enumerate(shown)
    ]
    if plan.room is not None:
        rows.append(("air in the house", *(_room(one) for one in plan.outages)))
    needed = [f"{one.loss_w:.0f} W" for one in plan.outages if one.loss_w is not None]
    if needed:
        bound = "" if plan.conductance.is_complete else ", at least"
        rows.append((f"heat that holds {text.setting(plan.band.low_c, unit)}{bound}", *needed))
    return Section(
        title="How long until pipes freeze",
        lead="" if plan.pipes else "Not known: no [[pipe]] is described in site.toml.",
        table=Table(head=head, rows=rows) if rows else None,
        note=_hours_note(plan),
    )


def _hours_note(plan: Plan) -> str:
    sentences = []
    unit = plan.site.unit
    freezing, low = text.setting(0.0, unit), text.setting(plan.band.low_c, unit)
    if plan.room is not None:
        sentences.append(
            f"Until {freezing} is reached, from {low} with door shut, reckoned from the house as it cools. "
            "In brackets: the least and the most it may be; go by the least."
        )
    elif plan.pipes:
        sentences.append(
            f"Until {freezing} is reached, from {low}, for the pipe alone as if it hung outdoors, since the "
            "building is not (wholly) described: in the house it takes longer. In brackets: the least and "
            "the most it may be."
        )
    sentences.append("From then on ice may form. On an outer wall or in a draught it comes sooner.")
    left_out = len(plan.pipes) - PIPES_MAX
    if left_out > 0:
        sentences.append(f"{counted(left_out, 'pipe')} more, which freeze later, are not shown.")
    return " ".join(sentences)


def _drain(plan: Plan) -> Section:
    first = f", above all {_short(plan.pipes[0].name, NAME_MAX)!r}" if plan.pipes else ""
    steps = [
        "Pump breaker OFF. It stays off until all is full of water again: a pump that runs dry is ruined.",
        "Heater: unplug it or open its breaker. Power that comes back starts it without warning.",
        "Shut the valve towards the house, and any supply that comes from elsewhere.",
        "Open the highest tap to let air in, then drain from the lowest point: tank, pump, low pipe.",
        f"Thin lines freeze first{first}: once the pressure is off, loosen a fitting and blow through.",
        "Drain plug of the pump, filter bowls, water softener. Leave taps and drains open.",
        "What will not drain: antifreeze for drinking-water systems, never the one for cars.",
    ]
    return Section(
        title="Shut and drain, in this order (common practice)",
        items=[Item(step) for step in steps],
        are_steps=True,
    )


def _generator(plan: Plan) -> Section:
    watts, unit = plan.site.heater.watts, plan.site.unit
    items = []
    if watts is not None:
        heater = f"Heater as fitted: {watts:g} W"
        if plan.inrush_a is not None and plan.site.circuit is not None:
            heater += f"; a cold lamp draws {plan.inrush_a:.0f} A for a moment, which may trip a small one"
        items.append(f"{heater}.")
    else:
        items.append("Heater: its watts are not in site.toml; read its plate.")
    if any(one.loss_w is not None for one in plan.outages):
        items.append(
            f"To hold {text.setting(plan.band.low_c, unit)} it takes the watts of the table's last row."
        )
    items.append(
        "Pump: its starting watts are not known here; read its plate. Starting takes several times what "
        "running does (common practice). Leave it off if in doubt."
    )
    items.append(
        "Outdoors only, away from doors and windows: its exhaust kills. Feed single appliances by a cord, "
        "never the house's wiring without a transfer switch that an electrician put in."
    )
    return Section(title="Generator", items=[Item(one) for one in items])


def _after() -> Section:
    steps = [
        "Pump breaker OFF, heater unplugged. Shut the main valve: what has split leaks only once it thaws.",
        "Look for splits before there is pressure again: pipes, fittings, the pump's housing, tank, switch.",
        "No open flame, no torch. Open a tap and warm gently from there: warm air, warm cloths.",
        "Anything electric that is wet or was under ice: do not switch it on; call a licensed electrician.",
        "Fill slowly with someone watching every joint. Then the pump, then the heater.",
        "In doubt, or if anything has split: licensed plumber, pump fitter, electrician.",
    ]
    return Section(
        title="After a freeze (common practice)", items=[Item(step) for step in steps], are_steps=True
    )


def _cautions() -> Section:
    return Section(
        title="Cautions",
        items=[
            Item("NOT ISOLATED: with power, heat may start without warning. Breaker off before touching."),
            Item(
                "No heater, lamp or flame unattended in place of this one. Nothing within reach of its heat."
            ),
            Item(
                "Times are reckoned, not measured, for weather that stays. This is no approval: local code "
                "and a licensed electrician go before anything that stands here."
            ),
        ],
    )


def _outdoors(outage: Outage, unit: Unit) -> str:
    here, there = (text.number(text.in_unit(outage.outdoor_c, one), 1) for one in (unit, text.other(unit)))
    return f"{here} {unit} ({there} {text.other(unit)})"


def _room(outage: Outage) -> str:
    assert outage.room_zero_h is not None
    return hours(outage.room_zero_h)


def _short(name: str, longest: int) -> str:
    return name if len(name) <= longest else f"{name[: longest - 3]}..."

"""A plan's figures for programs: SI, the unit in each key, null for what is unknown or never comes."""

from overwinter.physics.pipe import Freezing
from overwinter.reckon.plan import Outage, Plan, Winter
from overwinter.reckon.savings import Saving


def facts(plan: Plan) -> dict[str, object]:
    """All of it, but the sentences: cautions, assumptions and what is missing are added by who words them."""
    conductance, circuit = plan.conductance, plan.circuit
    names = [pipe.name for pipe in plan.pipes]
    return {
        "site": plan.site.name,
        "band": {
            "low_c": plan.band.low_c,
            "high_c": plan.band.high_c,
            "source": plan.band.source,
        },
        "ua_w_k": conductance.total_w_k,
        "ua_is_complete": conductance.is_complete,
        "parts": [
            {"name": part.name, "area_m2": part.area_m2, "u_w_m2k": part.u_w_m2k, "ua_w_k": part.ua_w_k}
            for part in conductance.parts
        ],
        "air_w_k": conductance.air_w_k,
        "design_outdoor_c": plan.design_c,
        "loss_w": plan.loss_w,
        "heater_w": plan.site.heater.watts,
        "heater_limit_c": plan.heater_limit_c,
        "heater_is_enough": plan.is_heater_enough,
        "season": None if plan.winter is None else _season(plan.winter, plan.site.currency),
        "savings": [_saving(one) for one in plan.savings],
        "advice": {
            "low_c": plan.advice.low_c,
            "high_c": plan.advice.high_c,
            "why": list(plan.advice.why),
            "on_wall_low_c": plan.advice.on_wall_low_c,
        },
        "pipes": [
            {
                "name": pipe.name,
                **_times(pipe.open_air),
                "in_room": None if pipe.in_room is None else _times(pipe.in_room),
            }
            for pipe in plan.pipes
        ],
        "without_heat": [_outage(one, names) for one in plan.outages],
        "circuit": (
            None
            if circuit is None
            else {
                "current_a": circuit.current_a,
                "drop_v": circuit.drop_v,
                "drop_pct": circuit.drop_pct,
                "problems": [
                    {"key": one.key, "value": one.value, "allowed": one.allowed, "text": one.text}
                    for one in circuit.problems
                ],
            }
        ),
        "relay": (
            None
            if plan.contact is None
            else {
                "cycles_h": plan.contact.cycles_h,
                "rated_cycles": plan.contact.rated_cycles,
                "life_years": plan.contact.life_years,
            }
        ),
        "blind": (
            None
            if plan.blind is None
            else {
                "duty": plan.blind.duty,
                "rise_k": plan.blind.rise_k,
                "ceiling_c": plan.blind.ceiling_c,
                "outdoor_limit_c": plan.blind.outdoor_limit_c,
            }
        ),
    }


def _times(times: Freezing | None) -> dict[str, object]:
    return {
        "start_h": None if times is None else times.start_h.facts(),
        "solid_h": None if times is None else times.solid_h.facts(),
    }


def _season(winter: Winter, currency: str) -> dict[str, object]:
    return {
        "source": winter.source,
        "kwh": winter.kwh,
        "cost": winter.cost,
        "currency": currency,
        "held_60f_kwh": winter.held_kwh,
        "held_60f_cost": winter.held_cost,
        "saved_kwh": winter.saved_kwh,
        "saved_cost": winter.saved_cost,
        "hours": winter.hours,
        "heating_h": winter.heating_h,
        "coldest_c": winter.coldest_c,
        "short_h": winter.short_h,
        "short_kwh": winter.short_kwh,
        "filled": winter.filled,
    }


def _saving(saving: Saving) -> dict[str, object]:
    return {
        "what": "gaps" if saving.is_air else saving.what,
        "saved_w_k": saving.saved_w_k,
        "saved_kwh": saving.saved_kwh,
        "left_w_k": saving.left_w_k,
    }


def _outage(outage: Outage, names: list[str]) -> dict[str, object]:
    return {
        "outdoor_c": outage.outdoor_c,
        "loss_w": outage.loss_w,
        "room_zero_h": None if outage.room_zero_h is None else outage.room_zero_h.facts(),
        "pipes": [{"name": name, **_times(times)} for name, times in zip(names, outage.pipes, strict=True)],
    }

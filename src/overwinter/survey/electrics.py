"""Heater and circuit: what may burn, weld or trip, as far as site.toml tells.

The figures and their sources are `physics.circuit`'s; here they only get their words.
"""

from collections.abc import Iterator, Mapping

from overwinter.core.nouns import Mode, Role, Settings, Site
from overwinter.core.units import say
from overwinter.physics.circuit import circuit_load
from overwinter.physics.duty import blind_duty_limit, steady_rise_k
from overwinter.physics.envelope import ua_w_k
from overwinter.survey.finding import Finding, fault, sound, unknown
from overwinter.survey.scene import Scene

WARM_DAY_C = 20.0
"""How warm it may get outdoors on a day in season, when no other sensor tells it [our assumption]."""

_CORD = (
    "cord",
    "A cord that gets hot is a common cause of fires, and what it loses does not heat.",
    "Plug the heater straight into an outlet.",
)
_WORDS: Mapping[str, tuple[str, str, str]] = {
    "circuit.breaker_a": (
        "breaker",
        "A breaker loaded to the brim for hours trips, and the house freezes.",
        "Fit a smaller heater, or have it given a circuit of its own.",
    ),
    "circuit.relay_resistive_a": (
        "relay-rating",
        "A contact that welds keeps the heat on, whatever the guard says.",
        "Fit a listed contactor, or a relay that is rated for it.",
    ),
}
"""By the key that the circuit's judge blames: our code, why it matters, what to do."""

DUTY_LEAST = 0.1
"""The smallest failsafe.duty that may be set."""


def findings(scene: Scene) -> Iterator[Finding]:
    """What is to be said of heater and circuit."""
    site = scene.site
    if site is None:
        return
    yield _limiter(site)
    yield from _circuit(site)
    settings = scene.settings or Settings()
    if settings.mode is Mode.FREEZE and site.heater.kind != "cable":
        yield _blind_heat(site, settings, scene)


def _limiter(site: Site) -> Finding:
    if site.heater.limiter:
        return sound("limiter", "heater", "has an independent high limit, says site.toml")
    return fault(
        "limiter",
        "heater",
        "has no independent high limit (heater.limiter is not true)",
        why="When the relay's contact welds or this program fails, nothing else switches the heat off.",
        fix="Have a high limit with manual reset fitted in the heater's circuit; only then enter:",
        command="[heater]\nlimiter = true",
    )


def _circuit(site: Site) -> Iterator[Finding]:
    circuit = site.circuit
    if circuit is None:
        yield unknown(
            "circuit",
            "[circuit]",
            "is not in site.toml",
            why="Breaker, cord and the relay's contact cannot be compared with the heater.",
            fix="Enter it in site.toml:",
            command="[circuit]\nvolts = 120.0\nbreaker_a = 15.0\nrelay_resistive_a = 30.0",
        )
        return
    load = circuit_load(circuit, site.heater)
    if circuit.cord_length_m > 0.0:
        lost = "" if load.drop_v is None else f", which takes {load.drop_v:.1f} V ({load.drop_pct:.1f} %)"
        yield fault(
            "cord",
            "extension cord",
            f"{circuit.cord_length_m:.1f} m{lost}",
            why="Plugs and cords at a heater that runs for hours get hot, and are a common cause of fires.",
            fix="Plug the heater straight into an outlet, then set cord_length_m = 0 in site.toml.",
        )
    else:
        yield sound("cord", "extension cord", "there is none")
    for problem in load.problems:
        code, why, fix = _WORDS.get(problem.key, _CORD)
        yield fault(code, problem.key, problem.text, why=why, fix=fix)
    judged = {problem.key for problem in load.problems}
    if site.heater.watts is not None:
        if circuit.breaker_a is not None and "circuit.breaker_a" not in judged:
            yield sound("breaker", "the breaker", f"bears {load.current_a:.1f} A for hours")
        if circuit.relay_resistive_a is not None and "circuit.relay_resistive_a" not in judged:
            yield sound("relay-rating", "the relay's contact", "is rated for the heater")
    for text in load.unknown:
        yield unknown(
            "circuit",
            "circuit",
            text,
            why="What is not known cannot be found too weak.",
            fix="Enter it in site.toml.",
        )


def _blind_heat(site: Site, settings: Settings, scene: Scene) -> Finding:
    thing, code = "blind heat", "blind-heat"
    why = (
        "Blind means that no sensor tells when it gets too hot; only an independent high limit stops it then."
    )
    watts = site.heater.watts
    building = None if site.building is None else ua_w_k(site.building)
    if watts is None or building is None or building.total_w_k is None:
        lacking = [] if watts is not None else ["heater.watts"]
        lacking += (
            [] if building is not None and building.total_w_k is not None else ["[building] with its parts"]
        )
        return unknown(
            code,
            thing,
            f"how hot it makes the house cannot be known without {' and '.join(lacking)}",
            why=why,
            fix="Enter heater.watts and [building] (walls, roof, door, floor) as etc/site.toml shows.",
        )
    rise_k = steady_rise_k(watts=watts, duty=settings.blind_duty, ua_w_k=building.total_w_k)
    # Another sensor stops blind heat where it says that it is this warm; without one nothing does.
    told = any(spec.role is not Role.CONTROL for spec in site.sensors)
    warmest_c = settings.warm_above_c if told else WARM_DAY_C
    hottest, ceiling = say(warmest_c + rise_k, settings.unit), say(settings.ceiling_c, settings.unit)
    day = f"on a day of {say(warmest_c, settings.unit)}"
    partial = "; reckoned without what site.toml does not tell of the building" if building.missing else ""
    value = f"reaches {hottest} {day}, {watts:g} W at a duty of {settings.blind_duty:g}{partial}"
    if warmest_c + rise_k <= settings.ceiling_c:
        return sound(code, thing, f"{value}: below the ceiling, {ceiling}")
    duty = blind_duty_limit(
        ceiling_c=settings.ceiling_c, outdoor_c=warmest_c, watts=watts, ua_w_k=building.total_w_k
    )
    duty = int(duty * 20) / 20  # downwards, in steps that a person would choose
    other = "" if told else " Or fit an outdoor sensor: it stops blind heat on a warm day."
    if duty < DUTY_LEAST:
        return fault(
            code,
            thing,
            f"{value}: above the ceiling, {ceiling}",
            why=why,
            fix=f"Fit a smaller heater: no duty that may be set is small enough.{other}",
        )
    return fault(
        code,
        thing,
        f"{value}: above the ceiling, {ceiling}",
        why=why,
        fix=f"Set a smaller duty, if `{scene.at.command('plan')}` says that it still keeps the pipes.{other}",
        command=scene.at.command(f"set failsafe.duty={duty:g}"),
    )

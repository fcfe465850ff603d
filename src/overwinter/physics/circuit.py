"""The heater's circuit: current, voltage drop, breaker, cord, relay contact, and heat that nobody watches.

General figures only. Local code, the equipment's listing and a licensed electrician decide; wet or damp
places need more (a residual-current device).
"""

from dataclasses import dataclass

from overwinter.core.nouns import Circuit, HeaterSpec, Problem
from overwinter.physics.bounds import check

COPPER_OHM_M = 1.7241e-8
"""Copper at 20 °C [NBS Handbook 100, as quoted in the Cirris wire table: AWG 12, 1.588 ohm per 1000 ft]."""

COPPER_PER_K = 0.00393
"""Rise of copper's resistance for each kelvin [the same]; at 75 °C within 0.4 % of NEC ch. 9 table 8."""

STRANDED = 1.0235
"""A stranded wire against a solid one of the same gauge [NEC ch. 9 table 8: 1.020 to 1.026, AWG 18 to 10]."""

HOT_CORD_C = 75.0
"""The temperature that cords are reckoned at: a warm wire drops more, and NEC's table is for it."""

CONTINUOUS_SHARE = 0.8
"""A heater runs for hours; such a load may take this share of its breaker [NEC 210.20 and 424, as quoted]."""

DROP_SHARE = 0.03
"""Voltage drop that NEC's informational note recommends not to exceed in a branch circuit; 5 % in all."""

LAMP_INRUSH = 10.0
"""A cold filament takes so many times its steady current [Omron "Load Types & Ratings"; Leach: 10 to 15]."""

CORD_AMPACITY_A: tuple[tuple[float, float, str], ...] = (
    (3.309, 25.0, "AWG 12"),
    (2.081, 18.0, "AWG 14"),
    (1.309, 13.0, "AWG 16"),
    (1.038, 12.0, "AWG 17"),
    (0.823, 10.0, "AWG 18"),
)
"""Section [mm2], current [A]: cords, two loaded conductors, 30 °C [NEC table 400.5(A), as quoted by UL]."""

HEATER_CORD_MM2 = 2.08
"""AWG 14: a thinner cord has no business at a heater [general safety advice, CPSC and utilities]."""

_GAUGE_SLACK = 0.999  # the table's sections are rounded to a thousandth of a mm2


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitLoad:
    """What the heater asks of its circuit.

    `problems` is what should be mended, `unknown` what could not be judged and why, both in sentences.
    """

    current_a: float | None
    drop_v: float | None  # over the cord alone; 0 without one
    drop_pct: float | None
    problems: tuple[Problem, ...]
    unknown: tuple[str, ...]


def current_a(*, watts: float, volts: float) -> float:
    """Current of a heater or lamp.

    Parameters
    ----------
    watts : float
        Power [W], 0 to 100 000.
    volts : float
        Voltage [V], 5 to 500.

    Returns
    -------
    float
        Current [A]; a resistive load, power factor 1.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("watts", watts, 0.0, 100_000.0, "W")
    check("volts", volts, 5.0, 500.0, "V")
    return watts / volts


def copper_ohm_m(*, area_mm2: float, temperature_c: float = 20.0) -> float:
    """Resistance of one metre of solid copper wire.

    Parameters
    ----------
    area_mm2 : float
        Cross-section [mm2], 0.05 to 150.
    temperature_c : float
        Temperature of the wire [°C], -50 to 120.

    Returns
    -------
    float
        Resistance [ohm/m].

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] NBS Handbook 100, as quoted in the Cirris wire table; NEC chapter 9 table 8.
    """
    check("area_mm2", area_mm2, 0.05, 150.0, "mm2")
    check("temperature_c", temperature_c, -50.0, 120.0, "°C")
    return COPPER_OHM_M * (1.0 + COPPER_PER_K * (temperature_c - 20.0)) / (area_mm2 * 1e-6)


def cord_drop_v(
    *, current_a: float, length_m: float, area_mm2: float, temperature_c: float = HOT_CORD_C
) -> float:
    """Voltage lost on the way there and back through a stranded copper cord.

    Parameters
    ----------
    current_a : float
        Current [A], 0 to 100 000.
    length_m : float
        Length of the cord, one way [m], 0 to 500.
    area_mm2 : float
        Cross-section of one conductor [mm2], 0.05 to 150.
    temperature_c : float
        Temperature of the wire [°C], -50 to 120.

    Returns
    -------
    float
        Drop [V].

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] NEC chapter 9 table 8, as quoted by SFASoft; tradelicenseprep: 20 A, 100 ft of AWG 12, 7.9 V.
    """
    check("current_a", current_a, 0.0, 100_000.0, "A")
    check("length_m", length_m, 0.0, 500.0, "m")
    return (
        2.0 * length_m * current_a * STRANDED * copper_ohm_m(area_mm2=area_mm2, temperature_c=temperature_c)
    )


def heat_share(drop_share: float) -> float:
    """What a resistive heater still gives of its power at reduced voltage.

    Parameters
    ----------
    drop_share : float
        Share of the voltage that is lost [1], 0 to 1.

    Returns
    -------
    float
        Share of the power [1]: the square of what is left of the voltage.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("drop_share", drop_share, 0.0, 1.0)
    return (1.0 - drop_share) ** 2


def cord_ampacity_a(area_mm2: float) -> float | None:
    """Current that a cord may carry for long.

    Parameters
    ----------
    area_mm2 : float
        Cross-section of one conductor [mm2], 0.05 to 150. Between two gauges the thinner one counts.

    Returns
    -------
    float or None
        Current [A], 25 A also for anything thicker than AWG 12; None below AWG 18, where no figure was seen.

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] NEC table 400.5(A), two current-carrying conductors, 30 °C, as quoted in a UL clause.
    """
    check("area_mm2", area_mm2, 0.05, 150.0, "mm2")
    for gauge_mm2, ampacity_a, _ in CORD_AMPACITY_A:
        if area_mm2 >= gauge_mm2 * _GAUGE_SLACK:
            return ampacity_a
    return None


def contact_needed_a(*, current_a: float, is_lamp: bool) -> float:
    """Resistive rating that a relay's contact must exceed.

    Parameters
    ----------
    current_a : float
        Steady current [A], 0 to 100 000.
    is_lamp : bool
        Whether it is an incandescent lamp, whose cold filament takes ten times that.

    Returns
    -------
    float
        Current [A]. A 250 W lamp at 120 V asks for 20.8 A: more than the 10 A of a small board's relay.

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] Omron, "Load Types & Ratings".
    """
    check("current_a", current_a, 0.0, 100_000.0, "A")
    return current_a * (LAMP_INRUSH if is_lamp else 1.0)


def circuit_load(circuit: Circuit, heater: HeaterSpec) -> CircuitLoad:
    """What the heater of site.toml asks of its circuit, and what is wrong with it.

    Parameters
    ----------
    circuit : Circuit
        `[circuit]` of site.toml.
    heater : HeaterSpec
        `[heater]` of site.toml.

    Returns
    -------
    CircuitLoad
        Nothing raises; what is not given is in `unknown`.

    References
    ----------
    .. [1] The constants of this file, each with its own.
    """
    if heater.watts is None:
        unknown = ("heater.watts is not given, so nothing can be said of its circuit",)
        return CircuitLoad(current_a=None, drop_v=None, drop_pct=None, problems=(), unknown=unknown)
    steady_a = current_a(watts=heater.watts, volts=circuit.volts)
    problems: list[Problem] = []
    unknown_so_far: list[str] = []
    _judge_breaker(circuit, steady_a, problems, unknown_so_far)
    drop_v = _judge_cord(circuit, steady_a, problems, unknown_so_far)
    _judge_contact(circuit, heater, steady_a, problems, unknown_so_far)
    return CircuitLoad(
        current_a=steady_a,
        drop_v=drop_v,
        drop_pct=None if drop_v is None else 100.0 * drop_v / circuit.volts,
        problems=tuple(problems),
        unknown=tuple(unknown_so_far),
    )


def _judge_breaker(circuit: Circuit, steady_a: float, problems: list[Problem], unknown: list[str]) -> None:
    if circuit.breaker_a is None:
        unknown.append("circuit.breaker_a is not given, so the heater is not compared with its breaker")
        return
    most_a = CONTINUOUS_SHARE * circuit.breaker_a
    if steady_a > most_a:
        allowed = f"at most {most_a:.1f} A, 80 % of the breaker, for a load that runs for hours"
        text = (
            f"the heater takes {steady_a:.1f} A from a breaker of {circuit.breaker_a:g} A; "
            f"allowed is {allowed}. "
            f"Take a heater of {most_a * circuit.volts:.0f} W or less, or have a larger circuit installed"
        )
        problems.append(Problem("circuit.breaker_a", circuit.breaker_a, allowed, text))


def _judge_cord(
    circuit: Circuit, steady_a: float, problems: list[Problem], unknown: list[str]
) -> float | None:
    if circuit.cord_length_m == 0.0:
        return 0.0
    area_mm2 = circuit.cord_mm2
    if area_mm2 is None:
        unknown.append("circuit.cord_awg or cord_mm2 is not given, so the cord is not judged")
        return None
    if area_mm2 < HEATER_CORD_MM2 * _GAUGE_SLACK:
        allowed = "AWG 14 (2.08 mm2) or thicker; better none: a heater belongs straight into a wall outlet"
        text = f"the cord of {area_mm2:.2f} mm2 is too thin for a heater; allowed is {allowed}"
        problems.append(Problem("circuit.cord_mm2", area_mm2, allowed, text))
    ampacity_a = cord_ampacity_a(area_mm2)
    if ampacity_a is None:
        unknown.append(f"no published current is known for a cord of {area_mm2:.2f} mm2")
    elif steady_a > ampacity_a:
        allowed = f"at most {ampacity_a:g} A"
        text = f"the heater takes {steady_a:.1f} A through a cord of {area_mm2:.2f} mm2; allowed is {allowed}"
        problems.append(Problem("circuit.cord_mm2", area_mm2, allowed, text))
    drop_v = cord_drop_v(current_a=steady_a, length_m=circuit.cord_length_m, area_mm2=area_mm2)
    share = drop_v / circuit.volts
    if share > DROP_SHARE:
        allowed = f"at most {DROP_SHARE:.0%}: shorter or thicker"
        text = (
            f"the cord of {circuit.cord_length_m:.1f} m loses {drop_v:.1f} V, {share:.1%} of the voltage and "
            f"{1.0 - heat_share(min(1.0, share)):.0%} of the heat; recommended is {allowed}"
        )
        problems.append(Problem("circuit.cord_length_m", circuit.cord_length_m, allowed, text))
    return drop_v


def _judge_contact(
    circuit: Circuit, heater: HeaterSpec, steady_a: float, problems: list[Problem], unknown: list[str]
) -> None:
    rating_a = circuit.relay_resistive_a
    if rating_a is None:
        unknown.append("circuit.relay_resistive_a is not given, so the relay's contact is not judged")
        return
    is_lamp = heater.kind == "lamp"
    needed_a = contact_needed_a(current_a=steady_a, is_lamp=is_lamp)
    if needed_a >= rating_a:
        why = "the inrush of a cold lamp, ten times its current" if is_lamp else "the heater's current"
        allowed = f"more than {needed_a:.1f} A, {why}"
        text = (
            f"the relay's contact is rated {rating_a:g} A; needed is {allowed}: "
            "it may weld shut. Fit a contactor or a relay that is rated for it"
        )
        problems.append(Problem("circuit.relay_resistive_a", rating_a, allowed, text))

"""How long still water in a pipe takes to reach 0 °C, and then to freeze through.

The alarm-relevant moment is the first: from there on ice may form. Pipes burst by the pressure of water that
is trapped behind a plug of ice, so a pipe need not be solid to break; and clean water may stay liquid some
kelvins below 0 °C for a while, which delays the ice but saves nothing.

Best guess: the published method (ASHRAE), which leaves out the air film outside and the heat in the pipe's
wall and so errs to the early side. A bare pipe has nothing but its film. The low end of a range is a draught
on the pipe, or insulation that is not what it was; the high end counts film and wall in.
"""

import math
from dataclasses import dataclass

from overwinter.core.nouns import PipeSpec
from overwinter.physics.bounds import check, check_above
from overwinter.physics.constants import FUSION_J_KG, ICE_W_MK, WATER_J_KGK, WATER_KG_M3
from overwinter.physics.film import draught_w_m2k, still_air_w_m2k
from overwinter.physics.ranges import Range

NEVER = Range(best=math.inf, low=math.inf, high=math.inf)

EMISSIVITY = 0.8
"""Painted, oxidised or plastic surfaces; bare bright copper has about 0.5 and cools a little later."""

DRAUGHT_M_S = 0.5
"""The air at a pipe near a gap or a door: an assumption for the early end of a range."""

DAMAGED = 0.8
"""Insulation that is damp, crushed or open at its joints, against the sheet's figure: an assumption."""

WALL_J_M3K = 3.74e6
"""Steel, 7800 kg/m3 at 480 J/(kg K); copper holds 7 % less, plastic less than half [materials]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Freezing:
    """Hours until still water reaches 0 °C, and until all of it is ice; infinite where it never does."""

    start_h: Range
    solid_h: Range


def layer_m_kw(*, bore_m: float, outside_m: float, conductivity_w_mk: float) -> float:
    """Resistance of one metre of a hollow cylinder.

    Parameters
    ----------
    bore_m, outside_m : float
        Inner and outer diameter [m], above 0; the outer not less.
    conductivity_w_mk : float
        Conductivity [W/(m K)], above 0 to 500.

    Returns
    -------
    float
        Resistance [m K/W].

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 23, eq. 2.
    """
    check_above("bore_m", bore_m, 0.0, 10.0, "m")
    check("outside_m", outside_m, bore_m, 10.0, "m")
    check_above("conductivity_w_mk", conductivity_w_mk, 0.0, 500.0, "W/(m K)")
    return math.log(outside_m / bore_m) / (2.0 * math.pi * conductivity_w_mk)


def surface_m_kw(*, outside_m: float, film_w_m2k: float) -> float:
    """Resistance of the air film around one metre of a cylinder.

    Parameters
    ----------
    outside_m : float
        Outer diameter [m], above 0 to 10.
    film_w_m2k : float
        Heat transfer of the film [W/(m2 K)], above 0 to 1000.

    Returns
    -------
    float
        Resistance [m K/W].

    Raises
    ------
    ValueError
        Out of range.
    """
    check_above("outside_m", outside_m, 0.0, 10.0, "m")
    check_above("film_w_m2k", film_w_m2k, 0.0, 1000.0, "W/(m2 K)")
    return 1.0 / (math.pi * outside_m * film_w_m2k)


def cooling_h(
    *, bore_m: float, resistance_m_kw: float, water_c: float, air_c: float, wall_j_mk: float = 0.0
) -> float:
    """Time until still water in a pipe reaches 0 °C.

    Parameters
    ----------
    bore_m : float
        Inner diameter of the pipe [m], above 0 to 10.
    resistance_m_kw : float
        From the water to the air, of one metre [m K/W], above 0 to 1000.
    water_c : float
        Water at the start [°C], 0 to 60.
    air_c : float
        Air around the pipe [°C], -90 to 60, held there.
    wall_j_mk : float
        Heat in one metre of the pipe's wall [J/(m K)], 0 to 1e6; the published method leaves it out.

    Returns
    -------
    float
        Hours; infinite where the air is not below 0 °C.

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    One lump of water behind one resistance. Against 48 printed entries (pipes of 15 to 300 mm, insulation of
    25 to 100 mm): median 1.2 %, from an hour on at most 5.1 %.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 23, eqs. 1 and 2, table 6.
    """
    _check(bore_m=bore_m, resistance_m_kw=resistance_m_kw, air_c=air_c)
    check("water_c", water_c, 0.0, 60.0, "°C")
    check("wall_j_mk", wall_j_mk, 0.0, 1e6, "J/(m K)")
    if air_c >= 0.0:
        return math.inf
    stored_j_mk = WATER_KG_M3 * WATER_J_KGK * _section_m2(bore_m) + wall_j_mk
    return stored_j_mk * resistance_m_kw * math.log((water_c - air_c) / -air_c) / 3600.0


def freezing_h(*, bore_m: float, resistance_m_kw: float, air_c: float, share: float = 1.0) -> float:
    """Time until a share of still water that has reached 0 °C is ice.

    Parameters
    ----------
    bore_m : float
        Inner diameter of the pipe [m], above 0 to 10.
    resistance_m_kw : float
        From the water to the air, of one metre [m K/W], above 0 to 1000.
    air_c : float
        Air around the pipe [°C], -90 to 60, held there.
    share : float
        Share of the water's mass [1], 0 to 1.

    Returns
    -------
    float
        Hours; infinite where the air is not below 0 °C.

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Latent heat through the resistance, as in ISO 12241 (its form from memory; reckoned with the density of
    water), and the shell of ice that grows inwards (Stefan, quasi-steady), which adds 0.5 to 2 % in the pipes
    of a house.

    References
    ----------
    .. [1] ISO 12241, "Cooling and freezing times"; its worked example was not seen.
    """
    _check(bore_m=bore_m, resistance_m_kw=resistance_m_kw, air_c=air_c)
    check("share", share, 0.0, 1.0)
    if air_c >= 0.0:
        return math.inf
    liquid = 1.0 - share
    shell = share + (liquid * math.log(liquid) if liquid > 0.0 else 0.0)
    resistance_in_all_m_kw = share * resistance_m_kw + shell / (4.0 * math.pi * ICE_W_MK)
    return latent_j_m(bore_m) * resistance_in_all_m_kw / -air_c / 3600.0


def latent_j_m(bore_m: float) -> float:
    """Heat that one metre of a pipe's water gives off when all of it freezes [J/m]; `bore_m` [m] above 0."""
    check_above("bore_m", bore_m, 0.0, 10.0, "m")
    return WATER_KG_M3 * FUSION_J_KG * _section_m2(bore_m)


def resistances_m_kw(pipe: PipeSpec, *, air_c: float) -> Range:
    """Resistance of one metre from the water to the air.

    Parameters
    ----------
    pipe : PipeSpec
        One `[[pipe]]` of site.toml; its wall conducts far better than what is around it.
    air_c : float
        Air around the pipe [°C], -90 to 60: the film depends on it a little.

    Returns
    -------
    Range
        [m K/W]. Best: the insulation alone, as the published method has it, or the film of the bare pipe in
        still air where that is more (thin insulation is never worse than none). Low: a draught, and
        insulation that is not what it was. High: insulation and film.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("insulation_m", pipe.insulation_m, 0.0, 1.0, "m")
    covered_m = pipe.outside_m + 2.0 * pipe.insulation_m
    # What drives the convection: the whole drop at a bare pipe, about a tenth of it at a covered one.
    bare_m_kw = _film_m_kw(pipe.outside_m, drop_k=-air_c)
    blown_m_kw = surface_m_kw(
        outside_m=pipe.outside_m,
        film_w_m2k=draught_w_m2k(
            diameter_m=pipe.outside_m,
            speed_m_s=DRAUGHT_M_S,
            surface_c=0.0,
            air_c=air_c,
            emissivity=EMISSIVITY,
        ),
    )
    if pipe.insulation_m == 0.0:
        return Range(best=bare_m_kw, low=min(bare_m_kw, blown_m_kw), high=bare_m_kw)
    insulation_m_kw = layer_m_kw(
        bore_m=pipe.outside_m, outside_m=covered_m, conductivity_w_mk=pipe.insulation_w_mk
    )
    best_m_kw = max(insulation_m_kw, bare_m_kw)
    return Range(
        best=best_m_kw,
        low=min(best_m_kw, max(DAMAGED * insulation_m_kw, blown_m_kw)),
        high=max(best_m_kw, insulation_m_kw + _film_m_kw(covered_m, drop_k=-0.1 * air_c)),
    )


def wall_j_mk(pipe: PipeSpec) -> float:
    """Heat in one metre of a pipe's wall [J/(m K)], as if of steel: the most it may be."""
    return WALL_J_M3K * (_section_m2(pipe.outside_m) - _section_m2(pipe.bore_m))


def freezing(pipe: PipeSpec, *, water_c: float, air_c: float) -> Freezing:
    """Hours until still water in a pipe reaches 0 °C, and until all of it is ice.

    Parameters
    ----------
    pipe : PipeSpec
        One `[[pipe]]` of site.toml.
    water_c : float
        Water at the start [°C], 0 to 60.
    air_c : float
        Air around the pipe [°C], -90 to 60, held there.

    Returns
    -------
    Freezing
        Both counted from the start. Ranges: see `resistances_m_kw`; the high end also has the wall's heat.

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 23, eqs. 1 and 2; see `freezing_h`.
    """
    check("water_c", water_c, 0.0, 60.0, "°C")
    check("outside_m", pipe.outside_m, pipe.bore_m, 10.0, "m")
    if air_c >= 0.0:
        check("air_c", air_c, -90.0, 60.0, "°C")
        return Freezing(start_h=NEVER, solid_h=NEVER)
    resistance_m_kw = resistances_m_kw(pipe, air_c=air_c)

    def start_h(one_m_kw: float, of_wall_j_mk: float = 0.0) -> float:
        return cooling_h(
            bore_m=pipe.bore_m,
            resistance_m_kw=one_m_kw,
            water_c=water_c,
            air_c=air_c,
            wall_j_mk=of_wall_j_mk,
        )

    def ice_h(one_m_kw: float) -> float:
        return freezing_h(bore_m=pipe.bore_m, resistance_m_kw=one_m_kw, air_c=air_c)

    start = Range(
        best=start_h(resistance_m_kw.best),
        low=start_h(resistance_m_kw.low),
        high=start_h(resistance_m_kw.high, wall_j_mk(pipe)),
    )
    return Freezing(
        start_h=start,
        solid_h=Range(
            best=start.best + ice_h(resistance_m_kw.best),
            low=start.low + ice_h(resistance_m_kw.low),
            high=start.high + ice_h(resistance_m_kw.high),
        ),
    )


def _film_m_kw(outside_m: float, *, drop_k: float) -> float:
    film_w_m2k = still_air_w_m2k(
        diameter_m=outside_m, surface_c=0.0, air_c=-max(1.0, drop_k), emissivity=EMISSIVITY
    )
    return surface_m_kw(outside_m=outside_m, film_w_m2k=film_w_m2k)


def _section_m2(diameter_m: float) -> float:
    return math.pi / 4.0 * diameter_m**2


def _check(*, bore_m: float, resistance_m_kw: float, air_c: float) -> None:
    check_above("bore_m", bore_m, 0.0, 10.0, "m")
    check_above("resistance_m_kw", resistance_m_kw, 0.0, 1000.0, "m K/W")
    check("air_c", air_c, -90.0, 60.0, "°C")

"""How much heat a building loses for each kelvin that it is warmer inside than outside.

Steady heat flow only; what a building stores is reckoned elsewhere. Where something is not given it is named
and left out, never guessed: a `Conductance` that is not complete is a lower bound, and says so.
Where a choice was needed it is the one that loses more heat: a heater chosen too small freezes pipes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from overwinter.core.nouns import Building, BuildingPart, Layer
from overwinter.physics.bounds import check, check_above
from overwinter.physics.constants import AIR_J_M3K
from overwinter.physics.materials import material

INSIDE_FILM_M2K_W = 0.12
"""Still air at a wall inside [2021 ASHRAE Handbook - Fundamentals, ch. 27 example 3]; ISO 6946 has 0.13."""

OUTSIDE_FILM_M2K_W = 0.03
"""Winter wind of 6.7 m/s at a wall outside [the same]; ISO 6946 has 0.04."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartConductance:
    """What one part of a building loses."""

    name: str
    area_m2: float
    u_w_m2k: float
    ua_w_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Conductance:
    """What a building loses for each kelvin, part by part.

    `total_w_k` is None where not one part could be reckoned. `missing` names what is not in it, in sentences;
    with anything missing the total is a lower bound. `assumptions` says what was taken for granted.
    """

    total_w_k: float | None
    parts: tuple[PartConductance, ...]
    air_w_k: float | None  # None: volume or air changes are not given
    missing: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()

    @property
    def is_complete(self) -> bool:
        """Whether nothing that was asked for is missing."""
        return self.total_w_k is not None and not self.missing


def resistance_m2k_w(
    layers: Sequence[Layer],
    *,
    inside_film_m2k_w: float = INSIDE_FILM_M2K_W,
    outside_film_m2k_w: float = OUTSIDE_FILM_M2K_W,
) -> float:
    """Thermal resistance of layers one behind the other, with the air films on both sides.

    Parameters
    ----------
    layers : sequence of Layer
        From inside to outside (the order does not matter here), at least one; thickness above 0 to 10 m.
    inside_film_m2k_w, outside_film_m2k_w : float
        Resistance of the air at the faces [m2 K/W], 0 to 1; 0 leaves one out.

    Returns
    -------
    float
        Resistance [m2 K/W].

    Raises
    ------
    ValueError
        No layer, a material that is not in the table, or out of range.

    Notes
    -----
    Steady flow in one direction, no studs: where wood goes through the insulation use `side_by_side_m2k_w`.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 27, example 3.
    """
    if not layers:
        raise ValueError("layers: must be at least one")
    check("inside_film_m2k_w", inside_film_m2k_w, 0.0, 1.0, "m2 K/W")
    check("outside_film_m2k_w", outside_film_m2k_w, 0.0, 1.0, "m2 K/W")
    total_m2k_w = inside_film_m2k_w + outside_film_m2k_w
    for layer in layers:
        check_above("thickness_m", layer.thickness_m, 0.0, 10.0, "m")
        total_m2k_w += layer.thickness_m / material(layer.material).conductivity_w_mk
    return total_m2k_w


def side_by_side_m2k_w(paths: Sequence[tuple[float, float]]) -> float:
    """Resistance of paths beside each other, such as studs and the insulation between them.

    Parameters
    ----------
    paths : sequence of (share, resistance)
        Share of the area [1] above 0, all together 1; resistance [m2 K/W] above 0. Whole paths from air
        to air give the upper limit of a wall's resistance, layer by layer the lower (isothermal planes).

    Returns
    -------
    float
        Resistance [m2 K/W] of the whole.

    Raises
    ------
    ValueError
        Shares that are not 1 together (within 0.001), or anything not above 0.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 27, examples 3 and 4.
    """
    for share, path_m2k_w in paths:
        check_above("share", share, 0.0, 1.0)
        check_above("resistance", path_m2k_w, 0.0, 1000.0, "m2 K/W")
    check("sum of shares", sum(share for share, _ in paths), 0.999, 1.001)
    return 1.0 / sum(share / path_m2k_w for share, path_m2k_w in paths)


def slab_edge_w_k(*, perimeter_m: float, factor_w_mk: float) -> float:
    """Loss of a slab on the ground through its edge.

    Parameters
    ----------
    perimeter_m : float
        Length of the edge that faces outdoors [m], 0 to 10 000.
    factor_w_mk : float
        Loss factor of the edge [W/(m K)], above 0 to 5, from a handbook (ASHRAE's example uses 0.85).

    Returns
    -------
    float
        Conductance [W/K] against the outdoor air.

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 17, table 22.
    """
    check("perimeter_m", perimeter_m, 0.0, 10_000.0, "m")
    check_above("factor_w_mk", factor_w_mk, 0.0, 5.0, "W/(m K)")
    return perimeter_m * factor_w_mk


def air_w_k(*, volume_m3: float, air_changes_h: float, air_j_m3k: float = AIR_J_M3K) -> float:
    """Loss by outdoor air that comes in through gaps.

    Parameters
    ----------
    volume_m3 : float
        Volume of air inside [m3], 0 to 100 000.
    air_changes_h : float
        How often an hour it is replaced [1/h], 0 to 100.
    air_j_m3k : float
        Heat in a cubic metre of air [J/(m3 K)], 500 to 2000; unless given that of cold air at sea
        level. Handbooks use 1210.

    Returns
    -------
    float
        Conductance [W/K] against the outdoor air.

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 17 and ch. 19, example 1.
    """
    check("volume_m3", volume_m3, 0.0, 100_000.0, "m3")
    check("air_changes_h", air_changes_h, 0.0, 100.0, "1/h")
    check("air_j_m3k", air_j_m3k, 500.0, 2000.0, "J/(m3 K)")
    return air_j_m3k * volume_m3 * air_changes_h / 3600.0


def ua_w_k(building: Building) -> Conductance:
    """What a building of site.toml loses for each kelvin, and what of it is not known.

    Parameters
    ----------
    building : Building
        `[building]` of site.toml; everything in it may be missing.

    Returns
    -------
    Conductance
        Total [W/K], part by part; `missing` and `assumptions` in sentences. Nothing raises: a material that
        is not in the table is one of the things missing.

    Notes
    -----
    Sum of area x U and the air change. A U-value or R-value that is given counts as it stands, air films and
    studs included; layers get the films of `resistance_m2k_w`. All parts lose to the outdoor air, a floor
    too: the ground is warmer than that, so a floor's loss is reckoned too high.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 17.
    """
    parts: list[PartConductance] = []
    missing: list[str] = []
    for part in building.parts:
        try:
            parts.append(_part(part))
        except ValueError as error:
            missing.append(f"part {part.name!r} is not counted: {error}")
    if not building.parts:
        missing.append(
            "no [[building.part]] is given: walls, roof, door and floor with area and U, R or layers"
        )
    through_air_w_k = None
    if building.volume_m3 is not None and building.air_changes_h is not None:
        through_air_w_k = air_w_k(volume_m3=building.volume_m3, air_changes_h=building.air_changes_h)
    for key, value in (("volume_m3", building.volume_m3), ("air_changes_h", building.air_changes_h)):
        if value is None:
            missing.append(f"building.{key} is not given, so the heat lost through gaps is not counted")
    # Air change alone is no building: a total of it would look like one.
    total_w_k = sum(part.ua_w_k for part in parts) + (through_air_w_k or 0.0) if parts else None
    return Conductance(
        total_w_k=total_w_k,
        parts=tuple(parts),
        air_w_k=through_air_w_k,
        missing=tuple(missing),
        assumptions=_assumptions(building, through_air_w_k),
    )


def _part(part: BuildingPart) -> PartConductance:
    u_w_m2k = 1.0 / resistance_m2k_w(part.layers) if part.u_w_m2k is None else part.u_w_m2k
    return PartConductance(
        name=part.name, area_m2=part.area_m2, u_w_m2k=u_w_m2k, ua_w_k=part.area_m2 * u_w_m2k
    )


def _assumptions(building: Building, through_air_w_k: float | None) -> tuple[str, ...]:
    said = []
    if building.parts:
        said.append(
            "every part, the floor too, loses heat to the outdoor air; steady weather, no sun, no wind"
        )
    if any(part.layers for part in building.parts):
        said.append(
            f"layers without studs or gaps, with air films of {INSIDE_FILM_M2K_W:g} inside and "
            f"{OUTSIDE_FILM_M2K_W:g} m2 K/W outside"
        )
    if any(part.u_w_m2k is not None for part in building.parts):
        said.append(
            "a U-value or R-value that is given counts for the whole part, air films and studs included"
        )
    if through_air_w_k is not None:
        said.append(
            f"air that comes in through gaps holds {AIR_J_M3K:.0f} J/(m3 K), as at 32 F (0 C) and sea level"
        )
    return tuple(said)


def loss_w(*, ua_w_k: float, inside_c: float, outdoor_c: float) -> float:
    """Heat that keeps a building at a temperature; the least a heater must give.

    Parameters
    ----------
    ua_w_k : float
        Conductance of the building [W/K], 0 to 100 000.
    inside_c, outdoor_c : float
        Temperatures [°C], -90 to 60.

    Returns
    -------
    float
        Heat [W]; 0 where it is warmer outdoors.

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 17, table 22.
    """
    check("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
    check("inside_c", inside_c, -90.0, 60.0, "°C")
    check("outdoor_c", outdoor_c, -90.0, 60.0, "°C")
    return max(0.0, ua_w_k * (inside_c - outdoor_c))


def heater_limit_c(*, ua_w_k: float, inside_c: float, watts: float) -> float:
    """Down to which outdoor temperature a heater that never rests holds the inside.

    Parameters
    ----------
    ua_w_k : float
        Conductance of the building [W/K], above 0 to 100 000.
    inside_c : float
        What is to be held [°C], -40 to 60.
    watts : float
        The heater [W], 0 to 100 000.

    Returns
    -------
    float
        Outdoor temperature [°C]. Far below any weather where the heater is ample.

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Steady state: for the cold that stays. A night's minimum alone is softened by what the building stores.
    """
    check_above("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
    check("inside_c", inside_c, -40.0, 60.0, "°C")
    check("watts", watts, 0.0, 100_000.0, "W")
    return inside_c - watts / ua_w_k

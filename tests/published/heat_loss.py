"""Heat loss of buildings: worked examples, films, conductivities, degree days."""

from overwinter.core.nouns import Layer
from overwinter.physics import advice, envelope, season
from overwinter.physics.constants import AIR_J_KGK, AIR_J_M3K, AIR_KG_M3
from overwinter.physics.materials import material
from overwinter.settings.site import R_US_M2K_W
from tests.published.rows import Check

BTU_H_W = 1.0 / 3.412141633
"""One Btu an hour in watts, by definition of the international table Btu."""

FT2_M2 = 0.3048**2

WALL_PATHS = [(0.75, 3.34), (0.25, 1.81)]
BLOCK_CORE = [(0.190, 0.091), (0.810, 2.60)]


def conductivity(source: str, low_w_mk: float, high_w_mk: float, *names: str) -> list[Check]:
    """Within a published range: as a middle and half of its width."""
    middle = (low_w_mk + high_w_mk) / 2.0
    return [
        Check(
            source=source,
            what=f"conductivity of {name}, published as {low_w_mk:g} to {high_w_mk:g} W/mK",
            ours=lambda name=name: material(name).conductivity_w_mk,
            theirs=middle,
            within=(high_w_mk - low_w_mk) / 2.0 + 1e-9,
        )
        for name in names
    ]


def element(what: str, u_w_m2k: float, area_m2: float, printed_w: float) -> Check:
    return Check(
        source="ASHRAE 2021",
        what=f"ch. 17 table 22: {what}",
        ours=lambda: envelope.loss_w(ua_w_k=u_w_m2k * area_m2, inside_c=23.0, outdoor_c=0.0),
        theirs=printed_w,
        within=1.0,
    )


def btu_h(u_us: float, area_ft2: float, drop_f: float) -> float:
    """A loss in inch-pound units by way of ours."""
    ua_w_k = area_ft2 * FT2_M2 * u_us / R_US_M2K_W
    return envelope.loss_w(ua_w_k=ua_w_k, inside_c=drop_f / 1.8, outdoor_c=0.0) / BTU_H_W


ROWS = [
    element("ceiling", 0.18, 195.3, 809.0),
    element("wall", 0.51, 108.5, 1273.0),
    element("garage wall", 0.51, 35.0, 411.0),
    element("doors", 2.3, 3.8, 201.0),
    Check(
        source="ASHRAE 2021",
        what="ch. 17 table 22: slab edge",
        ours=lambda: 23.0 * envelope.slab_edge_w_k(perimeter_m=67.2, factor_w_mk=0.85),
        theirs=1317.0,
        within_share=0.003,
        because="printed with a rounded factor",
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 17 table 22: ventilation of 79 L/s",
        ours=lambda: 23.0 * envelope.air_w_k(volume_m3=79e-3 * 3600.0, air_changes_h=1.0, air_j_m3k=1230.0),
        theirs=2235.0,
        within=1.0,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 3: U of a wood-frame wall, parallel paths",
        ours=lambda: 1.0 / envelope.side_by_side_m2k_w(WALL_PATHS),
        theirs=0.36,
        within=0.005,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 3: its middle layer, isothermal planes",
        ours=lambda: envelope.side_by_side_m2k_w([(0.75, 2.30), (0.25, 0.77)]),
        theirs=1.54,
        within=0.005,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 3: R of the wall, isothermal planes",
        ours=lambda: 2.58 - 1.54 + envelope.side_by_side_m2k_w([(0.75, 2.30), (0.25, 0.77)]),
        theirs=2.58,
        within=0.005,
        because="all but the layer above, which is reckoned",
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 4: R of an insulated block wall",
        ours=lambda: 0.045 + 0.12 + 0.03 + envelope.side_by_side_m2k_w(BLOCK_CORE),
        theirs=0.608,
        within_share=0.01,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 4: its U",
        ours=lambda: 1.0 / (0.045 + 0.12 + 0.03 + envelope.side_by_side_m2k_w(BLOCK_CORE)),
        theirs=1.64,
        within_share=0.01,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 3: air films of a wall, both together",
        ours=lambda: envelope.resistance_m2k_w([Layer(material="xps", thickness_m=0.029)]) - 1.0,
        theirs=0.15,
        within=1e-9,
    ),
    Check(
        source="ISO 6946",
        what="air film at a wall inside, as a pipe on it meets it",
        ours=lambda: advice.WALL_FILM_M2K_W,
        theirs=0.13,
        within=1e-12,
    ),
    Check(
        source="popularenergy",
        what="420 ft2 of U 0.055 at 50 F, Btu/h",
        ours=lambda: btu_h(0.055, 420.0, 50.0),
        theirs=1155.0,
        within=0.01,
    ),
    Check(
        source="popularenergy",
        what="60 ft2 of U 0.251 at 50 F, Btu/h",
        ours=lambda: btu_h(0.251, 60.0, 50.0),
        theirs=753.0,
        within=0.01,
    ),
    Check(
        source="ht",
        what="one ft2 F h/Btu in m2K/W, as its inverse",
        ours=lambda: 1.0 / R_US_M2K_W,
        theirs=5.678263341,
        within_share=1e-6,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 19: air of 1210 J/m3K, Wh/(m3 K)",
        ours=lambda: envelope.air_w_k(volume_m3=1.0, air_changes_h=1.0, air_j_m3k=1210.0),
        theirs=0.3361,
        within=0.0001,
    ),
    Check(
        source="hud-calculator",
        what="0.018 Btu/(ft3 F) in Wh/(m3 K): ours is for cold air",
        ours=lambda: envelope.air_w_k(volume_m3=1.0, air_changes_h=1.0),
        theirs=0.3353,
        within_share=0.08,
        because="0.018 is for warm air; at 0 °C air is 7 % denser, and a heater is chosen for cold air",
    ),
    Check(
        source="CoolProp",
        what="air at 0 °C, Wh/(m3 K)",
        ours=lambda: envelope.air_w_k(volume_m3=1.0, air_changes_h=1.0),
        theirs=0.3612,
        within=0.0001,
    ),
    Check(source="CoolProp", what="air at 0 °C, kg/m3", ours=lambda: AIR_KG_M3, theirs=1.2931, within=1e-9),
    Check(source="CoolProp", what="air at 0 °C, J/kgK", ours=lambda: AIR_J_KGK, theirs=1005.7, within=1e-9),
    Check(
        source="CoolProp",
        what="air at -10 °C, J/m3K",
        ours=lambda: AIR_J_M3K,
        theirs=1.3424 * 1005.6,
        within_share=0.04,
        because="ours is that of 0 °C, for all cold air",
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 19 example 1: degree-day energy of a house, kWh",
        ours=lambda: season.degree_days_kwh(
            degree_days_kd=3300.0,
            ua_w_k=200.0 + envelope.air_w_k(volume_m3=400.0, air_changes_h=0.7, air_j_m3k=1210.0),
            efficiency=0.78 * 0.9,
        ),
        theirs=33_200.0,
        within_share=0.001,
    ),
    *conductivity("ASHRAE 2021", 0.026, 0.029, "xps"),
    *conductivity("ASHRAE 2021", 0.035, 0.037, "eps"),
    *conductivity("ASHRAE 2021", 0.040, 0.043, "glass wool"),
    *conductivity("ASHRAE 2021", 0.033, 0.037, "mineral wool"),
    *conductivity("ASHRAE 2021", 0.023, 0.025, "polyiso"),
    *conductivity("ASHRAE 2021", 0.16, 0.16, "plaster board"),
    *conductivity("ASHRAE 2005", 0.12, 0.12, "plywood"),
    *conductivity("ASHRAE 2005", 0.15, 0.15, "wood"),
    *conductivity("ASHRAE 2005", 0.135, 0.135, "particle board"),
    *conductivity("ASHRAE 2005", 0.07, 0.07, "fibreboard"),
    *conductivity("ASHRAE 2005", 0.105, 0.105, "hardboard"),
    *conductivity("ASHRAE 2005", 0.89, 0.89, "brick"),
    *conductivity("ASHRAE 2005", 1.95, 1.95, "concrete"),
    *conductivity("ASHRAE 2005", 0.53, 0.53, "lightweight concrete"),
    *conductivity("ASHRAE 2005", 1.11, 1.11, "concrete block"),
    *conductivity("ASHRAE 2005", 1.4, 1.4, "mortar"),
    *conductivity("ASHRAE 2005", 3.2, 3.2, "stone"),
    *conductivity("ASHRAE 2005", 0.05, 0.05, "cellular glass"),
    *conductivity("EN ISO 10456", 1.65, 2.0, "concrete"),
    *conductivity("EN ISO 10456", 2.3, 2.5, "reinforced concrete"),
    *conductivity("EN ISO 10456", 0.13, 0.18, "wood", "hardwood"),
    *conductivity("EN ISO 10456", 0.23, 0.23, "bitumen felt"),
    *conductivity("EN ISO 10456", 0.17, 0.17, "pvc"),
    *conductivity("EN ISO 10456", 0.50, 0.50, "polyethylene"),
    *conductivity("EN ISO 10456", 0.22, 0.22, "polypropylene"),
    *conductivity("EN ISO 10456", 0.05, 0.05, "rubber foam"),
    *conductivity("EN ISO 10456", 50.0, 50.0, "steel"),
    *conductivity("EN ISO 10456", 17.0, 17.0, "stainless steel"),
    *conductivity("EN ISO 10456", 160.0, 160.0, "aluminium"),
    *conductivity("EN ISO 10456", 380.0, 380.0, "copper"),
    *conductivity("EN ISO 10456", 120.0, 120.0, "brass"),
    *conductivity("CIBSE", 0.028, 0.028, "polyurethane foam"),
    *conductivity("CIBSE", 1.05, 1.05, "glass"),
    *conductivity("CIBSE", 56.0, 56.0, "cast iron"),
    *conductivity("CIBSE", 45.0, 50.0, "steel"),
    *conductivity("CIBSE", 380.0, 384.0, "copper"),
]

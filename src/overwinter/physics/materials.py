"""What layers are made of: a small table, each row with its source.

Rule 1: no row from memory. Where two sources differ the one that loses more heat stands here, because a
heater that is chosen too small freezes pipes and one that is chosen too large only cycles.
Rule 2: reference tables contain slips (one gives plaster board 0.58 in one row and 0.16 in another, one gives
cork the conductivity of bronze), so every row is tested against bounds that come from no table.
Rule 3: an air gap is no material. Leave it out: the loss is then reckoned too high, never too low.

Sources, by their tags in `Material.source`:

- AHF21: 2021 ASHRAE Handbook - Fundamentals (SI), ch. 26 table 1; of its range the higher end.
- HOF05: 2005 ASHRAE Handbook - Fundamentals, ch. 25 table 4 and ch. 30 table 22, as quoted in EnergyPlus'
  open data set ASHRAE_2005_HOF_Materials.idf.
- 10456: EN ISO 10456:2007, design values, as quoted in a public sheet "Thermal conductivities of materials".
- 10077: EN ISO 10077-2:2003, annex A, as quoted in the same sheet.
- CIBSE: CIBSE Guide A, tables 3.36 and 3.37, as quoted on a public page.
"""

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What sort of stuff it is; each sort has bounds that no member of it leaves."""

    INSULATION = "insulation"
    WOOD = "wood"
    BOARD = "board"
    MASONRY = "masonry"
    PLASTIC = "plastic"
    METAL = "metal"


@dataclass(frozen=True, slots=True)
class Material:
    """One row: conductivity [W/(m K)], density [kg/m3], specific heat [J/(kg K)] (None: no source seen)."""

    name: str
    kind: Kind
    conductivity_w_mk: float
    density_kg_m3: float | None
    specific_heat_j_kgk: float | None
    source: str
    aliases: tuple[str, ...] = ()


MATERIALS: tuple[Material, ...] = (
    # Insulation. Densities and specific heats of boards and batts: HOF05.
    Material(
        "mineral wool",
        Kind.INSULATION,
        0.037,
        19.0,
        960.0,
        "AHF21: 0.033 to 0.037",
        ("rock wool", "stone wool"),
    ),
    Material(
        "glass wool",
        Kind.INSULATION,
        0.043,
        19.0,
        960.0,
        "AHF21: 0.040 to 0.043",
        ("glass fibre", "fiberglass"),
    ),
    Material("xps", Kind.INSULATION, 0.029, 43.0, 1210.0, "AHF21: 0.026 to 0.029", ("extruded polystyrene",)),
    Material(
        "eps",
        Kind.INSULATION,
        0.037,
        32.0,
        1210.0,
        "AHF21: 0.035 to 0.037",
        ("polystyrene", "expanded polystyrene", "styrofoam"),
    ),
    Material(
        "polyiso", Kind.INSULATION, 0.025, 32.0, 920.0, "AHF21: 0.023 to 0.025", ("pir", "polyisocyanurate")
    ),
    Material("polyurethane foam", Kind.INSULATION, 0.028, 30.0, 1470.0, "CIBSE", ("pur", "polyurethane")),
    Material("rubber foam", Kind.INSULATION, 0.050, 60.0, None, "10077: elastomeric foam, flexible"),
    Material("cellular glass", Kind.INSULATION, 0.050, 136.0, 750.0, "HOF05", ("foam glass",)),
    # Wood and what is made of it.
    Material("plywood", Kind.WOOD, 0.12, 544.0, 1210.0, "HOF05: G02"),
    Material(
        "wood", Kind.WOOD, 0.15, 608.0, 1630.0, "HOF05: G04; 10077: 0.13", ("softwood", "timber", "boards")
    ),
    Material("hardwood", Kind.WOOD, 0.18, 700.0, None, "10077", ("oak",)),
    Material(
        "particle board",
        Kind.WOOD,
        0.135,
        800.0,
        1300.0,
        "HOF05: medium density; also stands in for OSB, whose row there (waferboard) says 0.091",
        ("chipboard", "particleboard", "osb", "oriented strand board"),
    ),
    Material("hardboard", Kind.WOOD, 0.105, 800.0, 1300.0, "HOF05: medium density"),
    Material("fibreboard", Kind.WOOD, 0.07, 400.0, 1300.0, "HOF05: G03", ("fiberboard", "softboard")),
    # Boards, masonry, glass.
    Material(
        "plaster board",
        Kind.BOARD,
        0.16,
        800.0,
        1090.0,
        "AHF21; HOF05: G01",
        ("plasterboard", "gypsum board", "gypsum", "drywall"),
    ),
    Material("brick", Kind.MASONRY, 0.89, 1920.0, 790.0, "HOF05: M01"),
    Material(
        "concrete", Kind.MASONRY, 1.95, 2240.0, 900.0, "HOF05: M14; 10456: 1.65 at 2200, 2.00 at 2400 kg/m3"
    ),
    Material("reinforced concrete", Kind.MASONRY, 2.3, 2300.0, None, "10456: 1 % of steel"),
    Material("lightweight concrete", Kind.MASONRY, 0.53, 1280.0, 840.0, "HOF05: M11"),
    # Hollow blocks: cores, webs and faces in one figure.
    Material(
        "concrete block",
        Kind.MASONRY,
        1.11,
        800.0,
        920.0,
        "HOF05: M05, 200 mm, hollow",
        ("block", "cinder block", "breeze block"),
    ),
    Material(
        "mortar", Kind.MASONRY, 1.4, 1920.0, 900.0, "HOF05: cement and lime, 1920 kg/m3", ("render", "stucco")
    ),
    Material(
        "stone",
        Kind.MASONRY,
        3.2,
        2560.0,
        790.0,
        "HOF05: limestone, marble, granite",
        ("granite", "limestone"),
    ),
    Material("glass", Kind.MASONRY, 1.05, 2500.0, 840.0, "CIBSE: soda-lime; 10077: 1.0"),
    # Skins and pipes.
    Material("bitumen felt", Kind.PLASTIC, 0.23, 1100.0, None, "10456", ("roofing felt", "tar paper")),
    Material("pvc", Kind.PLASTIC, 0.17, 1390.0, 1000.0, "10077; specific heat CIBSE"),
    Material("polyethylene", Kind.PLASTIC, 0.50, 980.0, None, "10077: high density", ("pe", "hdpe")),
    Material("polypropylene", Kind.PLASTIC, 0.22, 910.0, None, "10077", ("pp",)),
    Material(
        "steel", Kind.METAL, 50.0, 7800.0, 480.0, "10077; CIBSE: 45", ("sheet metal", "sheet steel", "tin")
    ),
    Material("stainless steel", Kind.METAL, 17.0, 7900.0, 480.0, "10077; specific heat CIBSE"),
    Material("cast iron", Kind.METAL, 56.0, 7500.0, 530.0, "CIBSE"),
    Material(
        "aluminium", Kind.METAL, 160.0, 2800.0, 880.0, "10077: alloys; specific heat CIBSE", ("aluminum",)
    ),
    Material("copper", Kind.METAL, 380.0, 8900.0, 390.0, "10077; specific heat CIBSE"),
    Material("brass", Kind.METAL, 120.0, 8400.0, 390.0, "10077; specific heat CIBSE"),
)


def _words(name: str) -> str:
    return " ".join(name.lower().replace("-", " ").replace("_", " ").split())


_BY_NAME = {_words(name): row for row in MATERIALS for name in (row.name, *row.aliases)}


def material(name: str) -> Material:
    """The row of a material.

    Parameters
    ----------
    name : str
        As people write it: `Mineral Wool`, `mineral-wool`, `rock wool`.

    Returns
    -------
    Material
        Its row, with the source of its figures.

    Raises
    ------
    ValueError
        Not in the table; the text lists what is.
    """
    row = _BY_NAME.get(_words(name))
    if row is None:
        known = ", ".join(one.name for one in MATERIALS)
        raise ValueError(f"material {name!r} is not in the table; known are {known}")
    return row

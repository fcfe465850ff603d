"""The table against bounds that come from no table, and the names that people write."""

import pytest

from overwinter.physics.materials import MATERIALS, Kind, Material, material

BOUNDS_W_MK: dict[Kind, tuple[float, float]] = {
    # Still air conducts 0.0244 W/mK at 0 °C (CoolProp); only a heavier gas in closed cells gets below that,
    # and what conducts like wood is no insulation.
    Kind.INSULATION: (0.018, 0.06),
    # Between a fluffy board and solid oak across the grain.
    Kind.WOOD: (0.05, 0.25),
    Kind.BOARD: (0.10, 0.30),
    # Between a foamed concrete and quartz rock.
    Kind.MASONRY: (0.1, 8.0),
    # Amorphous and crystalline polymers; none of them is a foam or a ceramic.
    Kind.PLASTIC: (0.10, 0.60),
    # Stainless steel is the worst conductor in use among metals, silver (429) the best of all.
    Kind.METAL: (10.0, 429.0),
}
DENSITY_KG_M3: dict[Kind, tuple[float, float]] = {
    Kind.INSULATION: (5.0, 200.0),
    Kind.WOOD: (100.0, 1100.0),
    Kind.BOARD: (500.0, 1200.0),
    Kind.MASONRY: (400.0, 3000.0),
    Kind.PLASTIC: (850.0, 1600.0),
    Kind.METAL: (2600.0, 9000.0),
}

rows = pytest.mark.parametrize("row", MATERIALS, ids=lambda row: row.name)


@rows
def test_a_row_lies_within_what_such_stuff_can_be(row: Material) -> None:
    low, high = BOUNDS_W_MK[row.kind]
    lightest, heaviest = DENSITY_KG_M3[row.kind]

    assert low <= row.conductivity_w_mk <= high
    assert row.density_kg_m3 is None or lightest <= row.density_kg_m3 <= heaviest
    # No solid in a building holds more than wet wood, none less than a heavy metal.
    assert row.specific_heat_j_kgk is None or 370.0 <= row.specific_heat_j_kgk <= 2500.0


@rows
def test_a_row_names_its_source(row: Material) -> None:
    assert row.source.split(":")[0].split(";")[0] in {"AHF21", "HOF05", "10456", "10077", "CIBSE"}


def test_the_slip_of_a_known_table_would_be_found() -> None:
    """Cork at 65 W/mK, as one library has it, is outside every bound but the metals'."""
    low, high = BOUNDS_W_MK[Kind.INSULATION]

    assert not low <= 65.0 <= high


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("plywood", "plywood"),
        ("Mineral Wool", "mineral wool"),
        ("mineral-wool", "mineral wool"),
        ("rock_wool", "mineral wool"),
        ("  OSB ", "particle board"),
        ("drywall", "plaster board"),
    ],
)
def test_a_material_is_found_as_people_write_it(written: str, name: str) -> None:
    assert material(written).name == name


def test_no_name_means_two_things() -> None:
    names = [" ".join(name.lower().split()) for row in MATERIALS for name in (row.name, *row.aliases)]

    assert len(names) == len(set(names))


def test_what_is_not_in_the_table_is_refused_with_what_is() -> None:
    with pytest.raises(
        ValueError, match=r"material 'straw' is not in the table; known are mineral wool, .*brass"
    ):
        material("straw")

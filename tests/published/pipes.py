"""Pipes: time to 0 °C, time to ice, films, and the constants of water and ice."""

from overwinter.core.nouns import PipeSpec
from overwinter.core.units import K_PER_F, c_from_f
from overwinter.physics import constants, film, pipe
from overwinter.settings.site import R_US_M2K_W
from tests.published.rows import Check

INCH_M = 0.0254
K_PIPE_W_MK = 0.0432
PLASTIC_OR_PAINT = 0.8


def insulated(bore_mm: float, outside_mm: float, over_insulation_mm: float) -> PipeSpec:
    return PipeSpec(
        name="pipe",
        length_m=1.0,
        bore_m=bore_mm / 1000.0,
        outside_m=outside_mm / 1000.0,
        insulation_m=(over_insulation_mm - outside_mm) / 2000.0,
        insulation_w_mk=K_PIPE_W_MK,
    )


def table6(nominal: str, bore_mm: float, outside_mm: float, over_mm: float, printed_h: float) -> Check:
    return Check(
        source="ASHRAE 2021",
        what=f"ch. 23 table 6: {nominal}, 5.5 °C to 0 °C in -28 °C, h",
        ours=lambda: (
            pipe.freezing(insulated(bore_mm, outside_mm, over_mm), water_c=5.5, air_c=-28.0).start_h.best
        ),
        theirs=printed_h,
        within=0.06,
        because="printed to 0.1 h",
    )


def warren_h(air_f: float) -> float:
    """2 in pipe, 1.5 in of 0.30 Btu in/(h ft2 F), 42 F to 32 F."""
    conductivity_w_mk = 0.30 * INCH_M / R_US_M2K_W
    one = PipeSpec(
        name="pipe",
        length_m=None,
        bore_m=2.067 * INCH_M,
        outside_m=2.375 * INCH_M,
        insulation_m=1.5 * INCH_M,
        insulation_w_mk=conductivity_w_mk,
    )
    return pipe.freezing(one, water_c=10.0 * K_PER_F, air_c=c_from_f(air_f)).start_h.best


def bare_w_m(outside_mm: float, *, water_c: float, air_c: float, emissivity: float) -> float:
    film_w_m2k = film.still_air_w_m2k(
        diameter_m=outside_mm / 1000.0, surface_c=water_c, air_c=air_c, emissivity=emissivity
    )
    return (water_c - air_c) / pipe.surface_m_kw(outside_m=outside_mm / 1000.0, film_w_m2k=film_w_m2k)


def tube(outside_mm: float, printed_w_m: float) -> Check:
    return Check(
        source="ASHRAE 2021",
        what=f"ch. 23 table 18: bare copper of {outside_mm:g} mm, 49 °C in 27 °C, W/m",
        ours=lambda: bare_w_m(outside_mm, water_c=49.0, air_c=27.0, emissivity=0.52),
        theirs=printed_w_m,
        within_share=0.03,
        because="the emissivity that the table implies is 0.50 to 0.55",
    )


def steel(outside_mm: float, printed_w_m: float) -> Check:
    return Check(
        source="ASHRAE 2021",
        what=f"ch. 23 table 17: bare steel of {outside_mm:g} mm, 82 °C in 27 °C, W/m",
        ours=lambda: bare_w_m(outside_mm, water_c=82.0, air_c=27.0, emissivity=0.765),
        theirs=printed_w_m,
        within_share=0.03,
        because="the emissivity that the table implies is 0.75 to 0.78",
    )


def two_layers_w_m() -> float:
    """A pipe wall, insulation and a film, from 453.15 to 301.15 K."""
    bore_m, steel_m, over_m = 0.0779272, 0.0779272 + 2 * 0.0054864, 0.0779272 + 2 * 0.0054864 + 0.1
    resistance_m_kw = (
        pipe.layer_m_kw(bore_m=bore_m, outside_m=steel_m, conductivity_w_mk=56.045)
        + pipe.layer_m_kw(bore_m=steel_m, outside_m=over_m, conductivity_w_mk=0.0598535)
        + pipe.surface_m_kw(outside_m=over_m, film_w_m2k=22.697)
    )
    return (453.15 - 301.15) / resistance_m_kw


ROWS = [
    table6("25 mm, 25 mm", 26.64, 33.4, 89.0, 0.4),
    table6("40 mm, 50 mm", 40.94, 48.3, 168.0, 1.3),
    table6("50 mm, 38 mm", 52.48, 60.3, 141.0, 1.4),
    table6("50 mm, 100 mm", 52.48, 60.3, 273.0, 2.5),
    table6("80 mm, 38 mm", 77.92, 88.9, 168.0, 2.3),
    table6("100 mm, 100 mm", 102.26, 114.3, 324.0, 6.6),
    Check(
        source="Warren Forensics",
        what="2 in pipe, 1.5 in insulation, 42 F in -18 F, h",
        ours=lambda: warren_h(-18.0),
        theirs=1.4,
        within=0.05,
    ),
    Check(
        source="Warren Forensics",
        what="the same in 20 F, h",
        ours=lambda: warren_h(20.0),
        theirs=4.6,
        within=0.05,
    ),
    tube(15.9, 12.2),
    tube(22.2, 16.1),
    tube(28.6, 19.9),
    tube(54.0, 34.7),
    steel(21.3, 54.1),
    steel(33.4, 79.3),
    steel(60.3, 135.0),
    Check(
        source="ht",
        what="film on 22 mm at 0 °C in -10 °C, emissivity 0.8, W/m2K",
        ours=lambda: film.still_air_w_m2k(diameter_m=0.022, surface_c=0.0, air_c=-10.0, emissivity=0.8),
        theirs=9.45,
        within_share=0.01,
    ),
    Check(
        source="ht",
        what="its radiation, W/m2K",
        ours=lambda: film.radiation_w_m2k(surface_c=0.0, air_c=-10.0, emissivity=0.8),
        theirs=3.50,
        within=0.005,
    ),
    Check(
        source="ht",
        what="Churchill and Bernstein's Nusselt number, 22 mm in 0.5 m/s at -5 °C, as W/m2K",
        ours=lambda: film.draught_w_m2k(
            diameter_m=0.022, speed_m_s=0.5, surface_c=0.0, air_c=-10.0, emissivity=0.0
        ),
        theirs=14.790 * 0.02398 / 0.022,
        within_share=0.001,
    ),
    Check(
        source="ht",
        what="heat through two layers and a film, W/m",
        ours=two_layers_w_m,
        theirs=73.1200,
        within_share=1e-6,
    ),
    Check(
        source="IAPWS-95",
        what="density of water at 5 °C",
        ours=lambda: constants.WATER_KG_M3,
        theirs=999.967,
        within_share=1e-4,
    ),
    Check(
        source="IAPWS-95",
        what="density of water at 0 °C",
        ours=lambda: constants.WATER_KG_M3,
        theirs=999.84,
        within_share=2e-4,
        because="one figure for all of 0 to 10 °C",
    ),
    Check(
        source="IAPWS-95",
        what="density of water at 10 °C",
        ours=lambda: constants.WATER_KG_M3,
        theirs=999.702,
        within_share=3e-4,
        because="one figure for all of 0 to 10 °C",
    ),
    Check(
        source="IAPWS-95",
        what="heat from 0 to 5 °C, J/kg",
        ours=lambda: 5.0 * constants.WATER_J_KGK,
        theirs=21_050.0,
        within=20.0,
    ),
    Check(
        source="IAPWS-95",
        what="heat from 0 to 10 °C, J/kg",
        ours=lambda: 10.0 * constants.WATER_J_KGK,
        theirs=42_050.0,
        within_share=0.002,
        because="ours is the mean from 0 to 5 °C",
    ),
    Check(
        source="ASHRAE 2021",
        what="heat from 0 to 5 °C, J/kg (ch. 1 table 3)",
        ours=lambda: 5.0 * constants.WATER_J_KGK,
        theirs=21_060.0,
        within=20.0,
    ),
    Check(
        source="IAPWS-95",
        what="heat of fusion, J/kg, with R10-06",
        ours=lambda: constants.FUSION_J_KG,
        theirs=71.6 + 333_354.9,
        within=100.0,
    ),
    Check(
        source="ASHRAE 2021",
        what="heat of fusion, J/kg (ch. 1 table 3)",
        ours=lambda: constants.FUSION_J_KG,
        theirs=333_430.0,
        within=100.0,
    ),
    Check(
        source="CRC",
        what="heat of fusion, J/kg",
        ours=lambda: constants.FUSION_J_KG,
        theirs=333_600.0,
        within=200.0,
    ),
    Check(
        source="IAPWS R10-06",
        what="density of ice at 0 °C",
        ours=lambda: constants.ICE_KG_M3,
        theirs=916.721463,
        within=0.005,
    ),
    Check(
        source="IAPWS R10-06",
        what="growth of volume on freezing",
        ours=lambda: 999.84 / constants.ICE_KG_M3,
        theirs=1.0907,
        within=0.0005,
    ),
    Check(
        source="CRC",
        what="conductivity of ice from 0 °C (2.14) to -10 °C (2.3)",
        ours=lambda: constants.ICE_W_MK,
        theirs=2.22,
        within_share=0.05,
    ),
]

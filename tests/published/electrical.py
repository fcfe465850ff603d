"""The heater's circuit. General figures; local code, listing and a licensed electrician decide."""

from overwinter.core.nouns import Circuit
from overwinter.physics import circuit
from overwinter.settings.site import area_of_gauge_mm2
from tests.published.rows import Check

FOOT_M = 0.3048


def ohm_kft(gauge: int, temperature_c: float) -> float:
    """Solid copper, ohm per 1000 ft."""
    return (
        1000.0 * FOOT_M * circuit.copper_ohm_m(area_mm2=area_of_gauge_mm2(gauge), temperature_c=temperature_c)
    )


def drop_v(gauge: int, temperature_c: float = circuit.HOT_CORD_C) -> float:
    """20 A through 100 ft, one way."""
    return circuit.cord_drop_v(
        current_a=20.0,
        length_m=100.0 * FOOT_M,
        area_mm2=area_of_gauge_mm2(gauge),
        temperature_c=temperature_c,
    )


def copper(
    source: str, temperature_c: float, share: float, because: str, *table: tuple[int, float]
) -> list[Check]:
    return [
        Check(
            source=source,
            what=f"solid copper, AWG {gauge}, {temperature_c:g} °C, ohm per 1000 ft",
            ours=lambda gauge=gauge: ohm_kft(gauge, temperature_c),
            theirs=ohm,
            within_share=share,
            because=because,
        )
        for gauge, ohm in table
    ]


def stranded(*table: tuple[int, float]) -> list[Check]:
    return [
        Check(
            source="NEC",
            what=f"stranded copper, AWG {gauge}, 75 °C, ohm per 1000 ft",
            ours=lambda gauge=gauge: circuit.STRANDED * ohm_kft(gauge, 75.0),
            theirs=ohm,
            within_share=0.006,
            because="0.4 % of the solid wire, and one factor for all gauges",
        )
        for gauge, ohm in table
    ]


def ampacity(*table: tuple[int, float]) -> list[Check]:
    return [
        Check(
            source="NEC",
            what=f"table 400.5(A): a cord of AWG {gauge}, A",
            ours=lambda gauge=gauge: circuit.cord_ampacity_a(area_of_gauge_mm2(gauge)) or 0.0,
            theirs=most_a,
            within=1e-9,
        )
        for gauge, most_a in table
    ]


ROWS = [
    *copper("NBS", 20.0, 0.001, "", (18, 6.385), (16, 4.016), (14, 2.525), (12, 1.588)),
    *copper(
        "NEC",
        75.0,
        0.004,
        "from 20 °C by 0.00393 per K; the worst found was 0.39 %",
        *((18, 7.77), (16, 4.89), (14, 3.07), (12, 1.93), (10, 1.21), (8, 0.764)),
    ),
    *stranded((18, 7.95), (16, 4.99), (14, 3.14), (12, 1.98), (10, 1.24)),
    *ampacity((18, 10.0), (17, 12.0), (16, 13.0), (14, 18.0), (12, 25.0)),
    Check(
        source="tradelicenseprep",
        what="20 A, 100 ft of AWG 12: drop, V",
        ours=lambda: drop_v(12),
        theirs=7.9,
        within=0.1,
    ),
    Check(
        source="tradelicenseprep",
        what="20 A, 100 ft of AWG 12 at 120 V: drop, %",
        ours=lambda: 100.0 * drop_v(12) / 120.0,
        theirs=6.6,
        within=0.1,
    ),
    Check(
        source="tradelicenseprep",
        what="20 A, 100 ft of AWG 8: drop, V",
        ours=lambda: drop_v(8),
        theirs=3.1,
        within=0.05,
    ),
    Check(
        source="voltagedropcalculator",
        what="20 A, 30.48 m of AWG 12, solid, 20 °C: drop, V",
        ours=lambda: drop_v(12, 20.0) / circuit.STRANDED,
        theirs=6.4,
        within=0.1,
    ),
    Check(
        source="NEC practice",
        what="what a 15 A circuit of 120 V carries for long, W",
        ours=lambda: 120.0 * 15.0 * circuit.CONTINUOUS_SHARE,
        theirs=1440.0,
        within=1e-9,
    ),
    Check(
        source="NEC practice",
        what="what a 20 A circuit of 120 V carries for long, W",
        ours=lambda: 120.0 * 20.0 * circuit.CONTINUOUS_SHARE,
        theirs=1920.0,
        within=1e-9,
    ),
    Check(
        source="NEC practice",
        what="breaker that 1500 W at 120 V asks for, A",
        ours=lambda: circuit.current_a(watts=1500.0, volts=Circuit().volts) / circuit.CONTINUOUS_SHARE,
        theirs=15.6,
        within=0.05,
    ),
    Check(
        source="Omron",
        what="resistive rating that a 250 W lamp at 120 V asks for, A",
        ours=lambda: circuit.contact_needed_a(
            current_a=circuit.current_a(watts=250.0, volts=120.0), is_lamp=True
        ),
        theirs=20.8,
        within=0.05,
    ),
]

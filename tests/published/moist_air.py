"""Moist air. Below 0 °C each row says which of the two meanings of relative humidity it is in."""

from overwinter.physics.air import (
    Over,
    dew_point_c,
    frost_point_c,
    humidity_ratio,
    ice_saturation_pressure_pa,
    pressure_pa,
    saturation_pressure_pa,
    vapour_pressure_pa,
)
from tests.published.rows import Check

WATER, ICE = Over.WATER, Over.ICE

MAGNUS = "a Magnus form over water was found at most 0.31 % low between 0 and 60 °C"
MAGNUS_ICE = "a Magnus form over ice was found at most 0.07 % off from -40 °C on; the table rounds"
PERFECT = (
    "the Magnus form over water is up to 0.31 % low; libraries differ by the enhancement factor, 0.4 to 0.5 %"
)


def frost_or_dew_c(temperature_c: float, humidity_pct: float, over: Over) -> float:
    """What libraries of the ice convention call a dew point: the frost point where there is one."""
    frost_c = frost_point_c(temperature_c, humidity_pct, over)
    return dew_point_c(temperature_c, humidity_pct, over) if frost_c is None else frost_c


def saturation(source: str, over: Over, share: float, *table: tuple[float, float]) -> list[Check]:
    law = saturation_pressure_pa if over is WATER else ice_saturation_pressure_pa
    return [
        Check(
            source=source,
            what=f"saturation pressure over {over.value} at {at_c:g} °C",
            ours=lambda at_c=at_c: law(at_c),
            theirs=pressure,
            within_share=share,
            because=MAGNUS if over is WATER else MAGNUS_ICE,
        )
        for at_c, pressure in table
    ]


def dew(source: str, within_k: float, *table: tuple[float, float, float]) -> list[Check]:
    """Dew points over water of humidities over water."""
    return [
        Check(
            source=source,
            what=f"dew point of {at_c:g} °C, {pct:g} %",
            ours=lambda at_c=at_c, pct=pct: dew_point_c(at_c, pct),
            theirs=dew_c,
            within=within_k,
        )
        for at_c, pct, dew_c in table
    ]


def frost(source: str, over: Over, within_k: float, *table: tuple[float, float, float]) -> list[Check]:
    return [
        Check(
            source=source,
            what=f"frost or dew point of {at_c:g} °C, {pct:g} % over {over.value}",
            ours=lambda at_c=at_c, pct=pct: frost_or_dew_c(at_c, pct, over),
            theirs=frost_c,
            within=within_k,
        )
        for at_c, pct, frost_c in table
    ]


def ratio(source: str, over: Over, share: float, *table: tuple[float, float, float]) -> list[Check]:
    return [
        Check(
            source=source,
            what=f"humidity ratio of {at_c:g} °C, {pct:g} % over {over.value}",
            ours=lambda at_c=at_c, pct=pct: humidity_ratio(at_c, pct, over),
            theirs=kg_kg,
            within_share=share,
            because=PERFECT,
        )
        for at_c, pct, kg_kg in table
    ]


ROWS = [
    *saturation(
        "ASHRAE 2021",
        ICE,
        0.001,
        *((-25.0, 63.27), (-20.0, 103.24), (-15.0, 165.27), (-10.0, 259.87), (-5.0, 401.74), (0.0, 611.15)),
    ),
    *saturation(
        "ASHRAE 2021",
        WATER,
        0.0035,
        *((5.0, 872.6), (10.0, 1228.2), (20.0, 2339.2), (25.0, 3169.7), (40.0, 7384.4)),
    ),
    *saturation("ASHRAE 2017", ICE, 0.001, (-20.0, 103.24), (-5.0, 401.74)),
    *saturation("ASHRAE 2017", WATER, 0.0035, (5.0, 872.6), (25.0, 3169.7)),
    *saturation(
        "IAPWS R14-08", ICE, 0.0007, (-30.0, 38.005), (-20.0, 103.239), (-10.0, 259.874), (-5.0, 401.741)
    ),
    *saturation("IAPWS R7-97", WATER, 0.0035, (26.85, 3536.58941)),
    *ratio(
        "ASHRAE 2021",
        ICE,
        0.001,
        *(
            (-20.0, 100.0, 0.0006373),
            (-10.0, 100.0, 0.0016062),
            (-5.0, 100.0, 0.0024863),
            (0.0, 100.0, 0.00379),
        ),
    ),
    *ratio(
        "ASHRAE 2021",
        WATER,
        0.003,
        *((5.0, 100.0, 0.0054247), (10.0, 100.0, 0.0076627), (20.0, 100.0, 0.014761)),
        *((25.0, 100.0, 0.020173), (40.0, 100.0, 0.049145)),
    ),
    *ratio("psychrolib", WATER, 0.006, (20.0, 50.0, 0.0072617), (5.0, 80.0, 0.0043141)),
    *ratio("psychrolib", ICE, 0.006, (-10.0, 80.0, 0.0012789)),
    *ratio("CoolProp", WATER, 0.003, (20.0, 50.0, 0.0072937), (5.0, 80.0, 0.0043322)),
    *ratio("CoolProp", ICE, 0.001, (-10.0, 80.0, 0.0012843)),
    *dew("Sensirion", 0.01, (25.0, 10.0, -8.77), (50.0, 90.0, 47.90)),
    *dew(
        "MetPy",
        0.025,
        *((-30.0, 80.0, -32.353), (-20.0, 50.0, -27.789), (-10.0, 80.0, -12.812), (-5.0, 95.0, -5.690)),
        *(
            (0.0, 50.0, -9.201),
            (5.0, 50.0, -4.572),
            (5.0, 80.0, 1.831),
            (10.0, 80.0, 6.704),
            (20.0, 50.0, 9.256),
        ),
    ),
    *dew("MetPy", 0.06, (30.0, 80.0, 26.131), (40.0, 30.0, 19.075)),
    *frost(
        "psychrolib",
        ICE,
        0.01,
        *((-30.0, 80.0, -32.126), (-20.0, 50.0, -27.022), (-10.0, 80.0, -12.490), (-5.0, 95.0, -5.599)),
    ),
    *frost(
        "psychrolib",
        WATER,
        0.04,
        *((5.0, 50.0, -4.033), (5.0, 80.0, 1.841), (10.0, 80.0, 6.713), (20.0, 50.0, 9.272)),
        *((30.0, 80.0, 26.169), (40.0, 30.0, 19.125), (-10.0, 80.0, -11.41)),
    ),
    *frost(
        "CoolProp",
        ICE,
        0.01,
        *((-30.0, 80.0, -32.127), (-20.0, 50.0, -27.024), (-10.0, 80.0, -12.490), (-5.0, 95.0, -5.599)),
    ),
    *frost(
        "CoolProp",
        WATER,
        0.04,
        *((0.0, 50.0, -8.164), (5.0, 50.0, -4.033), (5.0, 80.0, 1.842), (10.0, 80.0, 6.713)),
        *((20.0, 50.0, 9.274), (30.0, 80.0, 26.170), (40.0, 30.0, 19.135)),
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 1 example 1: dew point of 40 °C dry bulb at 14 %",
        ours=lambda: dew_point_c(40.0, 14.0),
        theirs=7.0,
        within=0.5,
        because="read off a chart, the humidity too",
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 1 example 3: humidity ratio of 30 °C, 50 %, g/kg",
        ours=lambda: 1000.0 * humidity_ratio(30.0, 50.0),
        theirs=13.3,
        within=0.05,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 8: vapour pressure of 21 °C, 40 %",
        ours=lambda: vapour_pressure_pa(21.0, 40.0),
        theirs=995.0,
        within_share=0.0035,
        because=MAGNUS,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 8: vapour pressure of -6.6 °C, 50 % over ice",
        ours=lambda: vapour_pressure_pa(-6.6, 50.0, ICE),
        theirs=175.0,
        within=1.0,
    ),
    Check(
        source="ASHRAE 2021",
        what="ch. 27 example 7: humidity at which an interface of 4.3 °C sweats in air of 21 °C, %",
        ours=lambda: 100.0 * saturation_pressure_pa(4.35) / saturation_pressure_pa(21.0),
        theirs=34.0,
        within=1.0,
    ),
    Check(
        source="psychrolib",
        what="standard atmosphere at 340 m",
        ours=lambda: pressure_pa(340.0),
        theirs=97_306.62,
        within=0.1,
    ),
]

"""What a published check is: a figure of ours, the figure it is held to, how close, and who says so."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One figure of ours against one of somebody else's; exactly one of the tolerances is given."""

    source: str  # a key of SOURCES
    what: str
    ours: Callable[[], float]
    theirs: float
    within: float | None = None  # as an absolute difference
    within_share: float | None = None  # as a share of theirs
    because: str = ""  # why this tolerance, where it is not just the digits printed


SOURCES: dict[str, str] = {
    "ASHRAE 2021": "2021 ASHRAE Handbook - Fundamentals (SI), single figures, seen in an unofficial copy",
    "ASHRAE 2017": "ASHRAE Handbook - Fundamentals 2017, ch. 1, as quoted in psychrolib's own tests",
    "ASHRAE 2005": "2005 ASHRAE Handbook - Fundamentals, as quoted in EnergyPlus' open materials data set",
    "Sensirion": "Sensirion, application note 'Dew-point Calculation' (Sonntag 1990)",
    "IAPWS R7-97": "IAPWS R7-97 (IF97), saturation pressure over water, by its verification table and iapws",
    "IAPWS R14-08": "IAPWS R14-08, sublimation pressure of ice, by iapws 1.5.5",
    "IAPWS R10-06": "IAPWS R10-06, properties of ice, its table 6 as quoted in iapws' tests",
    "IAPWS-95": "IAPWS-95, properties of water, by iapws 1.5.5; CoolProp agrees",
    "CRC": "CRC Handbook, 'Properties of Ice and Supercooled Water'",
    "Warren Forensics": "Warren Forensics, 'How Long Before The Pipes Freeze?', quoting ASHRAE",
    "ISO 6946": "ISO 6946:2017 surface resistances, as quoted on a page of total R-values",
    "EN ISO 10456": "EN ISO 10456:2007 and EN ISO 10077-2:2003, as quoted in a public sheet",
    "CIBSE": "CIBSE Guide A, tables 3.36 and 3.37, as quoted on a public page",
    "popularenergy": "popularenergy.org, 'Figuring heat loss'",
    "hud-calculator": "hud-calculator page: 0.018 Btu/(ft3 F) of air",
    "NBS": "NBS Handbook 100, as quoted in the Cirris wire table",
    "NEC": "NEC ch. 9 table 8 and table 400.5(A), as quoted by SFASoft, voltdropcalc and a UL clause",
    "tradelicenseprep": "tradelicenseprep, voltage drop examples (K = 12.9)",
    "voltagedropcalculator": "voltagedropcalculator.net, example at 20 °C",
    "NEC practice": "80 % of a breaker for continuous loads: Mike Holt forum, gsei, quoting NEC 210 and 424",
    "Omron": "Omron, 'Load Types & Ratings'; Leach FAQ",
    "CoolProp": "CoolProp 8.0.0 (Lemmon et al. for air), computed once",
    "psychrolib": "psychrolib 2.5.0, computed once",
    "MetPy": "MetPy 1.7.1 (Bolton 1980, over water), computed once",
    "ht": "ht 1.2.0 (Morgan 1975; Churchill and Bernstein 1977; cylinders), computed once",
    "scipy": "scipy 1.17.1 solve_ivp, computed once (rtol 1e-10)",
}
"""Who is quoted. Nothing in here is from memory."""

LIBRARIES = frozenset({"CoolProp", "psychrolib", "MetPy", "ht", "scipy"})
"""Software: an independent reckoning, but no publication of its own."""

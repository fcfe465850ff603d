"""Moist air: what is over liquid water, what is over ice, and what a sensor's error makes of both.

Relative humidity below 0 °C has two meanings. Cheap polymer sensors report it over liquid water there too
(common practice; the WMO convention, from memory), many libraries and weather files over ice. At -10 °C and
80 % the same number means a frost point of -11.4 °C in the first sense and of -12.5 °C in the second. So
every function here says which it takes and which it gives: humidity is over *water* unless `over` says ice;
a dew point is always over water, a frost point always over ice, and frost settles before dew does.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from overwinter.physics.bounds import check, check_above
from overwinter.physics.constants import SEA_LEVEL_PA

_A = 17.62
_B_C = 243.12
_P0_PA = 611.2
_ICE_A = 22.46
_ICE_B_C = 272.62

RANGE_C = (-45.0, 60.0)
"""Of the formula over water. A dew point below it is extrapolated."""

ICE_RANGE_C = (-65.0, 0.0)
"""Of the formula over ice."""

WATER_TO_AIR = 0.621945
"""Molar mass of water over that of dry air [2021 ASHRAE Handbook - Fundamentals (SI), ch. 1, eq. 20]."""

ALTITUDES_M = (-500.0, 9000.0)

_PER_HPA = 0.01


class Over(StrEnum):
    """What a relative humidity refers to."""

    WATER = "water"
    ICE = "ice"


class Damp(StrEnum):
    """Whether water settles on a surface, as far as a sensor can tell."""

    DRY = "dry"
    UNCERTAIN = "uncertain"
    WET = "wet"


@dataclass(frozen=True, slots=True, kw_only=True)
class DewPointError:
    """How wrong a dew point may be because its sensor is: both errors by chance, and both the worst way."""

    per_k: float  # K of dew point for each K of temperature
    per_pct: float  # K of dew point for each % of relative humidity
    likely_k: float
    worst_k: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Condensation:
    """Whether a surface sweats: how far it is above the temperature where water or frost would settle."""

    settles_c: float  # dew point; for a surface below 0 °C the frost point
    margin_k: float  # surface less `settles_c`; below 0 it is wet, if the sensor is right
    asked_k: float  # the margin that the sensor's own error asks for
    verdict: Damp


def saturation_pressure_pa(temperature_c: float) -> float:
    """Saturation vapour pressure over liquid water.

    Parameters
    ----------
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60. Below 0 °C still over *water*.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    ValueError
        Out of range, or not a number.

    Notes
    -----
    Magnus form with the coefficients and the range of [1]_. Against IAPWS-IF97 always low above 10 °C, at
    most 0.31 % between 0 and 60 °C.

    References
    ----------
    .. [1] Sensirion, application note "Dew-point Calculation", after Sonntag 1990.
    """
    check("temperature_c", temperature_c, *RANGE_C, "°C")
    return _P0_PA * math.exp(_A * temperature_c / (_B_C + temperature_c))


def ice_saturation_pressure_pa(temperature_c: float) -> float:
    """Saturation vapour pressure over ice.

    Parameters
    ----------
    temperature_c : float
        Temperature [°C], one value, -65 to 0.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    ValueError
        Out of range, or not a number.

    Notes
    -----
    Magnus form. Against IAPWS R14-08 within 0.20 % from -65 °C on, 0.07 % from -40 °C on.

    References
    ----------
    .. [1] WMO-No. 8, Guide to Meteorological Instruments, 2008 updated 2010, p. 1.4-29, as quoted in the
       documentation of IDPmisc (range) and in public code (coefficients).
    """
    check("temperature_c", temperature_c, *ICE_RANGE_C, "°C")
    return _P0_PA * math.exp(_ICE_A * temperature_c / (_ICE_B_C + temperature_c))


def vapour_pressure_pa(temperature_c: float, humidity_pct: float, over: Over = Over.WATER) -> float:
    """Pressure of the water vapour in the air.

    Parameters
    ----------
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60; at most 0 where `over` is ice.
    humidity_pct : float
        Relative humidity [%], above 0 to 100.
    over : Over
        What the humidity refers to.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    ValueError
        Out of range, or not a number.
    """
    check_above("humidity_pct", humidity_pct, 0.0, 100.0, "%")
    if over is Over.ICE:
        check("temperature_c", temperature_c, RANGE_C[0], 0.0, "°C where humidity is over ice")
        return ice_saturation_pressure_pa(temperature_c) * humidity_pct / 100.0
    return saturation_pressure_pa(temperature_c) * humidity_pct / 100.0


def dew_point_c(temperature_c: float, humidity_pct: float, over: Over = Over.WATER) -> float:
    """Dew point over liquid water: where this air would begin to condense.

    Parameters
    ----------
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60; at most 0 where `over` is ice.
    humidity_pct : float
        Relative humidity [%], above 0 to 100.
    over : Over
        What the humidity refers to.

    Returns
    -------
    float
        Dew point [°C]. Below 0 °C it is over water, not the frost point; below -45 °C it is extrapolated.

    Raises
    ------
    ValueError
        Out of range, or not a number.

    Notes
    -----
    The inverse of `saturation_pressure_pa`; [1]_ gives 25 °C, 10 % -> -8.77 °C and 50 °C, 90 % -> 47.90 °C.

    References
    ----------
    .. [1] Sensirion, application note "Dew-point Calculation", after Sonntag 1990.
    """
    ratio = math.log(vapour_pressure_pa(temperature_c, humidity_pct, over) / _P0_PA)
    return _B_C * ratio / (_A - ratio)


def frost_point_c(temperature_c: float, humidity_pct: float, over: Over = Over.WATER) -> float | None:
    """Frost point: where frost would begin to settle from this air.

    Parameters
    ----------
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60; at most 0 where `over` is ice.
    humidity_pct : float
        Relative humidity [%], above 0 to 100.
    over : Over
        What the humidity refers to.

    Returns
    -------
    float or None
        Frost point [°C], over ice; below -65 °C it is extrapolated. None where it would be at or above 0 °C:
        such air makes dew. With humidity over water it may lie above the air's own temperature, up to
        saturation over water: then frost settles already.

    Raises
    ------
    ValueError
        Out of range, or not a number.

    Notes
    -----
    The inverse of `ice_saturation_pressure_pa`.

    References
    ----------
    .. [1] WMO-No. 8, as quoted in `ice_saturation_pressure_pa`.
    """
    ratio = math.log(vapour_pressure_pa(temperature_c, humidity_pct, over) / _P0_PA)
    return _ICE_B_C * ratio / (_ICE_A - ratio) if ratio < 0.0 else None


def pressure_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    altitude_m : float
        Height above sea level [m], -500 to 9000.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    ValueError
        Out of range, or not a number.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 1, eq. 3, as in psychrolib.
    """
    check("altitude_m", altitude_m, *ALTITUDES_M, "m")
    return SEA_LEVEL_PA * math.pow(1.0 - 2.25577e-5 * altitude_m, 5.2559)


def humidity_ratio(
    temperature_c: float, humidity_pct: float, over: Over = Over.WATER, *, altitude_m: float = 0.0
) -> float:
    """Water vapour for each kilogram of dry air.

    Parameters
    ----------
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60; at most 0 where `over` is ice.
    humidity_pct : float
        Relative humidity [%], above 0 to 100.
    over : Over
        What the humidity refers to.
    altitude_m : float
        Height above sea level [m], -500 to 9000: thinner air holds more water for each kilogram.

    Returns
    -------
    float
        Humidity ratio [kg/kg].

    Raises
    ------
    ValueError
        Out of range, or not a number.

    Notes
    -----
    Perfect gases, with the enhancement factor of [2]_ for vapour that is not alone. Within 0.3 % of the
    handbook's table of saturated air; libraries that leave the factor out are 0.4 to 0.5 % below that.

    References
    ----------
    .. [1] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 1, eq. 20.
    .. [2] WMO-No. 8, Guide to Meteorological Instruments, 7th ed. 2008, annex 4.B, as quoted in public code.
    """
    air_pa = pressure_pa(altitude_m)
    air_hpa = air_pa * _PER_HPA
    enhancement = 1.0016 + 3.15e-6 * air_hpa - 0.074 / air_hpa
    vapour_pa = enhancement * vapour_pressure_pa(temperature_c, humidity_pct, over)
    # Never near zero: 20 kPa of vapour at 60 °C, 30.7 kPa of air at 9000 m.
    return WATER_TO_AIR * vapour_pa / (air_pa - vapour_pa)


def dew_point_error(
    temperature_c: float, humidity_pct: float, *, temperature_error_k: float, humidity_error_pct: float
) -> DewPointError:
    """How wrong a dew point may be because its sensor is.

    Parameters
    ----------
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60.
    humidity_pct : float
        Relative humidity over water [%], above 0 to 100.
    temperature_error_k : float
        Accuracy of the temperature [K], 0 to 20. A DHT22 has 0.5.
    humidity_error_pct : float
        Accuracy of the humidity [%], 0 to 100. A DHT22 has 2, at most 5.

    Returns
    -------
    DewPointError
        By the derivatives of the Magnus form, so for small errors.

    Raises
    ------
    ValueError
        Out of range, or not a number.
    """
    check("temperature_error_k", temperature_error_k, 0.0, 20.0, "K")
    check("humidity_error_pct", humidity_error_pct, 0.0, 100.0, "%")
    dew_c = dew_point_c(temperature_c, humidity_pct)
    stretch_c = (_B_C + dew_c) ** 2 / (_A * _B_C)  # d(dew point) / d(ln vapour pressure)
    per_k = stretch_c * _A * _B_C / (_B_C + temperature_c) ** 2
    per_pct = stretch_c / humidity_pct
    by_temperature_k, by_humidity_k = per_k * temperature_error_k, per_pct * humidity_error_pct
    return DewPointError(
        per_k=per_k,
        per_pct=per_pct,
        likely_k=math.hypot(by_temperature_k, by_humidity_k),
        worst_k=by_temperature_k + by_humidity_k,
    )


def condensation(
    surface_c: float,
    temperature_c: float,
    humidity_pct: float,
    *,
    temperature_error_k: float = 0.5,
    humidity_error_pct: float = 2.0,
) -> Condensation:
    """Whether a surface sweats, such as a pipe that carries cold well water.

    Parameters
    ----------
    surface_c : float
        Temperature of the surface [°C], -60 to 60. A bare pipe is as cold as the water in it.
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60.
    humidity_pct : float
        Relative humidity over water [%], above 0 to 100.
    temperature_error_k, humidity_error_pct : float
        As in `dew_point_error`; those of a DHT22 unless given.

    Returns
    -------
    Condensation
        Wet and dry only where the sensor's worst error cannot turn it round; else uncertain.

    Raises
    ------
    ValueError
        Out of range, or not a number.
    """
    check("surface_c", surface_c, -60.0, 60.0, "°C")
    error = dew_point_error(
        temperature_c,
        humidity_pct,
        temperature_error_k=temperature_error_k,
        humidity_error_pct=humidity_error_pct,
    )
    frost_c = frost_point_c(temperature_c, humidity_pct)
    # Frost settles before dew does; a surface above 0 °C cannot have frost, so there dew alone counts.
    settles_c = (
        frost_c if frost_c is not None and surface_c < 0.0 else dew_point_c(temperature_c, humidity_pct)
    )
    margin_k = surface_c - settles_c
    verdict = Damp.UNCERTAIN
    if abs(margin_k) > error.worst_k:
        verdict = Damp.WET if margin_k < 0.0 else Damp.DRY
    return Condensation(settles_c=settles_c, margin_k=margin_k, asked_k=error.worst_k, verdict=verdict)

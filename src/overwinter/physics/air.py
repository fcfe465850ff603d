"""Moist air, as far as `status` needs it: everything here is over liquid water, also below 0 °C.

Cheap polymer sensors report humidity over water below 0 °C too (common practice; the WMO convention, from
memory). Over ice the same air has a frost point up to 3 K higher; who needs that must say so.
"""

import math

_A = 17.62
_B_C = 243.12
_P0_PA = 611.2
RANGE_C = (-45.0, 60.0)


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
    low_c, high_c = RANGE_C
    if not low_c <= temperature_c <= high_c:  # refuses NaN too
        raise ValueError(f"temperature_c = {temperature_c}: must be {low_c:g} to {high_c:g} °C")
    return _P0_PA * math.exp(_A * temperature_c / (_B_C + temperature_c))


def dew_point_c(temperature_c: float, humidity_pct: float) -> float:
    """Dew point over liquid water: where this air would begin to condense.

    Parameters
    ----------
    temperature_c : float
        Dry-bulb temperature [°C], one value, -45 to 60.
    humidity_pct : float
        Relative humidity over *water* [%], above 0 to 100.

    Returns
    -------
    float
        Dew point [°C]. Below 0 °C it is over water, not the frost point.

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
    if not 0.0 < humidity_pct <= 100.0:
        raise ValueError(f"humidity_pct = {humidity_pct}: must be above 0, at most 100 %")
    ratio = math.log(saturation_pressure_pa(temperature_c) * humidity_pct / 100.0 / _P0_PA)
    return _B_C * ratio / (_A - ratio)

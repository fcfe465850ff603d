"""Heat that the air takes from a horizontal pipe: convection, still or in a draught, and radiation."""

import math

from overwinter.physics.bounds import check, check_above

ZERO_K = 273.15
STEFAN_BOLTZMANN_W_M2K4 = 5.670374e-8
GRAVITY_M_S2 = 9.80665

_MORGAN: tuple[tuple[float, float, float], ...] = (
    (1e-2, 0.675, 0.058),
    (1e2, 1.02, 0.148),
    (1e4, 0.85, 0.188),
    (1e7, 0.48, 0.25),
    (math.inf, 0.125, 1 / 3),
)
"""Up to which Rayleigh number, and the factor and exponent of Nu = factor Ra^exponent."""


def radiation_w_m2k(*, surface_c: float, air_c: float, emissivity: float) -> float:
    """Radiation of a surface to walls that are as warm as the air.

    Parameters
    ----------
    surface_c, air_c : float
        Temperatures [°C], -90 to 100.
    emissivity : float
        Of the surface [1], 0 to 1.

    Returns
    -------
    float
        Heat transfer [W/(m2 K)].

    Raises
    ------
    ValueError
        Out of range.
    """
    check("surface_c", surface_c, -90.0, 100.0, "°C")
    check("air_c", air_c, -90.0, 100.0, "°C")
    check("emissivity", emissivity, 0.0, 1.0)
    hot_k, cold_k = surface_c + ZERO_K, air_c + ZERO_K
    return emissivity * STEFAN_BOLTZMANN_W_M2K4 * (hot_k**2 + cold_k**2) * (hot_k + cold_k)


def still_air_w_m2k(*, diameter_m: float, surface_c: float, air_c: float, emissivity: float) -> float:
    """Convection and radiation of a horizontal cylinder in still air.

    Parameters
    ----------
    diameter_m : float
        Outer diameter [m], above 0 to 10.
    surface_c, air_c : float
        Temperatures [°C], -90 to 100.
    emissivity : float
        Of the surface [1], 0 to 1.

    Returns
    -------
    float
        Heat transfer [W/(m2 K)], with respect to the outer surface.

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    Morgan's correlation [1]_, with simple fits for dry air at sea level. With an emissivity of 0.52 within
    3 % of the handbook's table of bare copper tubes [2]_; Churchill and Chu's would be 6 % lower, so later.

    References
    ----------
    .. [1] Morgan: The overall convective heat transfer from smooth circular cylinders. Advances in Heat
       Transfer 11 (1975) 199. As in the library ht 1.2.0.
    .. [2] 2021 ASHRAE Handbook - Fundamentals (SI), ch. 23, table 18.
    """
    radiation = radiation_w_m2k(surface_c=surface_c, air_c=air_c, emissivity=emissivity)
    check_above("diameter_m", diameter_m, 0.0, 10.0, "m")
    mean_k = (surface_c + air_c) / 2.0 + ZERO_K
    conductivity_w_mk, viscosity_m2_s, prandtl = _air(mean_k)
    rayleigh = GRAVITY_M_S2 / mean_k * abs(surface_c - air_c) * diameter_m**3 / viscosity_m2_s**2 * prandtl
    factor, exponent = next((factor, power) for most, factor, power in _MORGAN if rayleigh <= most)
    return factor * math.pow(rayleigh, exponent) * conductivity_w_mk / diameter_m + radiation


def draught_w_m2k(
    *, diameter_m: float, speed_m_s: float, surface_c: float, air_c: float, emissivity: float
) -> float:
    """Convection and radiation of a cylinder in air that blows across it.

    Parameters
    ----------
    diameter_m : float
        Outer diameter [m], above 0 to 10.
    speed_m_s : float
        Speed of the air [m/s], 0 to 50.
    surface_c, air_c : float
        Temperatures [°C], -90 to 100.
    emissivity : float
        Of the surface [1], 0 to 1.

    Returns
    -------
    float
        Heat transfer [W/(m2 K)], with respect to the outer surface; never below that of still air.

    Raises
    ------
    ValueError
        Out of range.

    References
    ----------
    .. [1] Churchill, Bernstein: A correlating equation for forced convection from gases and liquids to a
       circular cylinder in crossflow. J. Heat Transfer 99 (1977) 300. As in the library ht.
    """
    check("speed_m_s", speed_m_s, 0.0, 50.0, "m/s")
    still = still_air_w_m2k(diameter_m=diameter_m, surface_c=surface_c, air_c=air_c, emissivity=emissivity)
    conductivity_w_mk, viscosity_m2_s, prandtl = _air((surface_c + air_c) / 2.0 + ZERO_K)
    reynolds = speed_m_s * diameter_m / viscosity_m2_s
    stretch = 0.62 * math.sqrt(reynolds) * math.pow(prandtl, 1 / 3)
    bluff = math.pow(1.0 + math.pow(0.4 / prandtl, 2 / 3), 0.25)
    nusselt = 0.3 + stretch / bluff * math.pow(1.0 + math.pow(reynolds / 282_000.0, 0.625), 0.8)
    radiation = radiation_w_m2k(surface_c=surface_c, air_c=air_c, emissivity=emissivity)
    return max(still, nusselt * conductivity_w_mk / diameter_m + radiation)


def _air(kelvin: float) -> tuple[float, float, float]:
    """Conductivity [W/(m K)], kinematic viscosity [m2/s] and Prandtl number of dry air at sea level.

    Powers of the absolute temperature through the values at 0 °C (CoolProp 8.0.0, pure air): within 1 % of it
    from -40 to 60 °C.
    """
    ratio = kelvin / ZERO_K
    return 0.02436 * math.pow(ratio, 0.85), 1.333e-5 * math.pow(ratio, 1.76), 0.711

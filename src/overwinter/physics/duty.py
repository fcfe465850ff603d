"""What share of the time heat may be on: the life of a contact, and heat by duty while blind."""

from overwinter.physics.bounds import check, check_above


def contact_life_years(*, rated_cycles: float, cycles_h: float, heated_h_year: float) -> float:
    """How long a relay's contact lasts at a predicted pace.

    Parameters
    ----------
    rated_cycles : float
        Operations at this load from the data sheet [1], above 0 to 1e9.
    cycles_h : float
        Switchings on an hour while it is heated [1/h], above 0 to 3600.
    heated_h_year : float
        Hours a year with heat in use [h], above 0 to 8784.

    Returns
    -------
    float
        Years. A rating holds for the load it was tested with; a lamp's inrush beyond it welds far sooner.

    Raises
    ------
    ValueError
        Out of range.
    """
    check_above("rated_cycles", rated_cycles, 0.0, 1e9)
    check_above("cycles_h", cycles_h, 0.0, 3600.0, "1/h")
    check_above("heated_h_year", heated_h_year, 0.0, 8784.0, "h")
    return rated_cycles / (cycles_h * heated_h_year)


def steady_rise_k(*, watts: float, duty: float, ua_w_k: float) -> float:
    """How far above outdoors a house ends up that is heated blindly, at a duty that nothing corrects.

    Parameters
    ----------
    watts : float
        The heater [W], 0 to 100 000.
    duty : float
        Share of time that it is on [1], 0 to 1.
    ua_w_k : float
        Conductance of the building [W/K], above 0 to 100 000.

    Returns
    -------
    float
        Rise of the steady mean [K]; near the heater it is more.

    Raises
    ------
    ValueError
        Out of range.

    Notes
    -----
    For this question a conductance reckoned too high is the unsafe one: give its low end.
    """
    check("watts", watts, 0.0, 100_000.0, "W")
    check("duty", duty, 0.0, 1.0)
    check_above("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
    return watts * duty / ua_w_k


def blind_outdoor_limit_c(*, ceiling_c: float, watts: float, duty: float, ua_w_k: float) -> float:
    """From which outdoor temperature on blind heat would carry the house past its ceiling.

    Parameters
    ----------
    ceiling_c : float
        Where heat must be off [°C], -40 to 100.
    watts, duty, ua_w_k : float
        As in `steady_rise_k`.

    Returns
    -------
    float
        Outdoor temperature [°C]: warmer than that, only an independent high limit stops it.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("ceiling_c", ceiling_c, -40.0, 100.0, "°C")
    return ceiling_c - steady_rise_k(watts=watts, duty=duty, ua_w_k=ua_w_k)


def blind_duty_limit(*, ceiling_c: float, outdoor_c: float, watts: float, ua_w_k: float) -> float:
    """The greatest duty at which blind heat stays at or below the ceiling.

    Parameters
    ----------
    ceiling_c, outdoor_c : float
        Temperatures [°C], -90 to 100; outdoors the warmest at which heat may still run blindly.
    watts : float
        The heater [W], above 0 to 100 000.
    ua_w_k : float
        Conductance of the building [W/K], above 0 to 100 000.

    Returns
    -------
    float
        Duty [1], 0 to 1.

    Raises
    ------
    ValueError
        Out of range.
    """
    check("ceiling_c", ceiling_c, -90.0, 100.0, "°C")
    check("outdoor_c", outdoor_c, -90.0, 100.0, "°C")
    check_above("watts", watts, 0.0, 100_000.0, "W")
    check_above("ua_w_k", ua_w_k, 0.0, 100_000.0, "W/K")
    return min(1.0, max(0.0, (ceiling_c - outdoor_c) * ua_w_k / watts))

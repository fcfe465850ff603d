"""What a better building would save: insulation on each part, and gaps that are closed."""

from dataclasses import dataclass

from overwinter.physics.envelope import Conductance

MORE_M2K_W = 5.0 / 5.678263
"""R-5, an inch of common foam board, in m2 K/W [1 ft2 F h/Btu = 1/5.678263]."""

TIGHTER_SHARE = 0.5
"""Closing gaps is reckoned to halve the air that comes through: an assumption."""

WORTH_SHARE = 0.03
"""What saves less than this share of the whole loss is not worth a line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """One change of the building, or all together."""

    what: str  # the part's name; "" for gaps, or for everything together
    is_air: bool
    saved_w_k: float
    saved_kwh: float | None  # a season; None: no weather is given
    left_w_k: float  # the whole building's conductance after it


def savings(
    conductance: Conductance, *, degree_hours_kh: float | None
) -> tuple[tuple[Saving, ...], Saving | None]:
    """What R-5 more on each part would save, and closing half of the gaps; the best first.

    Parameters
    ----------
    conductance : Conductance
        The building as it is.
    degree_hours_kh : float, optional
        The season's degree hours [K h] below what is held.

    Returns
    -------
    tuple
        The changes that are worth it, and all of them together (None where there are fewer than two).
    """
    total_w_k = conductance.total_w_k
    if not total_w_k:
        return (), None

    def saving(what: str, saved_w_k: float, *, is_air: bool = False) -> Saving:
        return Saving(
            what=what,
            is_air=is_air,
            saved_w_k=saved_w_k,
            saved_kwh=None if degree_hours_kh is None else saved_w_k * degree_hours_kh / 1000.0,
            left_w_k=total_w_k - saved_w_k,
        )

    found = [
        saving(part.name, part.area_m2 * (part.u_w_m2k - better_u_w_m2k(part.u_w_m2k)))
        for part in conductance.parts
    ]
    if conductance.air_w_k:
        found.append(saving("", TIGHTER_SHARE * conductance.air_w_k, is_air=True))
    worth = sorted(
        (one for one in found if one.saved_w_k >= WORTH_SHARE * total_w_k),
        key=lambda one: one.saved_w_k,
        reverse=True,
    )
    together = saving("", sum(one.saved_w_k for one in worth)) if len(worth) > 1 else None
    return tuple(worth), together


def better_u_w_m2k(u_w_m2k: float) -> float:
    """A part's U-value with R-5 more on it."""
    return 1.0 / (1.0 / u_w_m2k + MORE_M2K_W)

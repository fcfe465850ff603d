"""Seven pump houses, one a way of building, to rehearse with.

All numbers are invented within common practice (U-values, air changes and masses as a builder would guess
them, from memory): none is a measured house. They span what an owner may have, from a box one can carry to
a block house that no reasonable heater keeps warm in the worst cold.
"""

import math
from collections.abc import Callable
from dataclasses import replace

from overwinter.core.nouns import Problem, Refused
from overwinter.twin.parameters import HouseParameters

AIR_J_M3K = 1300.0
"""Air at 0 °C: 1.2931 kg/m3 times 1005.7 J/(kg·K) (CoolProp)."""

LIGHT_THINGS = 6.0
"""Shelves, boards and the skin of the lining move with the air and multiply its heat (a guess)."""

FILM_W_M2K = 7.7
"""Air to wall inside: 1 / 0.13 m2·K/W, ISO 6946, horizontal flow."""

BARE_PIPE_W_M2K = 9.4
"""Convection 5.95 and radiation 3.50 on a 22 mm pipe at 0 °C in air of -10 °C (computed with ht)."""


def built(
    *,
    volume_m3: float,
    area_m2: float,
    u_w_m2k: float,
    lining_j_m2k: float,
    air_changes_h: float,
    heater_w: float,
    heater_lag_s: float,
    heater_to_air_share: float,
    mixing_w_k: float,
    contents_j_k: float,
    ground_w_k: float,
    ground_c: float,
    pipe_m: float = 3.0,
    pipe_on_wall_share: float = 0.0,
) -> HouseParameters:
    """A house from a builder's words.

    Parameters
    ----------
    volume_m3, area_m2, u_w_m2k : float
        Inside volume [m3], walls and roof [m2], and their U-value [W/(m2·K)], below 1 / 0.13.
    lining_j_m2k : float
        Heat held by the part of the wall that follows the inside [J/(m2·K)]: 4000 for sheet metal, 12 000
        for a lined frame, 90 000 for concrete blocks.
    air_changes_h : float
        Draught [1/h], 0.2 tight, 4 leaky.
    heater_w, heater_lag_s, heater_to_air_share : float
        As in `HouseParameters`.
    mixing_w_k : float
        Between upper and lower air [W/K]: 5 in a box, 40 by convection in a shed, 300 with a fan.
    contents_j_k, ground_w_k, ground_c : float
        Pump, tank and floor [J/K], and how they hang on the ground [W/K, °C].
    pipe_m : float
        Bare copper pipe [m], 22 mm outside, 20 mm bore.
    pipe_on_wall_share : float
        0: the pipe hangs in the room; 1: it is fastened to the outer wall all along.
    """
    air_j_k = LIGHT_THINGS * AIR_J_M3K * volume_m3
    draught_w_k = AIR_J_M3K * volume_m3 * air_changes_h / 3600.0
    film_w_k = FILM_W_M2K * area_m2
    outside_w_k = 1.0 / (1.0 / (u_w_m2k * area_m2) - 1.0 / film_w_k)
    pipe_w_k = BARE_PIPE_W_M2K * math.pi * 0.022 * pipe_m
    return HouseParameters(
        heater_w=heater_w,
        heater_lag_s=heater_lag_s,
        heater_to_air_share=heater_to_air_share,
        upper_j_k=air_j_k / 2,
        lower_j_k=air_j_k / 2,
        mixing_w_k=mixing_w_k,
        # Cold air comes in low and leaves high, so most of the draught chills the lower half.
        upper_outdoor_w_k=0.3 * draught_w_k,
        lower_outdoor_w_k=0.7 * draught_w_k,
        upper_envelope_w_k=film_w_k / 2,
        lower_envelope_w_k=film_w_k / 2,
        envelope_j_k=lining_j_m2k * area_m2,
        envelope_outdoor_w_k=outside_w_k,
        contents_j_k=contents_j_k,
        contents_air_w_k=contents_j_k / 15_000.0,  # they follow the air within some hours
        contents_ground_w_k=ground_w_k,
        ground_c=ground_c,
        pipe_water_kg=1000.0 * math.pi * 0.010**2 * pipe_m,
        pipe_metal_j_k=230.0 * pipe_m,  # 0.6 kg/m of copper at 385 J/(kg·K)
        pipe_air_w_k=(1.0 - pipe_on_wall_share) * pipe_w_k,
        pipe_envelope_w_k=pipe_on_wall_share * pipe_w_k,
        air_changes_h=air_changes_h,
    )


HOUSES: dict[str, HouseParameters] = {
    "insulated box": built(
        volume_m3=1.0,
        area_m2=6.0,
        u_w_m2k=0.7,
        lining_j_m2k=10_000.0,
        air_changes_h=0.5,
        heater_w=250.0,
        heater_lag_s=15.0,
        heater_to_air_share=0.4,
        mixing_w_k=15.0,
        contents_j_k=150_000.0,
        ground_w_k=1.0,
        ground_c=3.0,
        pipe_m=1.5,
    ),
    "insulated shed": built(
        volume_m3=13.8,
        area_m2=33.0,
        u_w_m2k=0.4,
        lining_j_m2k=12_000.0,
        air_changes_h=0.5,
        heater_w=250.0,
        heater_lag_s=15.0,
        heater_to_air_share=0.4,
        mixing_w_k=60.0,
        contents_j_k=900_000.0,
        ground_w_k=5.0,
        ground_c=3.0,
    ),
    "timber shed": built(
        volume_m3=15.0,
        area_m2=36.0,
        u_w_m2k=0.9,
        lining_j_m2k=12_000.0,
        air_changes_h=1.5,
        heater_w=750.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.95,
        mixing_w_k=200.0,
        contents_j_k=700_000.0,
        ground_w_k=5.0,
        ground_c=3.0,
    ),
    "leaky metal shed": built(
        volume_m3=12.0,
        area_m2=32.0,
        u_w_m2k=2.0,
        lining_j_m2k=8_000.0,
        air_changes_h=4.0,
        heater_w=1500.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.95,
        mixing_w_k=300.0,
        contents_j_k=500_000.0,
        ground_w_k=5.0,
        ground_c=2.0,
    ),
    "uninsulated block house": built(
        volume_m3=18.0,
        area_m2=42.0,
        u_w_m2k=2.0,
        lining_j_m2k=90_000.0,
        air_changes_h=1.0,
        heater_w=1500.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.95,
        mixing_w_k=300.0,
        contents_j_k=1_000_000.0,
        ground_w_k=8.0,
        ground_c=3.0,
    ),
    "brick house with oil heater": built(
        volume_m3=20.0,
        area_m2=45.0,
        u_w_m2k=0.9,
        lining_j_m2k=80_000.0,
        air_changes_h=0.7,
        heater_w=1000.0,
        heater_lag_s=900.0,
        heater_to_air_share=0.7,
        mixing_w_k=80.0,
        contents_j_k=1_200_000.0,
        ground_w_k=8.0,
        ground_c=4.0,
    ),
    "underground vault": built(
        volume_m3=8.0,
        area_m2=7.0,  # only the lid and the neck see the sky; the rest hangs on the ground
        u_w_m2k=1.5,
        lining_j_m2k=60_000.0,
        air_changes_h=0.5,
        heater_w=400.0,
        heater_lag_s=60.0,
        heater_to_air_share=0.8,
        mixing_w_k=40.0,
        contents_j_k=4_000_000.0,
        ground_w_k=12.0,
        ground_c=2.0,
    ),
}
"""By the way they are built; heaters from a 250 W lamp to 1500 W."""

FIT_TIMES = 50.0
"""A ready-made house is bent by at most so much to become what was learned; beyond, it is another house."""


def parameters_learned(
    ready: HouseParameters,
    *,
    heater_w: float,
    rise_k: float,
    fast_s: float | None = None,
    slow_s: float | None = None,
) -> HouseParameters:
    """A ready-made house bent into what was learned of a real one.

    All ways out (walls, draught, ground) are scaled alike until full heat lifts the air by `rise_k`; then the
    air's own heat until it answers within `fast_s`, and what walls and things hold until the whole house
    cools by `slow_s`. What cannot be learned, such as heights, pipe and heater's lag, stays as it was drawn.

    Parameters
    ----------
    ready : HouseParameters
        What all else is taken from.
    heater_w : float
        The heater [W], above 0.
    rise_k : float
        How far steady full heat lifts the air where the sensor hangs, above what it is without [K].
    fast_s : float, optional
        How fast the air follows walls, things and outdoors while these stand still [s]; None: as drawn, that
        is, the air holds what it held.
    slow_s : float, optional
        The slowest time constant of air, walls and things together, without heat and pipe [s]; None: they
        hold what they held.

    Returns
    -------
    HouseParameters
        Rises and cools so within 0.1 %.

    Raises
    ------
    Refused
        The first value that no house at all like this one has.
    """
    for key, value in (("heater_w", heater_w), ("rise_k", rise_k), ("fast_s", fast_s), ("slow_s", slow_s)):
        if value is not None and not 0.0 < value < math.inf:  # refuses NaN too
            raise _no_house(key, value, "above 0")
    made = replace(ready, heater_w=heater_w)

    def with_losses(times: float) -> HouseParameters:
        return replace(
            made,
            upper_outdoor_w_k=made.upper_outdoor_w_k * times,
            lower_outdoor_w_k=made.lower_outdoor_w_k * times,
            envelope_outdoor_w_k=made.envelope_outdoor_w_k * times,
            contents_ground_w_k=made.contents_ground_w_k * times,
        )

    made = with_losses(_found("rise_k", rise_k, lambda times: steady_rise_k(with_losses(times))))
    if fast_s is not None:
        times = fast_s / air_answer_s(made)
        made = replace(made, upper_j_k=made.upper_j_k * times, lower_j_k=made.lower_j_k * times)
    if slow_s is None:
        return made

    def with_stores(times: float) -> HouseParameters:
        return replace(made, envelope_j_k=made.envelope_j_k * times, contents_j_k=made.contents_j_k * times)

    return with_stores(_found("slow_s", slow_s, lambda times: slowest_s(with_stores(times))))


def steady_rise_k(made: HouseParameters) -> float:
    """How far steady full heat lifts the air where the sensor hangs [K]."""
    to_air_w = made.heater_w * made.heater_to_air_share
    upper_k, lower_k, _, _ = _solved(made, (to_air_w, 0.0, 0.0, made.heater_w - to_air_w))
    return lower_k + made.sensor_height_share * (upper_k - lower_k)


def air_answer_s(made: HouseParameters) -> float:
    """The time constant of all air while walls, things and outdoors stand still [s]."""
    draught_w_k = made.upper_outdoor_w_k + made.lower_outdoor_w_k
    walls_w_k = made.upper_envelope_w_k + made.lower_envelope_w_k
    return (made.upper_j_k + made.lower_j_k) / (draught_w_k + walls_w_k + made.contents_air_w_k)


def slowest_s(made: HouseParameters) -> float:
    """The slowest time constant of air, walls and things [s], by repeated solving from an even start."""
    stores_j_k = (made.upper_j_k, made.lower_j_k, made.envelope_j_k, made.contents_j_k)
    shape: tuple[float, ...] = (1.0, 1.0, 1.0, 1.0)
    before_s, longest_s = 0.0, 1.0
    while abs(longest_s - before_s) >= 1e-9 * longest_s:
        grown = _solved(made, tuple(map(float.__mul__, stores_j_k, shape)))
        before_s, longest_s = longest_s, max(grown)
        shape = tuple(one / longest_s for one in grown)
    return longest_s


def _solved(made: HouseParameters, watts: tuple[float, ...]) -> tuple[float, ...]:
    """What these watts keep upper air, lower air, envelope and contents at above outdoors [K]."""
    pipe_w_k = made.pipe_air_w_k + made.pipe_envelope_w_k
    through_pipe_w_k = made.pipe_air_w_k * made.pipe_envelope_w_k / pipe_w_k if pipe_w_k else 0.0
    links = (
        (0, 1, made.mixing_w_k),
        (0, 2, made.upper_envelope_w_k),
        (1, 2, made.lower_envelope_w_k + through_pipe_w_k),
        (1, 3, made.contents_air_w_k),
    )
    out_w_k = (made.upper_outdoor_w_k, made.lower_outdoor_w_k, made.envelope_outdoor_w_k)
    rows = [[0.0] * 4 + [watt] for watt in watts]
    for place, loss_w_k in enumerate((*out_w_k, made.contents_ground_w_k)):
        rows[place][place] += loss_w_k
    for one, other, link_w_k in links:
        rows[one][one] += link_w_k
        rows[other][other] += link_w_k
        rows[one][other] -= link_w_k
        rows[other][one] -= link_w_k
    for place in range(4):  # the diagonal outweighs its row: no need to look for pivots
        head = rows[place] = [value / rows[place][place] for value in rows[place]]
        for other in range(4):
            if other != place:
                share = rows[other][place]
                rows[other] = [a - share * b for a, b in zip(rows[other], head, strict=True)]
    return tuple(row[4] for row in rows)


def _found(key: str, wanted: float, answer: Callable[[float], float]) -> float:
    """So many times at which a monotone answer is the wanted one."""
    (low, at_low), (high, at_high) = _answered(answer, 1.0 / FIT_TIMES), _answered(answer, FIT_TIMES)
    if not min(at_low, at_high) <= wanted <= max(at_low, at_high):
        least, most = sorted((at_low, at_high))
        raise _no_house(key, wanted, f"{least:.3g} to {most:.3g} for a house like this one")
    for _ in range(60):
        middle = math.sqrt(low * high)
        if (answer(middle) > wanted) is (at_low > at_high):
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)


def _answered(answer: Callable[[float], float], times: float) -> tuple[float, float]:
    """The furthest from 1 towards `times` that is still a house, and its answer."""
    while True:
        try:
            return times, answer(times)
        except Refused:
            times = math.sqrt(times)


def _no_house(key: str, value: float, allowed: str) -> Refused:
    return Refused([Problem(key, value, allowed, f"{key} = {value}: must be {allowed}")])

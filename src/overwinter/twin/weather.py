"""How cold it is outdoors, as formulas of time: every night here is invented, none was observed.

Rule 1: weather is a function of time alone. It may be asked in any order and twice, and says the same.
Rule 2: chance is drawn once, from the seed, when the weather is made.

Time is in seconds from the beginning that each formula names; hours of day are local solar time.
"""

import math
import random
from collections.abc import Callable, Sequence
from typing import TypeAlias

Weather: TypeAlias = Callable[[float], float]
"""From seconds to outdoor temperature [°C]."""

Sunshine: TypeAlias = Callable[[float], float]
"""From seconds to the sun's radiation on level ground [W/m2]."""

SUN_SHARE = 0.6
"""What walls and roof take up of it (weathered wood, paint or felt, between 0.4 and 0.9; common practice)."""

OUTER_FILM_W_M2K = 25.0
"""What the outer skin gives back to the wind: 1 / 0.04 m2·K/W, ISO 6946."""

SUNRISE_S, DAYLIGHT_S = 7.5 * 3600.0, 9.0 * 3600.0
"""Winter in middle latitudes, local solar time."""

HOUR_S = 3600.0
DAY_S = 86400.0

DAWN_S = 13 * HOUR_S
"""From six in the evening to seven in the morning: the coldest moment of a night."""

WOBBLE_H = (0.31, 0.53, 0.89, 1.7, 3.1, 5.3)
"""Periods of passing clouds and breezes [h]; no two are in step."""


FRONTS_H = (74.0, 118.0, 187.0, 401.0)
"""Periods of fronts and spells [h], 3 to 17 days."""


def cold_night(
    *, seed: int, evening_c: float = -2.0, dawn_c: float = -14.0, wobble_k: float = 0.4
) -> Weather:
    """A clear, still winter night, again and again; time begins at six in the evening.

    Until dawn, with s = time since evening / 13 h, the ground radiates and T = evening - (evening - dawn)·√s
    (the square-root law of nightly cooling, from memory); after it, with s = time since dawn / 11 h, the sun
    brings T = dawn + (evening - dawn)·(1 - cos πs)/2 back to the evening's. A wobble is added.

    Parameters
    ----------
    seed : int
        Draws the wobble.
    evening_c, dawn_c : float
        At the beginning and at the coldest [°C].
    wobble_k : float
        Standard deviation of the wobble [K]; 0 is none.
    """
    wobble = _wobble(seed, wobble_k)
    fall_k = evening_c - dawn_c

    def outdoor_c(now_s: float) -> float:
        hour_s = now_s % DAY_S
        if hour_s <= DAWN_S:
            smooth_c = evening_c - fall_k * math.sqrt(hour_s / DAWN_S)
        else:
            smooth_c = dawn_c + fall_k * _rise((hour_s - DAWN_S) / (DAY_S - DAWN_S))
        return smooth_c + wobble(now_s)

    return outdoor_c


def cold_snap(
    *,
    seed: int,
    mild_c: float = 2.0,
    cold_c: float = -16.0,
    begins_s: float = 1.0 * DAY_S,
    front_s: float = 0.5 * DAY_S,
    lasts_s: float = 3.0 * DAY_S,
    swing_k: float = 6.0,
    wobble_k: float = 0.8,
) -> Weather:
    """Mild, then a front, some days of cold, and mild again; time begins at midnight.

    The daily mean goes from `mild_c` to `cold_c` by half a cosine within `front_s`, stays for `lasts_s`, and
    goes back the same way. To it comes a daily swing of `swing_k` from lowest (06:00) to highest (18:00),
    one cosine, and the wobble.

    Parameters
    ----------
    seed : int
        Draws the wobble.
    mild_c, cold_c : float
        Daily means before and within the snap [°C].
    begins_s, front_s, lasts_s : float
        When the front arrives, how long it takes to pass, and how long the cold stays [s].
    swing_k, wobble_k : float
        Lowest to highest of a day, and standard deviation of the wobble [K].
    """
    wobble = _wobble(seed, wobble_k)

    def outdoor_c(now_s: float) -> float:
        since_s = now_s - begins_s
        depth = _rise(since_s / front_s) - _rise((since_s - front_s - lasts_s) / front_s)
        return mild_c + (cold_c - mild_c) * depth + _swing(now_s, swing_k) + wobble(now_s)

    return outdoor_c


def cold_winter(
    *,
    seed: int,
    days: float = 120.0,
    mean_c: float = -4.0,
    season_k: float = 5.0,
    fronts_k: float = 4.0,
    swing_k: float = 6.0,
    wobble_k: float = 0.8,
) -> Weather:
    """A whole winter: coldest in its middle, with fronts of some days; time begins at midnight.

    T = mean + season·cos(2π·time / (days · 24 h)) + fronts + the daily swing (lowest 06:00) + the wobble.
    Half of the winter thus lies below the mean, its middle by `season_k`. The fronts are sines of 3 to 17
    days and random phase, together of standard deviation `fronts_k`.

    Parameters
    ----------
    seed : int
        Draws fronts and wobble.
    days : float
        Length of the winter [d], above 0.
    mean_c, season_k : float
        Mean of it all, and how far the season departs from it at its ends and in its middle [°C, K].
    fronts_k, swing_k, wobble_k : float
        Standard deviation of the fronts, lowest to highest of a day, standard deviation of the wobble [K].
    """
    fronts = _wobble(seed + 1, fronts_k, FRONTS_H)
    wobble = _wobble(seed, wobble_k)
    turn_s = days * DAY_S

    def outdoor_c(now_s: float) -> float:
        season = season_k * math.cos(2 * math.pi * now_s / turn_s)
        return mean_c + season + fronts(now_s) + _swing(now_s, swing_k) + wobble(now_s)

    return outdoor_c


def sunshine(*, seed: int, noon_w_m2: float, begins_s: float = 0.0) -> Sunshine:
    """Winter sun through passing clouds: noon_w_m2 · sin(π·(time - 07:30)/9 h) · clearness, dark otherwise.

    The clearness is 0.15 (overcast) to 1, by sines of hours and days of random phase.

    Parameters
    ----------
    seed : int
        Draws the clouds.
    noon_w_m2 : float
        A cloudless noon on level ground [W/m2]; 400 in December at 42° of latitude (from memory).
    begins_s : float
        The time of day at which time begins [s since midnight].
    """
    clouds = _wobble(seed + 2, 1.0, (*WOBBLE_H, *FRONTS_H))

    def radiation_w_m2(now_s: float) -> float:
        share = ((now_s + begins_s) % DAY_S - SUNRISE_S) / DAYLIGHT_S
        if not 0.0 < share < 1.0:
            return 0.0
        clearness = 0.15 + 0.85 * _rise(0.5 + clouds(now_s) / 3.0)
        return noon_w_m2 * math.sin(math.pi * share) * clearness

    return radiation_w_m2


def sun_gain_w(radiation_w_m2: float, envelope_outdoor_w_k: float) -> float:
    """What the inside of walls and roof gains [W]: to them the sun makes outdoors warmer by SUN_SHARE/film.

    The same radiation counts for all walls, as if it fell on each as on level ground: too much for the shady
    side and too little for the sunny one in winter.
    """
    return envelope_outdoor_w_k * SUN_SHARE / OUTER_FILM_W_M2K * radiation_w_m2


def hourly(temperatures_c: Sequence[float], *, step_h: float = 1.0, begins: int = 0) -> Weather:
    """Recorded weather: straight lines from value to value, and round again at its end.

    Parameters
    ----------
    temperatures_c : sequence of float
        Evenly spaced outdoor temperatures [°C], at least one.
    step_h : float
        Their distance [h], above 0.
    begins : int
        Which of them stands at time 0.
    """
    kept = tuple(temperatures_c)
    count, step_s = len(kept), step_h * HOUR_S

    def outdoor_c(now_s: float) -> float:
        at, share = divmod(now_s / step_s, 1.0)
        first = (int(at) + begins) % count
        return kept[first] + share * (kept[(first + 1) % count] - kept[first])

    return outdoor_c


def coldest_stretch(temperatures_c: Sequence[float], count: int) -> int:
    """Where the `count` values in a row begin that are coldest together; the end may run on at the beginning.

    A rehearsal shorter than its weather is there for the worst of it.
    """
    size = len(temperatures_c)
    if count >= size:
        return 0
    total = lowest = sum(temperatures_c[:count])
    begins = 0
    for at in range(1, size):
        total += temperatures_c[(at + count - 1) % size] - temperatures_c[at - 1]
        if total < lowest - 1e-9:
            begins, lowest = at, total
    return begins


def design_day(*, design_c: float, swing_k: float = 4.0) -> Weather:
    """The day a heater is chosen for, without end; time begins at midnight, chance has no part in it.

    T = design + swing/2 - swing/2·cos(2π·(time - 06:00)/24 h): never below `design_c`, there each morning.
    """

    def outdoor_c(now_s: float) -> float:
        return design_c + swing_k / 2 + _swing(now_s, swing_k)

    return outdoor_c


def _rise(share: float) -> float:
    """From 0 to 1 by half a cosine while `share` goes from 0 to 1; flat before and after."""
    return (1.0 - math.cos(math.pi * min(max(share, 0.0), 1.0))) / 2


def _swing(now_s: float, swing_k: float) -> float:
    return -swing_k / 2 * math.cos(2 * math.pi * (now_s / DAY_S - 0.25))


def _wobble(seed: int, wobble_k: float, periods_h: Sequence[float] = WOBBLE_H) -> Weather:
    """Sines of random phase, together of standard deviation `wobble_k`."""
    chance = random.Random(seed)
    amplitude_k = wobble_k * math.sqrt(2.0 / len(periods_h))
    waves = [(2 * math.pi / (hours * HOUR_S), chance.uniform(0.0, 2 * math.pi)) for hours in periods_h]

    def departure_k(now_s: float) -> float:
        return amplitude_k * sum([math.sin(rate * now_s + phase) for rate, phase in waves])

    return departure_k

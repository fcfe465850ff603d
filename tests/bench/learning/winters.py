"""Winters to learn from: recorded ones out of installed packages, and invented ones.

Rule 1: what is tuned on `TUNING` is never shown as a result; the table is of `REPORTED` alone.
Rule 2: a winter that is not installed is left out and named (`missing`), never replaced.
Rule 3: what a file does not say (sun, wind) is made from the winter's name alone, so every run is the same.

Typical years and years of observation are turned so that they begin in the middle of November; where they
are glued at New Year the temperature may step.
"""

import csv
import gzip
import importlib.util
import math
import random
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from overwinter.twin.weather import cold_snap, cold_winter
from overwinter.weatherfile.parse import parse_weather

BEGINS_H = (334 - 16) * 24
"""Hours from New Year to 15 November."""

HOURS = 190 * 24
"""So much is kept of each: from the middle of November to the end of May."""

YEAR_H = 8760
STEP_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Winter:
    """Hour by hour from 15 November: outdoor temperature [°C], wind [m/s], sun on level ground [W/m2]."""

    name: str
    outdoor_c: tuple[float, ...]
    wind_m_s: tuple[float, ...]
    sun_w_m2: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Source:
    package: str
    path: str
    latitude: float
    behind_utc_h: int = 0  # of observations, which are told in UTC


_RECORDED = {
    "Chicago, typical": _Source(
        "diyepw", "data/tmy_epw_files/USA_IL_Chicago.OHare.Intl.AP.725300_TMY3.epw", 42.0
    ),
    "Northway, typical": _Source("diyepw", "data/tmy_epw_files/USA_AK_Northway.AP.702910_TMY3.epw", 63.0),
    "Mount Shasta, typical": _Source(
        "diyepw", "data/tmy_epw_files/USA_CA_Mount.Shasta.725957_TMYx.epw", 41.3
    ),
    "Chicago, 2015": _Source("diyepw", "data/noaa_isd_lite_files/725300-2015.gz", 42.0, 6),
    "Chicago, 2016": _Source("diyepw", "data/noaa_isd_lite_files/725300-2016.gz", 42.0, 6),
    "Chicago, 2017": _Source("diyepw", "data/noaa_isd_lite_files/725300-2017.gz", 42.0, 6),
    "Northway, 2018": _Source("diyepw", "data/noaa_isd_lite_files/702910-2018.gz", 63.0, 9),
    "Northway, 2019": _Source("diyepw", "data/noaa_isd_lite_files/702910-2019.gz", 63.0, 9),
    "Mount Shasta, 2016": _Source("diyepw", "data/noaa_isd_lite_files/725957-2016.gz", 41.3, 8),
    "Sand Point, typical": _Source("pvlib", "data/703165TY.csv", 55.3),
    "Greensboro, typical": _Source("pvlib", "data/723170TYA.CSV", 36.1),
}
_INVENTED: dict[str, tuple[Callable[[], Callable[[float], float]], float]] = {
    "invented, -4 C": (lambda: cold_winter(seed=11, mean_c=-4.0), 45.0),
    "invented, -9 C": (lambda: cold_winter(seed=23, mean_c=-9.0, fronts_k=5.0), 50.0),
    "invented, 0 C": (lambda: cold_winter(seed=37, mean_c=0.0, swing_k=9.0), 42.0),
    "one cold snap": (lambda: cold_snap(seed=5, begins_s=20 * 86400.0, lasts_s=8 * 86400.0), 45.0),
}

TUNING = (
    "Chicago, typical",
    "Chicago, 2016",
    "Northway, 2018",
    "Mount Shasta, 2016",
    "Greensboro, typical",
    "invented, -4 C",
    "one cold snap",
)
"""To choose constants on."""

REPORTED = (
    "Chicago, 2015",
    "Northway, typical",
    "Mount Shasta, typical",
    "invented, -9 C",
    "Sand Point, typical",
    "Chicago, 2017",
    "Northway, 2019",
    "invented, 0 C",
)
"""What the table is of; the first four are the usual run: cold, bitter, sunny, and invented."""


def missing(names: Sequence[str]) -> list[str]:
    """Those of them whose package is not installed here."""
    return [name for name in names if name in _RECORDED and _file(_RECORDED[name]) is None]


@cache
def winter(name: str) -> Winter:
    """A winter by its name; LookupError where it is unknown or not installed."""
    if name in _INVENTED:
        make, latitude = _INVENTED[name]
        formula = make()
        hours = [formula(at * STEP_S) for at in range(HOURS)]
        return _filled(name, hours, None, None, latitude)
    source = _RECORDED.get(name)
    if source is None:
        raise LookupError(f"winter {name!r}: must be one of {', '.join([*_RECORDED, *_INVENTED])}")
    path = _file(source)
    if path is None:
        raise LookupError(f"winter {name!r}: needs the package {source.package}")
    if path.suffix == ".gz":
        return _observed(name, path, source)
    text = path.read_text(encoding="utf-8", errors="replace")
    outdoor_c = parse_weather(text).temperatures_c
    wind, sun = _wind_and_sun(text)
    return _filled(name, _turned(outdoor_c), _turned(wind), _turned(sun), source.latitude)


def _file(source: _Source) -> Path | None:
    found = importlib.util.find_spec(source.package)
    if found is None or found.origin is None:
        return None
    path = Path(found.origin).parent / source.path
    return path if path.exists() else None


def _turned(hours: Sequence[float]) -> list[float]:
    count = len(hours)
    return [hours[(at + BEGINS_H) % count] for at in range(HOURS)]


def _wind_and_sun(text: str) -> tuple[list[float], list[float]]:
    """Columns that the program itself does not read: EPW counts fields, TMY3 names them."""
    rows = list(csv.reader(text.splitlines()))
    if text.startswith("LOCATION,"):
        data, wind_at, sun_at = rows[8:], 21, 13
    else:
        data, names = rows[2:], rows[1]
        wind_at, sun_at = names.index("Wspd (m/s)"), names.index("GHI (W/m^2)")
    data = [row for row in data if len(row) > max(wind_at, sun_at)]
    told = [float(row[wind_at]) for row in data]
    wind = [speed if 0.0 <= speed <= 40.0 else 3.0 for speed in told]  # 999 is missing
    sun = [min(max(float(row[sun_at]), 0.0), 1400.0) for row in data]
    return wind, sun


def _observed(name: str, path: Path, source: _Source) -> Winter:
    """ISD-Lite: year, month, day, hour, then tenths of °C ... tenths of m/s; -9999 is missing."""
    outdoor: list[float | None] = [None] * YEAR_H
    wind: list[float | None] = [None] * YEAR_H
    months = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)
    with gzip.open(path, "rt", encoding="ascii") as file:
        for line in file:
            fields = [int(field) for field in line.split()]
            if fields[1] == 2 and fields[2] == 29:
                continue
            at = (months[fields[1] - 1] + fields[2] - 1) * 24 + fields[3] - source.behind_utc_h
            if fields[4] != -9999:
                outdoor[at] = fields[4] / 10.0
            if fields[8] != -9999:
                wind[at] = fields[8] / 10.0
    return _filled(name, _turned(_whole(outdoor)), _turned(_whole(wind)), None, source.latitude)


def _whole(hours: Sequence[float | None]) -> list[float]:
    """Gaps filled by straight lines."""
    known = [at for at, value in enumerate(hours) if value is not None]
    whole = []
    later = 0
    for at, value in enumerate(hours):
        if value is not None:
            whole.append(value)
            continue
        while later < len(known) and known[later] < at:
            later += 1
        before = known[later - 1] if later else known[0]
        after = known[later] if later < len(known) else known[-1]
        share = (at - before) / (after - before) if after > before else 0.0
        first, last = hours[before], hours[after]
        assert first is not None
        assert last is not None
        whole.append(first + share * (last - first))
    return whole


def _filled(
    name: str,
    outdoor_c: Sequence[float],
    wind_m_s: Sequence[float] | None,
    sun_w_m2: Sequence[float] | None,
    latitude: float,
) -> Winter:
    chance = random.Random(zlib.crc32(name.encode()))
    if wind_m_s is None:
        # Log-normal about 3 m/s with a memory of some hours.
        state, wind_m_s = 0.0, []
        for _ in outdoor_c:
            state = 0.85 * state + math.sqrt(1 - 0.85**2) * chance.gauss(0.0, 0.6)
            wind_m_s.append(min(3.0 * math.exp(state - 0.18), 20.0))
    if sun_w_m2 is None:
        sun_w_m2 = []
        clear = 0.5
        for at in range(len(outdoor_c)):
            if at % 24 == 0:
                clear = chance.choice((0.15, 0.3, 0.6, 0.75))
            sun_w_m2.append(clear * 1100.0 * _height(at, latitude))
    return Winter(name=name, outdoor_c=tuple(outdoor_c), wind_m_s=tuple(wind_m_s), sun_w_m2=tuple(sun_w_m2))


def _height(at_h: int, latitude: float) -> float:
    """Sine of the sun's height, 0 by night (textbook formula of the declination)."""
    day = (BEGINS_H + at_h) / 24.0 % 365.0
    tilt = math.radians(-23.44) * math.cos(2 * math.pi * (day + 10.0) / 365.0)
    place, hour = math.radians(latitude), math.radians(15.0 * (at_h % 24 + 0.5 - 12.0))
    return max(0.0, math.sin(place) * math.sin(tilt) + math.cos(place) * math.cos(tilt) * math.cos(hour))

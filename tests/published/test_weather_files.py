"""Hourly weather out of open packages: our parser against what is known of each file, our dew point against
its own column, our season against degree hours that were summed elsewhere.

The files are typical years of NREL (TMY3), as they lie inside the wheels of pvlib (BSD-3) and diyepw (BSD-2,
installed with --no-deps; only its data is read). They are not in this repository. Which meaning of relative
humidity below 0 °C a file has differs from file to file, and was found by trying both.

Rule: medians and 95 % marks are compared, never the largest difference: some rows contradict themselves
(their humidity is rounded to 1 %, and a few dew points belong to another hour).
"""

import importlib.util
import math
from functools import cache
from pathlib import Path

import pytest

from overwinter.physics.air import Over, dew_point_c, frost_point_c
from overwinter.physics.season import degree_hours_kh, season
from overwinter.weatherfile.parse import Weather, parse_weather

NORTHWAY = "diyepw/data/tmy_epw_files/USA_AK_Northway.AP.702910_TMY3.epw"
CHICAGO = "diyepw/data/tmy_epw_files/USA_IL_Chicago.OHare.Intl.AP.725300_TMY3.epw"
GREENSBORO = "pvlib/data/723170TYA.CSV"
SAND_POINT = "pvlib/data/703165TY.csv"


def path_of(file: str) -> Path:
    """Where an installed package keeps the file; the package itself is not imported."""
    package, _, inside = file.partition("/")
    spec = importlib.util.find_spec(package)
    if spec is None or spec.origin is None:
        how = "pip install pvlib" if package == "pvlib" else "pip install --no-deps diyepw==1.3.1"
        pytest.skip(f"{package} is not installed: {how}")
    return Path(spec.origin).parent / inside


@cache
def text_of(file: str) -> str:
    return path_of(file).read_text("utf-8")


@cache
def weather(file: str) -> Weather:
    return parse_weather(text_of(file))


def differences_k(file: str, over: Over, *, cold: bool | None = None) -> list[float]:
    """|our dew point - the file's|, rising; humidity below 0 °C over ice or over water, as asked."""
    year = weather(file)
    assert year.humidities_pct is not None
    assert year.dew_points_c is not None
    found = []
    for at_c, pct, dew_c in zip(year.temperatures_c, year.humidities_pct, year.dew_points_c, strict=True):
        if math.isnan(pct) or math.isnan(dew_c) or at_c < -45.0 or not 0.0 < pct <= 100.0:
            continue
        if cold is not None and (at_c < 0.0) is not cold:
            continue
        ours_c = dew_point_c(at_c, pct)
        if over is Over.ICE:
            # The file's dew points are frost points below 0 °C, and its humidities over ice in frost.
            frost_c = frost_point_c(at_c, pct, Over.ICE if at_c < 0.0 else Over.WATER)
            ours_c = ours_c if frost_c is None else frost_c
        found.append(abs(ours_c - dew_c))
    return sorted(found)


@pytest.mark.parametrize(
    ("file", "kind", "coldest_c", "below_0_h", "below_10_h"),
    [
        pytest.param(NORTHWAY, "EPW", -46.0, 4868, 3232, id="Northway"),
        pytest.param(CHICAGO, "EPW", -22.8, 1788, 382, id="Chicago"),
        pytest.param(GREENSBORO, "TMY3", -16.7, 792, 43, id="Greensboro"),
        pytest.param(SAND_POINT, "TMY3", -10.6, 1640, 2, id="Sand Point"),
    ],
)
def test_a_typical_year_is_read_whole(
    file: str, kind: str, coldest_c: float, below_0_h: int, below_10_h: int
) -> None:
    year = weather(file)

    assert (year.kind, len(year.temperatures_c), year.step_h, year.filled) == (kind, 8760, 1.0, 0)
    assert min(year.temperatures_c) == coldest_c
    assert sum(at_c < 0.0 for at_c in year.temperatures_c) == below_0_h
    assert sum(at_c < -10.0 for at_c in year.temperatures_c) == below_10_h


@pytest.mark.parametrize(
    ("file", "design_c"),
    [
        pytest.param(CHICAGO, (-18.7, -16.0), id="Chicago, as in ASHRAE's station table"),
        pytest.param(NORTHWAY, (-45.0, -42.0), id="Northway, from its header"),
    ],
)
def test_design_temperatures_come_out_of_the_header(file: str, design_c: tuple[float, float]) -> None:
    """2021 ASHRAE Handbook - Fundamentals, ch. 14; 99.6 % and 99 %. The hours themselves agree within 2 K."""
    year = weather(file)
    coldest_first = sorted(year.temperatures_c)

    assert year.design_c == design_c
    assert coldest_first[int(0.004 * 8760)] == pytest.approx(design_c[0], abs=2.0)
    assert coldest_first[int(0.01 * 8760)] == pytest.approx(design_c[1], abs=2.0)


@pytest.mark.parametrize(
    ("file", "over", "cold", "most_k"),
    [
        pytest.param(NORTHWAY, Over.ICE, True, (0.10, 0.25), id="Northway, frost, over ice"),
        pytest.param(SAND_POINT, Over.ICE, None, (0.10, 0.25), id="Sand Point, the whole year, over ice"),
        pytest.param(SAND_POINT, Over.ICE, True, (0.10, 0.25), id="Sand Point, frost, over ice"),
        pytest.param(CHICAGO, Over.WATER, None, (0.10, 0.25), id="Chicago, the whole year, over water"),
        pytest.param(CHICAGO, Over.WATER, True, (0.10, 0.25), id="Chicago, frost, over water"),
        pytest.param(GREENSBORO, Over.WATER, None, (0.10, 0.40), id="Greensboro, the whole year, over water"),
    ],
)
def test_our_dew_point_is_the_files_own(
    file: str, over: Over, cold: bool | None, most_k: tuple[float, float]
) -> None:
    found = differences_k(file, over, cold=cold)

    assert len(found) > 1000
    assert found[len(found) // 2] <= most_k[0]
    assert found[int(0.95 * len(found))] <= most_k[1]


@pytest.mark.parametrize(
    ("file", "other"),
    [
        pytest.param(NORTHWAY, Over.WATER, id="Northway"),
        pytest.param(SAND_POINT, Over.WATER, id="Sand Point"),
        pytest.param(CHICAGO, Over.ICE, id="Chicago"),
    ],
)
def test_the_other_meaning_of_humidity_would_be_found_out(file: str, other: Over) -> None:
    """The comparison above can fail: taken the wrong way round, frost is 0.1 to 0.7 K off in the middle."""
    found = differences_k(file, other, cold=True)

    assert found[len(found) // 2] > 0.25


@pytest.mark.parametrize(
    ("file", "base_c", "published_kh"),
    [
        pytest.param(CHICAGO, 5.0, 24_687.9, id="Chicago, 5 °C"),
        pytest.param(CHICAGO, 2.0, 15_999.1, id="Chicago, 2 °C"),
        pytest.param(CHICAGO, 7.0, 31_492.9, id="Chicago, 7 °C"),
        pytest.param(NORTHWAY, 5.0, 107_181.2, id="Northway, 5 °C"),
        pytest.param(NORTHWAY, 2.0, 90_605.1, id="Northway, 2 °C"),
        pytest.param(NORTHWAY, 7.0, 119_082.1, id="Northway, 7 °C"),
    ],
)
def test_degree_hours_are_those_that_were_summed_elsewhere(
    file: str, base_c: float, published_kh: float
) -> None:
    """Summed with numpy over the same files outside this project."""
    assert degree_hours_kh(weather(file).temperatures_c, base_c) == pytest.approx(published_kh, abs=0.1)


def test_degree_days_of_chicago_are_the_handbooks() -> None:
    """2021 ASHRAE Handbook - Fundamentals, ch. 14: 3421 K d to 18.3 °C; another set of years, so 6 %."""
    assert degree_hours_kh(weather(CHICAGO).temperatures_c, 18.3) / 24.0 == pytest.approx(3421.0, rel=0.06)


@pytest.mark.parametrize(
    ("file", "kwh"),
    [pytest.param(CHICAGO, 493.8, id="Chicago"), pytest.param(NORTHWAY, 2143.6, id="Northway")],
)
def test_a_season_of_20_w_k_at_5_c(file: str, kwh: float) -> None:
    found = season(weather(file).temperatures_c, ua_w_k=20.0, inside_c=5.0)

    assert found.kwh == pytest.approx(kwh, abs=0.05)
    assert found.short_h == 0.0


def test_a_year_with_a_line_cut_out_is_refused_with_its_line() -> None:
    lines = text_of(CHICAGO).splitlines()
    del lines[1000]

    with pytest.raises(ValueError, match=r"line 1001: .* must be hour"):
        parse_weather("\n".join(lines))

"""Text of a weather file to columns, or to all its problems with their lines.

Whole files of all three kinds are read in `tests/published/test_weather_files.py`; here are the small ones.
"""

import math
from datetime import datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Refused
from overwinter.weatherfile.parse import PROBLEMS_MAX, ROWS_MAX, parse_weather

START = datetime(2026, 1, 1)  # noqa: DTZ001


def plain(
    temperatures: list[object], *, head: str = "time,temperature_c", step_h: float = 1.0, zone: str = ""
) -> str:
    lines = [
        f"{(START + timedelta(hours=step_h * at)).isoformat()}{zone},{value}"
        for at, value in enumerate(temperatures)
    ]
    return "\n".join([head, *lines])


def epw(temperatures: list[object], *, design: str = "DESIGN CONDITIONS,0") -> str:
    head = [
        "LOCATION,Mill Brook,XX,USA,TMY3,000000,41.9,-87.9,-6.0,201.0",
        design,
        *["HEADER"] * 6,
    ]
    lines = [
        f"1986,1,{1 + at // 24},{1 + at % 24},0,source,{value},-3.0,80,99500,0"
        for at, value in enumerate(temperatures)
    ]
    return "\n".join([*head, *lines])


def tmy3(temperatures: list[object]) -> str:
    head = ['000000,"MILL BROOK",XX,-5.0,36.1,-79.9,273', "Date (MM/DD/YYYY),Time (HH:MM),GHI,Dry-bulb (C)"]
    lines = [
        f"01/{1 + at // 24:02d}/1997,{1 + at % 24:02d}:00,0,{value}" for at, value in enumerate(temperatures)
    ]
    return "\n".join([*head, *lines])


def problems(text: str) -> list[str]:
    with pytest.raises(Refused) as refused:
        parse_weather(text)
    return [problem.text for problem in refused.value.problems]


DAY: list[object] = [float(at % 7) for at in range(24)]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        pytest.param(plain(DAY), "CSV", id="plain"),
        pytest.param(plain(DAY, zone="Z"), "CSV", id="plain, with a zone"),
        pytest.param("\ufeff" + plain(DAY).replace("\n", "\r\n"), "CSV", id="plain, from a spreadsheet"),
        pytest.param(plain(DAY) + "\n\n", "CSV", id="plain, with empty lines"),
        pytest.param(epw(DAY), "EPW", id="EPW"),
        pytest.param(tmy3(DAY), "TMY3", id="TMY3"),
    ],
)
def test_a_day_is_read(text: str, kind: str) -> None:
    found = parse_weather(text)

    assert (found.kind, list(found.temperatures_c), found.step_h, found.filled) == (kind, DAY, 1.0, 0)


def test_what_a_head_tells_is_kept() -> None:
    design = "DESIGN CONDITIONS,1,ASHRAE,,Heating,1,-18.7,-16.0,-24.1,Cooling,7"
    found = parse_weather(epw(DAY, design=design))

    assert (found.place, found.altitude_m, found.design_c) == ("Mill Brook, XX, USA", 201.0, (-18.7, -16.0))
    assert parse_weather(epw(DAY)).design_c is None
    assert parse_weather(tmy3(DAY)).altitude_m == 273.0
    assert parse_weather(tmy3(DAY)).place == "MILL BROOK, XX"


def test_an_epw_brings_dew_points_and_humidity() -> None:
    found = parse_weather(epw(DAY))

    assert found.dew_points_c == (-3.0,) * 24
    assert found.humidities_pct == (80.0,) * 24
    assert parse_weather(tmy3(DAY)).humidities_pct is None


def test_an_epw_s_sun_is_its_fourteenth_field() -> None:
    """Global horizontal radiation, 9999 where it is missing (EnergyPlus, Auxiliary Programs, EPW)."""
    bright = "\n".join(
        f"{line},0,0,300,{hour * 10 if hour != 12 else 9999},77" if (hour := at - 8) >= 0 else line
        for at, line in enumerate(epw(DAY).splitlines())
    ).replace("99500,0,", "99500,")
    found = parse_weather(bright)

    assert found.radiation_w_m2 == tuple(hour * 10.0 if hour != 12 else 0.0 for hour in range(24))
    assert parse_weather(epw(DAY)).radiation_w_m2 is None


def test_a_tmy3_s_sun_is_the_column_of_that_name() -> None:
    bright = (
        tmy3(DAY).replace(",GHI,", ",GHI (W/m^2),").replace(":00,0,", ":00,120,").replace("120", "-9900", 1)
    )
    found = parse_weather(bright)

    assert found.radiation_w_m2 == (0.0, *(120.0,) * 23)
    assert parse_weather(tmy3(DAY)).radiation_w_m2 is None


@pytest.mark.parametrize(
    ("head", "freezing"),
    [
        ("time,temperature_c", 0.0),
        ("time,temperature_f", 32.0),
        ("timestamp,temp (°F)", 32.0),
        ("Date,Outdoor F", 32.0),
        ("datetime,Temperature [°C]", 0.0),
        ("t,outdoor_c", 0.0),
    ],
)
def test_the_unit_is_in_the_name_of_the_column(head: str, freezing: float) -> None:
    assert parse_weather(plain([freezing] * 24, head=head)).temperatures_c == (0.0,) * 24


def test_of_several_temperatures_the_outdoor_one_counts() -> None:
    text = "time,temperature_c,humidity_pct,outdoor_c\n" + "\n".join(
        f"{(START + timedelta(hours=at)).isoformat()},5.0,70,-8.0" for at in range(24)
    )

    assert parse_weather(text).temperatures_c == (-8.0,) * 24


@pytest.mark.parametrize(
    "head",
    [
        pytest.param("time,temperature", id="no unit"),
        pytest.param("time,humidity_pct", id="no temperature"),
        pytest.param("temperature_c,dew_point_c", id="no time"),
        pytest.param("time,temperature_c,temp2_c", id="two temperatures"),
        pytest.param("time,dew temp_c", id="a dew point alone"),
        pytest.param("", id="nothing"),
    ],
)
def test_columns_that_do_not_say_what_they_are_are_refused(head: str) -> None:
    """A winter in the wrong unit would be a winter of another country."""
    (told,) = problems(plain(DAY, head=head))

    assert told.startswith("line 1: ")
    assert "such as time,temperature_c or time,temperature_f" in told


def test_all_problems_come_at_once_each_with_its_line() -> None:
    values = list(DAY)
    values[3], values[7] = "warm", "999"
    text = plain(values).replace("2026-01-01T10:00:00", "tomorrow")

    assert problems(text) == [
        "line 5: 'warm': must be a temperature, -90 to 60 °C",
        "line 9: '999': must be a temperature, -90 to 60 °C",
        "line 12: 'tomorrow': must be a time such as 2026-01-09T04:00 or 2026-01-09 04:00Z (ISO 8601)",
    ]


def test_a_file_that_is_wrong_on_every_line_tells_no_more_than_can_be_read() -> None:
    told = problems(plain(["?"] * 500))

    assert len(told) == PROBLEMS_MAX + 1
    assert told[-1] == f"{500 - PROBLEMS_MAX} more problems of this kind"


def test_a_short_gap_is_filled_by_a_straight_line_and_counted() -> None:
    lines = plain([float(at) for at in range(24)]).splitlines()
    del lines[6:9]  # five to seven o'clock
    found = parse_weather("\n".join(lines))

    assert found.temperatures_c == pytest.approx(tuple(range(24)))
    assert found.filled == 3


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(epw([*DAY[:5], 99.9, 99.9, *DAY[7:]]), id="EPW"),
        pytest.param(tmy3([*DAY[:5], -9900, -9900, *DAY[7:]]), id="TMY3"),
        pytest.param(plain([*DAY[:5], "", "", *DAY[7:]]), id="plain"),
    ],
)
def test_what_a_file_calls_missing_is_filled(text: str) -> None:
    """Between 4 and 0 (the days are 0 to 6 over and over): 2.67 and 1.33."""
    found = parse_weather(text)

    assert found.filled == 2
    assert found.temperatures_c[4:8] == pytest.approx((4.0, 8 / 3, 4 / 3, 0.0))


def test_a_long_gap_is_refused_with_its_line() -> None:
    """A night may hide in it."""
    lines = plain([0.0] * 48).splitlines()
    del lines[20:27]

    assert problems("\n".join(lines)) == [
        "line 21: '2026-01-02T02:00:00': must be at most 6 h after the line before, 2026-01-01T18:00:00"
    ]
    assert "a gap of 6 h is too long" in problems(epw([0.0] * 10 + [99.9] * 6 + [0.0] * 10))[0]


@pytest.mark.parametrize("at", [0, 23], ids=["first", "last"])
def test_a_gap_at_an_end_has_nothing_to_be_filled_from(at: int) -> None:
    values = list(DAY)
    values[at] = ""

    (told,) = problems(plain(values))
    assert told.startswith(f"line {at + 2}: 'missing temperature': must be followed by a temperature")
    assert told.endswith("a gap of 1 h is too long or at an end")


@pytest.mark.parametrize(
    ("second", "told"),
    [
        pytest.param("2026-01-01T00:00:00", "later than the line before", id="the same"),
        pytest.param("2025-12-31T23:00:00", "later than the line before", id="earlier"),
        pytest.param("2026-01-01T01:00:00Z", "with a time zone on every line, or on none", id="a zone"),
    ],
)
def test_times_that_do_not_rise_are_refused(second: str, told: str) -> None:
    text = plain(DAY).replace("2026-01-01T01:00:00", second)

    assert told in problems(text)[0]
    assert problems(text)[0].startswith("line 3: ")


def test_times_off_the_beat_are_refused() -> None:
    text = plain(DAY).replace("2026-01-01T05:00:00", "2026-01-01T05:20:00")

    assert "must be a multiple of 3600 s after the line before" in problems(text)[0]


def test_half_hours_are_half_hours() -> None:
    found = parse_weather(plain([0.0] * 48, step_h=0.5))

    assert (found.step_h, len(found.temperatures_c)) == (0.5, 48)


@pytest.mark.parametrize("text", [epw(DAY), tmy3(DAY)], ids=["EPW", "TMY3"])
def test_a_lost_hour_of_a_typical_year_is_found(text: str) -> None:
    lines = text.splitlines()
    del lines[-5]

    (told,) = problems("\n".join(lines)) if len(lines) > 40 else problems("\n".join(lines))[:1]
    assert "must be hour 20, which follows 19" in told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        pytest.param(epw([]), "at least 24 rows", id="EPW without rows"),
        pytest.param(plain([]), "at least 24 rows", id="a head alone"),
        pytest.param(plain(DAY[:23]), "at least 24 rows", id="less than a day"),
        pytest.param("LOCATION,", "at least 24 rows", id="the first word of an EPW"),
        pytest.param(epw(DAY) + "\n1986,1,2", "at least 10 fields", id="EPW, a torn line"),
        pytest.param(tmy3(DAY) + "\n01/02/1997", "at least 4 fields", id="TMY3, a torn line"),
        pytest.param(plain(DAY) + "\n2026-01-02", "at least 2 fields", id="plain, a torn line"),
        pytest.param(
            tmy3(DAY).replace("Dry-bulb (C)", "Dry"), "column names with Dry-bulb (C)", id="TMY3, no column"
        ),
        pytest.param(epw(["cold", *DAY]), "a temperature, -90 to 60 °C", id="EPW, a word"),
        pytest.param(epw(DAY).replace("1986,1,1,3,", "1986,1,1,25,"), "an hour, 1 to 24", id="EPW, hour 25"),
        pytest.param('"' + "x" * 200_000 + '"\n1', "names of a time", id="a cell without end"),
    ],
)
def test_a_file_that_is_none_is_refused(text: str, told: str) -> None:
    assert told in " ".join(problems(text))


def test_a_file_without_end_is_refused_before_it_is_read() -> None:
    assert f"must be at most {ROWS_MAX} lines" in problems("\n" * (ROWS_MAX + 1))[0]


@given(st.text(max_size=300))
def test_no_text_does_anything_but_be_refused(text: str) -> None:
    with pytest.raises(Refused):
        parse_weather(text)


@given(
    st.sampled_from([plain(DAY), epw(DAY), tmy3(DAY)]),
    st.integers(min_value=0, max_value=2000),
    st.text(alphabet='0123456789.,-:TZe\n"x', max_size=8),
)
def test_a_spoilt_file_is_weather_or_refused(text: str, at: int, splinter: str) -> None:
    """Whatever comes out of it is without holes and within what weather can be."""
    at = at % len(text)
    try:
        found = parse_weather(text[:at] + splinter + text[at + len(splinter) :])
    except Refused:
        return

    assert len(found.temperatures_c) >= 24
    assert all(-90.0 <= at_c <= 60.0 for at_c in found.temperatures_c)
    assert found.step_h > 0.0
    assert not any(map(math.isnan, found.temperatures_c))

"""What a picture keeps, and how it is cut."""

import math
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.show import picture as module
from overwinter.show.columns import columns, columns_between
from overwinter.show.picture import BandStretch, Offset, Picture, rows, ticks
from tests.show.pictures import NOON, a_day, drawn, event, sample

BEGIN_S = NOON.timestamp()
CET, CEST = 3600, 7200


def test_every_sample_is_in_the_picture_doubtful_ones_too() -> None:
    picture = drawn([sample(0, 3.0), sample(60, 3.5, flag=3), sample(120, None, flag=9), sample(180, flag=4)])

    assert [at_s - BEGIN_S for at_s in picture.at_s] == [0, 60, 120, 180]
    assert picture.inside_c == [3.0, 3.5, None, 3.0]
    assert picture.dew_point_c == [-2.0, -1.5, None, -2.0]
    assert picture.flags == [1, 3, 9, 4]


def test_the_band_is_that_of_each_moment() -> None:
    lines = [sample(0), sample(60), sample(120, low_c=1.0), sample(180, low_c=1.0)]

    assert drawn(lines).band == (
        BandStretch(BEGIN_S, BEGIN_S + 120, 2.0, 4.0),
        BandStretch(BEGIN_S + 120, BEGIN_S + 180, 1.0, 4.0),
    )


def test_a_silence_is_a_gap_and_the_guards_word_tells_its_cause() -> None:
    before = [sample(60.0 * minute) for minute in range(10)]
    after = [sample(7200 + 60.0 * minute) for minute in range(10)]
    lines = [*before, *after, event(7290, "gap", since=before[-1]["t"], cause="power", before_c=3.0)]

    picture = drawn(lines, hours=7740 / 3600)

    assert picture.gaps == ((BEGIN_S + 540, BEGIN_S + 7200),)
    (mark,) = picture.marks
    assert (mark.kind, mark.from_s, mark.to_s) == ("gap", BEGIN_S + 540, BEGIN_S + 7200)
    assert mark.text == "no power; 3.0 °C before"


def test_a_slower_pace_is_no_gap() -> None:
    """Only the first hour of it is one: then nobody could know yet."""
    every_minute = [sample(60.0 * minute) for minute in range(100)]
    every_hour = [sample(5940 + 3600.0 * hour) for hour in range(1, 10)]

    picture = drawn([*every_minute, *every_hour], hours=(5940 + 9.5 * 3600) / 3600)

    assert picture.gaps == ((BEGIN_S + 5940, BEGIN_S + 5940 + 3600),)


def test_a_silence_up_to_the_end_is_a_gap() -> None:
    assert drawn([sample(0), sample(60), sample(120)], hours=1).gaps == ((BEGIN_S + 120, BEGIN_S + 3600),)


def test_the_time_before_the_first_sample_is_drawn_only_where_it_is_a_gap() -> None:
    late = [sample(7200), sample(7260), sample(7320)]

    assert drawn(late).from_s == BEGIN_S + 7200
    told = drawn([*late, event(7270, "gap", since=sample(-999)["t"], cause="power")])
    assert told.from_s == BEGIN_S
    assert told.gaps[0] == (BEGIN_S, BEGIN_S + 7200)
    assert told.marks[0].text == "no power"


def test_alarms_last_until_they_are_cleared() -> None:
    lines = [
        sample(0),
        event(60, "alarm", code="cold", state="raised", text="34.0 F"),
        event(90, "alarm", code="cold", state="acknowledged"),
        event(120, "alarm", code="cold", state="cleared"),
        event(180, "alarm", code="damp", state="raised"),
        sample(240),
    ]

    marks = drawn(lines, hours=240 / 3600).marks

    assert [(mark.text, mark.from_s - BEGIN_S) for mark in marks] == [("cold: 34.0 F", 60), ("damp", 180)]
    assert [mark.to_s for mark in marks] == [BEGIN_S + 120, None]


def test_of_too_many_marks_the_newest_stay(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MARKS_MOST", 3)

    picture = drawn([sample(0), *(event(float(at), "note", text=f"{at}") for at in range(5)), sample(60)])

    assert [mark.text for mark in picture.marks if mark.kind == "note"][-2:] == ["3", "4"]
    assert (len(picture.marks), picture.marks_left_out) == (3, 3)  # five notes and the silence after them


@pytest.mark.parametrize("odd", ["warm", True, math.nan, math.inf, 1e9, [3.0], None], ids=repr)
def test_what_is_no_number_is_left_out(odd: object) -> None:
    picture = drawn([sample(0, temperature_c=odd, humidity_pct=odd, heat=odd, low_c=odd, flag=odd)])

    assert (picture.inside_c, picture.heat_share, picture.dew_point_c) == ([None], [None], [None])
    assert (picture.band, picture.flags) == ((), [2])


def test_lines_without_a_date_are_left_out() -> None:
    picture = drawn([{"event": "sample"}, {"t": 5, "event": "note"}, {"t": "never"}, sample(0)])

    assert (len(picture.at_s), picture.marks[:-1]) == (1, ())


def test_no_lines_are_an_empty_picture() -> None:
    picture = drawn([])

    assert (picture.at_s, picture.gaps, picture.band, picture.has_outdoor) == ([], (), (), False)


values = st.lists(st.one_of(st.none(), st.floats(-40, 60)), min_size=1, max_size=200)


@given(values, st.integers(1, 50))
def test_no_extreme_is_lost_in_columns(found: list[float | None], count: int) -> None:
    at_s = [60.0 * index for index in range(len(found))]
    there = [value for value in found if value is not None]

    cut = columns(at_s, found, from_s=0.0, to_s=at_s[-1] + 1.0, count=count)

    assert len(cut) == count
    assert sum(column.samples for column in cut) == len(found)
    lows = [column.low for column in cut if column.low is not None]
    highs = [column.high for column in cut if column.high is not None]
    assert (min(lows, default=None), max(highs, default=None)) == (
        min(there, default=None),
        max(there, default=None),
    )


def test_a_spike_of_a_minute_in_a_winter_is_in_its_column() -> None:
    minutes = 120 * 1440
    at_s = [60.0 * minute for minute in range(minutes)]
    inside: list[float | None] = [3.0 + math.sin(minute / 700) for minute in range(minutes)]
    spikes = {minute: 9.0 + minute / minutes for minute in range(777, minutes, 9_973)}
    for minute, value in spikes.items():
        inside[minute] = value

    cut = columns(at_s, inside, from_s=0.0, to_s=at_s[-1], count=840)

    assert {column.high for column in cut if column.high and column.high > 5} == set(spikes.values())


def winter_time(hours: float, begins: datetime) -> Picture:
    """A span in central Europe: at 01:00 UTC on the last Sunday of March and October (rule of the EU)."""
    changes = [datetime(2026, 3, 29, 1, tzinfo=UTC), datetime(2026, 10, 25, 1, tzinfo=UTC)]
    from_s = begins.timestamp()
    zone = [Offset(from_s, CET, "CET")]
    for change, ahead_s, name in zip(changes, (CEST, CET), ("CEST", "CET"), strict=True):
        if from_s < change.timestamp():
            zone.append(Offset(change.timestamp(), ahead_s, name))
        else:
            zone[0] = Offset(from_s, ahead_s, name)
    return Picture(house="", unit="C", from_s=from_s, to_s=from_s + hours * 3600, zone=tuple(zone))


def test_the_hour_that_does_not_exist_is_on_no_axis() -> None:
    picture = winter_time(6, datetime(2026, 3, 28, 23, tzinfo=UTC))

    assert [label for _, label in ticks(picture, most=8)] == [
        "29 Mar",
        "01:00",
        "03:00",
        "04:00",
        "05:00",
        "06:00",
        "07:00",
    ]
    assert {round(after - before) for (before, _), (after, _) in pairwise(ticks(picture, most=8))} == {3600}


def test_ticks_stand_on_round_wall_times_after_a_change() -> None:
    picture = winter_time(48, datetime(2026, 10, 24, 10, tzinfo=UTC))

    for at_s, label in ticks(picture, most=8):
        wall = picture.local(at_s)
        assert (wall.minute, wall.hour % 6) == (0, 0), label
    assert {label for _, label in ticks(picture, most=8)} >= {"25 Oct", "26 Oct", "18:00"}


def test_days_of_the_table_have_23_and_25_hours_where_the_clocks_change() -> None:
    def lengths(begins: datetime) -> list[float]:
        what, edges = rows(winter_time(96, begins))
        assert what == "day"
        return [(after - before) / 3600 for before, after in pairwise(edges)]

    assert lengths(datetime(2026, 3, 27, 23, tzinfo=UTC)) == [24, 23, 24, 24, 1]
    assert lengths(datetime(2026, 10, 23, 22, tzinfo=UTC)) == [24, 25, 24, 23]


@given(st.floats(0.05, 9000), st.integers(2, 20))
def test_there_are_no_more_ticks_than_there_is_room_for(hours: float, most: int) -> None:
    picture = winter_time(hours, datetime(2026, 3, 20, 7, 13, tzinfo=UTC))
    found = [at_s for at_s, _ in ticks(picture, most=most)]

    assert len(found) <= most + 1
    assert found == sorted(set(found))
    assert all(picture.from_s <= at_s <= picture.to_s for at_s in found)


def test_the_last_moment_belongs_to_the_last_row() -> None:
    cut = columns_between([0.0, 10.0, 20.0], [1.0, 2.0, 3.0], [0.0, 10.0, 20.0])

    assert [(column.low, column.high) for column in cut] == [(1.0, 1.0), (2.0, 3.0)]


def test_the_day_used_by_the_other_tests_has_everything_in_it() -> None:
    picture = drawn(a_day())

    assert {mark.kind for mark in picture.marks} == {"alarm", "gap", "clock", "note"}
    assert set(picture.flags) == {1, 3, 4, 9}
    assert len(picture.band) == 2

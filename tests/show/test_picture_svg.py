"""The still drawing."""

import math
import re
from xml.etree import ElementTree as ET

import pytest

from overwinter.show.picture_svg import spread, svg, value_ticks
from tests.show.pictures import a_day, drawn, sample

SVG = "{http://www.w3.org/2000/svg}"


def paths(drawing: str, name: str) -> list[str]:
    tree = ET.fromstring(drawing)
    found = [path.get("d") or "" for path in tree.iter(f"{SVG}path") if path.get("class") == name]
    return [path for path in found if "h28" not in path]  # those are the key's


def test_it_is_well_formed_and_says_what_it_shows() -> None:
    tree = ET.fromstring(svg(drawn(a_day(), house="<mill> & co")))

    assert tree.get("role") == "img"
    title, about = tree.find(f"{SVG}title"), tree.find(f"{SVG}desc")
    assert title is not None
    assert about is not None
    assert (title.text or "").startswith("<mill> & co: 9 Jan 2026 13:00 CET to ")
    assert (about.text or "").startswith("Inside it was ")
    assert (title.get("id"), about.get("id")) == tuple((tree.get("aria-labelledby") or "").split())


def test_every_minute_spike_of_a_winter_reaches_its_height() -> None:
    minutes = 120 * 1440
    spikes = range(1777, minutes, 8_640)

    def inside_c(minute: int) -> float:
        return 20.0 if minute in spikes else 3.0 + math.sin(minute / 50)

    lines = (sample(60.0 * minute, inside_c(minute)) for minute in range(minutes))
    (line,) = paths(svg(drawn(lines, hours=120 * 24)), "s-inside")

    heights = [float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", line)]
    top = min(heights)
    middle = (top + max(heights)) / 2
    assert sum(y == top for y in heights) == len(spikes)
    assert sum(y < middle for y in heights) == len(spikes)


def test_no_line_is_drawn_across_a_gap_or_a_lost_sensor() -> None:
    (line,) = paths(svg(drawn(a_day())), "s-inside")

    assert line.count("M") == 3, "from the start, after the lost sensor, after the gap"


def test_the_band_is_drawn_as_it_was() -> None:
    tree = ET.fromstring(svg(drawn(a_day())))

    bands = [rect for rect in tree.iter(f"{SVG}rect") if rect.get("class") == "s-band"]
    tops = [float(rect.get("y") or "nan") for rect in bands]
    assert len(bands) == 2
    assert tops[1] > tops[0], "it was lowered"


def test_marks_stand_there_by_name() -> None:
    drawing = svg(drawn(a_day()))
    tree = ET.fromstring(drawing)

    words = {text.text for text in tree.iter(f"{SVG}text")}
    assert {"A1", "G1", "C1", "N1"} <= words
    assert len(paths(drawing, "s-gap")) == 3, "hatched in each of the three panels"
    (doubts,) = paths(drawing, "s-doubt")
    assert doubts.count("l6 6") == 2, "a cross at the two values; where nothing came only a tick"


def test_labels_keep_apart() -> None:
    assert spread([(10.0, "b"), (9.0, "a"), (40.0, "c")], 13.0) == [(9.0, "a"), (22.0, "b"), (40.0, "c")]


@pytest.mark.parametrize(
    ("low_c", "high_c", "unit", "labels"),
    [
        (0.0, 5.0, "C", ["0", "1", "2", "3", "4", "5"]),
        (0.0, 5.0, "F", ["32", "34", "36", "38", "40"]),
        (-20.0, 10.0, "C", ["-20", "-15", "-10", "-5", "0", "5", "10"]),
    ],
)
def test_values_on_the_axis_are_round_in_the_unit(
    low_c: float, high_c: float, unit: str, labels: list[str]
) -> None:
    assert [label for _, label in value_ticks(low_c, high_c, unit, most=7)] == labels


def test_a_picture_of_nothing_but_doubt_can_be_drawn() -> None:
    lines = [sample(0, None, flag=9, humidity_pct=None, outdoor_c=None, low_c=None)]

    assert "No believable temperature" in svg(drawn(lines))

"""The chart's file, opened in a browser as its owner would."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import chart
from overwinter.show.picture import Picture
from tests.browser.conftest import Watched
from tests.show.pictures import a_day, drawn, sample

Look = Callable[..., Watched]
HOUR_S = 3600
A_PIXEL_H = 3 / 60
"""A pointer stands on whole pixels, of which a day has about nine hundred; and a minute for the label."""


@pytest.fixture(scope="module")
def day() -> Picture:
    return drawn(a_day())


@pytest.fixture(scope="module")
def url(day: Picture, tmp_path_factory: pytest.TempPathFactory) -> str:
    return written(day, tmp_path_factory.mktemp("chart") / "day.html")


def written(picture: Picture, path: Path) -> str:
    path.write_text(chart._page(picture))
    return path.as_uri()


def read_out(watched: Watched) -> dict[str, str]:
    """What stands beside the chart for the moment at its cursor."""
    rows = watched.page.locator("#readout div").all()
    return {row.locator("dt").inner_text(): row.locator("dd").inner_text() for row in rows}


def hour(told: str) -> float:
    """Hours since the beginning of 9 January."""
    found = re.fullmatch(r"(9|10) Jan 2026 (\d\d):(\d\d) CET", told)
    assert found is not None, told
    return (int(found[1]) - 9) * 24 + int(found[2]) + int(found[3]) / 60


def over(watched: Watched, panel: str) -> dict[str, float]:
    box = watched.page.locator(f"#panel-{panel} .u-over").bounding_box()
    assert box is not None
    return dict(box)


def hover(watched: Watched, share: float) -> dict[str, str]:
    box = over(watched, "temperature")
    watched.page.mouse.move(box["x"] + share * box["width"], box["y"] + box["height"] / 2)
    return read_out(watched)


def pixels(watched: Watched, panel: str) -> dict[str, int]:
    """How many pixels of the panel's canvas have each colour."""
    found: dict[str, int] = watched.page.evaluate(
        """name => {
          const canvas = document.querySelector(`#panel-${name} canvas`);
          const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
          const counts = {};
          for (let at = 0; at < data.length; at += 4) {
            if (data[at + 3] < 250) continue;
            const hex = [0, 1, 2].map((i) => data[at + i].toString(16).padStart(2, "0")).join("");
            counts[`#${hex}`] = (counts[`#${hex}`] || 0) + 1;
          }
          return counts;
        }""",
        panel,
    )
    return found


def is_near(one: str, other: str) -> bool:
    return all(abs(int(one[at : at + 2], 16) - int(other[at : at + 2], 16)) <= 24 for at in (1, 3, 5))


def property_of(watched: Watched, name: str) -> str:
    found: str = watched.page.evaluate(
        "name => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim()", name
    )
    return found


def test_nothing_is_complained_of_and_nothing_asked_for(look: Look, url: str) -> None:
    watched = look(url)
    hover(watched, 0.5)
    watched.page.locator("#closer").click()

    assert watched.complaints() == []


def test_title_span_zone_and_unit_stand_there(look: Look, url: str) -> None:
    page = look(url).page

    assert page.locator("h1").inner_text() == "mill house"
    assert page.locator(".span").inner_text() == (
        "9 Jan 2026 13:00 CET to 10 Jan 2026 13:00 CET, local time CET (UTC+1), °C"
    )
    assert page.title().startswith("mill house, 9 Jan 2026 13:00 CET to ")


def test_line_band_bars_and_doubt_are_drawn_in_their_colours(look: Look, url: str) -> None:
    watched = look(url)

    seen = pixels(watched, "temperature")
    for name in ("inside", "outdoor", "dew", "band", "edge", "doubt", "alarm"):
        assert seen.get(property_of(watched, name), 0) > 20, name
    gap = property_of(watched, "gap")  # slanted lines are softened, so their colour is only nearly that
    assert sum(count for colour, count in seen.items() if is_near(colour, gap)) > 200
    assert pixels(watched, "heat").get(property_of(watched, "heat"), 0) > 500
    assert pixels(watched, "humidity").get(property_of(watched, "humidity"), 0) > 100


def test_under_the_pointer_stands_what_was_recorded(look: Look, url: str, day: Picture) -> None:
    watched = look(url)

    told = hover(watched, 0.25)

    at_s = day.from_s + 0.25 * 24 * HOUR_S
    near = [
        value
        for when, value in zip(day.at_s, day.inside_c, strict=True)
        if value is not None and abs(when - at_s) <= 150
    ]
    assert abs(hour(told["time"]) - 19.0) <= A_PIXEL_H
    seen = [float(number) for number in re.findall(r"-?\d+\.\d", told["inside"])]
    assert seen
    assert all(round(min(near), 1) <= value <= round(max(near), 1) for value in seen)
    assert told["band"] == "2.0 to 4.0 °C"
    assert told["humidity"] == "71 %"
    assert told["reading"] == "good"


def test_lost_doubtful_and_unrecorded_moments_are_told_apart(look: Look, url: str) -> None:
    watched = look(url)

    assert hover(watched, 310 / 1440)["inside"] == "-"
    assert hover(watched, 310 / 1440)["reading"] == "nothing came"
    assert "doubtful" in hover(watched, 200 / 1440)["reading"]
    assert "failed" in hover(watched, 1000 / 1440)["reading"]
    assert hover(watched, 690 / 1440)["reading"] == "nothing was recorded"


def test_the_band_is_that_of_the_moment(look: Look, url: str) -> None:
    watched = look(url)

    assert hover(watched, 0.9)["band"] == "1.5 to 3.5 °C"


def test_dragging_looks_closer_in_every_panel(look: Look, url: str) -> None:
    watched = look(url)
    box = over(watched, "humidity")
    y = box["y"] + 20
    watched.page.mouse.move(box["x"] + box["width"] * 0.25, y)
    watched.page.mouse.down()
    watched.page.mouse.move(box["x"] + box["width"] * 0.5, y, steps=4)
    watched.page.mouse.up()

    begin, end = watched.page.locator("#view").inner_text().removeprefix("Shown: ").split(" to ")
    assert abs(hour(begin) - 19.0) <= A_PIXEL_H
    assert abs(hour(end) - 25.0) <= A_PIXEL_H
    assert abs(hour(hover(watched, 0.5)["time"]) - 22.0) <= A_PIXEL_H
    watched.page.locator("#all").click()
    assert abs(hour(hover(watched, 0.5)["time"]) - 25.0) <= A_PIXEL_H


def test_by_keyboard_alone(look: Look, url: str) -> None:
    watched = look(url)
    page = watched.page
    slider = page.locator("#time")
    for _ in range(10):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "time":
            break
    else:
        pytest.fail("the chart is not reached by Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"

    page.keyboard.press("Home")
    assert read_out(watched)["time"] == "9 Jan 2026 13:00 CET"
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    assert read_out(watched)["time"] == "9 Jan 2026 15:24 CET"
    told = slider.get_attribute("aria-valuetext") or ""
    assert told.startswith("time 9 Jan 2026 15:24 CET, inside ")
    assert slider.get_attribute("aria-valuenow") == str(int(2.4 * HOUR_S))

    page.keyboard.press("+")
    page.keyboard.press("+")
    assert "9 Jan 2026 14:48 CET to 9 Jan 2026 20:48 CET" in page.locator("#view").inner_text()
    page.keyboard.press("PageDown")
    assert "9 Jan 2026 17:48 CET to 9 Jan 2026 23:48 CET" in page.locator("#view").inner_text()
    page.keyboard.press("Escape")
    assert "9 Jan 2026 13:00 CET to 10 Jan 2026 13:00 CET" in page.locator("#view").inner_text()


@pytest.mark.parametrize(("width", "dark"), [(1100, False), (360, True)], ids=["light", "narrow and dark"])
def test_axe_finds_nothing_serious(look: Look, url: str, width: int, dark: bool) -> None:
    watched = look(url, width=width, dark=dark, bypass_csp=True)  # axe itself is a script from outside
    watched.page.locator("summary").click()

    assert watched.violations() == []


def test_on_a_narrow_screen_nothing_sticks_out(look: Look, url: str) -> None:
    page = look(url, width=360, height=740).page

    assert page.evaluate("document.documentElement.scrollWidth") == 360
    buttons = [button.bounding_box() for button in page.locator("button").all()]
    assert all(box is not None and box["height"] >= 24 and box["width"] >= 24 for box in buttons), (
        "WCAG 2.5.8"
    )


def test_the_chart_follows_the_window(look: Look, url: str) -> None:
    watched = look(url)
    before = over(watched, "heat")["width"]
    watched.page.set_viewport_size({"width": 700, "height": 900})
    for _ in range(100):  # the page's own policy forbids to wait for an expression in it
        if over(watched, "heat")["width"] < before - 300:
            break
        watched.page.wait_for_timeout(50)

    assert over(watched, "heat")["width"] < before - 300
    assert over(watched, "heat")["width"] == over(watched, "temperature")["width"]


def test_dark_is_drawn_dark_also_when_it_changes(look: Look, url: str) -> None:
    watched = look(url)
    light = property_of(watched, "inside")
    watched.page.emulate_media(color_scheme="dark")
    watched.page.wait_for_timeout(100)

    dark = property_of(watched, "inside")
    seen = pixels(watched, "temperature")
    assert dark != light
    assert seen.get(dark, 0) > 20
    assert seen.get(light, 0) == 0


def test_on_paper_stands_the_still_drawing_on_white(look: Look, url: str) -> None:
    watched = look(url, dark=True)
    watched.page.emulate_media(media="print")

    assert watched.page.locator("svg.still").is_visible()
    assert not watched.page.locator("#time").is_visible()
    assert not watched.page.locator("#closer").is_visible()
    ground = watched.page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    assert ground == "rgb(255, 255, 255)"
    paper = watched.page.pdf(format="A4")
    assert paper.startswith(b"%PDF")
    pages: list[Any] = re.findall(rb"/Type\s*/Page\b", paper)
    assert len(pages) == 1


def test_without_a_script_the_still_drawing_is_there(look: Look, url: str) -> None:
    page = look(url, java_script_enabled=False).page

    assert page.locator("svg.still").is_visible()
    assert not page.locator("#time").is_visible()
    assert page.locator("h1").inner_text() == "mill house"


def test_the_table_behind_it_can_be_opened(look: Look, url: str) -> None:
    page = look(url).page
    assert not page.locator("details table").is_visible()

    page.locator("summary").focus()
    page.keyboard.press("Enter")

    assert page.locator("details tbody tr").count() == 24
    assert page.locator("details tbody tr").first.inner_text().startswith("9 Jan 2026 13:00 CET")


def test_a_winter_opens_and_shows_the_spike_of_one_minute(look: Look, tmp_path: Path) -> None:
    spike = 100_001
    lines = (
        sample(60.0 * minute, 21.0 if minute == spike else 3.0 + (minute % 50) / 50)
        for minute in range(120 * 1440)
    )
    watched = look(written(drawn(lines, hours=120 * 24), tmp_path / "winter.html"))

    width = over(watched, "temperature")["width"]
    told = [hover(watched, spike / (120 * 1440) + pixel / width)["inside"] for pixel in (-1, 0, 1)]
    assert any(one.endswith(" to 21.0 °C") for one in told), told
    for _ in range(6):
        watched.page.locator("#closer").click()
        hover(watched, 0.5)
    assert watched.complaints() == []
    inside = property_of(watched, "inside")
    watched.page.locator("#all").click()
    top = watched.page.evaluate(
        """colour => {
          const canvas = document.querySelector("#panel-temperature canvas");
          const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
          const [r, g, b] = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
          for (let at = 0; at < data.length; at += 4)
            if (data[at] === r && data[at + 1] === g && data[at + 2] === b && data[at + 3] > 200)
              return Math.floor(at / 4 / canvas.width) / canvas.height;
          return 1;
        }""",
        inside,
    )
    assert top < 0.25, "the spike reaches the top of the panel, of which all else is the lower half"

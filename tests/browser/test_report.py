"""The report's file as its owner opens and prints it."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from overwinter.cli.drawing import parts
from overwinter.show.picture import Picture
from overwinter.show.report_html import report_html
from overwinter.show.report_words import Report, report_page
from tests.browser.conftest import Watched
from tests.reckon.houses import SITE
from tests.show.pictures import a_day, drawn
from tests.show.test_report_words import ALARM, REPORT, when

Look = Callable[..., Watched]

CROWDED = replace(
    REPORT,
    site=replace(SITE, name="W" * 120),
    alarms=tuple(replace(ALARM, subject=f"number {at} " + "W" * 60) for at in range(30)),
)
REPORTS = {"usual": REPORT, "crowded": CROWDED}


def written(report: Report, folder: Path, picture: Picture | None = None) -> str:
    path = folder / "report.html"
    path.write_text(report_html(report_page(report, when=when, foot="Made by hand."), picture, parts()))
    return path.as_uri()


@pytest.fixture(scope="module")
def day() -> Picture:
    return drawn(a_day())


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 1100])
@pytest.mark.parametrize("name", REPORTS)
def test_it_is_legible_on_any_screen_and_asks_no_network(
    look: Look, tmp_path: Path, day: Picture, name: str, width: int, dark: bool
) -> None:
    watched = look(written(REPORTS[name], tmp_path, day), width=width, dark=dark)

    assert watched.complaints() == []
    assert watched.violations() == []
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width


def test_its_chart_is_alive(look: Look, tmp_path: Path, day: Picture) -> None:
    page = look(written(REPORT, tmp_path, day)).page

    assert page.locator("#panel-temperature canvas").is_visible()
    before = page.locator("#view").inner_text()
    page.locator("#closer").click()
    assert page.locator("#view").inner_text() != before


def test_without_a_script_the_still_chart_stands_there(look: Look, tmp_path: Path, day: Picture) -> None:
    page = look(written(REPORT, tmp_path, day), java_script_enabled=False).page

    assert page.locator("svg.still").is_visible()
    assert page.locator("h2").all_inner_texts()[:5] == [
        *("In short", "Not recorded", "Alarms", "Pipes"),
        "What to change before next winter",
    ]


def test_without_a_picture_it_is_whole(look: Look, tmp_path: Path) -> None:
    watched = look(written(REPORT, tmp_path))

    assert watched.complaints() == []
    assert watched.violations() == []
    assert "What to change before next winter" in watched.page.inner_text("main")

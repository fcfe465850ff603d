"""The plan's and the card's files as their owner opens and prints them."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from overwinter.core.nouns import Site
from overwinter.core.units import Unit
from overwinter.reckon.plan import Outdoors, plan
from overwinter.settings.site import parse_site
from overwinter.show.plan_card import card_page
from overwinter.show.plan_html import card_html, plan_html
from overwinter.show.plan_words import plan_page
from tests.browser.conftest import Watched
from tests.reckon.houses import BARE, HUT, RISER, SITE

Look = Callable[..., Watched]

MADE_BY = "Made by overwinter 10.10.10 on 2026-11-25 from site.toml. All of it is in this file."
PAPERS = ("A4", "Letter")


def example() -> Site:
    site = parse_site((Path(__file__).parents[2] / "etc" / "site.toml").read_text()).site
    assert site is not None
    return site


def crowded() -> Site:
    """As much as the card will ever have to hold."""
    pipes = tuple(replace(RISER, name=f"pipe number {at} " + "W" * 90) for at in range(12))
    lamp = replace(SITE.heater, kind="lamp", watts=20_000.0)
    return replace(SITE, name="W" * 120, unit=Unit.F, pipes=pipes, heater=lamp)


def half_known() -> Site:
    return replace(crowded(), building=replace(HUT, air_changes_h=None))


SITES: dict[str, Callable[[], Site]] = {
    "example": example,
    "crowded": crowded,
    "half known": half_known,
    "bare": lambda: BARE,
}


def plan_url(site: Site, folder: Path) -> str:
    winter = Outdoors(name="EPW of somewhere", temperatures_c=[-12.0] * 5000 + [9.0] * 3760, step_h=1.0)
    path = folder / "plan.html"
    path.write_text(plan_html(plan_page(plan(site, outdoors=winter), made_by=MADE_BY)))
    return path.as_uri()


def card_url(site: Site, folder: Path) -> str:
    path = folder / "card.html"
    path.write_text(card_html(card_page(plan(site), made_by=MADE_BY)))
    return path.as_uri()


URLS = {"plan": plan_url, "card": card_url}


def pages(watched: Watched, paper: str) -> int:
    """How many sheets it takes."""
    printed = watched.page.pdf(format=paper)
    assert printed.startswith(b"%PDF-")
    return len(re.findall(rb"/Type\s*/Page\b", printed))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", SITES)
def test_the_card_is_one_sheet_whatever_stands_on_it(
    look: Look, tmp_path: Path, name: str, paper: str
) -> None:
    watched = look(card_url(SITES[name](), tmp_path))

    assert pages(watched, paper) == 1


@pytest.mark.parametrize("paper", PAPERS)
def test_the_plan_of_the_example_is_one_sheet(look: Look, tmp_path: Path, paper: str) -> None:
    assert pages(look(plan_url(example(), tmp_path)), paper) == 1


def test_sheets_are_counted_as_they_come(look: Look, tmp_path: Path) -> None:
    """That the count above can be another than one."""
    path = tmp_path / "long.html"
    path.write_text("<!doctype html><title>long</title>" + "<p>line</p>" * 300)

    assert pages(look(path.as_uri()), "A4") > 3


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [360, 1100])
@pytest.mark.parametrize("which", URLS)
@pytest.mark.parametrize("name", ["example", "crowded"])
def test_it_is_legible_on_any_screen_and_asks_no_network(
    look: Look, tmp_path: Path, name: str, which: str, width: int, dark: bool
) -> None:
    watched = look(URLS[which](SITES[name](), tmp_path), width=width, dark=dark)

    assert watched.complaints() == []
    assert watched.violations() == []
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("which", URLS)
def test_it_follows_the_screen_from_bright_to_dark_and_is_bright_on_paper(
    look: Look, tmp_path: Path, which: str
) -> None:
    watched = look(URLS[which](example(), tmp_path), dark=True)

    def ground() -> str:
        found: str = watched.page.evaluate("getComputedStyle(document.body).backgroundColor")
        return found

    assert ground() == "rgb(19, 24, 27)"
    watched.page.emulate_media(media="print")
    assert ground() == "rgb(255, 255, 255)"
    ink = watched.page.evaluate("getComputedStyle(document.body).color")
    assert ink == "rgb(29, 38, 43)"


@pytest.mark.parametrize("which", URLS)
def test_it_needs_no_script(look: Look, tmp_path: Path, which: str) -> None:
    url = URLS[which](example(), tmp_path)
    with_script = look(url).page.inner_text("main")

    assert look(url, java_script_enabled=False).page.locator("main").inner_text() == with_script
    assert "no approval" in with_script


def test_what_is_to_be_mended_is_seen_in_words_first(look: Look, tmp_path: Path) -> None:
    page = look(plan_url(example(), tmp_path)).page
    marks = page.locator("section").first.locator(".mark")

    assert marks.first.inner_text() == "mend"
    assert page.locator("h2").all_inner_texts()[:2] == ["What fits, and what does not", "What to change"]

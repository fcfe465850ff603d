"""The plan and the card as files: escaped, self-contained, nothing lost against the text."""

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import pytest
from hypothesis import given

from overwinter.core.nouns import Site
from overwinter.reckon.plan import plan
from overwinter.show.picture_colours import DARK, LIGHT, contrast
from overwinter.show.plan_card import card_page
from overwinter.show.plan_html import card_html, plan_html
from overwinter.show.plan_page import Page
from overwinter.show.plan_words import plan_page
from tests.reckon.houses import SITE, sites

EVIL = '<script>alert("x")</script>&amp;'


def evil_house() -> Site:
    assert SITE.building is not None
    parts = tuple(replace(part, name=EVIL) for part in SITE.building.parts)
    return replace(
        SITE,
        name=EVIL,
        currency="<b>",
        building=replace(SITE.building, parts=parts),
        pipes=tuple(replace(pipe, name=EVIL) for pipe in SITE.pipes),
    )


def both(site: Site) -> list[tuple[Page, str]]:
    found = plan(site)
    plan_shown, card_shown = plan_page(found, made_by="made <here>"), card_page(found, made_by="made <here>")
    return [(plan_shown, plan_html(plan_shown)), (card_shown, card_html(card_shown))]


class Balanced(HTMLParser):
    """Sees to it that every element ends where it should."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)


@pytest.mark.parametrize("which", [0, 1], ids=["plan", "card"])
def test_nothing_is_fetched_and_nothing_runs(which: int) -> None:
    _, html = both(SITE)[which]

    assert "default-src 'none'" in html
    assert re.findall(r"<script|<link|<img|src=|href=|url\(|@import|https?:", html) == []


@pytest.mark.parametrize("which", [0, 1], ids=["plan", "card"])
def test_names_are_text_and_never_markup(which: int) -> None:
    _, html = both(evil_house())[which]

    assert "<script" not in html
    assert "<b>" not in html
    assert "&lt;script&gt;" in html


@given(site=sites)
def test_all_that_the_page_says_is_in_the_file(site: Site) -> None:
    for page, html in both(site):
        seen = Balanced()
        seen.feed(html)
        assert seen.open == []
        shown = "".join("".join(seen.words).split())
        for section in page.sections:
            table = section.table
            cells = [cell for row in table.rows for cell in row] if table is not None else []
            for words in (
                section.title,
                section.lead,
                section.note,
                *[i.text for i in section.items],
                *cells,
            ):
                assert "".join(words.split()) in shown, unescape(words)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["ink", "quiet", "humidity", "alarm", "doubt"])
def test_what_is_read_stands_out_from_its_ground(colours: dict[str, str], name: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5:1; on paper the ground is white."""
    grounds = [colours["ground"], *(["#ffffff"] if colours is LIGHT else [])]

    assert min(contrast(colours[name], ground) for ground in grounds) >= 4.5

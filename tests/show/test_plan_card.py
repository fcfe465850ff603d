"""The door card: what it tells someone who stands before it in the cold."""

from dataclasses import replace

import pytest
from hypothesis import given

from overwinter.core.nouns import HeaterSpec, Site
from overwinter.core.units import Unit
from overwinter.reckon.plan import Band, plan
from overwinter.show.plan_card import NAME_MAX, PIPES_MAX, card_page
from overwinter.show.plan_page import Page
from overwinter.show.plan_text import page as drawn
from tests.reckon.houses import BARE, HUT, LINE, RISER, SITE, sites

BAND = Band(low_c=2.0, high_c=4.0, source="asked")


def told(page: Page) -> str:
    return " ".join(drawn(page, width=100, paint=lambda words, _: words).split())


def steps(page: Page, title: str) -> list[str]:
    (section,) = [one for one in page.sections if one.title.startswith(title)]
    assert section.are_steps
    return [item.text for item in section.items]


def test_the_hours_stand_for_30_20_10_and_0_f_and_shrink_with_the_cold() -> None:
    found = plan(replace(SITE, unit=Unit.F), band=BAND)
    table = card_page(found).sections[0].table

    assert table is not None
    assert list(table.head[1:]) == ["30 F (-1.1 C)", "20 F (-6.7 C)", "10 F (-12.2 C)", "0 F (-17.8 C)"]
    assert [row[0] for row in table.rows[:3]] == [LINE.name, RISER.name, "air in the house"]
    for outage, colder in zip(found.outages, found.outages[1:], strict=False):
        for one, other in zip(outage.pipes, colder.pipes, strict=True):
            assert one.start_h.best > other.start_h.best
            assert one.start_h.low < one.start_h.best < one.start_h.high


def test_the_watts_that_hold_the_band_are_in_the_table() -> None:
    """11.30047 W/K from 2 C down to -1.11, -6.67, -12.22 and -17.78 C."""
    table = card_page(plan(SITE, band=BAND)).sections[0].table

    assert table is not None
    assert list(table.rows[-1]) == ["heat that holds 2 C (35.6 F)", "35 W", "98 W", "161 W", "223 W"]
    partial = card_page(plan(replace(SITE, building=replace(HUT, air_changes_h=None)), band=BAND))
    assert partial.sections[0].table is not None
    assert "at least" in partial.sections[0].table.rows[-1][0]


def test_it_says_what_the_hours_are_reckoned_from() -> None:
    assert "reckoned from the house as it cools" in told(card_page(plan(SITE)))
    assert "for the pipe alone as if it hung outdoors" in told(card_page(plan(replace(SITE, building=None))))
    assert "Not known: no [[pipe]]" in told(card_page(plan(BARE)))


def test_draining_begins_with_the_pumps_breaker_and_goes_down_from_the_top() -> None:
    page = card_page(plan(SITE))
    order = steps(page, "Shut and drain")

    assert "common practice" in told(page)
    assert order[0].startswith("Pump breaker OFF")
    highest = next(at for at, one in enumerate(order) if "highest tap" in one)
    lowest = next(at for at, one in enumerate(order) if "lowest point" in one)
    assert 1 < highest <= lowest
    assert any(LINE.name in one for one in order)


def test_after_a_freeze_comes_the_breaker_then_the_look_for_splits_then_pressure() -> None:
    order = steps(card_page(plan(SITE)), "After a freeze")

    assert order[0].startswith("Pump breaker OFF")
    splits = next(at for at, one in enumerate(order) if "splits before there is pressure" in one)
    filled = next(at for at, one in enumerate(order) if one.startswith("Fill slowly"))
    assert 0 < splits < filled
    assert any("No open flame" in one for one in order)
    assert "licensed" in order[-1]


@pytest.mark.parametrize(
    ("site", "words"),
    [
        (SITE, "Heater as fitted: 200 W."),
        (BARE, "read its plate"),
        (
            replace(SITE, heater=replace(SITE.heater, kind="lamp"), circuit=None),
            "Heater as fitted: 200 W.",  # without its voltage the inrush is not known
        ),
        (replace(SITE, heater=HeaterSpec(watts=250.0, kind="lamp")), "a cold lamp draws 11 A for a moment"),
    ],
)
def test_a_generator_is_told_what_it_has_to_carry(site: Site, words: str) -> None:
    said = told(card_page(plan(site)))

    assert words in said
    assert "starting watts are not known here" in said
    assert "its exhaust kills" in said


def test_it_is_no_approval_and_nothing_is_isolated() -> None:
    said = told(card_page(plan(SITE)))

    for words in ("no approval", "local code", "licensed electrician", "NOT ISOLATED", "transfer switch"):
        assert words in said


def test_more_pipes_than_fit_are_counted_and_long_names_are_cut() -> None:
    many = tuple(
        replace(RISER, name=f"{'long ' * 30}{at}", bore_m=0.01 + 0.001 * at) for at in range(PIPES_MAX + 3)
    )
    page = card_page(plan(replace(SITE, pipes=many)))
    table = page.sections[0].table

    assert table is not None
    assert len([row for row in table.rows if row[0].startswith("long")]) == PIPES_MAX
    assert max(len(row[0]) for row in table.rows) <= NAME_MAX
    assert "3 pipes more, which freeze later" in told(page)


@given(site=sites)
def test_any_site_has_a_card(site: Site) -> None:
    page = card_page(plan(site))

    assert [section.title.split(" (")[0] for section in page.sections] == [
        *("How long until pipes freeze", "Shut and drain, in this order"),
        *("Cautions", "Generator", "After a freeze"),
    ]
    assert told(page)

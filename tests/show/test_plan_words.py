"""What a plan tells the person who has to act on it."""

import re
from dataclasses import replace

import pytest
from hypothesis import given

from overwinter.core.nouns import Building, Circuit, HeaterSpec, RelaySpec, Settings, Site
from overwinter.core.units import Unit
from overwinter.physics import circuit as law
from overwinter.reckon.plan import Band, Outdoors, plan
from overwinter.show import plan_verdicts
from overwinter.show.plan_page import Mark, Page
from overwinter.show.plan_text import page as drawn
from overwinter.show.plan_words import MISSING, assumptions, cautions, missing, plan_page
from tests.reckon.houses import BARE, HUT, SITE, sites

BAND = Band(low_c=2.0, high_c=4.0, source="asked")
COLD = Outdoors(name="EPW of Nowhere", temperatures_c=[-18.0] * 10 + [-5.0] * 90, step_h=1.0)


def in_terminal(page: Page, width: int = 80) -> str:
    return drawn(page, width=width, paint=lambda words, _: words)


def told(page: Page) -> str:
    """All of it in one line."""
    return " ".join(in_terminal(page, 100).split())


def verdicts(site: Site, **more: object) -> list[tuple[Mark, str]]:
    found = plan(site, **{"band": BAND, **more})  # type: ignore[arg-type]
    return [(item.mark, item.text) for item in plan_page(found).sections[0].items]


@given(site=sites)
def test_no_title_stands_over_nothing(site: Site) -> None:
    for section in plan_page(plan(site, band=BAND)).sections:
        assert section.lead or section.table or section.items or section.note, section.title


def test_the_hut_is_told_with_its_numbers() -> None:
    """By hand in tests/reckon: 248.6 W at -20 C, the limit -15.70 C, R-5 on the walls 3.746 W/K."""
    said = told(plan_page(plan(SITE, band=BAND, outdoors=COLD)))

    assert "The heater of 200 W holds 2 C (35.6 F) only down to -15.7 C (3.7 F) outdoors." in said
    assert "At -20 C (-4 F) the house loses 249 W: 49 W more than it gives." in said
    assert "A heater of at least 250 W holds 2 C (35.6 F) at -20 C (-4 F) outdoors" in said
    # (10 x 21 + 90 x 8) K h x 3.74593 W/K
    assert "0.9 m2 K/W more (R-5) on the walls saves 3 kWh a winter (0.87 EUR) and 82 W." in said
    assert "Holding the band takes 11 kWh, 2.63 EUR." in said
    assert "In 10 h of this weather it is too cold for 200 W to hold 2 C (35.6 F)" in said
    assert "0.9 A; a breaker of 10 A carries 8.0 A for hours" in said


def test_in_a_house_of_feet_and_fahrenheit_those_stand_first() -> None:
    said = told(plan_page(plan(replace(SITE, unit=Unit.F), band=BAND, outdoors=COLD)))

    assert "holds 35.6 F (2 C) only down to 3.7 F (-15.7 C) outdoors" in said
    assert "R-5 more on the walls saves 3 kWh a winter" in said
    assert "86 ft2" in said  # 8 m2
    assert "R-5.7" in said  # U 1.0


@pytest.mark.parametrize(
    ("site", "mark", "words"),
    [
        pytest.param(SITE, Mark.MEND, "only down to", id="too weak"),
        pytest.param(
            replace(SITE, heater=replace(SITE.heater, watts=400.0)),
            Mark.FITS,
            "The heater of 400 W",
            id="enough",
        ),
        pytest.param(
            replace(
                SITE, heater=replace(SITE.heater, watts=400.0), building=replace(HUT, air_changes_h=None)
            ),
            Mark.UNKNOWN,
            "at the very best",
            id="perhaps enough",
        ),
        pytest.param(
            replace(SITE, building=replace(HUT, design_outdoor_c=None)),
            Mark.UNKNOWN,
            "whether it gets colder",
            id="no design temperature",
        ),
        pytest.param(BARE, Mark.UNKNOWN, "Whether the heater is strong enough", id="no building"),
        pytest.param(
            replace(SITE, heater=HeaterSpec(watts=200.0, kind="cable")), Mark.UNKNOWN, "a cable", id="a cable"
        ),
        pytest.param(
            replace(SITE, heater=replace(SITE.heater, limiter=False)),
            Mark.MEND,
            "No independent high limit",
            id="no high limit",
        ),
        pytest.param(
            replace(SITE, relay=RelaySpec(rated_cycles=1000)),
            Mark.MEND,
            "is worn out after",
            id="a short life",
        ),
        pytest.param(
            replace(SITE, relay=RelaySpec()), Mark.UNKNOWN, "for how many winters", id="a life unknown"
        ),
        pytest.param(
            replace(SITE, circuit=Circuit(volts=120.0, breaker_a=1.0)),
            Mark.MEND,
            "a breaker of 1 A",
            id="breaker",
        ),
        pytest.param(
            replace(SITE, circuit=Circuit(volts=120.0, cord_length_m=60.0, cord_mm2=0.5)),
            Mark.MEND,
            "the cord of 0.50 mm2 is too thin",
            id="a thin cord",
        ),
        pytest.param(
            replace(SITE, circuit=Circuit(volts=230.0, cord_length_m=5.0, cord_mm2=2.5)),
            Mark.FITS,
            "The cord loses",
            id="a good cord",
        ),
        pytest.param(
            replace(
                SITE,
                heater=replace(SITE.heater, kind="lamp"),
                circuit=Circuit(volts=120.0, relay_resistive_a=10.0),
            ),
            Mark.MEND,
            "the inrush of a cold lamp",
            id="a lamp on a small relay",
        ),
        pytest.param(replace(SITE, circuit=None), Mark.UNKNOWN, "breaker, cord and contact", id="no circuit"),
    ],
)
def test_what_fits_and_what_does_not(site: Site, mark: Mark, words: str) -> None:
    found = [one for one, said in verdicts(site) if words.lower() in said.lower()]

    assert found == [mark]


@pytest.mark.parametrize(
    ("band", "mark", "words"),
    [
        (Band(low_c=1.2, high_c=4.5, source="asked"), Mark.MEND, "is below the 2.5 C (36.5 F)"),
        (Band(low_c=3.0, high_c=3.6, source="settings"), Mark.MEND, "narrower than advised"),
        (Band(low_c=3.0, high_c=6.0, source="settings"), Mark.FITS, "protects the pipes"),
        (None, Mark.FITS, "Band advised for this house"),
    ],
)
def test_a_band_is_held_against_the_advice(band: Band | None, mark: Mark, words: str) -> None:
    assert [one for one, said in verdicts(SITE, band=band) if words in said] == [mark]


def test_a_band_that_is_too_low_comes_with_the_command_that_raises_it() -> None:
    low = Band(low_c=1.2, high_c=4.5, source="settings")

    assert "overwinter band 2.5C 5C" in told(plan_page(plan(SITE, band=low)))
    assert "overwinter band 36F 40F" in told(plan_page(plan(replace(SITE, unit=Unit.F), band=low)))
    assert "overwinter band" not in told(plan_page(plan(SITE)))


def test_the_first_line_counts_what_is_to_be_mended() -> None:
    assert "1 thing to mend." in plan_page(plan(SITE, band=Band(low_c=3.0, high_c=6.0, source="asked"))).lead
    sound = replace(SITE, heater=replace(SITE.heater, watts=400.0))
    assert "nothing found to mend." in plan_page(plan(sound)).lead
    assert "not known" in plan_page(plan(BARE)).lead


def test_what_is_not_given_is_named_with_what_it_would_tell() -> None:
    said = "\n".join(missing(plan(BARE)))

    assert "[building] with its parts would tell heat loss" in said
    assert "heater.watts would tell down to which cold the heater holds the band" in said
    assert "tariff.per_kwh would tell what a winter costs" in said
    assert "--weather FILE" in said
    half = "\n".join(missing(plan(replace(SITE, building=Building(volume_m3=3.0), circuit=Circuit()))))
    assert "building.air_changes_h is not given" in half
    assert "circuit.breaker_a is not given" in half
    assert missing(plan(SITE, outdoors=COLD)) == []


def test_every_input_that_can_be_missing_has_its_sentence() -> None:
    assert set(plan(BARE).missing) <= set(MISSING)
    assert set(plan(replace(SITE, building=Building())).missing) <= set(MISSING)


def test_every_plan_defers_to_code_and_electrician() -> None:
    for site in (BARE, SITE):
        assert "local code" in cautions(plan(site))[-1]
        assert "licensed electrician" in cautions(plan(site))[-1]
        assert "no approval" in cautions(plan(site))[-1]


def test_blind_heat_and_degree_days_come_with_their_caution() -> None:
    said = "\n".join(cautions(plan(SITE, band=BAND, settings=Settings(), degree_days_kd=500.0)))

    assert "warmer than -1.4 C (29.5 F) outdoors, past its ceiling of 23.9 C (75.0 F)" in said
    assert "days below 3 C (37.4 F)" in said
    assert "18.3 C (65.0 F)" in said


def test_the_assumptions_name_what_was_taken_for_granted() -> None:
    said = "\n".join(assumptions(plan(SITE, band=BAND, outdoors=COLD)))

    for one in ("sun", "0.88 m2 K/W", "ASHRAE", "stands still", "draught", "0.6 K too high", "rated watts"):
        assert one in said


def test_a_long_cord_is_named_among_the_assumptions_with_what_it_takes() -> None:
    corded = replace(SITE, circuit=Circuit(volts=120.0, cord_length_m=60.0, cord_mm2=1.0))

    assert re.search(r"the cord takes \d+ % of that", "\n".join(assumptions(plan(corded, band=BAND))))


def test_the_continuous_share_is_the_laws() -> None:
    assert plan_verdicts.CONTINUOUS_SHARE == law.CONTINUOUS_SHARE


@given(site=sites)
def test_any_plan_can_be_drawn_in_any_width(site: Site) -> None:
    page = plan_page(plan(site, outdoors=COLD))

    for width in (1, 40, 80, 1000):
        lines = in_terminal(page, width).split("\n")
        assert max(map(len, lines)) <= max(40, min(100, width))
        assert all(line.isprintable() for line in lines)


@given(site=sites)
def test_every_temperature_stands_in_both_units(site: Site) -> None:
    """`36 F` is followed by `(2.2 C)`, or stands in brackets behind it; bands and differences alike."""
    named = replace(
        site,
        name="house",
        currency="EUR",
        building=None
        if site.building is None
        else replace(site.building, parts=tuple(replace(part, name="part") for part in site.building.parts)),
        pipes=tuple(replace(pipe, name="pipe") for pipe in site.pipes),
    )
    said = told(plan_page(plan(named, outdoors=COLD)))

    alone = [
        said[max(0, one.start() - 40) : one.end() + 20]
        for one in re.finditer(r"-?\d+(?:\.\d+)? [FC]\b(?! \()(?! degrees)", said)
        if not re.match(r"\)", said[one.end() :])
    ]
    assert [one for one in alone if "would tell" not in one and "(2.2 K)" not in one] == []

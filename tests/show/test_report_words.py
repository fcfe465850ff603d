"""A report in words: on eighty columns, honest about what is not known, ending with what to change."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from overwinter.core.nouns import HeaterSpec
from overwinter.core.units import Unit
from overwinter.physics.ranges import Range
from overwinter.reckon.report import Alarm, Figures, PipeIce, Silence
from overwinter.reckon.report_advice import Advice
from overwinter.show.plan_text import page
from overwinter.show.report_words import ROWS_MOST, Report, advised, report_page
from tests.reckon.houses import SITE

ADVICE = (
    Advice(code="band-too-low", value=-1.5, other=2.2, third=5.6),
    Advice(code="heater-too-small", value=-1.5, other=0.97),
    Advice(code="heat-was-off", value=-1.5, other=0.05),
    Advice(code="heater-near-limit", value=0.91),
    Advice(code="power-cuts", value=2.0, other=30_000.0, third=20_000.0),
    Advice(code="silences", value=1.0, other=3600.0),
    Advice(code="failed-readings", value=77.0, other=5000.0),
    Advice(code="lamp-hours", value=1437.0, other=5000.0),
    Advice(code="lamp-hours-at-least", value=1437.0, other=5000.0),
    Advice(code="relay-worn", value=90_000.0, other=100_000.0),
    Advice(code="relay-wears", value=30_000.0, other=100_000.0),
    Advice(code="short-cycles", value=7.3, other=6.0),
)
FOUND = Figures(
    coldest_c=-1.5,
    coldest_at_s=5000.0,
    hours_below_alarm_low=2.5,
    degree_hours_below_alarm_low=4.0,
    duty=0.42,
    heat_h=10.0,
    kwh=2.0,
    cost=0.5,
    recorded_s=80_000.0,
    gaps=(Silence(from_s=100.0, to_s=4000.0, before_c=3.0, after_c=None, cause="power"),),
    heat_share_while_cold=0.9,
    busiest_duty=0.5,
)
ALARM = Alarm(
    code="sensor-lost",
    subject="by the pressure switch",
    text="gone",
    since_s=200.0,
    cleared_s=900.0,
    acknowledged_s=None,
    delay_s=120.0,
)
REPORT = Report(
    site=SITE,
    unit="C",
    what="night",
    from_s=0.0,
    to_s=86_400.0,
    figures=FOUND,
    cycles=12,
    are_cycles_counted=True,
    alarms=(ALARM,),
    pipes=(
        PipeIce(name="riser", ice_share=Range(best=0.1, low=0.0, high=0.35)),
        PipeIce(name="line", ice_share=None),
    ),
    advice=ADVICE,
    alarm_low_c=1.4,
    alarm_low_from="settings",
    coverage=0.926,
    learned={},
)
LEARNED = {
    "based_on_h": 312.4,
    "rise_k": {"best": 16.0, "low": 13.0, "high": 19.0},
    "loss_w_k": {"best": 15.6, "low": 13.2, "high": 19.2},
}


def when(at_s: float) -> str:
    return f"{datetime.fromtimestamp(at_s, UTC):%Y-%m-%d %H:%M}"


def told(report: Report) -> str:
    return page(report_page(report, when=when), width=80, paint=lambda words, _: words)


def flat(report: Report) -> str:
    return " ".join(told(report).split())


@pytest.mark.parametrize("unit", list(Unit))
def test_all_of_it_fits_eighty_columns(unit: Unit) -> None:
    long = replace(REPORT, unit=unit.value, site=replace(SITE, name="W" * 120))
    named = replace(long, pipes=(PipeIce(name="W" * 90, ice_share=None),))

    assert max(map(len, told(named).splitlines())) <= 80


def test_what_was_learned_stands_there_in_the_owners_unit() -> None:
    known = replace(REPORT, learned=LEARNED)

    assert "always on keeps it 16.0 C warmer than outdoors (13.0 C to 19.0 C)." in flat(known)
    assert "keeps it 28.8 F warmer" in flat(replace(known, unit="F"))
    assert "It loses 16 W/K (13 to 19)." in flat(known)
    assert "From 312 h of sound readings" in flat(known)
    assert "W/K" not in flat(replace(known, learned={**LEARNED, "loss_w_k": None})), "watts are not declared"


def test_what_was_not_learned_is_said_of_a_season_and_not_of_a_night() -> None:
    unknown = {"based_on_h": 0.0, "rise_k": None, "loss_w_k": None}
    season = replace(REPORT, learned=unknown, what="season", to_s=90 * 86_400.0)

    assert "How this house loses heat is not known from this time" in flat(season)
    assert "learned" not in flat(replace(REPORT, learned=unknown))


def test_it_ends_with_what_to_change() -> None:
    last = report_page(REPORT, when=when).sections[-1]

    assert last.title == "What to change before next winter"
    assert [item.text for item in last.items] == list(advised(REPORT))


@pytest.mark.parametrize("one", ADVICE, ids=lambda one: str(one.code))
def test_each_advice_says_its_number(one: Advice) -> None:
    (line,) = advised(replace(REPORT, advice=(one,)))

    numbers = {str(int(one.value)), f"{100 * one.value:.0f} %", f"{one.value:.1f}"}
    assert any(number in line for number in numbers), line
    assert line.endswith(".")


def test_figures_stand_with_what_they_rest_on() -> None:
    words = flat(REPORT)

    assert "Coldest: -1.5 C (29.3 F) at 1970-01-01 01:23." in words
    assert (
        "2 h 30 min at or below alarm_low (1.4 C (34.5 F), from settings.toml): 4 degree hours (C)." in words
    )
    assert "10 h, and went on 12 times: 2 kWh, 0.5 EUR." in words
    assert "92.6 % of the time was recorded: 1 gap, 1 alarm." in words
    assert "no power" in words
    assert "after 2 min" in words
    assert "10 % 0 % 35 %" in words
    assert "line not known" in words


def test_degree_hours_are_in_the_unit_of_the_screen() -> None:
    assert "7.2 degree hours (F)" in flat(replace(REPORT, unit="F"))


@pytest.mark.parametrize(
    ("report", "words"),
    [
        (replace(REPORT, figures=replace(FOUND, kwh=None, cost=None)), "without `watts` in site.toml"),
        (replace(REPORT, figures=replace(FOUND, cost=None)), "without a tariff in site.toml"),
        (replace(REPORT, figures=replace(FOUND, duty=None)), "How much heat was on is not recorded."),
        (replace(REPORT, pipes=()), "site.toml describes no pipe"),
        (replace(REPORT, advice=()), "Nothing in this record asks for a change."),
        (replace(REPORT, are_cycles_counted=False), "went on at least 12 times"),
        (replace(REPORT, alarm_low_from="default"), "the default: no settings of this house were at hand"),
        (replace(REPORT, alarms=(replace(ALARM, since_s=None),)), "before this cleared"),
        (replace(REPORT, alarms=(replace(ALARM, cleared_s=None),)), "not cleared"),
    ],
)
def test_what_is_not_known_is_said(report: Report, words: str) -> None:
    assert words in flat(report)


def test_nothing_recorded_is_not_called_fine() -> None:
    nothing = replace(
        FOUND, coldest_c=None, coldest_at_s=None, duty=None, recorded_s=0.0, kwh=None, cost=None
    )

    words = flat(replace(REPORT, figures=nothing, advice=(), coverage=0.0))

    assert "nobody knows how it was" in words
    assert "asks for a change" not in words
    assert "see that the guard runs" in words


def test_of_many_alarms_the_newest_are_shown_and_the_others_counted() -> None:
    many = tuple(replace(ALARM, subject=f"number {at}") for at in range(ROWS_MOST + 3))

    words = flat(replace(REPORT, alarms=many))

    assert "3 older ones are left out" in words
    assert "number 2 " not in words
    assert f"number {ROWS_MOST + 2} " in words


def test_a_heater_without_watts_has_no_energy() -> None:
    bare = replace(SITE, heater=HeaterSpec())

    assert "kWh" not in flat(replace(REPORT, site=bare, figures=replace(FOUND, kwh=None, cost=None)))

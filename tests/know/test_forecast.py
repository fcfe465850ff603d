"""What is foretold, and what is not known and says so."""

import math
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from overwinter.core.nouns import HeaterSpec, Mode, PipeSpec, Settings, Site
from overwinter.know.cooling import Course
from overwinter.know.forecast import Forecast, _pipe_hours, air_without_heat, forecast
from overwinter.know.learned import Learned
from overwinter.know.nouns import Span
from overwinter.physics.ranges import Range
from tests.know.house import Lumps, Winter

HEATER = HeaterSpec(watts=1000.0, kind="air")
SITE = Site(
    heater=HEATER,
    per_kwh=0.2,
    pipes=(
        PipeSpec(name="bare", length_m=2.0, bore_m=0.020, outside_m=0.022),
        PipeSpec(name="wrapped", length_m=2.0, bore_m=0.020, outside_m=0.022, insulation_m=0.025),
    ),
)
SETTINGS = Settings(low_c=2.2, high_c=4.4)


@cache
def told() -> tuple[Learned, Span, Winter]:
    """After two weeks of the usual house."""
    winter = Winter(Lumps(), 14.3)
    learned = Learned(HEATER)
    span = None
    for span in winter.spans():
        learned.take(span)
    assert span is not None
    return learned, span, winter


def said(outdoor_c: float | None = None, site: Site = SITE, settings: Settings = SETTINGS) -> Forecast:
    """Of it."""
    learned, span, _ = told()
    return forecast(learned, site, settings, last=span, outdoor_c=outdoor_c)


def known(figure: Range | None) -> Range:
    """That it is."""
    assert figure is not None
    return figure


@pytest.mark.parametrize("outdoor_c", [-25.0, -15.0, -8.0, -4.0])
def test_the_hours_of_two_lumps_are_right_within_a_third_and_the_range_holds_them(outdoor_c: float) -> None:
    winter = told()[2]
    truth_h = winter.lumps.hours_to(0.0, air_c=winter.air_c, things_c=winter.things_c, outdoor_c=outdoor_c)
    hours = known(said(outdoor_c).hours_to_freezing)
    assert 0.67 < hours.best / truth_h < 1.3  # early is allowed more than late
    assert hours.low <= truth_h <= hours.high


@pytest.mark.parametrize("outdoor_c", [-25.0, -8.0])
def test_after_a_silence_the_air_was_within_what_its_own_cooling_says(outdoor_c: float) -> None:
    """Two lumps without heat, as the house truly cools, against what was learned of it before."""
    learned, _, winter = told()
    air = air_without_heat(learned, winter.air_c)
    for to_c in (1.5, 0.0, -2.0):
        hours = winter.lumps.hours_to(to_c, air_c=winter.air_c, things_c=winter.things_c, outdoor_c=outdoor_c)
        then = air(hours, outdoor_c)
        assert then.low <= to_c <= then.high
        assert then.low > outdoor_c


def test_the_air_of_a_house_not_known_yet_may_be_as_cold_as_outdoors() -> None:
    assert air_without_heat(Learned(HEATER), 3.0)(1.0, -10.0) == Range(best=-10.0, low=-10.0, high=3.0)


def test_the_alarm_comes_before_the_frost_and_the_air_before_the_pipe() -> None:
    now = said(-12.0)
    frost_h = known(now.hours_to_freezing).best
    assert known(now.hours_to_alarm_low).best < frost_h
    pipes = dict(now.pipes)
    assert frost_h < known(pipes["bare"]).best < known(pipes["wrapped"]).best


def test_a_pipe_may_freeze_though_the_sensor_stays_a_little_above_freezing() -> None:
    """It hangs lower and colder than the sensor; only the late end of the range trusts the reading."""
    hours = _pipe_hours(Course(0.8, ()), SITE.pipes[0])
    assert (hours.low, hours.best, hours.high) == (0.0, 0.0, math.inf)


def test_where_it_does_not_freeze_outdoors_it_never_freezes() -> None:
    assert known(said(5.0).hours_to_freezing).best == math.inf


def test_tomorrow_is_the_loss_over_the_heater() -> None:
    now = said(-10.0)
    duty = known(now.tomorrow_duty)
    assert duty.best == pytest.approx(25.0 * (3.3 + 10.0) / 1000.0, abs=0.04)
    assert known(now.tomorrow_kwh).best == pytest.approx(24.0 * duty.best)
    assert known(now.tomorrow_cost).best == pytest.approx(0.2 * 24.0 * duty.best)


def test_the_limit_does_not_depend_on_today() -> None:
    assert said(-30.0).outdoor_limit_c == said(10.0).outdoor_limit_c


def test_without_a_temperature_outdoors_neither_limit_nor_hours_and_it_says_what_would_help() -> None:
    learned = Learned(HEATER)
    span = None
    for span in Winter(Lumps(), 10.0, has_outdoor=False).spans():
        learned.take(span)
    now = forecast(learned, SITE, SETTINGS, last=span, outdoor_c=None)
    assert not now.known
    assert (now.outdoor_limit_c, now.hours_to_freezing, now.tomorrow_duty) == (None, None, None)
    assert now.pipes == (("bare", None), ("wrapped", None))
    assert "second sensor outdoors" in " ".join(now.missing)
    told_c = forecast(learned, SITE, SETTINGS, last=span, outdoor_c=-5.0)
    assert told_c.outdoor_limit_c is None  # a single figure teaches no loss
    assert "not known yet" in " ".join(told_c.missing)


def test_at_the_beginning_nothing_is_known_and_it_says_so() -> None:
    now = forecast(Learned(HEATER), SITE, SETTINGS, last=None, outdoor_c=-5.0)
    assert not now.known
    assert len(now.missing) == 2
    assert all("not known yet" in sentence for sentence in now.missing)


def test_of_a_cable_it_says_that_nothing_can_be_learned() -> None:
    cable = replace(HEATER, kind="cable")
    now = forecast(Learned(cable), replace(SITE, heater=cable), SETTINGS, last=None, outdoor_c=-5.0)
    assert not now.known
    assert "cable" in now.missing[0]


def test_in_mode_observe_there_is_no_duty_of_tomorrow() -> None:
    now = said(-5.0, settings=replace(SETTINGS, mode=Mode.OBSERVE))
    assert now.tomorrow_duty is None
    assert "observe" in " ".join(now.missing)


def test_without_watts_or_tariff_it_says_which_key_is_missing() -> None:
    now = said(-5.0, site=replace(SITE, heater=replace(HEATER, watts=None)))
    assert now.tomorrow_duty is not None
    assert now.tomorrow_kwh is None
    assert "heater.watts" in " ".join(now.missing)
    now = said(-5.0, site=replace(SITE, per_kwh=None))
    assert now.tomorrow_kwh is not None
    assert now.tomorrow_cost is None
    assert "tariff.per_kwh" in " ".join(now.missing)


@given(outdoor_c=st.one_of(st.none(), st.floats()))
def test_whatever_is_asked_figures_are_in_order_and_duty_is_a_share(outdoor_c: float | None) -> None:
    now = said(outdoor_c)
    hours = known(now.hours_to_freezing)
    assert 0.0 <= hours.low <= hours.best <= hours.high
    assert 0.0 <= known(now.tomorrow_duty).low <= known(now.tomorrow_duty).high <= 1.0


@example(outdoor_c=-59.96875, colder_k=0.5)  # full heat twice, once as 1 - 1e-16
@given(outdoor_c=st.floats(min_value=-60.0, max_value=0.0), colder_k=st.floats(min_value=0.5, max_value=20.0))
def test_colder_is_never_later_and_never_cheaper(outdoor_c: float, colder_k: float) -> None:
    mild, cold = said(outdoor_c), said(outdoor_c - colder_k)
    assert known(cold.hours_to_freezing).best <= known(mild.hours_to_freezing).best
    dust = 1e-12  # of the difference of two integrals
    assert known(cold.tomorrow_duty).best >= known(mild.tomorrow_duty).best - dust

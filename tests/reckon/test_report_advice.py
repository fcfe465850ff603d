"""What a span says should be changed: one finding for one cause, and none without its evidence."""

from dataclasses import replace
from typing import Any

import pytest

from overwinter.reckon.report import Figures, Silence
from overwinter.reckon.report_advice import DOUBTFUL_SHARE, LONG_S, NEAR_LIMIT_DUTY, Seen, advise
from tests.reckon.houses import SITE

CALM = Figures(
    coldest_c=3.0,
    coldest_at_s=1000.0,
    hours_below_alarm_low=0.0,
    degree_hours_below_alarm_low=0.0,
    duty=0.3,
    heat_h=3.0,
    kwh=0.6,
    cost=0.1,
    recorded_s=36_000.0,
    gaps=(),
    heat_share_while_cold=None,
    busiest_duty=0.5,
)
SEEN = Seen(
    low_c=2.2,
    alarm_low_c=1.4,
    samples=600,
    doubtful=0,
    cycles=20,
    cycles_ever=100,
    lamp_h=3.0,
    has_lamp_note=False,
)
COLD: dict[str, Any] = {"coldest_c": 0.4, "hours_below_alarm_low": 2.0}
CUT = Silence(from_s=100.0, to_s=900.0, before_c=3.0, after_c=0.4, cause="power")


def codes(found: Figures, seen: Seen = SEEN, *, kind: str = "air") -> list[str]:
    site = replace(SITE, heater=replace(SITE.heater, kind=kind))
    return [one.code for one in advise(found, seen, site)]


def test_a_calm_span_asks_for_nothing() -> None:
    assert codes(CALM) == []


@pytest.mark.parametrize(
    ("share", "code"),
    [
        pytest.param(0.95, "heater-too-small", id="heat was on, and did not do"),
        pytest.param(0.6, "band-too-low", id="heat came, and late"),
        pytest.param(0.1, "heat-was-off", id="heat did not come"),
    ],
)
def test_one_cause_is_named_for_the_cold(share: float, code: str) -> None:
    assert codes(replace(CALM, **COLD, heat_share_while_cold=share)) == [code]


def test_a_band_too_low_is_raised_by_what_was_missing() -> None:
    (one,) = advise(replace(CALM, **COLD, heat_share_while_cold=0.6), SEEN, SITE)

    assert (one.value, one.other) == (0.4, 2.2)
    assert one.third == pytest.approx(2.2 + (1.4 - 0.4) + 0.5)


def test_cold_that_came_with_a_power_cut_blames_neither_band_nor_heater() -> None:
    cold = replace(CALM, **COLD, heat_share_while_cold=1.0, gaps=(CUT,))

    assert codes(cold) == ["power-cuts"]
    assert codes(replace(cold, gaps=(replace(CUT, before_c=0.9),))) == ["heater-too-small", "power-cuts"]


def test_a_stop_by_the_owner_is_nothing_to_change() -> None:
    gaps = tuple(replace(CUT, cause=cause) for cause in ("stopped", "killed", "unknown"))

    assert codes(replace(CALM, gaps=gaps)) == ["silences"]


def test_a_heater_near_its_limit() -> None:
    assert codes(replace(CALM, busiest_duty=NEAR_LIMIT_DUTY)) == ["heater-near-limit"]
    assert codes(replace(CALM, busiest_duty=NEAR_LIMIT_DUTY - 0.01)) == []


def test_failed_readings_count_from_their_share_on() -> None:
    at_limit = int(DOUBTFUL_SHARE * SEEN.samples)

    assert codes(CALM, replace(SEEN, doubtful=at_limit)) == ["failed-readings"]
    assert codes(CALM, replace(SEEN, doubtful=at_limit - 1)) == []


def test_a_lamps_hours_are_told_where_they_mean_something() -> None:
    long = replace(CALM, recorded_s=LONG_S)

    assert codes(CALM, replace(SEEN, has_lamp_note=True), kind="lamp") == ["lamp-hours"]
    assert codes(long, kind="lamp") == ["lamp-hours-at-least"]
    assert codes(CALM, kind="lamp") == []
    assert codes(long, replace(SEEN, has_lamp_note=True)) == [], "no lamp"


@pytest.mark.parametrize(
    ("seen", "recorded_s", "expected"),
    [
        pytest.param({"cycles_ever": 80_000}, 36_000.0, ["relay-worn"], id="worn"),
        pytest.param({"cycles_ever": 79_999}, 36_000.0, [], id="not yet worn"),
        pytest.param({"cycles": 20_001}, 120 * 86_400.0, ["relay-wears", "short-cycles"], id="four winters"),
        pytest.param({"cycles": 61}, 36_000.0, ["short-cycles"], id="more than six an hour"),
        pytest.param({"cycles": 60}, 36_000.0, [], id="six an hour"),
        pytest.param({"cycles_ever": None}, 36_000.0, [], id="no counter"),
    ],
)
def test_cycles_against_what_the_relay_is_rated_for(
    seen: dict[str, Any], recorded_s: float, expected: list[str]
) -> None:
    assert codes(replace(CALM, recorded_s=recorded_s), replace(SEEN, **seen)) == expected

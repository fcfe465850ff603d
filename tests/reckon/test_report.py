"""The figures of a span: what is counted, and that nothing is counted across a gap."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import PipeSpec
from overwinter.physics.ranges import Range
from overwinter.reckon.report import (
    ERROR_K,
    Figures,
    Happened,
    Sample,
    Silence,
    Told,
    alarms,
    figures,
    ice,
    in_order,
    with_causes,
)


def reckoned(samples: list[Sample], *, watts: float | None = 250.0) -> Figures:
    return figures(samples, alarm_low_c=1.0, watts=watts, per_kwh=0.2)


def steady(first_s: float, count: int, *, air_c: float = 3.0, heat: float = 0.5) -> list[Sample]:
    return [Sample(at_s=first_s + 60.0 * at, temperature_c=air_c, heat=heat) for at in range(count)]


def test_energy_is_share_times_period_times_watts() -> None:
    found = reckoned(steady(0.0, 61))
    assert (found.duty, found.kwh, found.cost) == pytest.approx((0.5, 0.125, 0.025))


def test_nothing_is_counted_across_a_gap() -> None:
    found = reckoned([*steady(0.0, 61), *steady(36_000.0, 61, air_c=0.0)])
    assert [(gap.from_s, gap.to_s, gap.before_c, gap.after_c) for gap in found.gaps] == [
        (3600.0, 36_000.0, 3.0, 0.0)
    ]
    assert found.recorded_s == 7200.0
    assert found.kwh == pytest.approx(0.25)
    assert (found.hours_below_alarm_low, found.degree_hours_below_alarm_low) == (1.0, 1.0)
    assert (found.coldest_c, found.coldest_at_s) == (0.0, 36_000.0)


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23.0), ("2026-10-25", 25.0)])
def test_a_day_of_summer_time_counts_the_hours_it_lasts(day: str, hours: float) -> None:
    zone = ZoneInfo("Europe/Berlin")
    begin = datetime.fromisoformat(day).replace(tzinfo=zone)
    end = begin.replace(day=begin.day + 1)
    count = int((end.timestamp() - begin.timestamp()) / 60.0) + 1
    found = reckoned(steady(begin.timestamp(), count, air_c=0.5, heat=1.0))
    assert found.hours_below_alarm_low == found.heat_h == hours


def test_what_nobody_recorded_is_not_known() -> None:
    found = reckoned([])
    assert (found.coldest_c, found.duty, found.kwh, found.cost) == (None, None, None, None)
    assert reckoned(steady(0.0, 9), watts=None).kwh is None


def test_a_sample_that_goes_back_in_time_is_left_out() -> None:
    whole = steady(0.0, 61)
    assert reckoned([*whole[:30], whole[3], *whole[30:]]) == reckoned(whole)


def test_a_longer_record_period_costs_one_gap_where_it_begins() -> None:
    slow = [Sample(at_s=3600.0 + 600.0 * at, temperature_c=3.0, heat=0.5) for at in range(1, 7)]
    found = reckoned([*steady(0.0, 61), *slow])
    assert found.recorded_s == 7200.0 - 600.0
    assert [(gap.from_s, gap.to_s) for gap in found.gaps] == [(3600.0, 4200.0)]


GAP = Silence(from_s=600.0, to_s=6000.0, before_c=3.0, after_c=2.0)


def happened(at_s: float, what: str, cause: str = "unknown") -> Happened:
    return Happened(at_s=at_s, what=what, cause=cause)


@pytest.mark.parametrize(
    ("events", "cause"),
    [
        pytest.param([happened(6500.0, "gap", "killed")], "killed", id="told ten minutes later"),
        pytest.param([happened(6901.0, "gap", "killed")], "unknown", id="too late to mean this one"),
        pytest.param([happened(599.0, "stop"), happened(6001.0, "start")], "unknown", id="beside it"),
        pytest.param([happened(700.0, "stop"), happened(6000.0, "boot")], "stopped", id="shut down"),
        pytest.param([happened(5990.0, "start"), happened(5990.0, "boot")], "power", id="another boot"),
    ],
)
def test_the_cause_of_a_gap_is_what_events_tell(events: list[Happened], cause: str) -> None:
    (gap,) = with_causes([GAP], events)

    assert gap.cause == cause


def test_what_is_told_late_belongs_to_the_gap_before_it() -> None:
    later = replace(GAP, from_s=6300.0, to_s=9000.0)

    assert [gap.cause for gap in with_causes([GAP, later], [happened(9100.0, "gap", "power")])] == [
        "unknown",
        "power",
    ]


def told(at_s: float, code: str, state: str = "raised") -> Told:
    return Told(at_s=at_s, code=code, state=state)


def test_the_delay_counts_from_the_first_sample_of_the_run_that_led_to_it() -> None:
    air_c = [0.9, 3.0, 0.9, 1.2, 0.8, 0.8]  # 1.2 is within the dead zone, so the run goes on
    samples = [Sample(at_s=60.0 * at, temperature_c=one, heat=0.0) for at, one in enumerate(air_c)]

    (alarm,) = alarms([told(310.0, "cold")], samples, alarm_low_c=1.0)

    assert alarm.delay_s == 310.0 - 120.0


def test_a_lost_sensor_is_lost_from_its_first_missing_sample() -> None:
    air_c = [3.0, None, None, None]
    samples = [Sample(at_s=60.0 * at, temperature_c=one, heat=0.0) for at, one in enumerate(air_c)]

    (alarm,) = alarms([told(190.0, "sensor-lost")], samples, alarm_low_c=1.0)

    assert alarm.delay_s == 130.0


def test_what_no_sample_shows_has_no_delay() -> None:
    found = alarms([told(310.0, "cold"), told(320.0, "damp")], steady(0.0, 6), alarm_low_c=1.0)

    assert [one.delay_s for one in found] == [None, None]


def test_an_alarm_that_is_told_again_before_it_was_cleared_is_one() -> None:
    events = [told(1.0, "damp"), told(2.0, "damp"), told(3.0, "damp", "cleared"), told(4.0, "damp")]

    found = alarms(events, [], alarm_low_c=1.0)

    assert [(one.since_s, one.cleared_s) for one in found] == [(1.0, 3.0), (4.0, None)]


@pytest.mark.parametrize(
    ("starts_s", "cleared_s"),
    [((), None), ((0.5,), None), ((1.5,), None), ((1.5, 3.0, 9.0), 3.0)],
)
def test_what_a_guard_never_tells_again_was_over_when_it_started(
    starts_s: tuple[float, ...], cleared_s: float | None
) -> None:
    """Told at 1 and, after a start between, at 2."""
    (found,) = alarms([told(1.0, "damp"), told(2.0, "damp")], [], alarm_low_c=1.0, starts_s=starts_s)

    assert (found.since_s, found.cleared_s) == (1.0, cleared_s)


@pytest.mark.parametrize(
    ("again_s", "spans"), [(3500.0, [(1.0, None)]), (3700.0, [(1.0, 5.0), (3700.0, None)])]
)
def test_what_a_guard_tells_again_long_after_its_start_is_another_alarm(
    again_s: float, spans: list[tuple[float, float | None]]
) -> None:
    found = alarms([told(1.0, "gap"), told(again_s, "gap")], [], alarm_low_c=1.0, starts_s=[5.0])

    assert [(one.since_s, one.cleared_s) for one in found] == spans


def test_two_of_one_code_are_kept_apart_by_what_they_are_about() -> None:
    events = [replace(told(at, "sensor-lost"), subject=name) for at, name in ((1.0, "a"), (2.0, "b"))]
    ended = replace(told(3.0, "sensor-lost", "cleared"), subject="a")

    found = alarms([*events, ended], [], alarm_low_c=1.0)

    assert [(one.subject, one.cleared_s) for one in found] == [("a", 3.0), ("b", None)]


PIPE = PipeSpec(name="line", length_m=None, bore_m=0.0136, outside_m=0.015)


def test_warm_air_makes_no_ice_and_frost_does() -> None:
    (warm,) = ice([PIPE], steady(0.0, 61, air_c=ERROR_K))
    (cold,) = ice([PIPE], steady(0.0, 2000, air_c=-10.0))

    assert warm.ice_share == Range(best=0.0, low=0.0, high=0.0)
    assert cold.ice_share == Range(best=1.0, low=1.0, high=1.0)


def test_a_gap_in_the_cold_widens_the_ice() -> None:
    whole = [*steady(0.0, 121, air_c=2.0), *steady(7260.0, 120, air_c=-3.0)]
    holed = [sample for sample in whole if not 5000.0 < sample.at_s < 12_000.0]

    one, other = (ice([PIPE], samples)[0].ice_share for samples in (whole, holed))

    assert one is not None
    assert other is not None
    assert other.high - other.low > one.high - one.low


def test_impossible_air_is_left_out_of_the_ice() -> None:
    odd = [
        Sample(at_s=90.0, temperature_c=-273.0, heat=0.0),
        Sample(at_s=150.0, temperature_c=85.0, heat=0.0),
    ]
    samples = sorted([*steady(0.0, 61, air_c=-1.0), *odd], key=lambda sample: sample.at_s)

    assert ice([PIPE], samples) == ice([PIPE], steady(0.0, 61, air_c=-1.0))


def test_too_little_says_nothing_of_ice() -> None:
    assert ice([PIPE], steady(0.0, 1))[0].ice_share is None


@given(
    st.lists(
        st.builds(
            Sample,
            at_s=st.floats(0.0, 1e6),
            temperature_c=st.none() | st.floats(-30.0, 30.0),
            heat=st.none() | st.floats(0.0, 1.0),
        ),
        max_size=60,
    )
)
def test_shares_stay_shares_whatever_was_recorded(samples: list[Sample]) -> None:
    found = reckoned(samples)

    for share in (found.duty, found.busiest_duty, found.heat_share_while_cold):
        assert share is None or 0.0 <= share <= 1.0 + 1e-9
    for pipe in ice([PIPE], in_order(sorted(samples, key=lambda one: one.at_s))):
        assert pipe.ice_share is None or 0.0 <= pipe.ice_share.low <= pipe.ice_share.high <= 1.0


def test_the_busiest_day_is_found_in_a_quiet_week() -> None:
    minutes = 7 * 1440
    samples = [
        Sample(at_s=60.0 * at, temperature_c=3.0, heat=0.9 if 3000 <= at < 4440 else 0.1)
        for at in range(minutes)
    ]

    assert reckoned(samples).busiest_duty == pytest.approx(0.9)
    assert reckoned(samples[:1000]).busiest_duty is None, "less than a day"

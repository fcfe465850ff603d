"""What a house teaches: its rise, its limit; and what must teach nothing."""

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overwinter.core.nouns import ContactSpec, HeaterSpec, Mode
from overwinter.know.cooling import HEAT_S, Cooling
from overwinter.know.learned import Learned
from overwinter.know.loss import BLOCK_S
from overwinter.know.nouns import Span
from tests.know.house import Lumps, Winter

HEATER = HeaterSpec(watts=1000.0, kind="air")
FACTS_BYTES_MAX = 2048


@cache
def record(days: float = 15.0, *, has_clock: bool = True, scale: float = 1.0) -> tuple[Span, ...]:
    """The usual house's; `scale` makes loss, heat and stores so many times larger."""
    lumps = Lumps(
        watts=1000.0 * scale,
        ua_w_k=25.0 * scale,
        air_j_k=200_000.0 * scale,
        things_j_k=600_000.0 * scale,
        things_w_k=60.0 * scale,
    )
    return tuple(Winter(lumps, days, has_clock=has_clock).spans())


def taught(spans: Iterator[Span] | tuple[Span, ...], heater: HeaterSpec = HEATER) -> Learned:
    """After all of them."""
    learned = Learned(heater)
    for span in spans:
        learned.take(span)
    return learned


def test_the_limit_of_two_lumps_is_found_in_two_weeks() -> None:
    limit_c = taught(record()).limit_c(2.2)
    assert limit_c is not None
    truth_c = Lumps().limit_c(2.2)
    assert limit_c.best == pytest.approx(truth_c, abs=1.2)  # 1.2 K: what is hoped for of any house
    assert limit_c.low <= truth_c <= limit_c.high


def test_the_loss_is_watts_over_the_rise() -> None:
    summary = taught(record()).summary()
    loss = summary["loss_w_k"]
    assert isinstance(loss, dict)
    assert loss["low"] < loss["best"] < loss["high"]
    assert loss["best"] == pytest.approx(25.0, rel=0.05)  # the limit's 1.2 K of 40


def test_the_rise_is_that_of_plain_least_squares_over_the_same_blocks() -> None:
    spans = record()
    block = int(BLOCK_S / 60)
    # The wall clock's quarters of a day do not begin with the record: cut as they are.
    first = next(
        at
        for at, span in enumerate(spans)
        if span.utc_s is not None and span.utc_s // BLOCK_S != (span.utc_s - 60.0) // BLOCK_S
    )
    rows = []
    for begin in range(first + 1, len(spans) - block + 1, block):
        part = spans[begin : begin + block]
        heat = np.mean([span.heat for span in part])
        warmer_k = np.mean([(span.temperature_c or 0.0) - (span.outdoor_c or 0.0) for span in part])
        rows.append((warmer_k, 1.0, heat))
    table = np.array(rows)
    slope = np.linalg.lstsq(table[:, :2], table[:, 2], rcond=None)[0][0]
    # The plain fit knows no lags; both see the same house.
    assert taught(spans).rise_k() == pytest.approx(1.0 / slope, rel=0.05)


def test_it_needs_no_clock() -> None:
    limit_c = taught(record(has_clock=False)).limit_c(2.2)
    assert limit_c is not None
    assert limit_c.best == pytest.approx(Lumps().limit_c(2.2), abs=1.2)


def test_after_four_days_the_limit_is_not_known_yet() -> None:
    assert taught(record()[: 4 * 1440]).limit_c(2.2) is None


def test_a_house_with_everything_three_times_as_large_has_the_same_limit_and_three_times_the_loss() -> None:
    small, large = taught(record()), taught(record(scale=3.0), replace(HEATER, watts=3000.0))
    assert large.limit_c(2.2) == small.limit_c(2.2)
    losses = [learned.summary()["loss_w_k"] for learned in (small, large)]
    assert losses[1]["best"] == pytest.approx(3.0 * losses[0]["best"])  # type: ignore[index]


@pytest.mark.parametrize(
    ("on_min", "off_min", "steady_s"), [(4, 12, 3000.0), (30, 90, 9360.0), (60, 900, 20_000.0)]
)
def test_what_is_slow_is_as_slow_as_the_house(on_min: int, off_min: int, steady_s: float) -> None:
    cooling = Cooling()
    cooling.begin(3.0, -5.0, 0.0)
    for _ in range(60):
        for minute in range(on_min + off_min):
            heat = float(minute < on_min)
            cooling.take(lasts_s=60.0, air_c=3.0, outdoor_c=-5.0, heat=heat, is_sound=True)

    assert cooling.steady_s == pytest.approx(steady_s, rel=0.01)


@pytest.mark.parametrize(
    ("times", "steeper"),
    [
        pytest.param(1.0, 1.0, id="as the shares say"),
        pytest.param(2.5, 2.5, id="the shares are too small"),
        pytest.param(0.4, 1.0, id="sun in pauses below an hour makes it no flatter"),
        pytest.param(9.0, 5.0, id="no more than five times"),
    ],
)
def test_the_slow_shares_are_as_steep_as_the_pauses_were(
    monkeypatch: pytest.MonkeyPatch, times: float, steeper: float
) -> None:
    """Air that is 2 K of a quick lag and `times` 8 K of a slow one; shares of 2 and 8 K were learned."""
    quick_s, slow_s = HEAT_S[1], HEAT_S[4]
    shares = (0.0, 2.0, 0.0, 0.0, 8.0, 0.0, 0.0), (0.0, 0.0, 0.0)
    monkeypatch.setattr(Cooling, "shares", lambda _self, _rise_k: shares)
    cooling = Cooling()
    cooling.begin(3.0, -10.0, 0.0)
    quick = slow = 0.0
    for minute in range(3000):
        heat = float(minute % 90 < 35)
        quick = heat + math.exp(-60.0 / quick_s) * (quick - heat)
        slow = heat + math.exp(-60.0 / slow_s) * (slow - heat)
        air_c = 2.0 * quick + times * 8.0 * slow
        cooling.take(lasts_s=60.0, air_c=air_c, outdoor_c=air_c, heat=heat, is_sound=True)
        if minute == 500:  # within three hours of its beginning nothing teaches; then four pauses are too few
            assert cooling.steeper(shares) == 1.0

    course = cooling.course(air_c, air_c, None)

    assert cooling.steeper(shares) == pytest.approx(steeper, rel=1e-3)
    assert course is not None
    ends_c = air_c - 2.0 * quick - steeper * 8.0 * slow
    assert course.at_c(1e9) == pytest.approx(ends_c, abs=1e-2)
    again = Cooling.recalled(json.loads(json.dumps(cooling.facts())))
    assert again.steeper(shares) == pytest.approx(steeper, rel=1e-3)


@pytest.mark.parametrize(
    ("pause_min", "slow_k", "times", "by"),
    [
        pytest.param(120, 8.0, 0.4, 0.253, id="the ground holds it"),
        pytest.param(120, 8.0, 0.8, 1.0, id="so much is sun and calm"),
        pytest.param(120, 8.0, 0.02, 0.05, id="never quite flat"),
        pytest.param(120, 8.0, 3.0, 3.0, id="nothing holds it"),
        pytest.param(55, 8.0, 0.4, 1.0, id="the pauses end too soon to tell"),
        pytest.param(600, 8.0, 0.4, 0.253, id="pauses of ten hours, of which six are looked at"),
        pytest.param(120, 0.08, 0.4, 1.0, id="it should not have fallen much either"),
    ],
)
def test_air_that_hardly_falls_late_in_long_pauses_is_held(
    monkeypatch: pytest.MonkeyPatch, pause_min: int, slow_k: float, times: float, by: float
) -> None:
    """Of 2 K of a quick lag and `times` `slow_k` of a slow one; learned: `slow_k`. 0.4 ** 1.5 = 0.253."""
    quick_s, slow_s = HEAT_S[1], HEAT_S[4]
    shares = (0.0, 2.0, 0.0, 0.0, slow_k, 0.0, 0.0), (0.0, 0.0, 0.0)
    monkeypatch.setattr(Cooling, "shares", lambda _self, _rise_k: shares)
    cooling = Cooling()
    cooling.begin(3.0, -10.0, 0.0)
    cycle_min = 60 + pause_min
    quick = slow = air_c = 0.0

    def passed(cycles: int) -> float:
        nonlocal quick, slow, air_c
        for minute in range(cycles * cycle_min):
            heat = float(minute % cycle_min < 60)
            quick = heat + math.exp(-60.0 / quick_s) * (quick - heat)
            slow = heat + math.exp(-60.0 / slow_s) * (slow - heat)
            air_c = 2.0 * quick + times * slow_k * slow
            cooling.take(lasts_s=60.0, air_c=air_c, outdoor_c=air_c, heat=heat, is_sound=True)
        course = cooling.course(air_c, air_c, None)
        assert course is not None
        return (air_c - 2.0 * quick - course.at_c(1e9)) / (slow_k * slow)

    assert passed(9) == pytest.approx(max(times, 1.0), rel=1e-2)  # too few to tell
    assert passed(9) == pytest.approx(by, rel=0.08)  # the short mean comes five minutes late
    cooling = Cooling.recalled(json.loads(json.dumps(cooling.facts())))
    assert passed(0) == pytest.approx(by, rel=0.08)


@pytest.mark.parametrize(
    ("heat_k", "ends_c"),
    [
        pytest.param(5.0, -10.0, id="a motor kept it warm as well, and stops with the power"),
        pytest.param(15.0, -12.0, id="the heater alone explains it, and outdoors was colder before"),
        pytest.param(1.0, -2.0, id="nearly nothing is explained"),
    ],
)
def test_without_power_the_air_ends_as_cold_as_outdoors(
    monkeypatch: pytest.MonkeyPatch, heat_k: float, ends_c: float
) -> None:
    """From 3 °C to -10 °C, of which the heater's own warmth is `heat_k`; five times as steep at most."""
    shares = (0.0, 0.0, 0.0, 0.0, heat_k, 0.0, 0.0), (0.0, 0.0, 0.0)
    monkeypatch.setattr(Cooling, "shares", lambda _self, _rise_k: shares)
    cooling = Cooling()
    cooling.begin(3.0, -10.0, 1.0)

    course = cooling.course(3.0, -10.0, None)

    assert course is not None
    assert course.at_c(1e9) == pytest.approx(ends_c)


@pytest.mark.parametrize(
    ("pause_min", "rises_at", "doubtful_at", "late"),
    [
        pytest.param(60, 60, None, 0, id="a motor warmed the air"),
        pytest.param(2000, None, None, 4, id="it lasted for days: its first hours alone tell something"),
        pytest.param(65, None, 50, 0, id="something was doubtful"),
    ],
)
def test_such_a_pause_says_nothing_of_how_steep_it_is(
    pause_min: int, rises_at: int | None, doubtful_at: int | None, late: int
) -> None:
    cooling = Cooling()
    cooling.begin(3.0, -10.0, 0.0)
    for minute in range(10_000):
        step = minute % (35 + pause_min)
        cooling.take(
            lasts_s=60.0,
            air_c=3.5 if step == rises_at else 3.0,
            outdoor_c=-10.0,
            heat=float(step < 35),
            is_sound=step != doubtful_at,
        )

    assert cooling.pauses == [0.0] * len(cooling.pauses)
    assert cooling.late[-1] == late


def test_a_cable_teaches_nothing() -> None:
    learned = taught(record(), replace(HEATER, kind="cable"))
    assert learned.based_on_h == 0.0
    assert learned.limit_c(2.2) is None
    assert learned.course(-5.0) is None


@pytest.mark.parametrize(
    "change",
    [
        pytest.param({"is_forced": True}, id="forced"),
        pytest.param({"flag": 4}, id="failing readings"),
        pytest.param({"mode": Mode.OBSERVE}, id="observe"),
        pytest.param({"outdoor_c": None}, id="no outdoors"),
        pytest.param({"temperature_c": None}, id="blind"),
        pytest.param({"temperature_c": math.nan}, id="not a number"),
        pytest.param({"outdoor_c": math.inf}, id="outdoors infinite"),
        pytest.param({"heat": math.nan}, id="heat not a number"),
        pytest.param({"gap_s": 600.0}, id="gaps"),
        pytest.param({"contacts": {"the door": 1.0}}, id="an open door"),
    ],
)
def test_what_is_doubtful_teaches_nothing(change: dict[str, object]) -> None:
    learned = taught(tuple(replace(span, **change) for span in record()))  # type: ignore[arg-type]
    assert learned.loss.sums.weight == 0.0
    assert learned.cooling.sums.weight == 0.0


def test_single_readings_that_fail_do_not_stop_it() -> None:
    spans = tuple(
        replace(span, flag=9) if at % 5 == 0 else span for at, span in enumerate(record()[: 7 * 1440])
    )
    assert taught(spans).line is not None


def test_inputs_are_known_by_their_kind_once_it_is_told() -> None:
    learned = Learned(HEATER)
    learned.heed((ContactSpec(name="hatch", kind="door", pin=3),))
    for span in record()[:1440]:
        learned.take(replace(span, contacts={"hatch": 1.0}))
    assert learned.based_on_h == 0.0


def test_a_gap_of_an_hour_begins_the_lags_anew_and_keeps_what_was_learned() -> None:
    learned = taught(record())
    line = learned.line
    after = replace(record()[100], ends_s=15 * 86400.0 + 3660.0, gap_s=3600.0, utc_s=None)
    learned.take(after)
    assert learned.cooling.heat == [after.heat] * len(learned.cooling.heat)
    assert learned.line == line


def test_the_facts_go_through_a_file_and_it_goes_on_as_before() -> None:
    spans = record()
    half = len(spans) // 2
    learned = taught(spans[:half])
    written = json.dumps(learned.facts())
    assert len(written) < FACTS_BYTES_MAX
    again = Learned.recalled(HEATER, json.loads(written))
    for span in spans[half:]:
        learned.take(span)
        again.take(span)
    one, other = learned.limit_c(2.2), again.limit_c(2.2)
    assert one is not None
    assert other is not None
    assert other.best == pytest.approx(one.best, abs=0.01)  # seven digits are written down
    assert again.based_on_h == pytest.approx(learned.based_on_h)


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=5), inner, max_size=5),
    max_leaves=8,
)


def paths(facts: object, before: tuple[object, ...] = ()) -> Iterator[tuple[object, ...]]:
    """Of everything within."""
    inside = facts.items() if isinstance(facts, dict) else enumerate(facts) if isinstance(facts, list) else ()
    for key, value in inside:
        yield (*before, key)
        yield from paths(value, (*before, key))


@settings(max_examples=200)
@given(data=st.data())
def test_damaged_facts_never_raise_and_never_bring_in_what_is_no_number(data: st.DataObject) -> None:
    facts = json.loads(json.dumps(_facts()))
    path = data.draw(st.sampled_from(sorted(paths(facts), key=str)))
    place = facts
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = data.draw(JSON)
    learned = Learned.recalled(HEATER, facts)
    for span in record()[:5]:
        learned.take(span)
    learned.summary()
    assert _are_finite(learned.facts())


@given(facts=JSON)
def test_garbage_is_a_new_beginning(facts: object) -> None:
    assert Learned.recalled(HEATER, facts).facts() == Learned(HEATER).facts()  # type: ignore[arg-type]


numbers = st.one_of(st.floats(), st.none())


@given(
    st.lists(
        st.builds(
            Span,
            ends_s=st.floats(min_value=0.0, max_value=1e9),
            lasts_s=st.one_of(st.floats(), st.just(60.0), st.just(3600.0)),
            gap_s=st.floats(min_value=0.0, max_value=1e7),
            utc_s=st.one_of(st.none(), st.floats(min_value=0.0, max_value=4e9)),
            temperature_c=st.one_of(numbers, st.floats(min_value=0.0, max_value=6.0)),
            outdoor_c=st.one_of(numbers, st.floats(min_value=-20.0, max_value=6.0)),
            flag=st.sampled_from([1, 2, 3, 4, 9]),
            heat=st.one_of(st.floats(), st.floats(min_value=0.0, max_value=1.0)),
            is_forced=st.booleans(),
        ),
        max_size=30,
    )
)
def test_whatever_comes_no_fact_is_ever_anything_but_finite(spans: list[Span]) -> None:
    assert _are_finite(taught(tuple(spans)).facts())


@cache
def _facts() -> dict[str, object]:
    return taught(record()[: 8 * 1440]).facts()


def _are_finite(facts: object) -> bool:
    if isinstance(facts, dict):
        return all(map(_are_finite, facts.values()))
    if isinstance(facts, list):
        return all(map(_are_finite, facts))
    return not isinstance(facts, float) or math.isfinite(facts)

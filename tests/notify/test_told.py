"""Who is told what, in sequences of seconds; no clock, no thread."""

import itertools
from collections.abc import Iterable
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from overwinter.notify.told import AT_MOST, NO_GUARD, NO_GUARD_AFTER_S, QUIET_S, Notice, Told

COLD = {"code": "cold", "since": "2026-01-09T04:12:33Z", "text": "34.1 F", "acknowledged": False}
LOST = {"code": "sensor-lost", "subject": "by the pump", "text": "nothing believable"}
HOUR_S = 3600.0


def states(notices: Iterable[Notice]) -> list[tuple[str, str]]:
    return [(notice.state, notice.code) for notice in notices]


def told(remind_every_h: float = 6.0, **more: Any) -> Told:
    return Told(remind_every_s=remind_every_h * HOUR_S, **more)


def test_an_alarm_is_told_once_and_called_off_once() -> None:
    teller = told()

    assert states(teller.see([COLD], 0.0)) == [("raised", "cold")]
    assert [teller.see([COLD], now) for now in range(10, 900, 10)] == [[]] * 89
    (over,) = teller.see([], 900.0)
    assert (over.state, over.text) == ("cleared", "over; it was: 34.1 F")
    assert teller.see([], 910.0) == []


def test_two_sensors_are_two_alarms() -> None:
    other = {**LOST, "subject": "riser"}

    assert [notice.subject for notice in told().see([LOST, other], 0.0)] == ["by the pump", "riser"]


def test_a_trembling_alarm_is_told_at_most_once_in_ten_minutes() -> None:
    teller = told()
    times: list[tuple[float, str]] = []
    for second in range(0, 7200, 10):
        alarms = [COLD] if (second // 30) % 2 == 0 else []
        times += [(second, notice.state) for notice in teller.see(alarms, float(second))]

    assert all(later - earlier >= QUIET_S for (earlier, _), (later, _) in itertools.pairwise(times))
    assert len(times) <= 13
    assert times[0] == (0, "raised")


def test_what_came_and_went_within_the_pause_is_not_told_again() -> None:
    teller = told()
    teller.see([COLD], 0.0)
    assert teller.see([], 60.0) == []
    assert teller.see([COLD], 120.0) == []
    assert teller.see([COLD], 700.0) == [], "told already, and still so"


def test_an_unacknowledged_alarm_is_told_again_at_its_pace_and_an_acknowledged_one_is_not() -> None:
    teller = told(remind_every_h=1.0)
    teller.see([COLD], 0.0)

    assert states(teller.see([COLD], HOUR_S)) == [("reminded", "cold")]
    assert teller.see([COLD], HOUR_S + 10.0) == []
    assert teller.see([{**COLD, "acknowledged": True}], 2 * HOUR_S) == []


def test_a_pace_of_zero_reminds_never() -> None:
    teller = told(remind_every_h=0.0)
    teller.see([COLD], 0.0)

    assert teller.see([COLD], 100 * HOUR_S) == []


def test_a_silent_guard_is_an_alarm_of_its_own_and_its_alarms_stand() -> None:
    teller = told()
    teller.see([COLD], 0.0)

    assert teller.see_nothing("no socket", NO_GUARD_AFTER_S - 1.0) == []
    (silent,) = teller.see_nothing("no socket", NO_GUARD_AFTER_S)
    assert silent.code == NO_GUARD
    assert "has not answered for 5 min (no socket)" in silent.text
    again = teller.see([COLD], NO_GUARD_AFTER_S + QUIET_S)
    assert states(again) == [("cleared", NO_GUARD)]


def test_a_guard_that_never_answered_is_told_too() -> None:
    teller = told()

    assert teller.see_nothing("no socket", 1000.0) == []
    assert states(teller.see_nothing("no socket", 1000.0 + NO_GUARD_AFTER_S)) == [("raised", NO_GUARD)]


def test_the_next_run_tells_neither_twice_nor_forgets_to_call_off() -> None:
    first = told()
    first.see([COLD, LOST], 0.0)
    second = told(known=first.known(), now_s=5.0)

    assert second.see([COLD], 10.0) == []
    assert states(second.see([COLD], 5.0 + QUIET_S)) == [("cleared", "sensor-lost")]


def test_a_flood_of_alarms_is_bounded() -> None:
    flood = [{"code": "cold", "subject": str(number), "text": "x"} for number in range(10 * AT_MOST)]

    assert len(told().see(flood, 0.0)) == AT_MOST


@given(st.lists(st.tuples(st.booleans(), st.booleans(), st.integers(1, 900)), max_size=60))
def test_whatever_happens_notices_alternate_and_keep_their_distance(
    steps: list[tuple[bool, bool, int]],
) -> None:
    teller = told(remind_every_h=0.0)
    now, said = 0, list[tuple[int, str]]()
    for answers, is_cold, pause in steps:
        now += pause
        if answers:
            notices = teller.see([COLD] if is_cold else [], float(now))
        else:
            notices = teller.see_nothing("gone", float(now))
        said += [(now, notice.state) for notice in notices if notice.code == "cold"]

    assert [state for _, state in said] == ["raised", "cleared"] * (len(said) // 2) + ["raised"] * (
        len(said) % 2
    )
    assert all(later - earlier >= QUIET_S for (earlier, _), (later, _) in itertools.pairwise(said))
    # Left alone, it comes to tell how things really are.
    teller.see([], now + 2 * QUIET_S)
    teller.see([], now + 4 * QUIET_S)
    assert teller.known() == []

"""Faster than life, and no other way off: with a hand on the real clock."""

import math
import threading
from datetime import UTC, datetime, timedelta

import pytest

from overwinter.twin.clock import ScaledClock


class Hand:
    """A real clock moved by hand."""

    def __init__(self) -> None:
        self.s = 500.0

    def __call__(self) -> float:
        return self.s


class Asked:
    """Waits for nothing and remembers for how long it was asked to."""

    def __init__(self, *, woken: bool) -> None:
        self.woken, self.timeouts = woken, []

    def wait(self, timeout: float | None = None) -> bool:
        self.timeouts.append(timeout)
        return self.woken


def test_a_real_second_is_as_many_simulated_ones_as_its_speed() -> None:
    hand = Hand()
    clock = ScaledClock(60.0, date=datetime(2026, 2, 1, tzinfo=UTC), monotonic=hand)
    assert clock.now_s() == 0.0

    hand.s += 90.0

    assert clock.now_s() == 5400.0
    assert clock.utc() == datetime(2026, 2, 1, 1, 30, tzinfo=UTC)
    assert clock.utc().utcoffset() == timedelta(0)


@pytest.mark.parametrize("woken", [True, False])
def test_a_wait_is_shorter_by_its_speed_and_says_whether_it_was_woken(woken: bool) -> None:
    asked = Asked(woken=woken)

    assert ScaledClock(60.0).wait(asked, 30.0) is woken
    assert ScaledClock(60.0).wait(asked, -1.0) is woken
    assert asked.timeouts == [0.5, 0.0]


def test_it_waits_for_events_and_for_conditions() -> None:
    clock, event, condition = ScaledClock(1000.0), threading.Event(), threading.Condition()
    event.set()

    assert clock.wait(event, 3600.0)
    with condition:
        assert not clock.wait(condition, 1.0)


def test_by_itself_it_reads_the_real_monotonic_clock() -> None:
    clock = ScaledClock(1000.0)
    first_s = clock.now_s()
    threading.Event().wait(0.01)

    # At least the ten real milliseconds, a thousandfold; how much more is the machine's affair.
    assert clock.now_s() - first_s >= 9.9


@pytest.mark.parametrize("speed", [0.0, -1.0, 1e6, math.nan])
def test_no_other_speed(speed: float) -> None:
    with pytest.raises(ValueError, match="must be above 0, at most 100000"):
        ScaledClock(speed)

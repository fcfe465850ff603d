"""What the ends of pauses of heat say of hours to come."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.know.cooling import Course
from overwinter.know.pauses import EVERY_S, KNOWN, LASTS_S, QUICK, RATE_H, SHARE, Pauses

OUTDOOR_C = -8.0
RATE_H_TRUE = 0.02
"""A cellar: two kelvin go at once with the warm air, then a fiftieth of the distance to outdoors an hour."""
FALLS = ((180.0, 0.0), (600.0, 2.0), (9600.0, 6.0), (38_400.0, 4.0))
"""What the lags make of it: far too quick an end."""


def air_c(passed_s: float) -> float:
    """The truth."""
    quick_k = 2.0 * -math.expm1(-passed_s / 600.0)
    return OUTDOOR_C + (2.5 - OUTDOOR_C) * math.exp(-RATE_H_TRUE * passed_s / 3600.0) + 2.0 - quick_k


def expected() -> Course:
    """As the lags have it."""
    return Course(air_c(0.0), FALLS)


def live(
    pauses: Pauses, *, minutes: int, times: int = 1, is_sound: bool = True, apart_s: float = EVERY_S
) -> None:
    """So many pauses, each after a while of heat."""
    for _ in range(times):
        for at in range(-int(apart_s / 60.0), minutes + 1):
            pauses.take(
                lasts_s=60.0,
                heat=1.0 if at < 0 else 0.0,
                air_c=air_c(max(at, 0) * 60.0),
                outdoor_c=OUTDOOR_C,
                is_sound=is_sound,
                course=expected,
            )
        pauses.take(lasts_s=60.0, heat=1.0, air_c=2.0, outdoor_c=OUTDOOR_C, is_sound=True, course=expected)


def test_the_end_of_pauses_slows_a_forecast_that_is_too_quick() -> None:
    pauses = Pauses()
    live(pauses, minutes=90, times=KNOWN)

    slow = pauses.slow(expected(), OUTDOOR_C)

    lag_s, fall_k = slow.falls[-1]
    assert 3600.0 / lag_s == pytest.approx(RATE_H_TRUE, rel=0.1)
    assert fall_k == pytest.approx(slow.air_c - 2.0 - OUTDOOR_C), "a cellar: the lags do not count at all"
    assert slow.falls[:QUICK] == FALLS[:QUICK]
    assert slow.hours_to(0.0) > 2.0 * expected().hours_to(0.0)


def test_where_both_ways_agree_roughly_both_count() -> None:
    pauses = Pauses()
    live(pauses, minutes=90, times=KNOWN)
    like = Course(air_c(0.0), (*FALLS[:QUICK], (3600.0 / RATE_H_TRUE / 1.2, 10.5)))

    slow = pauses.slow(like, OUTDOOR_C)

    assert [fall_k for _, fall_k in slow.falls[QUICK:]] == pytest.approx(
        [(1.0 - SHARE) * 10.5, SHARE * (slow.air_c - 2.0 - OUTDOOR_C)]
    )


@pytest.mark.parametrize(
    ("minutes", "times", "is_sound"),
    [
        pytest.param(90, KNOWN - 1, True, id="too few"),
        pytest.param(int(LASTS_S / 60.0) - 2, 9, True, id="too short"),
        pytest.param(90, 9, False, id="doubtful"),
    ],
)
def test_what_teaches_nothing_leaves_the_forecast_as_it_was(minutes: int, times: int, is_sound: bool) -> None:
    pauses = Pauses()
    live(pauses, minutes=minutes, times=times, is_sound=is_sound)

    assert pauses.slow(expected(), OUTDOOR_C) == expected()


def test_a_pause_that_follows_too_soon_is_not_looked_at() -> None:
    """What is to be expected takes a millisecond to say, and a quick house has eighty pauses a day."""
    pauses = Pauses()
    live(pauses, minutes=30, times=1)
    live(pauses, minutes=30, times=4, apart_s=600.0)

    assert pauses.count == 1.0


def test_while_nothing_can_be_expected_nothing_is_learned() -> None:
    pauses = Pauses()
    for heat in (1.0, *(0.0,) * 60, 1.0):
        pauses.take(
            lasts_s=60.0, heat=heat, air_c=3.0, outdoor_c=OUTDOOR_C, is_sound=True, course=lambda: None
        )

    assert pauses.count == 0.0


def test_what_is_stored_is_gone_on_from() -> None:
    pauses = Pauses()
    live(pauses, minutes=90, times=KNOWN)

    again = Pauses.recalled(pauses.facts())

    assert again.facts() == pauses.facts()
    assert again.slow(expected(), OUTDOOR_C).hours_to(0.0) == pytest.approx(
        pauses.slow(expected(), OUTDOOR_C).hours_to(0.0), rel=1e-3
    )


@pytest.mark.parametrize("facts", [None, [], [1.0, 2.0], ["x", 1.0, 1.0], {"count": 1.0}])
def test_what_is_odd_is_refused(facts: object) -> None:
    with pytest.raises(ValueError, match="must be"):
        Pauses.recalled(facts)


@given(st.floats(0.0, 1e6), st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(-40.0, 20.0))
def test_whatever_was_learned_an_hour_takes_no_more_than_it_may(
    count: float, fell_k: float, driven_kh: float, outdoor_c: float
) -> None:
    pauses = Pauses.recalled([count, fell_k, driven_kh])

    slow = pauses.slow(expected(), outdoor_c)

    if slow != expected():
        low_h, high_h = RATE_H
        assert low_h * 0.999 <= 3600.0 / slow.falls[-1][0] <= high_h * 1.001

"""Forecasts: copied for who asks and only then, answered once whatever comes in between."""

import threading
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor

import pytest

from overwinter.core.nouns import NotStored, Settings, Site
from overwinter.core.state import State
from overwinter.guard.forecasts import Forecasts
from overwinter.guard.learning import Learning
from overwinter.know.knowledge import Knowledge
from overwinter.know.learned import Learned
from tests.know.test_forecast import HEATER, told

NOW_S = 5.0
SITE, SETTINGS = Site(heater=HEATER), Settings()


class Wheel:
    """Counts how often it is woken."""

    def __init__(self) -> None:
        self.woken = 0

    def wake(self) -> None:
        self.woken += 1


@pytest.fixture
def reckoners() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(1) as pool:
        yield pool


def test_who_asks_wakes_the_wheel_and_is_answered_by_what_is_known_then(
    reckoners: ThreadPoolExecutor,
) -> None:
    wheel = Wheel()
    forecasts = Forecasts(reckoners, wake=wheel.wake)
    assert not forecasts.are_asked
    cold, mild = forecasts.ask(-15.0), forecasts.ask(2.0)
    assert forecasts.are_asked
    assert wheel.woken == 1, "many who ask do not drive the wheel"

    learned, last, _ = told()
    forecasts.know(SITE, SETTINGS, {"house": learned.facts()}, last)
    duties = [answer.result(NOW_S)["tomorrow"] for answer in (cold, mild)]

    assert not forecasts.are_asked
    assert duties[0]["duty"] > duties[1]["duty"]  # type: ignore[index]


def test_what_goes_wrong_in_a_forecast_is_told_to_who_asked(
    reckoners: ThreadPoolExecutor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stumble(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a mistake of ours")

    monkeypatch.setattr(Knowledge, "forecast", stumble)
    forecasts = Forecasts(reckoners, wake=Wheel().wake)
    answer = forecasts.ask(None)
    forecasts.know(SITE, SETTINGS, {}, None)

    with pytest.raises(ZeroDivisionError, match="a mistake of ours"):
        answer.result(NOW_S)


def test_a_guard_that_stops_leaves_nobody_waiting(reckoners: ThreadPoolExecutor) -> None:
    """Asked before, on its way in a thread, and after."""
    forecasts = Forecasts(reckoners, wake=Wheel().wake)
    busy = threading.Event()
    reckoners.submit(busy.wait, NOW_S)
    on_its_way = forecasts.ask(None)
    forecasts.know(SITE, SETTINGS, {}, None)
    before = forecasts.ask(None)
    forecasts.close()
    reckoners.shutdown(wait=False, cancel_futures=True)
    busy.set()
    after: Future[dict[str, object]] = forecasts.ask(None)

    for answer in (before, on_its_way, after):
        with pytest.raises(NotStored, match="stopping"):
            answer.result(NOW_S)


def test_while_nobody_asks_nothing_that_is_known_is_copied(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a small board a copy takes longer than to learn."""
    copies = []
    copy = Learned.facts

    def facts(learned: Learned) -> dict[str, object]:
        copies.append(learned)
        return copy(learned)

    monkeypatch.setattr(Learned, "facts", facts)
    state = State(Site(), Settings(), 0.0)
    learning = Learning(None, state, 0.0, gap_s=0.0, post=lambda _: None, log=None)
    for minute in range(1, 61):
        learning.turned(60.0 * minute, flows=None, utc_s=lambda _: None)
    assert copies == []

    learning.refresh()
    assert len(copies) == 1
    assert learning.last is not None
    assert learning.last.ends_s == 3600.0

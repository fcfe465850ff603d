"""A lamp on gpiozero's mock board; rhythms are shortened, the thread is the real one."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory

from overwinter.core.signals import OFF, ON
from overwinter.core.telling import Signal as Spec
from overwinter.devices import signal
from overwinter.devices.signal import Signal, open_signals

LAMP = Spec(pin=23)


@pytest.fixture
def told() -> list[str]:
    return []


@pytest.fixture
def opened(pins: MockFactory, tmp_path: Path, told: list[str]) -> Iterator[Callable[[Spec], Signal]]:
    all_opened: list[Signal] = []

    def one(spec: Spec) -> Signal:
        (found,) = open_signals([("lamp", spec)], runtime_dir=tmp_path, tell=told.append)
        assert found is not None, told
        all_opened.append(found)
        return found

    yield one
    for each in all_opened:
        each.close()


def until(holds: Callable[[], bool], within_s: float = 5.0) -> None:
    ends = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends
        time.sleep(0.005)


@pytest.mark.parametrize("active_high", [True, False])
def test_a_steady_lamp_is_lit_until_it_is_closed(
    pins: MockFactory, opened: Callable[[Spec], Signal], active_high: bool
) -> None:
    lamp = opened(Spec(pin=23, active_high=active_high))
    pin = pins.pin(23)
    assert bool(pin.state) is not active_high, "dark before anything is shown"

    lamp.show(ON)
    until(lambda: bool(pin.state) is active_high)
    lamp.close()

    assert bool(pin.state) is not active_high


def test_a_rhythm_is_repeated_and_a_new_one_takes_over_at_once(
    pins: MockFactory, opened: Callable[[Spec], Signal]
) -> None:
    lamp, pin = opened(LAMP), pins.pin(23)
    lamp.show((0.01, 0.01))
    until(lambda: len(pin.states) > 8)
    levels = [bool(one.state) for one in pin.states][:8]
    assert levels == [False, True] * 4

    lamp.show((600.0, 600.0))
    until(lambda: bool(pin.state))
    lamp.show(OFF)
    until(lambda: not pin.state)


def test_a_guard_that_hangs_goes_dark(
    pins: MockFactory, opened: Callable[[Spec], Signal], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lamp that goes on saying "all is well" for a guard that no longer turns would be the worst lie."""
    monkeypatch.setattr(signal, "HOLDS_S", 0.2)
    lamp, pin = opened(LAMP), pins.pin(23)
    lamp.show(ON)
    until(lambda: len(pin.states) > 1)
    assert pin.states[1].state, "it was lit"

    until(lambda: not pin.state)

    def turns_again() -> bool:
        lamp.show(ON)
        return bool(pin.state)

    until(turns_again)


def test_a_lamp_that_cannot_be_had_is_told_and_done_without(
    pins: MockFactory, tmp_path: Path, told: list[str]
) -> None:
    found = open_signals([("lamp", Spec(pin=99)), ("buzzer", None)], runtime_dir=tmp_path, tell=told.append)

    assert found == [None, None]
    assert len(told) == 1
    assert told[0].startswith("lamp on GPIO 99: ")


def test_a_lamp_that_breaks_is_told_once(
    pins: MockFactory, opened: Callable[[Spec], Signal], told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    lamp = opened(LAMP)

    def broken(_level: bool) -> None:
        raise OSError("no such line")

    monkeypatch.setattr(pins.pin(23), "_set_state", broken)
    for _ in range(3):
        lamp.show((0.01, 0.01))
        time.sleep(0.02)

    until(lambda: bool(told))
    assert told == ["lamp on GPIO 23: no such line"]

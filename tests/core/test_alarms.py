"""When which alarm is present, and that its text gives the evidence and what to do."""

import random
from dataclasses import replace

import pytest

from overwinter.core.nouns import Code, ContactSpec, ContactState, Reason, RelaySpec, Settings
from overwinter.core.units import c_from_f
from tests.core.asking import OBSERVE, WARM
from tests.core.rig import BAND, HOUR_S, House, text


def test_a_good_night_has_no_alarm() -> None:
    house = House()
    for _ in range(5):
        house.settle(3.0)
        house.settle(1.9)
        house.settle(4.2)

    assert not house.named("alarm")


# --- too hot, cold ------------------------------------------------------------------------------------------


def test_a_hot_shed_in_july_is_no_alarm() -> None:
    house = House()
    house.settle(30.0, for_s=3600.0)

    assert house.state.decision.reason is Reason.TOO_HOT
    assert not house.named("alarm")


@pytest.mark.parametrize(
    ("cool_s", "rings"),
    [
        pytest.param(HOUR_S, True, id="heat ran an hour ago"),
        pytest.param(HOUR_S + 10.0, False, id="heat ran longer ago"),
    ],
)
def test_too_hot_is_an_alarm_only_within_an_hour_of_heat(cool_s: float, rings: bool) -> None:
    house = House()
    house.settle(1.9)
    house.settle(4.2)
    assert not house.state.decision.heat
    assert house.state.heated_s is not None
    house.settle(23.9, for_s=house.state.heated_s + cool_s - house.now_s - 10.0)
    house.say(24.0)
    house.settle(24.0)

    assert house.alarms(Code.TOO_HOT) == (["raised"] if rings else [])
    if rings:
        assert "75.2 F" in text(house, Code.TOO_HOT)


def test_too_hot_lasts_as_long_as_it_is_too_hot() -> None:
    """A welded contact goes on heating long after the relay was released."""
    house = House()
    house.settle(1.9)
    house.settle(23.9)
    house.settle(24.0, for_s=3 * HOUR_S)
    assert house.alarms(Code.TOO_HOT) == ["raised"]
    house.settle(23.0)
    assert house.alarms(Code.TOO_HOT) == ["raised"]
    house.settle(22.98)

    assert house.alarms(Code.TOO_HOT) == ["raised", "cleared"]


@pytest.mark.parametrize("settings", [BAND, WARM, OBSERVE], ids=lambda settings: settings.mode)
def test_cold_rings_at_alarm_low_in_every_mode_and_clears_above_a_dead_zone(settings: Settings) -> None:
    house = House(settings)
    for _ in range(5):
        house.say(1.51)
    assert not house.named("alarm")
    for _ in range(8):
        house.say(1.5)
    assert not house.named("alarm")
    for _ in range(4):
        house.say(1.5)
    assert house.alarms(Code.COLD) == ["raised"]
    assert "34.7 F" in text(house, Code.COLD)
    for index in range(30):
        house.say(1.8 - 0.01 * (index % 2))
    assert house.alarms(Code.COLD) == ["raised"]
    for index in range(12):
        house.say(1.81 + 0.01 * (index % 2))

    assert house.alarms(Code.COLD) == ["raised", "cleared"]


def test_wrong_readings_that_are_believed_for_a_minute_ring_no_bell() -> None:
    """Two bursts close together look like a step that lasts; heat may come on, but nobody is woken."""
    house = House()
    house.settle(4.0)
    for _ in range(5):
        house.say(-2.0)
    assert house.state.look.coldest_cold_c == -2.0
    for _ in range(6):
        house.say(4.0)

    assert house.alarms(Code.COLD) == []


def test_cold_says_what_heat_does() -> None:
    house = House()
    house.settle(1.0)
    assert "heat is on (below-band)" in text(house, Code.COLD)

    house = House(OBSERVE)
    house.settle(1.0)
    assert "heat is off (observing)" in text(house, Code.COLD)


# --- the rest -----------------------------------------------------------------------------------------------


def test_water_on_the_floor_is_an_alarm_and_a_running_pump_is_none() -> None:
    house = House(
        contacts=(
            ContactSpec(name="floor", kind="wet", pin=5),
            ContactSpec(name="pump", kind="pump", pin=6),
        )
    )
    house.turn(ContactState(name="floor", active=False), ContactState(name="pump", active=True))
    assert not house.named("alarm")
    house.turn(ContactState(name="floor", active=True))
    assert "'floor' reports water" in text(house, Code.WET_FLOOR)
    house.turn(ContactState(name="floor", active=False))

    assert house.alarms(Code.WET_FLOOR) == ["raised", "cleared"]


@pytest.mark.parametrize(
    ("settings", "rings"),
    [
        pytest.param(replace(BAND, low_c=1.0, alarm_low_c=0.5), False, id="1.0 °C"),
        pytest.param(replace(BAND, low_c=c_from_f(33.8), alarm_low_c=0.5), False, id="33.8 °F"),
        pytest.param(replace(BAND, low_c=0.99, alarm_low_c=0.5), True, id="below"),
        pytest.param(replace(WARM, low_c=0.99, alarm_low_c=0.5), False, id="below, mode warm"),
        pytest.param(replace(OBSERVE, low_c=0.99, alarm_low_c=0.5), False, id="below, mode observe"),
    ],
)
def test_a_low_end_that_protects_no_pipe_is_an_alarm_in_freeze(settings: Settings, rings: bool) -> None:
    house = House(settings)
    house.turn()

    assert house.alarms(Code.LOW_SETTING) == (["raised"] if rings else [])


@pytest.mark.parametrize(
    ("cycles", "rated", "rings"),
    [
        pytest.param(79_999, 100_000, False, id="just before four fifths"),
        pytest.param(80_000, 100_000, True, id="four fifths"),
        pytest.param(10**9, None, False, id="nothing known of the relay"),
    ],
)
def test_a_relay_is_worn_before_its_end(cycles: int, rated: int | None, rings: bool) -> None:
    house = House(relay=RelaySpec(rated_cycles=rated), cycles=cycles)
    house.turn()

    assert house.alarms(Code.RELAY_WORN) == (["raised"] if rings else [])


@pytest.mark.parametrize("seed", range(3))
def test_a_day_of_noise_around_alarm_low_is_one_alarm_and_one_clear(seed: int) -> None:
    """Within 0.1 K of the limit for 24 hours, then warm again."""
    chance = random.Random(seed)
    house = House(replace(BAND, alarm_low_c=1.5))
    for _ in range(8640):
        house.say(1.5 + chance.uniform(-0.1, 0.1))
    for _ in range(600):
        house.say(3.0 + chance.uniform(-0.1, 0.1))

    assert house.alarms(Code.COLD) == ["raised", "cleared"]
    assert {event.fields["code"] for event in house.named("alarm")} == {"cold"}

"""When which alarm is present, and that its text gives the evidence and what to do."""

import random
from dataclasses import replace

import pytest

from overwinter.core.alarms import FOLLOWS_HEAT_K
from overwinter.core.nouns import (
    Code,
    ContactSpec,
    ContactState,
    Mode,
    Reason,
    RelaySpec,
    Role,
    Settings,
)
from overwinter.core.units import c_from_f
from tests.core.rig import BAND, DOOR, HOUR_S, OUTSIDE, PUMP, House, sensor

WARM = replace(BAND, mode=Mode.WARM)
OBSERVE = replace(BAND, mode=Mode.OBSERVE)
TWO = (sensor(PUMP), sensor(DOOR))


def text(house: House, code: Code) -> str:
    """The text of the one present alarm of a code."""
    (episode,) = [episode for episode in house.state.watch.raised() if episode.code is code]
    return episode.text


def test_a_good_night_has_no_alarm() -> None:
    house = House()
    for _ in range(5):
        house.settle(3.0)
        house.settle(1.9)
        house.settle(4.2)

    assert not house.named("alarm")


# --- lost ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("settings", "consequence"),
    [
        pytest.param(BAND, "heat is on unless something says it is warm", id="freeze"),
        pytest.param(WARM, "heat is off", id="warm"),
        pytest.param(OBSERVE, "nothing is guarded", id="observe"),
    ],
)
def test_a_lost_sensor_is_acted_on_at_once_and_told_after_ten_minutes(
    settings: Settings, consequence: str
) -> None:
    house = House(settings)
    house.settle(3.0)
    house.silence(120.0)
    assert house.state.is_blind
    house.silence(590.0)
    assert not house.named("alarm")
    house.silence(10.0)

    assert house.alarms(Code.SENSOR_LOST) == ["raised"]
    assert house.named("alarm")[0].fields["subject"] == PUMP
    assert consequence in text(house, Code.SENSOR_LOST)
    assert "not even an error" in text(house, Code.SENSOR_LOST)
    house.settle(3.0)
    assert house.alarms(Code.SENSOR_LOST) == ["raised", "cleared"]


@pytest.mark.parametrize(
    ("said", "why"),
    [
        pytest.param((None, None), "no answer", id="its own error"),
        pytest.param((85.0, -127.0), "-127 °C is a failed transfer", id="an error value"),
        pytest.param((-30.0, 60.0), "readings jump", id="noise"),
    ],
)
def test_a_lost_sensor_is_told_with_its_reason(said: tuple[float | None, float | None], why: str) -> None:
    house = House()
    house.settle(3.0)
    for index in range(72):
        house.say(said[index % 2])

    assert why in text(house, Code.SENSOR_LOST)


def test_one_of_two_lost_says_that_the_other_goes_on() -> None:
    house = House(sensors=TWO)
    house.settle(3.0, 3.0)
    house.settle(3.0, for_s=900.0)

    assert "the other sensors go on" in text(house, Code.SENSOR_LOST)
    assert house.named("alarm")[0].fields["subject"] == DOOR


def test_a_sensor_that_never_spoke_is_told_ten_minutes_after_the_time_that_a_start_is_given() -> None:
    house = House()
    house.silence(710.0)
    assert not house.named("alarm")
    house.silence(10.0)

    assert "no reading yet" in text(house, Code.SENSOR_LOST)


# --- flat ---------------------------------------------------------------------------------------------------


def stuck(settings: Settings, *, for_s: float, spec_role: Role = Role.CONTROL) -> House:
    """A house whose sensor by the door sticks at 3.0; another control sensor lives when it is no control."""
    house = House(settings, sensors=(sensor(DOOR, spec_role),))
    for _ in range(round(for_s / 10.0) + 1):
        house.say(3.0)
    return house


def test_flat_alone_is_no_alarm_in_freeze_and_flat_through_ten_minutes_of_heat_is() -> None:
    house = stuck(BAND, for_s=7200.0 + 110.0)
    assert house.state.decision.heat
    for _ in range(59):
        house.say(3.0)
    assert not house.named("alarm")
    house.say(3.0)

    assert house.alarms(Code.SENSOR_DOUBTFUL) == ["raised"]
    assert "has not moved for 132 minutes, ten of them under heat" in text(house, Code.SENSOR_DOUBTFUL)
    house.say(3.1)
    assert house.alarms(Code.SENSOR_DOUBTFUL) == ["raised", "cleared"]


def test_ten_minutes_of_heat_may_come_in_pieces() -> None:
    """By a duty of one half no piece is longer than five minutes."""
    house = stuck(replace(BAND, blind_duty=0.5), for_s=7200.0 + 110.0)
    for _ in range(89):
        house.say(3.0)
    assert not house.named("alarm")
    for _ in range(2):
        house.say(3.0)

    assert house.alarms(Code.SENSOR_DOUBTFUL) == ["raised"]


def test_a_flat_sensor_beside_a_living_one_is_found_by_that_ones_heat() -> None:
    house = House(sensors=TWO)
    for _ in range(6):
        for low_then_high_c in (1.9, 4.5):
            for index in range(120):
                house.say(low_then_high_c + 0.01 * (index % 2), 5.0)
    assert house.state.on_s > 1200.0

    assert house.alarms(Code.SENSOR_DOUBTFUL) == ["raised"]
    assert house.named("alarm")[-1].fields["subject"] == DOOR


@pytest.mark.parametrize(
    ("settings", "role"),
    [
        pytest.param(WARM, Role.CONTROL, id="mode warm, where nothing heats a blind house"),
        pytest.param(OBSERVE, Role.CONTROL, id="mode observe"),
        pytest.param(BAND, Role.OUTDOOR, id="an outdoor sensor, which no heat moves"),
    ],
)
def test_where_no_heat_can_move_it_flat_alone_is_an_alarm(settings: Settings, role: Role) -> None:
    assert not stuck(settings, for_s=7190.0, spec_role=role).alarms(Code.SENSOR_DOUBTFUL)

    assert stuck(settings, for_s=7200.0, spec_role=role).alarms(Code.SENSOR_DOUBTFUL) == ["raised"]


def test_a_few_failed_reads_do_not_make_a_flat_alarm_ring_again() -> None:
    house = stuck(WARM, for_s=7200.0)
    for index in range(200):
        house.say(None if index % 5 == 0 else 3.0)

    assert house.alarms(Code.SENSOR_DOUBTFUL) == ["raised"]


def test_a_flat_sensor_that_dies_is_told_as_lost() -> None:
    house = House(sensors=(sensor(PUMP), sensor(OUTSIDE, Role.OUTDOOR)))
    for _ in range(722):
        house.say(3.0, 15.0)
    for index in range(200):
        house.say(None, 15.0 + 0.1 * (index % 2))

    assert house.state.decision.reason is Reason.WARM_ENOUGH, "so that no heat tells"
    assert house.alarms(Code.SENSOR_LOST) == ["raised"]


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


# --- disagreement -------------------------------------------------------------------------------------------


def disagreeing(follows: str | None, settings: Settings = BAND, *, for_s: float = 700.0) -> House:
    """The pump says 30 and the door 1 °C; under heat only `follows` rises, by 1 K in ten minutes."""
    house = House(settings, sensors=TWO)
    house.settle(30.0, 1.0, for_s=60.0)
    for index in range(round(for_s / 10.0)):
        rise_k = 0.1 * (index // 7) if house.state.on_s else 0.0
        tremble_k = 0.01 * (index % 2)
        house.say(
            30.0 + (rise_k if follows == PUMP else tremble_k),
            1.0 + (min(rise_k, 0.9) if follows == DOOR else tremble_k),
        )
    return house


@pytest.mark.parametrize(
    ("follows", "named"),
    [pytest.param(DOOR, PUMP, id="the cold one follows"), pytest.param(PUMP, DOOR, id="the hot one follows")],
)
def test_disagreement_names_the_one_that_does_not_follow_the_heat(follows: str, named: str) -> None:
    house = disagreeing(follows)

    assert house.alarms(Code.SENSORS_DISAGREE) == ["raised"]
    assert f"; {named!r} does not follow the heat: replace it first" in text(house, Code.SENSORS_DISAGREE)


def test_disagreement_by_duty_names_it_too() -> None:
    house = disagreeing(DOOR, replace(BAND, blind_duty=0.5), for_s=1300.0)

    assert f"{PUMP!r} does not follow the heat" in text(house, Code.SENSORS_DISAGREE)


def test_disagreement_names_nobody_when_nobody_follows() -> None:
    house = disagreeing(None)

    assert "compare both with a thermometer" in text(house, Code.SENSORS_DISAGREE)


def test_disagreement_names_nobody_before_ten_minutes_of_heat() -> None:
    house = disagreeing(DOOR, for_s=540.0)

    assert "compare both with a thermometer" in text(house, Code.SENSORS_DISAGREE)
    assert f"{PUMP!r} 86.0 F, {DOOR!r} 3" in text(house, Code.SENSORS_DISAGREE)


def test_what_an_error_value_says_is_no_evidence() -> None:
    house = disagreeing(DOOR)
    house.say(85.0, -127.0)

    assert "185.0 F" not in text(house, Code.SENSORS_DISAGREE)
    assert f"{PUMP!r} does not follow the heat" in text(house, Code.SENSORS_DISAGREE)
    assert FOLLOWS_HEAT_K == 0.5, "which a rise of 0.9 K and a tremble of 0.01 K stand well apart from"


@pytest.mark.parametrize(
    ("settings", "what"),
    [
        pytest.param(BAND, "heat as without sensors", id="freeze"),
        pytest.param(WARM, "heat is off until they agree", id="warm"),
        pytest.param(OBSERVE, "nothing is heated in observe", id="observe"),
    ],
)
def test_disagreement_says_what_heat_does_in_its_mode(settings: Settings, what: str) -> None:
    house = disagreeing(None, settings)

    assert f"one says too hot, one says cold; {what}; compare both" in text(house, Code.SENSORS_DISAGREE)


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

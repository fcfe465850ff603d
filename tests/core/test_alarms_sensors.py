"""When a lost, a flat or a contradicting sensor is an alarm, and which one its text names."""

from dataclasses import replace

import pytest

from overwinter.core.alarms import FOLLOWS_HEAT_K
from overwinter.core.nouns import Code, Reason, Role, Settings
from tests.core.asking import OBSERVE, WARM
from tests.core.places import TWO
from tests.core.rig import BAND, DOOR, OUTSIDE, PUMP, House, sensor, text

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

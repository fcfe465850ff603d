"""Patterns for people who stand before the board: told apart by rhythm, and honest in the dark."""

import pytest

from overwinter.core.nouns import Health
from overwinter.core.signals import OFF, ON, buzzer, lamp

TROUBLE = (Health.OUT_OF_SPECIFICATION, Health.FAILURE)


def share_on(pattern: tuple[float, ...]) -> float:
    return sum(pattern[::2]) / sum(pattern) if pattern else 0.0


def test_steady_light_means_well_and_nothing_else_does() -> None:
    assert [health for health in Health if lamp(health) == ON] == [Health.NORMAL]


@pytest.mark.parametrize("health", Health)
def test_trouble_is_mostly_dark_and_everything_else_is_not(health: Health) -> None:
    share = share_on(lamp(health))

    assert share <= 0.2 if health in TROUBLE else share >= 0.5


def test_every_health_has_a_rhythm_of_its_own() -> None:
    assert len({lamp(health) for health in Health}) == len(Health)


@pytest.mark.parametrize("health", Health)
def test_the_buzzer_is_silent_once_every_alarm_is_acknowledged(health: Health) -> None:
    assert buzzer(health, has_fresh_alarm=False) == OFF


@pytest.mark.parametrize("health", [*TROUBLE, Health.MAINTENANCE_REQUIRED])
def test_the_buzzer_sounds_for_a_fresh_alarm_and_mostly_pauses(health: Health) -> None:
    assert 0.0 < share_on(buzzer(health, has_fresh_alarm=True)) < 0.05


def test_worse_sounds_more() -> None:
    shares = [share_on(buzzer(health, has_fresh_alarm=True)) for health in TROUBLE]
    assert shares == sorted(shares)

"""The lamp and the buzzer of a real guard, seen through their patterns."""

from typing import Any

import pytest

from overwinter.core.nouns import Health
from overwinter.core.signals import OFF, ON, Pattern, buzzer, lamp
from overwinter.guard.board import Board
from tests.guard.house import House


class Shown:
    """Stands in for a signal and keeps what it was shown."""

    def __init__(self) -> None:
        self.pattern: Pattern | None = None
        self.closed = False

    def show(self, pattern: Pattern) -> None:
        self.pattern = pattern

    def close(self) -> None:
        self.closed = True


def status(health: Health, *acknowledged: bool) -> dict[str, Any]:
    return {"health": health.value, "alarms": [{"acknowledged": one} for one in acknowledged]}


@pytest.mark.parametrize("health", Health)
def test_lamp_and_buzzer_say_the_health_of_the_status(health: Health) -> None:
    light, sound = Shown(), Shown()
    board = Board(light, sound)  # type: ignore[arg-type]

    board.show(status(health, True, False))
    assert light.pattern == lamp(health)
    assert sound.pattern == buzzer(health, has_fresh_alarm=True)

    board.show(status(health, True, True))
    assert sound.pattern == OFF, "quiet until the next new alarm"

    board.close()
    assert light.closed
    assert sound.closed


def test_a_board_without_either_needs_no_status() -> None:
    Board().show({})


def test_a_guard_with_a_lamp_starts_and_one_whose_lamp_cannot_be_had_guards_all_the_same(
    house: House,
) -> None:
    house.site.write_text(house.site.read_text() + "\n[notices]\nled_pin = 23\nbuzzer_pin = 24\n")
    house.start()
    house.until(lambda: house.status()["temperature_c"] is not None, "it sees")
    assert house.status()["health"] == "normal"
    assert lamp(Health.NORMAL) == ON

    house.stop()

    assert "lamp or buzzer fails" not in house.said.read_text()

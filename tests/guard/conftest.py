"""A bench house for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.devices.conftest import lgpio, no_factory  # noqa: F401 (fixtures)
from tests.guard.house import House
from tests.guard.proving import Stage


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path)
    house.reads(3.0)
    yield house
    house.close()


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    stage = Stage(tmp_path)
    yield stage
    stage.close()

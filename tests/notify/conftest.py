"""A notifier beside a guard, and a broker, for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.notify.broker import Broker
from tests.notify.voice import Voice


@pytest.fixture
def voice(tmp_path: Path) -> Iterator[Voice]:
    voice = Voice(tmp_path)
    yield voice
    voice.close()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Broker(folder)
    broker.start()
    yield broker
    broker.stop()

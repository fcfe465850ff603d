"""What holds for every test: time is judged in tests/bench, not by how busy the machine was."""

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

ONLY_COMPUTE = ("core", "know", "physics", "published", "reckon", "rehearse", "twin", "bench.learning")
"""Rooms whose tests start no guard; side by side with the rigs they would make real guards late."""


@pytest.fixture(autouse=True, scope="module")
def _computing_stands_back(request: pytest.FixtureRequest) -> Iterator[None]:
    """Only root may take its turn back again, so only for root."""
    room = request.module.__name__.removeprefix("tests.")
    if os.geteuid() != 0 or not room.startswith(ONLY_COMPUTE):
        yield
        return
    before = os.getpriority(os.PRIO_PROCESS, 0)
    os.setpriority(os.PRIO_PROCESS, 0, min(before + 10, 19))
    yield
    os.setpriority(os.PRIO_PROCESS, 0, before)

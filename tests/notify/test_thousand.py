"""One broker bears a thousand houses: nothing is lost, and nothing comes twice."""

import pytest

from tests.bench.thousand import measure
from tests.notify.broker import needs_mosquitto


@needs_mosquitto
def test_a_thousand_houses_on_one_broker_lose_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    found = measure(voices=1000, rounds=2)

    with capsys.disabled():
        print(f"\n1000 houses, 2000 notices: p99 {found['p99_s'] * 1000:.0f} ms")
    assert (found["lost"], found["twice"], found["states_missing"]) == (0, 0, 0)

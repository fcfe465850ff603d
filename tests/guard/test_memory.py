"""What one start leaves for the next."""

import json
import os
from pathlib import Path

import pytest

from overwinter.guard.memory import BlindClock, Counters, counters, lock, recall_proof


def test_the_blind_clock_is_recalled_within_a_boot(tmp_path: Path) -> None:
    BlindClock(tmp_path, "boot").keep(100.0, 3.5)

    assert BlindClock(tmp_path, "boot").recall(150.0) == (100.0, 3.5)


@pytest.mark.parametrize(
    "kept",
    [
        pytest.param(json.dumps({"boot": "other", "believed_s": 1.0, "believed_c": 3.0}), id="another boot"),
        pytest.param(json.dumps({"boot": "boot", "believed_s": 151.0, "believed_c": 3.0}), id="the future"),
        pytest.param(json.dumps({"boot": "boot", "believed_s": -1.0, "believed_c": 3.0}), id="before boot"),
        pytest.param(json.dumps({"boot": "boot", "believed_s": "x", "believed_c": 3.0}), id="a word"),
        pytest.param(json.dumps({"boot": "boot"}), id="keys missing"),
        pytest.param("{", id="torn"),
        pytest.param("[]", id="a list"),
    ],
)
def test_what_cannot_be_trusted_is_not_recalled(tmp_path: Path, kept: str) -> None:
    (tmp_path / "last-believed.json").write_text(kept)

    assert BlindClock(tmp_path, "boot").recall(150.0) is None


def test_a_runtime_folder_that_takes_no_writes_costs_only_the_memory(tmp_path: Path) -> None:
    clock = BlindClock(tmp_path / "missing", "boot")
    clock.keep(1.0, None)

    assert clock.recall(2.0) is None


def test_counters_are_the_furthest_that_anything_knows_of() -> None:
    stored: dict[str, object] = {"cycles": 40, "on_s": 1000.0, "unused_s": 50.0}
    lines: list[dict[str, object]] = [{"event": "heat", "cycles": 42, "on_s": 1200.0}, {"event": "sample"}]

    assert counters(stored, lines) == Counters(cycles=42, on_s=1200.0, unused_s=0.0)
    assert counters(stored, []) == Counters(cycles=40, on_s=1000.0, unused_s=50.0)
    assert counters(None, []) == Counters()


@pytest.mark.parametrize("value", [None, "7", True, -1, float("nan"), 1e300, [1]])
def test_a_counter_that_is_no_number_counts_for_nothing(value: object) -> None:
    assert counters({"cycles": value, "on_s": value, "unused_s": value}, []) == Counters()


def test_a_folder_is_held_by_one(tmp_path: Path) -> None:
    held = lock(tmp_path)
    assert held is not None
    assert lock(tmp_path) is None

    os.close(held)
    again = lock(tmp_path)
    assert again is not None
    os.close(again)


def test_a_missing_folder_cannot_be_held(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        lock(tmp_path / "missing")


PROOF = {
    "t": "2026-01-09T04:12:33.000Z",
    "boot": "a",
    "verdict": "passed",
    "steps": [{"step": "relay", "verdict": "passed", "by": None, "text": "on: current"}],
}


def test_the_last_proof_is_recalled() -> None:
    assert recall_proof(PROOF) == PROOF


@pytest.mark.parametrize(
    "stored",
    [
        pytest.param(None, id="none"),
        pytest.param("passed", id="a word"),
        pytest.param({}, id="empty"),
        pytest.param({**PROOF, "verdict": "failed"}, id="a verdict that its steps do not give"),
        pytest.param({**PROOF, "steps": "all"}, id="steps that are none"),
        pytest.param({**PROOF, "t": 5}, id="no time"),
        pytest.param({**PROOF, "boot": None}, id="no boot"),
    ],
)
def test_a_proof_that_is_odd_is_none(stored: object) -> None:
    assert recall_proof(stored) is None

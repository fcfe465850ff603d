"""Settings, and every other answer to a command: everything next to what is promised is refused."""

import math
from typing import Any

import pytest

from tests.schemas.promised import (
    CHECK,
    HAND,
    PROOF,
    REFUSED,
    SET,
    SETTINGS,
    UNREACHED,
    changed,
    problems,
    required_paths,
)


@pytest.mark.parametrize("path", required_paths(SETTINGS))
def test_settings_without_one_of_their_keys_are_not_valid(path: str) -> None:
    assert problems("settings", changed(SETTINGS, path, ...))


@pytest.mark.parametrize(
    ("path", "new"),
    [
        ("mode", "frost"),
        ("unit", "K"),
        ("extra", 1),
        ("band/extra", 1),
        ("band/low_c", math.nan),
        ("band/low_c", -41.0),
        ("sampling/sense_s", 0.9),
        ("sampling/record_s", 3601.0),
        ("filter/window", 4),
        ("filter/window", 33),
        ("filter/window", 5.5),
        ("filter/max_rate_k_per_min", 0.4),
        ("filter/flat_after_s", 59.0),
        ("failsafe/lost_after_s", 2.9),
        ("failsafe/duty", 0.0),
        ("failsafe/duty", 1.1),
        ("failsafe/warm_above_c", "10"),
        ("relay/min_on_s", 901.0),
        ("relay/min_off_s", -1.0),
        ("limits/ceiling_c", math.inf),
        ("limits/alarm_low_c", None),
        ("exercise/every_days", 61.0),
        ("exercise/for_s", 59.0),
    ],
)
def test_settings_beside_the_promise_are_not_valid(path: str, new: object) -> None:
    assert problems("settings", changed(SETTINGS, path, new))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("set", {"saved": False, "changes": {}}),
        ("set", {"saved": True}),
        ("set", {**SET, "extra": 1}),
        ("set", {"saved": True, "changes": {"band.lowest": [1.0, 2.0]}}),
        ("set", {"saved": True, "changes": {"band.low": [1.0]}}),
        ("set", {"saved": True, "changes": {"band.low": [1.0, math.nan]}}),
        ("hand", {"hand_until": None}),
        ("hand", {"hand_until": "20 min"}),
        ("hand", {**HAND, "extra": 1}),
        ("check", changed(CHECK, "sound", ...)),
        ("check", changed(CHECK, "faults", -1)),
        ("check", changed(CHECK, "findings/0/grade", "bad")),
        ("check", changed(CHECK, "findings/0/command", "")),  # neither a fix nor a command
        ("check", changed(CHECK, "findings/0/extra", 1)),
        ("rounds", {"houses": []}),
        ("rounds", {"houses": [{**UNREACHED, "reached": True}]}),
        ("rounds", {"houses": [{**UNREACHED, "grade": "fine"}]}),
        ("rounds", {"houses": [{**UNREACHED, "status": {"heat": {}}}]}),
        ("prove", {"until": None}),
        ("prove", {"until": "2026-01-09T04:12:33Z", "extra": 1}),
        ("prove", changed(PROOF, "t", ...)),
        ("rpc-error", changed(REFUSED, "jsonrpc", "1.0")),
        ("rpc-error", changed(REFUSED, "id", ...)),
        ("rpc-error", changed(REFUSED, "result", {})),
        ("rpc-error", changed(REFUSED, "error/code", -32004)),
        ("rpc-error", changed(REFUSED, "error/message", ...)),
        ("rpc-error", changed(REFUSED, "error/data", ...)),
        ("rpc-error", changed(REFUSED, "error/data/problems", ...)),
        ("rpc-error", changed(REFUSED, "error/data/problems/0/text", ...)),
        ("rpc-error", changed(REFUSED, "error/data/problems/0/key", ...)),
    ],
)
def test_answers_beside_the_promise_are_not_valid(name: str, value: dict[str, Any]) -> None:
    assert problems(name, value)


@pytest.mark.parametrize("code", [-32700, -32600, -32601, -32602, -32603])
def test_a_standard_error_needs_no_data(code: int) -> None:
    assert (
        problems("rpc-error", {"jsonrpc": "2.0", "id": None, "error": {"code": code, "message": "no"}}) == []
    )

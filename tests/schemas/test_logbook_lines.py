"""Lines of the logbook: samples and events beside the promise are refused."""

import math

import pytest

from tests.schemas.promised import EVENTS, SAMPLE, STAMP, changed, problems

SAMPLE_FAULTS = [
    ("t", "2026-01-09T04:12:33Z"),  # milliseconds are promised
    ("t", "2026-01-09T05:12:33.123+01:00"),  # and UTC
    ("t", ...),
    ("up", -1.0),
    ("up", ...),
    ("boot", "none"),
    ("boot", ...),
    ("event", "sampling"),
    ("event", ...),
    ("temperature_c", math.nan),
    ("temperature_c", ...),
    ("humidity_pct", 101.0),
    ("outdoor_c", math.inf),
    ("flag", 0),
    ("flag", ...),
    ("heat", 1.01),
    ("heat", True),
    ("mode", "frost"),
    ("low_c", None),
    ("high_c", ...),
    ("sensors", []),
    ("sensors/by the pump", [2.1, 71.0]),
    ("sensors/by the pump", [2.1, 71.0, 1, 0]),
    ("sensors/by the pump", [2.1, 71.0, 6]),
    ("sensors/by the pump", ["2.1", 71.0, 1]),
    ("contacts/door", 2.0),
    ("extra", 1),
]


@pytest.mark.parametrize(("path", "new"), SAMPLE_FAULTS, ids=[f"{path}={new}" for path, new in SAMPLE_FAULTS])
def test_a_sample_beside_the_promise_is_not_valid(path: str, new: object) -> None:
    assert problems("logbook-line", changed(SAMPLE, path, new))


@pytest.mark.parametrize(
    ("event", "path", "new"),
    [
        ("start", "version", ...),
        ("stop", "cause", ...),
        ("heat", "heat", 0.5),
        ("heat", "reason", "because"),
        ("heat", "cycles", ...),
        ("heat", "on_s", -1.0),
        ("heat", "extra", 1),
        ("settings", "changes", ...),
        ("settings", "changes", {"band.lowest": [1, 2]}),
        ("settings", "how", "somehow"),
        ("settings", "pid", ...),  # a caller is known whole or not at all
        ("alarm", "code", "meteor"),
        ("alarm", "state", "gone"),
        ("alarm", "text", ...),
        ("hand", "state", "maybe"),
        ("hand", "heat", ...),
        ("hand", "uid", -1),
        ("note", "text", ""),
        ("proof", "step", "relay"),
        ("proof", "steps", ...),
        ("proof", "steps", []),
        ("proof", "verdict", "fine"),
        ("proof", "user", ...),
        ("proof", "extra", 1),
        ("drop", "user", ...),
        ("refused", "uid", "root"),
    ],
)
def test_an_event_beside_the_promise_is_not_valid(event: str, path: str, new: object) -> None:
    line = {**STAMP, "event": event, **EVENTS[event]}

    assert problems("logbook-line", changed(line, path, new))


def test_a_note_is_a_note_whatever_its_keys_are_called() -> None:
    """An event's own fields are judged by its own event, not by another that has a field of that name."""
    assert problems("logbook-line", {**STAMP, "event": "note", "text": "x", "heat": True})
    assert problems("logbook-line", {**STAMP, "event": "gap", "heat": "anything"}) == []

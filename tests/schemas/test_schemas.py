"""The schemas accept what is promised and refuse everything next to it."""

import copy
import json
import math
from collections.abc import Callable
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from overwinter.core.nouns import Code, Flag, Health, Mode, Reason, Role
from overwinter.core.units import Unit
from overwinter.schemas import NAMES, load

STATUS = json.loads("""
{"version": "0.1.0", "uptime_s": 812.0, "mode": "freeze", "blind": false,
 "temperature_c": 2.1, "humidity_pct": 71.0, "dew_point_c": -2.6, "age_s": 3.0,
 "band": {"low_c": 2.22, "high_c": 4.44},
 "heat": {"on": true, "reason": "below-band", "since_s": 130.0, "hand_until": null,
          "cycles": 41, "on_s": 90210.0},
 "sensors": [{"name": "by the pump", "role": "control", "kind": "iio", "flag": 1,
              "temperature_c": 2.1, "humidity_pct": 71.0, "age_s": 3.0, "error": null}],
 "health": "normal",
 "alarms": [{"code": "sensor-lost", "since": "2026-01-09T04:12:33Z", "acknowledged": false, "text": "..."}],
 "disk": {"settings": "ok", "logbook": "ok"},
 "clock": "synchronised"}
""")

SETTINGS = {
    "mode": "freeze",
    "unit": "F",
    "band": {"low_c": 2.222222, "high_c": 4.444444},
    "sampling": {"sense_s": 10.0, "record_s": 60.0},
    "filter": {"window": 5, "max_rate_k_per_min": 5.0, "flat_after_s": 7200.0},
    "failsafe": {"lost_after_s": 120.0, "duty": 1.0, "warm_above_c": 10.0},
    "relay": {"min_on_s": 120.0, "min_off_s": 60.0},
    "limits": {"ceiling_c": 23.888889, "alarm_low_c": 1.388889},
    "exercise": {"every_days": 7.0, "for_s": 600.0},
}

SET = {"saved": True, "changes": {"band.low": [36.0, 35.5], "mode": ["freeze", "warm"]}}

HAND = {"hand_until": "2026-01-09T04:12:33Z"}

REFUSED = {
    "jsonrpc": "2.0",
    "id": 7,
    "error": {
        "code": -32003,
        "message": "refused by a rule",
        "data": {
            "problems": [
                {
                    "key": "band.low",
                    "value": 99.0,
                    "allowed": "-40..100 F",
                    "text": "band.low = 99: must be less",
                }
            ]
        },
    },
}

STAMP = {
    "t": "2026-01-09T04:12:33.123Z",
    "up": 812.5,
    "boot": "0b5dd1a4-3f0c-4f0e-9a68-7d6a6f2c9e11",
}

SAMPLE = {
    **STAMP,
    "event": "sample",
    "temperature_c": 2.1,
    "humidity_pct": 71.0,
    "outdoor_c": -7.5,
    "flag": 1,
    "heat": 0.25,
    "mode": "freeze",
    "low_c": 2.222,
    "high_c": 4.444,
    "sensors": {"by the pump": [2.1, 71.0, 1], "on the pipe": [None, None, 9]},
    "contacts": {"door": 0.5},
}

WHO = {"uid": 1000, "user": "owner", "pid": 4711}

PROOF = {
    "t": "2026-01-09T04:12:33.123Z",
    "boot": "0b5dd1a4-3f0c-4f0e-9a68-7d6a6f2c9e11",
    "verdict": "passed",
    "steps": [{"step": "relay", "verdict": "passed", "by": "owner", "text": "on: heat; off: none"}],
}

EVENTS = {
    "start": {"version": "0.1.0"},
    "stop": {"cause": "asked to"},
    "heat": {"heat": True, "reason": "below-band", "temperature_c": 2.1, "cycles": 42, "on_s": 90210.0},
    "settings": {"changes": SET["changes"], "how": "command", **WHO},
    "alarm": {"code": "cold", "state": "raised", "text": "it is cold"},
    "hand": {"state": "set", "heat": True, "left_s": 1200.0, **WHO},
    "note": {"text": "new lamp", **WHO},
    "drop": WHO,
    "clock": {"step_s": 86400.0},
    "gap": {"off_s": 3600.0},
    "proof": {"step": "record", "verdict": "passed", "steps": PROOF["steps"], **WHO},
    "refused": {"method": "set", "text": "not permitted", **WHO},
    "lost-lines": {"count": 3},
}


def problems(name: str, value: object) -> list[str]:
    """What the schema has against it; empty: nothing."""
    return [error.message for error in Draft202012Validator(load(name)).iter_errors(value)]


def changed(value: dict[str, Any], path: str, new: object) -> dict[str, Any]:
    """A copy with the value at the dotted path replaced or added; with `...` it is taken away."""
    copied = copy.deepcopy(value)
    place: Any = copied
    *way, last = [int(step) if step.isdecimal() else step for step in path.split("/")]
    for step in way:
        place = place[step]
    if new is ...:
        del place[last]
    else:
        place[last] = new
    return copied


FINDING = {"code": "breaker", "thing": "breaker", "value": "15 A", "why": "", "fix": "", "command": ""}
CHECK: dict[str, Any] = {
    "faults": 1,
    "cannot_tell": 0,
    "hints": 0,
    "sound": 1,
    "findings": [
        {**FINDING, "grade": "fault", "why": "Too small.", "command": "overwinter plan"},
        {**FINDING, "grade": "sound"},
    ],
}
UNREACHED = {"host": "mill", "reached": False, "grade": "unknown", "took_s": 3.0, "error": "exit code 255"}


@pytest.mark.parametrize("name", NAMES)
def test_each_schema_is_valid_itself_and_names_its_draft(name: str) -> None:
    schema = load(name)

    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["$id"] == f"urn:overwinter:schema:{name}"


@pytest.mark.parametrize("name", ["", "statuses", "../status", "status.json"])
def test_no_other_schema_can_be_loaded(name: str) -> None:
    with pytest.raises(LookupError, match="no such schema; there are status, settings"):
        load(name)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        pytest.param("status", STATUS, id="status"),
        pytest.param("settings", SETTINGS, id="settings"),
        pytest.param("set", SET, id="set"),
        pytest.param("hand", HAND, id="hand"),
        pytest.param("check", CHECK, id="what check found"),
        pytest.param("rounds", {"houses": [UNREACHED]}, id="a house that did not answer"),
        pytest.param("prove", {"until": "2026-01-09T04:12:33Z"}, id="sensors away"),
        pytest.param("prove", {}, id="sensors back"),
        pytest.param("prove", PROOF, id="a recorded proof"),
        pytest.param(
            "logbook-line",
            {**STAMP, "event": "proof", "step": "sensors-away", "for_s": 300.0, **WHO},
            id="sensors away in the logbook",
        ),
        pytest.param(
            "logbook-line",
            {**STAMP, "event": "proof", "step": "sensors-back", "why": "over"},
            id="sensors back in the logbook",
        ),
        pytest.param("rpc-error", REFUSED, id="error"),
        pytest.param("logbook-line", SAMPLE, id="sample"),
        *(
            pytest.param("logbook-line", {**STAMP, "event": event, **fields}, id=event)
            for event, fields in EVENTS.items()
        ),
    ],
)
def test_what_is_promised_is_valid(name: str, value: dict[str, Any]) -> None:
    assert problems(name, value) == []


@pytest.mark.parametrize(
    ("path", "new"),
    [
        pytest.param("brand_new", 1, id="an added key"),
        pytest.param("unit", "F", id="unit"),
        pytest.param("site", "the pump house", id="site"),
        pytest.param("warnings", ["band.low is under 1 C"], id="warnings"),
        pytest.param("contacts", {"door": True}, id="contacts"),
        pytest.param("sensors/0/at", "pipe", id="at"),
        pytest.param("heat/hand_until", "2026-01-09T05:00:00+00:00", id="by hand until"),
        pytest.param("age_s", None, id="nothing believed yet"),
        pytest.param("proof", None, id="never proven"),
        pytest.param("proof", PROOF, id="proven"),
        pytest.param("sensors_away_until", "2026-01-09T05:00:00Z", id="sensors away"),
        pytest.param("relay", {"contact": "NC", "current_flows": None}, id="relay"),
        pytest.param("heater", {"kind": "cable", "backup_thermostat_c": 1.7}, id="heater"),
    ],
)
def test_a_status_may_say_more(path: str, new: object) -> None:
    assert problems("status", changed(STATUS, path, new)) == []


STATUS_FAULTS = [
    ("sensors/0/flag", 5),
    ("sensors/0/flag", "1"),
    ("sensors/0/flag", True),
    ("sensors/0/role", "spare"),
    ("sensors/0/at", "roof"),
    ("sensors/0/kind", "mercury"),
    ("sensors/0/extra", 1),
    ("heat/reason", "because"),
    ("heat/on", 1),
    ("heat/on", False),  # below the band heat is on
    ("heat/cycles", 41.5),
    ("heat/cycles", -1),
    ("heat/since_s", -1.0),
    ("heat/hand_until", "tomorrow"),
    ("heat/extra", 1),
    ("alarms/0/code", "meteor"),
    ("alarms/0/since", "2026-01-09 04:12:33"),
    ("alarms/0/acknowledged", "no"),
    ("health", "fine"),
    ("mode", "frost"),
    ("blind", "no"),
    ("temperature_c", math.nan),
    ("temperature_c", math.inf),
    ("temperature_c", "2.1"),
    ("temperature_c", True),
    ("humidity_pct", 100.1),
    ("humidity_pct", -0.1),
    ("uptime_s", math.nan),
    ("uptime_s", math.inf),
    ("uptime_s", -1.0),
    ("age_s", -0.1),
    ("band/low_c", -40.2),
    ("band/high_c", 38.0),
    ("band/low", 36.0),
    ("disk/logbook", None),
    ("clock", "maybe"),
    ("version", 1),
    ("unit", "K"),
    ("contacts", {"door": "open"}),
    ("proof", {}),
    ("proof", changed(PROOF, "verdict", "fine")),
    ("proof", changed(PROOF, "steps", [])),
    ("proof", changed(PROOF, "steps/0/by", 1)),
    ("proof", changed(PROOF, "steps/0/extra", 1)),
    ("sensors_away_until", True),
    ("relay", {"contact": "NO", "current_flows": 1}),
    ("heater", {"kind": "stove", "backup_thermostat_c": None}),
]


@pytest.mark.parametrize(
    ("path", "new"), STATUS_FAULTS, ids=[f"{path}={new}"[:60] for path, new in STATUS_FAULTS]
)
def test_a_status_beside_the_promise_is_not_valid(path: str, new: object) -> None:
    assert problems("status", changed(STATUS, path, new))


def required_paths(value: object, prefix: str = "") -> list[str]:
    """Every key of it, at every depth, as paths."""
    found = []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        path = f"{prefix}{key}"
        found += ([path] if isinstance(value, dict) else []) + required_paths(inner, f"{path}/")
    return found


@pytest.mark.parametrize("path", required_paths(STATUS))
def test_a_status_without_one_of_its_keys_is_not_valid(path: str) -> None:
    assert problems("status", changed(STATUS, path, ...))


@pytest.mark.parametrize("path", required_paths(SETTINGS))
def test_settings_without_one_of_their_keys_are_not_valid(path: str) -> None:
    assert problems("settings", changed(SETTINGS, path, ...))


@pytest.mark.parametrize("path", ["temperature_c", "dew_point_c"])
def test_a_blind_guard_says_no_temperature(path: str) -> None:
    blind = {**STATUS, "blind": True, "temperature_c": None, "dew_point_c": None}

    assert problems("status", blind) == []
    assert problems("status", {**blind, path: 2.1})


@pytest.mark.parametrize(
    ("reason", "on"),
    [
        *[(reason, False) for reason in ("below-band", "min-on", "exercise")],
        *[(reason, True) for reason in ("above-band", "min-off", "too-hot", "warm-enough", "observing")],
    ],
)
def test_no_reason_stands_beside_the_opposite_of_what_it_explains(reason: str, on: bool) -> None:
    status = changed(STATUS, "heat/reason", reason)

    assert problems("status", changed(status, "heat/on", on))
    assert problems("status", changed(status, "heat/on", not on)) == []


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


def enum_at(name: str, pick: Callable[[dict[str, Any]], dict[str, Any]]) -> list[object]:
    return pick(load(name))["enum"]


@pytest.mark.parametrize(
    ("name", "pick", "noun"),
    [
        *[
            pytest.param(name, lambda s, d=d: s["$defs"][d], noun, id=f"{name} {d}")
            for name, d, noun in [
                ("status", "mode", Mode),
                ("settings", "mode", Mode),
                ("logbook-line", "mode", Mode),
                ("status", "reason", Reason),
                ("logbook-line", "reason", Reason),
                ("status", "flag", Flag),
                ("logbook-line", "flag", Flag),
                ("status", "code", Code),
                ("logbook-line", "code", Code),
            ]
        ],
        pytest.param("status", lambda s: s["properties"]["health"], Health, id="status health"),
        pytest.param(
            "status",
            lambda s: s["properties"]["sensors"]["items"]["properties"]["role"],
            Role,
            id="status role",
        ),
        pytest.param("status", lambda s: s["properties"]["unit"], Unit, id="status unit"),
        pytest.param("settings", lambda s: s["properties"]["unit"], Unit, id="settings unit"),
    ],
)
def test_the_enumerations_are_those_of_the_nouns(name: str, pick, noun) -> None:
    assert enum_at(name, pick) == [member.value for member in noun]


def test_a_note_is_a_note_whatever_its_keys_are_called() -> None:
    """An event's own fields are judged by its own event, not by another that has a field of that name."""
    assert problems("logbook-line", {**STAMP, "event": "note", "text": "x", "heat": True})
    assert problems("logbook-line", {**STAMP, "event": "gap", "heat": "anything"}) == []

"""A sound answer of each kind, a copy of it with one value changed, and what a schema has against either."""

import copy
import json
from typing import Any

from jsonschema import Draft202012Validator

from overwinter.schemas import load

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


def required_paths(value: object, prefix: str = "") -> list[str]:
    """Every key of it, at every depth, as paths."""
    found = []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        path = f"{prefix}{key}"
        found += ([path] if isinstance(value, dict) else []) + required_paths(inner, f"{path}/")
    return found

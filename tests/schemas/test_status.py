"""`status`: what a guard may say, and that everything next to it is refused."""

import math

import pytest

from tests.schemas.promised import PROOF, STATUS, changed, problems, required_paths


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


@pytest.mark.parametrize("path", required_paths(STATUS))
def test_a_status_without_one_of_its_keys_is_not_valid(path: str) -> None:
    assert problems("status", changed(STATUS, path, ...))


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

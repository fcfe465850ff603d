"""`prove` before and after the test itself: what it refuses, and how the watched reboot is told."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from overwinter.cli.proving import plan, seen
from overwinter.core.evidence import Plan
from overwinter.core.units import Unit
from tests.cli.conftest import SETTINGS, STATUS, FakeGuard, Ran, Refusal

Run = Callable[..., Ran]

NOW = datetime.now(UTC)
STEPS = [
    {"step": "relay", "verdict": "passed", "by": "feedback", "text": "on: current; off: no current"},
    {"step": "reboot", "verdict": "unfinished", "by": None, "text": "what the relay does"},
]


def waiting(**more: Any) -> dict[str, Any]:
    return {"t": NOW.isoformat(), "boot": "before", "verdict": "unfinished", "steps": STEPS, **more}


def facts(**more: Any) -> dict[str, Any]:
    return {
        **STATUS,
        "up_s": 1000.0,
        "boot": "now",
        "relay": {"contact": "NO", "current_flows": None},
        "heater": {"kind": "lamp", "backup_thermostat_c": 1.5},
        "sensors_away_until": None,
        "proof": None,
        **more,
    }


@pytest.fixture
def prove(guard: FakeGuard, ask: Run) -> Run:
    guard.answers["status"] = facts()
    guard.answers["prove"] = {
        "t": "2026-01-09T04:12:33.000Z",
        "boot": "now",
        "verdict": "passed",
        "steps": [],
    }
    return lambda *argv: ask("prove", *argv)


def recorded(guard: FakeGuard) -> list[Any]:
    return [params["result"] for method, params in guard.asked if method == "prove" and "result" in params]


def switched(guard: FakeGuard) -> set[str]:
    """What was asked of the guard that may switch anything."""
    return {method for method, _ in guard.asked} - {"status", "settings"}


def test_without_a_terminal_it_asks_for_the_flag_of_scripts(prove: Run, guard: FakeGuard) -> None:
    ran = prove()

    assert (ran.code, ran.out) == (1, "")
    assert ran.err == "overwinter: prove asks, and there is no terminal to ask at\nfor scripts: --yes\n"
    assert guard.asked == []


@pytest.mark.parametrize(
    ("change", "told", "fix"),
    [
        ({"mode": "observe"}, "mode observe never heats", "first: overwinter mode freeze"),
        (
            {"heat": {**STATUS["heat"], "hand_until": "2026-01-09T04:12:33Z"}},
            "heat is set by hand",
            "first: overwinter heat release",
        ),
    ],
)
def test_what_would_prove_nothing_is_refused_with_the_fix(
    prove: Run, guard: FakeGuard, change: dict[str, Any], told: str, fix: str
) -> None:
    guard.answers["status"] = facts(**change)
    ran = prove("--yes")

    assert (ran.code, ran.out) == (1, "")
    assert told in ran.err
    assert fix in ran.err
    assert switched(guard) == {"prove"}
    assert guard.params("prove") == {"step": "sensors-back"}


def test_who_may_not_change_hears_so_before_anything_else(prove: Run, guard: FakeGuard) -> None:
    guard.answers["prove"] = Refusal(-32001, "not permitted")
    ran = prove("--yes")

    assert ran == Ran(
        1,
        "",
        "overwinter: not permitted\n"
        "changes are for root, the guard's own user and members of the group overwinter\n",
    )
    assert switched(guard) == {"prove"}


def test_an_older_guard_is_told_from_a_broken_one(guard: FakeGuard, ask: Run) -> None:
    ran = ask("prove", "--yes")

    assert ran.code == 1
    assert "knows no proof test yet: restart it" in ran.err


def test_what_the_heater_did_at_boot_is_one_of_two(prove: Run, guard: FakeGuard) -> None:
    ran = prove("--boot-heat", "maybe")

    assert ran.code == 2
    assert "--boot-heat 'maybe': off or on" in ran.err
    assert guard.asked == []


@pytest.mark.parametrize(
    "proof",
    [
        pytest.param(None, id="never"),
        pytest.param(waiting(verdict="failed"), id="failed"),
        pytest.param(waiting(verdict="passed", steps=STEPS[:1]), id="passed"),
        pytest.param(waiting(steps=[{**STEPS[0], "verdict": "unfinished"}]), id="unfinished otherwise"),
        pytest.param(waiting(t=(NOW - timedelta(days=7, hours=1)).isoformat()), id="waiting for too long"),
    ],
)
def test_a_reboot_that_no_proof_waits_for_is_not_recorded(
    prove: Run, guard: FakeGuard, proof: dict[str, Any] | None
) -> None:
    guard.answers["status"] = facts(proof=proof)
    ran = prove("--boot-heat", "off")

    assert (ran.code, recorded(guard)) == (1, [])
    assert "no proof waits for a reboot" in ran.err


def test_before_the_reboot_it_says_what_to_watch(prove: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = facts(proof=waiting(boot="now"))
    ran = prove("--yes")

    assert (ran.code, recorded(guard)) == (1, [])
    assert "Reboot the board (sudo systemctl reboot) and watch the heater while it boots" in ran.err
    assert "It should be: no heat until the guard starts." in ran.err
    assert "or: overwinter prove --again" in ran.err


def test_after_the_reboot_a_script_must_say_what_was_seen(prove: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = facts(proof=waiting())
    ran = prove("--yes")

    assert (ran.code, recorded(guard)) == (1, [])
    assert "what the heater did while the board booted is not known" in ran.err


@pytest.mark.parametrize(
    ("contact", "boot_heat", "verdict"),
    [("NO", "off", "passed"), ("NO", "on", "failed"), ("NC", "on", "passed"), ("NC", "off", "failed")],
)
def test_the_watched_reboot_ends_the_proof(
    prove: Run, guard: FakeGuard, contact: str, boot_heat: str, verdict: str
) -> None:
    relay = {"contact": contact, "current_flows": None}
    guard.answers["status"] = facts(proof=waiting(), relay=relay)
    guard.answers["prove"] = {"t": "x", "boot": "now", "verdict": verdict, "steps": []}
    ran = prove("--boot-heat", boot_heat)

    (result,) = recorded(guard)
    assert result["verdict"] == verdict
    assert result["steps"][0] == STEPS[0]
    assert (result["steps"][1]["step"], result["steps"][1]["verdict"]) == ("reboot", verdict)
    assert ran.code == (0 if verdict == "passed" else 1)
    assert ("The proof test is passed" in ran.out) is (verdict == "passed")
    assert ("The proof test has FAILED" in ran.out) is (verdict == "failed")


def test_json_alone_goes_to_stdout(prove: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = facts(proof=waiting())
    ran = prove("--boot-heat", "off", "--json")

    assert json.loads(ran.out) == guard.answers["prove"]
    assert "passed     relay (feedback): on: current; off: no current" in ran.err


def test_begun_again_it_waits_for_no_reboot(prove: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = facts(proof=waiting(), mode="observe")

    assert "mode observe never heats" in prove("--again", "--yes").err


def test_the_cautions_come_before_anything_is_switched(prove: Run, guard: FakeGuard) -> None:
    guard.answers["hand"] = Refusal(-32003, "refused", [{"text": "not now"}])
    guard.answers["status"] = facts(sensors=[], relay={"contact": "NO", "current_flows": True})
    ran = prove("--yes")

    for word in ("Mains voltage kills", "hot enough to burn", "NOT ISOLATED", "licensed electrician"):
        assert word in ran.err
    assert "failed     sensors (guard): there is no control sensor" in ran.out


def test_what_the_guard_says_becomes_a_plan() -> None:
    slow = {**SETTINGS, "sampling": {"sense_s": 90.0, "record_s": 90.0}}

    assert plan(facts(), slow, has_owner=True) == Plan(
        has_owner=True,
        unit=Unit.F,
        lost_s=180.0,
        sense_s=90.0,
        window=5,
        warm_above_c=10.0,
        heater="lamp",
        released_heats=False,
        backup_c=1.5,
    )
    assert plan(facts(relay={"contact": "NC"}), SETTINGS, has_owner=False).released_heats


def test_what_the_guard_says_is_cleaned_before_it_is_shown() -> None:
    sensor = {**STATUS["sensors"][0], "name": "a\x1b[2J"}
    now = seen(facts(sensors=[sensor], sensors_away_until="2026-01-09T04:12:33Z"))

    assert now.sensors[0].name == "a?[2J"
    assert (now.up_s, now.started_s, now.is_away, now.is_blind) == (1000.0, 188.0, True, False)

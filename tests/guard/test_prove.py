"""The proof test as its owner leads it: the real command, the real guard, a simulated house in a hurry."""

import os
import re
import signal

import pytest

from tests.guard.proving import (
    BOOTS,
    SOUND,
    Stage,
    Terminal,
    step,
    verdicts,
)


def test_an_owner_proves_his_house_and_watches_it_reboot(stage: Stage) -> None:
    stage.raise_curtain("good")
    owner = Terminal(stage, "prove")
    cautions = owner.reads("Type yes to begin: ")
    assert "NOT ISOLATED" in cautions
    assert "licensed electrician" in cautions
    owner.types("yes\n")
    owner.reads(r"Is \d+\.\d F about right where 'by the pump' hangs\? \[y/n, Enter: not known\] ")
    owner.types("what?\n")
    owner.reads("about right")
    owner.types("y\n")
    owner.reads(r"switched ON\. Look at it, do not touch it\. Does the heater heat now\?.*\] ")
    assert stage.heat()
    owner.types("y\n")
    owner.reads(r"switched OFF\..*\] ")
    assert not stage.heat()
    owner.types("n\n")
    owner.reads(r"waiting for the fail-safe: up to \d+ (min|s)")
    owner.reads(r"switched ON\..*\] ")
    status = stage.status()
    assert (status["blind"], status["heat"]["reason"], status["health"]) == (
        True,
        "sensor-lost",
        "function-check",
    )
    owner.types("y\n")
    told = owner.reads("Then: overwinter prove")
    assert owner.ends() == 0
    assert re.search(r"passed +fail-safe \(owner\): 1[23]\d s after", told)
    assert "So far all is well" in told

    stage.until(stage.as_before, "everything is as before")
    proof = stage.status()["proof"]
    assert verdicts(proof) == SOUND
    assert step(proof, "relay")["by"] == "owner"
    assert proof["verdict"] == "unfinished"
    assert stage.run("prove", "--boot-heat", "off").returncode == 1, "it has not rebooted yet"

    stage.stop(signal.SIGKILL)
    stage.raise_curtain("good", boot=BOOTS[1])
    assert stage.status()["proof"] == proof
    owner = Terminal(stage, "prove")
    owner.reads(r"While the board booted, did the heater stay off until the guard had started\?.*\] ")
    owner.types("y\n")
    owner.reads("The proof test is passed")
    assert owner.ends() == 0
    after = stage.status()["proof"]
    assert (after["verdict"], after["boot"]) == ("passed", BOOTS[1])
    assert verdicts(after) == {**SOUND, "reboot": "passed"}
    stage.stop()
    records = [event for event in stage.events("proof") if event["step"] == "record"]
    assert [record["verdict"] for record in records] == ["unfinished", "passed"]
    assert records[1]["steps"] == after["steps"]
    assert records[1]["uid"] == os.geteuid()


@pytest.mark.parametrize("contact", ["NO", "NC"])
def test_a_script_goes_by_the_feedback_input(stage: Stage, contact: str) -> None:
    stage.raise_curtain("good+feedback", contact=contact)
    code, proof = stage.proved()

    assert (code, proof["verdict"], verdicts(proof)) == (0, "unfinished", SOUND)
    assert step(proof, "relay") == {
        "step": "relay",
        "verdict": "passed",
        "by": "feedback",
        "text": "on: current; off: no current",
    }
    assert step(proof, "fail-safe")["by"] == "feedback"
    assert stage.status()["proof"] == proof


@pytest.mark.parametrize(
    ("heater", "text"),
    [
        ("dead+feedback", "on: no current: the heater is dead"),
        ("welded+feedback", "off: still current: the relay's contact may be welded"),
        ("inverted+feedback", "heat when off and none when on: see relay.active_high"),
    ],
)
def test_a_broken_heater_fails_by_its_current(stage: Stage, heater: str, text: str) -> None:
    stage.raise_curtain(heater)
    code, proof = stage.proved()

    assert (code, proof["verdict"]) == (1, "failed")
    assert step(proof, "relay")["verdict"] == "failed"
    assert text in step(proof, "relay")["text"]
    assert "reboot" not in verdicts(proof)


@pytest.mark.parametrize(
    ("heater", "verdict", "text"),
    [
        ("good", "passed", "on: the air has risen by"),
        ("dead", "failed", "the heater is dead or far too weak"),
        ("welded", "failed", "off: the air went on rising"),
    ],
)
def test_without_feedback_the_air_tells(stage: Stage, heater: str, verdict: str, text: str) -> None:
    stage.raise_curtain(heater, speed=90.0)
    for _ in range(3):
        _, proof = stage.proved("--again")
        relay = step(proof, "relay")
        if relay["verdict"] != "unfinished":
            break
        # On a busy machine this hurried clock leaps, and evidence is too thin: doubt, never a wrong verdict.

    assert (relay["verdict"], relay["by"]) == (verdict, "temperature"), relay
    assert text in relay["text"]


def test_on_a_warm_day_it_says_that_no_heat_was_seen(stage: Stage) -> None:
    stage.raise_curtain("good+feedback")
    stage.set("failsafe.warm_above=40F")
    code, proof = stage.proved()

    assert code == 1
    assert verdicts(proof) == {**SOUND, "fail-safe": "unfinished"}
    assert "seen deciding, not heating. Repeat on a colder day" in step(proof, "fail-safe")["text"]


def test_in_warm_the_fail_safe_is_no_heat(stage: Stage) -> None:
    stage.raise_curtain("good+feedback")
    stage.set("mode=warm")
    code, proof = stage.proved()

    assert (code, verdicts(proof)) == (0, SOUND)
    assert "blind and heat off, as mode warm has it" in step(proof, "fail-safe")["text"]


def test_in_observe_it_is_refused_with_the_fix(stage: Stage) -> None:
    stage.raise_curtain("good")
    stage.set("mode=observe")

    done = stage.run("prove", "--yes")
    assert done.returncode == 1
    assert "overwinter mode freeze" in done.stderr
    error = stage.call("prove", {"step": "sensors-away", "for_s": 300})
    assert error["code"] == -32003
    assert "overwinter mode freeze" in error["data"]["problems"][0]["text"]
    stage.until(lambda: len(stage.events("refused")) == 1, "the refusal is recorded")
    assert stage.status()["proof"] is None

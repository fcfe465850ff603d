"""The proof test as its owner leads it: the real command, the real guard, a simulated house in a hurry."""

import json
import os
import pty
import re
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.guard.house import House

ROOT = Path(__file__).parents[2]

SITE = """
[site]
name = "a simulated pump house"
unit = "C"

[[sensor]]
name = "by the pump"
role = "control"
kind = "simulated"

[relay]
kind = "simulated"
contact = "{contact}"
"""

BOOTS = ("0b5dd1a4-3f0c-4f0e-9a68-7d6a6f2c9e11", "1c6ee2b5-4a1d-4b1f-8b79-8e7b7a3d0f22")


IMPATIENT = """
import sys
from overwinter.cli import main, proving

proving.UNREACHABLE_AT_MOST_S = 5.0
sys.exit(main())
"""
"""The command, but it waits for a guard that has gone no longer than a test can."""


class Stage(House):
    """A bench house whose guard has a simulated house, with a heater that may be broken."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.clients: list[subprocess.Popen[Any]] = []

    def close(self) -> None:
        for client in self.clients:
            client.kill()
            client.communicate()
        super().close()

    def raise_curtain(
        self, heater: str, *, speed: float = 60.0, contact: str = "NO", boot: str = BOOTS[0]
    ) -> None:
        self.site.write_text(SITE.format(contact=contact))
        path = os.pathsep.join([str(ROOT), str(ROOT / "src")])
        with self.said.open("ab") as said:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "tests.guard.stage", str(speed), heater],
                env={**self.environment, "PYTHONPATH": path, "BENCH_BOOT": boot},
                cwd=ROOT,
                stdout=said,
                stderr=said,
                stdin=subprocess.DEVNULL,
            )
        self.until(self.answers, "the guard answers")

    def begin(self, *words: str) -> "subprocess.Popen[str]":
        """`prove` without a terminal, left running."""
        client = subprocess.Popen(
            [sys.executable, "-c", IMPATIENT, "prove", *words],
            env=self.environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.clients.append(client)
        return client

    def proved(self, *words: str) -> tuple[int, dict[str, Any]]:
        """`prove --yes --json` to its end: how it ended, and what was recorded."""
        process = self.begin("--yes", "--json", *words)
        out, err = process.communicate(timeout=90)
        assert out, err
        return process.returncode, json.loads(out)

    def is_away(self) -> bool:
        return self.status()["sensors_away_until"] is not None

    def is_by_hand(self) -> bool:
        return self.status()["heat"]["hand_until"] is not None

    def as_before(self) -> bool:
        status = self.status()
        return not (status["sensors_away_until"] or status["heat"]["hand_until"] or status["blind"])


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    stage = Stage(tmp_path)
    yield stage
    stage.close()


class Terminal:
    """The command at a terminal of its own, with somebody who reads and types."""

    def __init__(self, stage: Stage, *words: str) -> None:
        self._master, slave = pty.openpty()
        self.said = ""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "overwinter", *words],
            env={**stage.environment, "TERM": "dumb"},
            stdin=slave,
            stdout=slave,
            stderr=slave,
            preexec_fn=_take_terminal,  # noqa: PLW1509 (no other thread runs here)
        )
        stage.clients.append(self.process)
        os.close(slave)

    def reads(self, pattern: str, within_s: float = 20.0) -> str:
        """Read on until it stands there; everything up to its end."""
        ends = time.monotonic() + within_s
        while not (found := re.search(pattern, self.said)):
            assert time.monotonic() < ends, f"not within {within_s} s: {pattern}\n{self.said}"
            if select.select([self._master], [], [], 0.1)[0]:
                try:
                    self.said += os.read(self._master, 65536).decode()
                except OSError:  # the other end was closed
                    assert re.search(pattern, self.said), f"{pattern}\n{self.said}"
        before, self.said = self.said[: found.end()], self.said[found.end() :]
        return before

    def types(self, text: str) -> None:
        os.write(self._master, text.encode())

    def ends(self) -> int:
        return self.process.wait(20)

    def vanishes(self) -> None:
        """The window is closed, the line is cut."""
        os.close(self._master)


def _take_terminal() -> None:
    import fcntl
    import termios

    os.setsid()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def verdicts(proof: dict[str, Any]) -> dict[str, str]:
    return {step["step"]: step["verdict"] for step in proof["steps"]}


def step(proof: dict[str, Any], name: str) -> dict[str, Any]:
    (found,) = [one for one in proof["steps"] if one["step"] == name]
    return found


SOUND = {
    "sensors": "passed",
    "relay": "passed",
    "fail-safe": "passed",
    "return": "passed",
    "reboot": "unfinished",
}


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


# --- ends in the middle -----------------------------------------------------------------------------------


def in_the_middle(
    stage: Stage, what: Callable[[], bool], *, heater: str, speed: float
) -> "subprocess.Popen[str]":
    stage.raise_curtain(heater, speed=speed)
    client = stage.begin("--yes")
    stage.until(what, "in the middle of it", within_s=20)
    return client


def killed(client: "subprocess.Popen[str]", number: int) -> tuple[int, str]:
    client.send_signal(number)
    _, err = client.communicate(timeout=20)
    return client.returncode, err


def test_a_client_killed_while_sensors_are_away_leaves_nothing_behind(stage: Stage) -> None:
    client = in_the_middle(stage, stage.is_away, heater="good+feedback", speed=30.0)
    killed(client, signal.SIGKILL)

    assert stage.is_away()
    stage.until(stage.as_before, "300 s of the guard's time later", within_s=15)
    stage.until(lambda: len(stage.events("proof")) == 2, "written")
    assert stage.events("proof")[1]["why"] == "over"
    assert stage.status()["proof"] is None


def test_a_new_proof_gives_back_what_a_killed_one_took(stage: Stage) -> None:
    client = in_the_middle(stage, stage.is_away, heater="good+feedback", speed=20.0)
    killed(client, signal.SIGKILL)
    assert stage.is_away()

    code, proof = stage.proved()
    assert (code, verdicts(proof)) == (0, SOUND)


def test_a_client_killed_while_heat_is_on_leaves_nothing_behind(stage: Stage) -> None:
    client = in_the_middle(stage, lambda: stage.is_by_hand() and stage.heat(), heater="good", speed=90.0)
    killed(client, signal.SIGKILL)

    assert stage.is_by_hand()
    stage.until(stage.as_before, "a quarter of an hour of the guard's time later", within_s=20)
    stage.until(lambda: len(stage.events("hand")) >= 2, "written")
    assert stage.events("hand")[-1]["state"] == "over"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_client_that_is_ended_gives_back_at_once_and_records_it(
    stage: Stage, number: signal.Signals
) -> None:
    client = in_the_middle(stage, stage.is_away, heater="good+feedback", speed=10.0)
    code, err = killed(client, number)

    assert code == 128 + number
    assert f"the proof was interrupted: by {number.name}" in err
    assert not stage.is_away()
    proof = stage.status()["proof"]
    assert proof["verdict"] == "unfinished"
    assert step(proof, "fail-safe")["text"] == f"interrupted: by {number.name}"


def test_a_lost_terminal_gives_heat_back_at_once_and_records_it(stage: Stage) -> None:
    stage.raise_curtain("good", speed=10.0)
    owner = Terminal(stage, "prove")
    owner.reads("begin: ")
    owner.types("y\n")
    owner.reads("about right")
    owner.types("y\n")
    owner.reads(r"switched ON\..*\] ")
    assert stage.is_by_hand()

    owner.vanishes()
    owner.process.wait(20)
    stage.until(stage.as_before, "at once", within_s=3)
    assert verdicts(stage.status()["proof"]) == {"sensors": "passed", "relay": "unfinished"}


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_guard_that_restarts_has_nothing_away_and_ends_the_proof(
    stage: Stage, number: signal.Signals
) -> None:
    client = in_the_middle(stage, stage.is_away, heater="good+feedback", speed=10.0)
    stage.stop(number)
    stage.raise_curtain("good+feedback", speed=10.0)
    assert not stage.is_away()

    _, err = client.communicate(timeout=20)
    assert client.returncode == 1
    assert "the proof was interrupted: the guard was restarted" in err
    assert step(stage.status()["proof"], "fail-safe")["verdict"] == "unfinished"


def test_a_guard_that_does_not_come_back_is_told_as_unreachable(stage: Stage) -> None:
    client = in_the_middle(stage, stage.is_away, heater="good+feedback", speed=10.0)
    stage.stop()

    _, err = client.communicate(timeout=60)
    assert client.returncode == 3
    assert "the guard cannot be reached" in err
    assert "the guard ends by itself within half an hour" in err


def test_an_owner_who_does_not_say_yes_begins_nothing(stage: Stage) -> None:
    stage.raise_curtain("good")
    owner = Terminal(stage, "prove")
    owner.reads("begin: ")
    owner.types("\n")

    owner.reads("nothing was begun")
    assert owner.ends() == 1
    assert stage.status()["proof"] is None


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user")
def test_a_caller_outside_the_group_is_refused_and_takes_nothing(stage: Stage) -> None:
    stage.raise_curtain("good+feedback")
    stage.socket.parent.chmod(0o755)
    code = (
        "import os, runpy, sys; os.setgroups([]); os.setgid(54321); os.setuid(54321); "
        "sys.argv = ['overwinter', 'prove', '--yes']; from overwinter.cli import main; sys.exit(main())"
    )
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            f"import overwinter.cli.prove, overwinter.cli.proving, overwinter.wire.client; {code}",
        ],
        env=stage.environment,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )

    assert done.returncode == 1
    assert "changes are for root, the guard's own user and members of the group overwinter" in done.stderr
    assert stage.as_before()
    assert stage.status()["proof"] is None
    stage.until(lambda: len(stage.events("refused")) == 1, "the refusal is recorded")
    assert stage.events("proof") == []


def test_a_result_that_the_disk_does_not_take_is_not_told_as_kept(stage: Stage) -> None:
    stage.raise_curtain("good+feedback")
    shutil.rmtree(stage.state)
    stage.state.write_text("a file in the way")
    record = {"step": "relay", "verdict": "passed", "by": None, "text": "on: current"}
    error = stage.call("prove", {"step": "record", "result": {"verdict": "passed", "steps": [record]}})

    assert error["code"] == -32002
    assert stage.status()["proof"] is None

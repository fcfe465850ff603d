"""`prove`, ended in the middle: nothing stays switched, and what was seen is recorded."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable

import pytest

from tests.guard.proving import (
    SOUND,
    Stage,
    Terminal,
    step,
    verdicts,
)


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
    stage.until(
        lambda: [event["state"] for event in stage.events("hand")][-1:] == ["over"], "its end is written"
    )


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
    assert "allowed: root, the guard's own user, members of the group overwinter" in done.stderr
    assert stage.as_before()
    assert stage.status()["proof"] is None
    stage.until(lambda: len(stage.events("refused")) == 1, "the refusal is recorded")
    assert stage.events("proof") == []


def test_a_result_that_the_disk_does_not_take_is_not_told_as_kept(stage: Stage) -> None:
    stage.raise_curtain("good+feedback")
    stage.state.rename(stage.state.with_name("aside"))  # in one step: the keeper may be writing into it
    stage.state.write_text("a file in the way")
    record = {"step": "relay", "verdict": "passed", "by": None, "text": "on: current"}
    error = stage.call("prove", {"step": "record", "result": {"verdict": "passed", "steps": [record]}})

    assert error["code"] == -32002
    assert stage.status()["proof"] is None

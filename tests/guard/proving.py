"""A simulated house whose owner proves it at a terminal."""

import json
import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

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

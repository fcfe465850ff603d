"""A bench house: the real guard as a process, its sensors ordinary files laid out like the kernel's."""

import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

SITE = """
[site]
name = "bench"
unit = "C"

[[sensor]]
name = "by the pump"
role = "control"
kind = "iio"
path = "{sensor}"

[relay]
kind = "gpio"
pin = 17
"""

QUICK = ("sampling.sense_s=1", "filter.window=3", "filter.max_rate_per_min=600")
NO_MINIMA = ("relay.min_on_s=0", "relay.min_off_s=0")


class House:
    """Folders, a sensor, and the guard on them."""

    def __init__(self, folder: Path, *, disk: Path | None = None) -> None:
        """`disk`: where what is kept lies, if not in the folder itself."""
        self.folder = folder
        self.state = (disk or folder) / "state"
        self.logs = (disk or folder) / "logs"
        self.sensor = folder / "sensor"
        self.site = folder / "site.toml"
        # A socket's path may have 107 bytes; a test's folder is often longer than that.
        self._runtime = tempfile.TemporaryDirectory(prefix="ow-")
        self.socket = Path(self._runtime.name) / "control.sock"
        self.sensor.mkdir(parents=True)
        self.site.write_text(SITE.format(sensor=self.sensor))
        self.process: subprocess.Popen[bytes] | None = None
        self.said = folder / "stderr.txt"
        self.environment = {
            **os.environ,
            "GPIOZERO_PIN_FACTORY": "mock",
            "OVERWINTER_SITE": str(self.site),
            "OVERWINTER_STATE": str(self.state),
            "OVERWINTER_LOGS": str(self.logs),
            "OVERWINTER_SOCKET": str(self.socket),
        }

    @property
    def settings(self) -> Path:
        return self.state / "settings.toml"

    def reads(self, temperature_c: float | None, humidity_pct: float | None = 71.0) -> None:
        """What the sensor says from now on; None: its files are gone."""
        for name, value in (("in_temp_input", temperature_c), ("in_humidityrelative_input", humidity_pct)):
            path = self.sensor / name
            if temperature_c is None or value is None:
                path.unlink(missing_ok=True)
                continue
            draft = path.with_suffix(".draft")
            draft.write_text(f"{value * 1000:.0f}\n")
            draft.replace(path)

    def start(self, *, wait: bool = True, before: tuple[str, ...] = (), **environment: str) -> None:
        """Start the guard; with `wait`, until it answers."""
        with self.said.open("ab") as said:
            self.process = subprocess.Popen(
                [*before, sys.executable, "-m", "overwinter", "guard"],
                env={**self.environment, **environment},
                stdout=said,
                stderr=said,
                stdin=subprocess.DEVNULL,
            )
        if wait:
            self.until(self.answers, "the guard answers")

    def start_and_save(self) -> None:
        """Start the guard, and wait for its first settings too: the keeper writes them beside the answers."""
        self.start()
        self.until(self.settings.exists, "the first settings are written")

    def answers(self) -> bool:
        assert self.process is not None
        assert self.process.poll() is None, self.said.read_text()
        try:
            with socket.socket(socket.AF_UNIX) as client:
                client.connect(str(self.socket))
        except OSError:
            return False
        return bool(self.status())

    def stop(self, number: int = signal.SIGTERM) -> int:
        """End the guard by a signal; its exit code."""
        assert self.process is not None
        self.process.send_signal(number)
        code = self.process.wait(20)
        self.process = None
        return code

    def close(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait(20)
        self._runtime.cleanup()

    def run(self, *words: str, **environment: str) -> subprocess.CompletedProcess[str]:
        """The command, as an owner would type it."""
        return subprocess.run(
            [sys.executable, "-m", "overwinter", *words],
            env={**self.environment, **environment},
            capture_output=True,
            text=True,
            timeout=30,
            check=False,
        )

    def set(self, *changes: str) -> None:
        done = self.run("set", *changes)
        assert done.returncode == 0, done.stderr

    def status(self) -> dict[str, Any]:
        answer: dict[str, Any] = self.call("status")
        return answer

    def call(self, method: str, params: Mapping[str, object] | None = None) -> Any:
        """One request over the socket; the result, or the error object."""
        reply = self.reply(method, params)
        return reply.get("result", reply.get("error"))

    def reply(self, method: str, params: Mapping[str, object] | None = None) -> dict[str, Any]:
        """One request over the socket, by hand; the whole answer."""
        request: dict[str, object] = {"jsonrpc": "2.0", "id": 1, "method": method}
        if params is not None:
            request["params"] = params
        with socket.socket(socket.AF_UNIX) as client:
            client.settimeout(10)
            client.connect(str(self.socket))
            client.sendall(json.dumps(request).encode() + b"\n")
            answer = b""
            while not answer.endswith(b"\n"):
                more = client.recv(65536)
                if not more:
                    break
                answer += more
        reply: dict[str, Any] = json.loads(answer) if answer else {}
        return reply

    def heat(self) -> bool:
        on: bool = self.status()["heat"]["on"]
        return on

    def events(self, name: str | None = None) -> list[dict[str, Any]]:
        """The lines of the logbook, oldest first."""
        lines = [json.loads(line) for line in (self.logs / "logbook.jsonl").read_text().splitlines()]
        return [line for line in lines if name in (None, line["event"])]

    def until(self, holds: Callable[[], bool], what: str, within_s: float = 10.0) -> float:
        """Wait for it; how long that took [s]."""
        began = time.monotonic()
        while not holds():
            elapsed_s = time.monotonic() - began
            assert elapsed_s < within_s, f"not within {within_s} s: {what}\n{self.said.read_text()[-3000:]}"
            time.sleep(0.05)
        return time.monotonic() - began

    def keeps(self, holds: Callable[[], bool], what: str, for_s: float) -> None:
        """It must hold all the time."""
        ends = time.monotonic() + for_s
        while time.monotonic() < ends:
            assert holds(), f"not kept for {for_s} s: {what}"
            time.sleep(0.1)

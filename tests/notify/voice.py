"""A guard with a notifier beside it, and the lines of a site that name a broker."""

import signal
import subprocess
import sys
from pathlib import Path

from tests.guard.house import NO_MINIMA, QUICK, House
from tests.notify.broker import Broker


class Voice:
    """A guard with a notifier beside it."""

    def __init__(self, folder: Path) -> None:
        self.house = House(folder / "house")
        self.house.reads(3.0)
        self.folder = folder
        self.said = folder / "notifier.txt"
        self.process: subprocess.Popen[bytes] | None = None
        self.credentials = folder / "credentials"
        self.credentials.mkdir()

    def site(self, text: str) -> None:
        self.house.site.write_text(self.house.site.read_text() + text)

    def start_guard(self) -> None:
        self.house.start()
        self.house.set(*QUICK, *NO_MINIMA)
        self.house.until(lambda: self.house.status()["temperature_c"] is not None, "it sees")

    def start(self) -> None:
        (self.folder / "memory").mkdir(exist_ok=True)
        with self.said.open("ab") as said:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "overwinter", "notifier"],
                env={
                    **self.house.environment,
                    "CREDENTIALS_DIRECTORY": str(self.credentials),
                    "NOTIFIER_MEMORY": str(self.folder / "memory"),
                    "NO_COLOR": "1",
                },
                stdout=said,
                stderr=said,
                stdin=subprocess.DEVNULL,
            )

    def stop(self, number: int = signal.SIGTERM) -> int:
        assert self.process is not None
        self.process.send_signal(number)
        code = self.process.wait(20)
        self.process = None
        return code

    def count(self, words: str) -> int:
        return self.said.read_text().count(words) if self.said.exists() else 0

    def turns_cold(self) -> None:
        self.house.reads(-1.0)

    def turns_warm(self) -> None:
        self.house.reads(5.0)

    def close(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(20)
        self.house.close()


def mqtt(broker: Broker, *more: str) -> str:
    lines = (
        "[mqtt]",
        'host = "localhost"',
        f"port = {broker.port}",
        'topic = "valley/orchard"',
        "tls = false",
        *more,
    )
    return "\n".join(["", *lines, ""])

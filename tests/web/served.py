"""The page as a process of its own, on a real socket, and what is said to it by hand."""

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from overwinter.web.passwords import hashed
from tests.guard.house import House

PASSWORD = "a long winter night"


@dataclass(frozen=True)
class Answer:
    """What came back."""

    code: int
    headers: dict[str, str]  # names in small letters
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def token(self) -> str:
        """Of the first form in the page."""
        found = re.search(r'name="token" value="([^"]+)"', self.text)
        assert found is not None, self.text
        return found[1]


def dashed(headers: Mapping[str, str]) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


class Served:
    """`overwinter web` beside a house, or beside none."""

    def __init__(
        self, folder: Path, *, site: str, socket_path: Path, logs: Path, change: bool = False
    ) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = int(free.getsockname()[1])
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.site = folder / "web.toml"
        bind = "" if "[web]" in site else f"\n[web]\nport = {self.port}\nchange = {str(change).lower()}\n"
        self.site.write_text(site.replace("PORT", str(self.port)) + bind)
        self.said = folder / "web-stderr.txt"
        credentials = folder / "credentials"
        self.environment = {**os.environ}
        if change:
            credentials.mkdir(exist_ok=True)
            (credentials / "web-password").write_text(hashed(PASSWORD) + "\n")
            self.environment["CREDENTIALS_DIRECTORY"] = str(credentials)
        self.command = [
            *(sys.executable, "-m", "overwinter", "web", "--site", str(self.site)),
            *("--socket", str(socket_path), "--logs", str(logs)),
        ]
        self.process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/"

    @property
    def pid(self) -> int:
        assert self.process is not None
        return self.process.pid

    def start(self, **environment: str) -> None:
        with self.said.open("ab") as said:
            self.process = subprocess.Popen(
                self.command,
                env={**self.environment, **environment},
                stdin=subprocess.DEVNULL,
                stdout=said,
                stderr=said,
            )
        ends_s = time.monotonic() + 20.0
        while True:
            assert self.process.poll() is None, self.said.read_text()
            assert time.monotonic() < ends_s, self.said.read_text()
            try:
                socket.create_connection(("127.0.0.1", self.port), 1.0).close()
            except OSError:
                time.sleep(0.05)
            else:
                return

    def stop(self, number: int = signal.SIGTERM) -> int:
        assert self.process is not None
        self.process.send_signal(number)
        return self.process.wait(10)

    def close(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait(10)

    def ask(
        self,
        path: str,
        *,
        method: str = "GET",
        form: Mapping[str, str] | None = None,
        body: bytes | None = None,
        timeout_s: float = 15.0,
        headers: Mapping[str, str] | None = None,
    ) -> Answer:
        """One request on a connection of its own."""
        sent = dict(headers or {})
        if form is not None:
            method, body = "POST", urlencode(form).encode()
            sent.setdefault("Content-Type", "application/x-www-form-urlencoded")
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout_s)
        try:
            connection.request(method, path, body=body, headers=sent)
            got = connection.getresponse()
            return Answer(got.status, {name.lower(): value for name, value in got.getheaders()}, got.read())
        finally:
            connection.close()

    def sign_in(self, password: str = PASSWORD, **headers: str) -> Answer:
        """Through the form. `_` in the name of a header is `-`."""
        token = self.ask("/sign-in").token
        return self.ask("/sign-in", form={"token": token, "password": password}, headers=dashed(headers))

    def cookie(self) -> str:
        """Signed in: what the browser sends from then on."""
        answer = self.sign_in()
        assert answer.code == 303, answer.text
        return answer.headers["set-cookie"].partition(";")[0]

    def rss_mb(self) -> float:
        pages = int(Path(f"/proc/{self.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def beside(house: House, *, folder: Path | None = None, change: bool = False, more: str = "") -> Served:
    """The page of a bench house."""
    return Served(
        folder or house.folder / "web",
        site=house.site.read_text() + more,
        socket_path=house.socket,
        logs=house.logs,
        change=change,
    )


class Stream:
    """An open event stream, read by hand."""

    def __init__(self, port: int) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), 10.0)
        self.socket.sendall(b"GET /stream HTTP/1.1\r\nHost: here\r\n\r\n")
        self.received = b""
        self.code = int(self._until(b"\r\n\r\n").split(b" ", 2)[1])

    def event(self) -> tuple[str, dict[str, Any]]:
        """The next event: its name and its data."""
        while True:
            for block in self._until(b"\n\n").split(b"\r\n"):
                if block.startswith(b"event: "):
                    name, _, data = block.decode().removeprefix("event: ").partition("\ndata:")
                    return name.strip(), json.loads(data) if data.strip() else {}

    def _until(self, end: bytes) -> bytes:
        while end not in self.received:
            more = self.socket.recv(65_536)
            assert more, "the stream has ended"
            self.received += more
        found, _, self.received = self.received.partition(end)
        return found

    def close(self) -> None:
        self.socket.close()

"""A real mosquitto on loopback, certificates made for it, and a listener."""

import json
import shutil
import socket
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

MOSQUITTO = shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/sbin:/bin:/usr/local/sbin:/usr/local/bin")
PASSWORD = "a long word for the orchard"

needs_mosquitto = pytest.mark.skipif(
    MOSQUITTO is None, reason="mosquitto is not installed (Debian: mosquitto)"
)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def until(holds: Callable[[], Any], what: str, within_s: float = 60.0) -> None:
    ends = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends, what
        time.sleep(0.02)


class Authority:
    """A certificate authority of one test, and the server certificates that it signs."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.file = folder / "ca.pem"
        self._openssl(
            *("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"),
            *("-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=test authority"),
        )
        (folder / "index.txt").write_text("")
        (folder / "serial").write_text("01\n")
        (folder / "ca.cnf").write_text(
            "[ca]\ndefault_ca = d\n[d]\ndatabase = index.txt\nserial = serial\nnew_certs_dir = .\n"
            "certificate = ca.pem\nprivate_key = ca.key\ndefault_md = sha256\npolicy = p\n"
            "unique_subject = no\n[p]\ncommonName = supplied\n[v]\nsubjectAltName = DNS:localhost\n"
        )

    def server(self, name: str, *, begins: str, ends: str) -> tuple[Path, Path]:
        """Certificate and key for localhost, valid between two instants as YYYYMMDDHHMMSSZ."""
        self._openssl(
            *("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"),
            *("-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", "/CN=localhost"),
        )
        self._openssl(
            *("ca", "-batch", "-config", "ca.cnf", "-extensions", "v", "-in", f"{name}.csr"),
            *("-out", f"{name}.pem", "-startdate", begins, "-enddate", ends, "-notext"),
        )
        (self.folder / f"{name}.key").chmod(0o644)  # the broker gives up root before it reads
        return self.folder / f"{name}.pem", self.folder / f"{name}.key"

    def _openssl(self, *words: str) -> None:
        subprocess.run(["openssl", *words], cwd=self.folder, check=True, capture_output=True)


class Broker:
    """A mosquitto that can be stopped and started again on the same port."""

    def __init__(self, folder: Path, *, password: bool = False, tls: tuple[Path, Path] | None = None) -> None:
        self.port = free_port()
        self.folder = folder
        self.process: subprocess.Popen[bytes] | None = None
        lines = [
            f"listener {self.port} 127.0.0.1",
            f"allow_anonymous {str(not password).lower()}",
            "persistence false",
            "user root" if Path("/proc/self").owner() == "root" else "",
        ]
        if password:
            subprocess.run(
                ["mosquitto_passwd", "-b", "-c", str(folder / "passwords"), "orchard", PASSWORD], check=True
            )
            (folder / "passwords").chmod(0o700)
            lines.append(f"password_file {folder / 'passwords'}")
        if tls is not None:
            lines += [f"certfile {tls[0]}", f"keyfile {tls[1]}"]
        (folder / "mosquitto.conf").write_text("\n".join([*lines, ""]))

    def start(self) -> None:
        assert MOSQUITTO is not None
        with (self.folder / "mosquitto.log").open("ab") as log:
            self.process = subprocess.Popen(
                [MOSQUITTO, "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
            )

        def listens() -> bool:
            with socket.socket() as probe:
                return probe.connect_ex(("127.0.0.1", self.port)) == 0

        until(listens, f"the broker listens\n{(self.folder / 'mosquitto.log').read_text()}")

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(10)
            self.process = None


@dataclass(frozen=True)
class Message:
    topic: str
    retained: bool
    body: Any
    heard_s: float
    properties: Any


class Listener:
    """Somebody who subscribes, and everything that he heard."""

    def __init__(self, port: int, topic: str = "#") -> None:
        self.heard: list[Message] = []
        self._subscribed = False
        self.client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self.client.reconnect_delay_set(1, 1)

        def connected(*_: object) -> None:
            self.client.subscribe(topic, qos=1)

        def subscribed(*_: object) -> None:
            self._subscribed = True

        def heard(_client: object, _data: object, message: Any) -> None:
            body = json.loads(message.payload) if message.payload else None
            self.heard.append(
                Message(message.topic, message.retain, body, time.monotonic(), message.properties)
            )

        self.client.on_connect = connected
        self.client.on_subscribe = subscribed
        self.client.on_message = heard
        self.client.connect_async("127.0.0.1", port)
        self.client.loop_start()
        until(lambda: self._subscribed, "subscribed")

    def of(self, topic: str) -> list[Message]:
        return [message for message in list(self.heard) if message.topic == topic]

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()

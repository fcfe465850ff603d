"""The example configuration for many houses, started as processes; only paths and ports are changed."""

import json
import shutil
import subprocess
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from overwinter.notify.metrics import openmetrics
from tests.notify.broker import MOSQUITTO, Authority, free_port, needs_mosquitto, until
from tests.notify.test_metrics import STATUS

MANY = Path(__file__).parents[2] / "docs" / "many"
STORE = shutil.which("prometheus")
EXPORTER = shutil.which("prometheus-node-exporter")
PROMTOOL = shutil.which("promtool")


class Processes:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.running: list[subprocess.Popen[bytes]] = []

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        with (self.folder / "log").open("ab") as log:
            process = subprocess.Popen(words, stdout=log, stderr=log, cwd=self.folder)
        self.running.append(process)
        return process

    def said(self) -> str:
        return (self.folder / "log").read_text()[-4000:]


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Processes]:
    tmp_path.chmod(0o755)
    processes = Processes(tmp_path)
    yield processes
    for process in processes.running:
        process.terminate()
        process.wait(10)


class Client:
    """Somebody with a password, over TLS."""

    def __init__(self, user: str, port: int, authority: Authority) -> None:
        self.heard: list[tuple[str, str]] = []
        self.ready = False
        self.client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        self.client.username_pw_set(user, f"secret of {user}")
        self.client.tls_set(ca_certs=str(authority.file))
        self.client.on_connect = lambda *_: self.client.subscribe("valley/#", qos=1)
        self.client.on_subscribe = self._subscribed
        self.client.on_message = lambda _c, _d, message: self.heard.append(
            (message.topic, message.payload.decode())
        )
        self.client.connect("localhost", port)
        self.client.loop_start()

    def _subscribed(self, *_: object) -> None:
        self.ready = True

    def say(self, topic: str, text: str) -> None:
        self.client.publish(topic, text, qos=1).wait_for_publish(10.0)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@needs_mosquitto
def test_the_brokers_configuration_keeps_every_house_to_its_own_name(processes: Processes) -> None:
    folder, port = processes.folder, free_port()
    authority = Authority(folder)
    authority.server("broker", begins="20260101000000Z", ends="20460101000000Z")
    shutil.copy(MANY / "rights", folder / "rights")
    (folder / "data").mkdir()
    for user in ("orchard", "mill", "watcher"):
        create = [] if (folder / "passwords").exists() else ["-c"]
        subprocess.run(
            ["mosquitto_passwd", "-b", *create, str(folder / "passwords"), user, f"secret of {user}"],
            check=True,
        )
    text = (MANY / "broker.conf").read_text()
    text = text.replace("listener 8883", f"listener {port} 127.0.0.1")
    text = text.replace("/var/lib/overwinter-broker/", f"{folder}/data/").replace(
        "/etc/overwinter-broker", str(folder)
    )
    (folder / "broker.conf").write_text(text + f"user {Path('/proc/self').owner()}\n")
    assert MOSQUITTO is not None
    processes.start(MOSQUITTO, "-c", str(folder / "broker.conf"))
    until(lambda: "running" in processes.said(), "the broker runs")

    watcher, orchard, mill = (Client(user, port, authority) for user in ("watcher", "orchard", "mill"))
    until(lambda: all(client.ready for client in (watcher, orchard, mill)), processes.said())
    orchard.say("valley/orchard/notice", "ours")
    orchard.say("valley/mill/notice", "not ours")
    watcher.say("valley/orchard/set", "nobody asked")
    mill.say("valley/mill/notice", "done")
    until(lambda: ("valley/mill/notice", "done") in watcher.heard, "all was heard")
    time.sleep(0.3)
    for client in (watcher, orchard, mill):
        client.close()

    assert watcher.heard == [("valley/orchard/notice", "ours"), ("valley/mill/notice", "done")]
    assert orchard.heard == [("valley/orchard/notice", "ours")]
    assert mill.heard == [("valley/mill/notice", "done")]


@pytest.mark.skipif(PROMTOOL is None, reason="promtool is not installed (Debian: prometheus)")
@pytest.mark.parametrize(("kind", "name"), [("config", "metrics.yml"), ("rules", "alerts.yml")])
def test_the_stores_configuration_is_sound(kind: str, name: str) -> None:
    assert PROMTOOL is not None
    done = subprocess.run(
        [PROMTOOL, "check", kind, str(MANY / name)], capture_output=True, text=True, timeout=60, check=False
    )

    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.skipif(
    STORE is None or EXPORTER is None,
    reason="prometheus or prometheus-node-exporter is not installed (both are Debian packages)",
)
def test_a_number_of_a_house_arrives_in_the_store_and_a_cold_one_wakes_somebody(processes: Processes) -> None:
    folder, exporter_port, store_port = processes.folder, free_port(), free_port()
    textfile = folder / "textfile"
    textfile.mkdir()
    (textfile / "overwinter.prom").write_text(openmetrics({**STATUS, "temperature_c": -2.5}, house="orchard"))
    assert EXPORTER is not None
    assert STORE is not None
    processes.start(
        EXPORTER,
        "--collector.disable-defaults",
        "--collector.textfile",
        f"--collector.textfile.directory={textfile}",
        f"--web.listen-address=127.0.0.1:{exporter_port}",
    )
    config = (MANY / "metrics.yml").read_text()
    config = config.replace("orchard.example:9100", f"127.0.0.1:{exporter_port}")
    config = config.replace("          - mill.example:9100\n", "").replace("60s", "1s")
    (folder / "metrics.yml").write_text(config)
    rules = (MANY / "alerts.yml").read_text()
    (folder / "alerts.yml").write_text(rules.replace("for: 5m", "for: 1s"))
    processes.start(
        STORE,
        f"--config.file={folder / 'metrics.yml'}",
        f"--storage.tsdb.path={folder / 'store'}",
        f"--web.listen-address=127.0.0.1:{store_port}",
    )

    def asked(query: str) -> list[Any]:
        address = f"http://127.0.0.1:{store_port}/api/v1/query?{urllib.parse.urlencode({'query': query})}"
        try:
            with urllib.request.urlopen(address, timeout=5.0) as answer:
                found: list[Any] = json.load(answer)["data"]["result"]
        except OSError:
            return []
        return found

    until(lambda: asked("overwinter_temperature_celsius"), "the number arrived", within_s=40.0)
    (series,) = asked("overwinter_temperature_celsius")
    assert series["metric"]["house"] == "orchard"
    assert float(series["value"][1]) == -2.5
    until(
        lambda: asked('ALERTS{alertname="PumpHouseCold", alertstate="firing"}'),
        "somebody is woken",
        within_s=40.0,
    )
    assert asked('ALERTS{alertname="PumpHouseSilent", alertstate="firing"}') == []

"""A thousand guards' voices on one broker: does every notice arrive, and how soon?

Each voice is the notifier's own link to the broker, with a status as a guard gives it; a few processes share
them (the client library cannot wait on more than some three hundred in one), broker and listener have others.
Prints the loss and the latencies; what they mean on a Pi it cannot say, but a valley's broker is no Pi.
"""

import multiprocessing
import resource
import tempfile
import time
from pathlib import Path
from typing import Any

from overwinter.core.telling import Mqtt
from overwinter.notify.mqtt import Broker as Link
from tests.bench.table import Row
from tests.notify.broker import MOSQUITTO, Broker, Listener, until

VOICES = 1000
ROUNDS = 5
CREW = 4
EVERY_S = 3.0
"""All voices speak within this time: hundreds of messages a second, far more than a valley has to say."""

STATUS: dict[str, Any] = {
    "version": "0.1.0",
    "mode": "freeze",
    "blind": False,
    "temperature_c": 2.1,
    "band": {"low_c": 2.22, "high_c": 4.44},
    "heat": {"on": True, "reason": "below-band", "cycles": 41, "on_s": 90210.0},
    "sensors": [{"name": "by the pump", "flag": 1, "temperature_c": 2.1}],
    "health": "normal",
    "alarms": [],
}


def speak(port: int, voices: range, rounds: int, every_s: float) -> None:
    """Some of the voices, in a process of their own."""
    links = [
        Link(
            Mqtt(host="127.0.0.1", port=port, topic=f"valley/{number}", tls=False, keepalive_s=60.0),
            client_id=f"overwinter-valley-{number}",
            password=None,
            tell=lambda _kind, _text: None,
            connected=lambda: None,
        )
        for number in voices
    ]
    for link in links:
        link.start()
    until(lambda: all(link._client.is_connected() for link in links), "all connected", within_s=120.0)
    for link in links:
        link.state(STATUS)
    for turn in range(rounds):
        began_s = time.monotonic()
        for place, (number, link) in enumerate(zip(voices, links, strict=True)):
            time.sleep(max(began_s + every_s * place / len(links) - time.monotonic(), 0.0))
            link.notice({"id": f"{number}-{turn}", "sent_s": time.monotonic(), "code": "cold"})
        time.sleep(max(began_s + every_s - time.monotonic(), 0.0))
    time.sleep(5.0)
    for link in links:
        link._client.disconnect()


def measure(voices: int = VOICES, rounds: int = ROUNDS, every_s: float = EVERY_S) -> dict[str, float]:
    """Lost notices and states, and the latency of the notices [s]."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(max(soft, 16_384), hard), hard))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        broker = Broker(folder)
        with (folder / "mosquitto.conf").open("a") as config:
            # Its default, 1000 messages a listener, is less than a thousand houses say at once.
            config.write("max_queued_messages 100000\nmax_inflight_messages 1000\n")
        broker.start()
        try:
            listener = Listener(broker.port, "valley/+/+")
            start = multiprocessing.get_context("spawn").Process
            crew = [
                start(target=speak, args=(broker.port, range(first, voices, CREW), rounds, every_s))
                for first in range(CREW)
            ]
            for one in crew:
                one.start()
            for one in crew:
                one.join(300.0)
            time.sleep(1.0)
            notices = {
                message.body["id"]: message.heard_s - message.body["sent_s"]
                for message in listener.heard
                if message.topic.endswith("/notice")
            }
            twice = sum(message.topic.endswith("/notice") for message in listener.heard) - len(notices)
            listener.close()
            late = Listener(broker.port, "valley/+/state")
            until(lambda: len(late.heard) >= voices or broker.process is None, "kept states", within_s=30.0)
            kept = len({message.topic for message in late.heard})
            late.close()
        finally:
            broker.stop()
    latencies = sorted(notices.values())
    return {
        "voices": voices,
        "notices": voices * rounds,
        "lost": voices * rounds - len(notices),
        "twice": twice,
        "states_missing": voices - kept,
        "median_s": latencies[len(latencies) // 2],
        "p99_s": latencies[int(len(latencies) * 0.99)],
        "worst_s": latencies[-1],
    }


def rows(_folder: Path) -> list[Row]:
    """Loss and latency of a thousand houses on one broker."""
    if MOSQUITTO is None:
        return [Row(what="a thousand houses on a broker", value="not measured: mosquitto is not installed")]
    found = measure()
    told = f"{found['voices']:.0f} houses, {found['notices']:.0f} notices"
    lost = found["lost"] + found["states_missing"]
    return [
        Row(what="lost on one broker", value=f"{lost:.0f}", floor=told, judged=lost, goal=0.0),
        Row(what="  twice", value=f"{found['twice']:.0f}", floor=told, judged=found["twice"], goal=0.0),
        Row(
            what="  latency, median / p99 / worst",
            value=" / ".join(f"{1000 * found[key]:.1f} ms" for key in ("median_s", "p99_s", "worst_s")),
        ),
    ]

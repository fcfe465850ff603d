"""The whole notifier as a process, beside a real guard, a real broker, and what may go wrong with either."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from overwinter import schemas
from tests.guard.house import NO_MINIMA, QUICK, House
from tests.notify.broker import (
    PASSWORD,
    Authority,
    Broker,
    Listener,
    free_port,
    needs_mosquitto,
    until,
)

OUTAGE_S = 120.0 if os.environ.get("LONG") else 12.0
"""For how long the broker is away; `LONG=1 make test` makes it two minutes."""


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


@pytest.fixture
def voice(tmp_path: Path) -> Iterator[Voice]:
    voice = Voice(tmp_path)
    yield voice
    voice.close()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = Broker(folder)
    broker.start()
    yield broker
    broker.stop()


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


def test_an_alarm_runs_the_owners_command_once_and_once_more_when_it_is_over(voice: Voice) -> None:
    got = voice.folder / "got.jsonl"
    code = (
        f"import os, sys; open({str(got)!r}, 'a').write(sys.stdin.read()); print(os.environ['NOTICE_TITLE'])"
    )
    voice.site(f"\n[notices]\ncommand = {json.dumps([sys.executable, '-c', code])}\n")
    voice.start_guard()
    voice.start()
    voice.turns_cold()

    until(got.exists, "told of the cold")
    (told,) = [json.loads(line) for line in got.read_text().splitlines()]
    jsonschema.validate(told, schemas.load("notice"))
    assert (told["house"], told["state"], told["code"]) == ("bench", "raised", "cold")
    assert "check lamp or heater" in told["text"]
    assert told["temperature_c"] == pytest.approx(-1.0)
    # The notifier starts anew and says nothing twice.
    voice.stop()
    voice.start()
    time.sleep(2.0)
    assert len(got.read_text().splitlines()) == 1


def test_a_dead_guard_is_told_by_silence_of_the_heart_and_a_hole_in_the_metrics(voice: Voice) -> None:
    beats, metrics = voice.folder / "beats", voice.folder / "overwinter.prom"
    code = f"open({str(beats)!r}, 'a').write('beat\\n')"
    command = json.dumps([sys.executable, "-c", code])
    voice.site(
        f'\n[notices]\nheartbeat_command = {command}\nheartbeat_every_s = 10\nmetrics_file = "{metrics}"\n'
    )
    voice.start_guard()
    voice.start()

    def value(name: str) -> float | None:
        samples = [
            sample
            for family in text_string_to_metric_families(metrics.read_text())
            for sample in family.samples
            if sample.name == name
        ]
        return samples[0].value if samples else None

    until(metrics.exists, "metrics")
    assert value("overwinter_up") == 1
    assert value("overwinter_temperature_celsius") == pytest.approx(3.0)
    until(beats.exists, "a first beat")

    voice.house.stop(signal.SIGKILL)

    until(lambda: value("overwinter_up") == 0, "the metrics say that nobody answers", within_s=30.0)
    assert value("overwinter_temperature_celsius") is None
    count = len(beats.read_text().splitlines())
    time.sleep(12.0)
    assert len(beats.read_text().splitlines()) == count, "no beat without a guard"
    assert voice.count("guard fails") == 1


@pytest.mark.parametrize("text", ["", "\n[notices]\nled_pin = 23\n"])
def test_without_anything_to_tell_it_says_so_and_ends(voice: Voice, text: str) -> None:
    voice.site(text)
    done = voice.house.run("notifier")

    assert done.returncode == 1
    assert "asks for nothing to be told" in done.stderr


@needs_mosquitto
def test_the_state_is_kept_for_late_listeners_with_an_expiry(voice: Voice, broker: Broker) -> None:
    voice.site(mqtt(broker, "expiry_s = 30"))
    voice.start_guard()
    voice.start()
    early = Listener(broker.port)
    until(lambda: early.of("valley/orchard/state"), "a state")

    late = Listener(broker.port)
    until(lambda: late.of("valley/orchard/state") and late.of("valley/orchard/alive"), "both are kept")
    jsonschema.validate(late.of("valley/orchard/state")[0].body, schemas.load("status"))
    (state, *_), (alive, *_) = late.of("valley/orchard/state"), late.of("valley/orchard/alive")
    early.close()
    late.close()

    assert state.retained
    assert alive.retained
    assert state.body["temperature_c"] == pytest.approx(3.0)
    assert 0 < state.properties.MessageExpiryInterval <= 30
    assert alive.body == {"alive": True}
    assert not hasattr(alive.properties, "MessageExpiryInterval"), "death and life have no expiry"


@needs_mosquitto
def test_a_late_listener_never_reads_a_temperature_older_than_its_expiry(
    voice: Voice, broker: Broker
) -> None:
    voice.site(mqtt(broker, "expiry_s = 10", "will_delay_s = 0"))
    voice.start_guard()
    voice.start()
    early = Listener(broker.port)
    until(lambda: early.of("valley/orchard/state"), "a state")
    voice.stop(signal.SIGKILL)
    last = early.of("valley/orchard/state")[-1]
    time.sleep(max(last.heard_s + 11.5 - time.monotonic(), 0.0))

    late = Listener(broker.port)
    until(lambda: late.of("valley/orchard/alive"), "what is kept has come")
    time.sleep(0.5)
    states = late.of("valley/orchard/state")
    early.close()
    late.close()

    assert states == []
    assert late.of("valley/orchard/alive")[0].body == {"alive": False}


@needs_mosquitto
def test_a_guard_that_stops_takes_its_state_back(voice: Voice, broker: Broker) -> None:
    voice.site(mqtt(broker))
    voice.start_guard()
    voice.start()
    early = Listener(broker.port)
    until(lambda: early.of("valley/orchard/state"), "a state")

    voice.house.stop()

    until(lambda: early.of("valley/orchard/state")[-1].body is None, "taken back", within_s=30.0)
    early.close()


@needs_mosquitto
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_when_the_notifier_goes_the_listeners_hear_it(
    voice: Voice, broker: Broker, number: signal.Signals
) -> None:
    voice.site(mqtt(broker, "will_delay_s = 2"))
    voice.start_guard()
    listener = Listener(broker.port)
    voice.start()
    until(lambda: listener.of("valley/orchard/alive"), "alive")
    went_s = time.monotonic()
    voice.stop(number)

    until(lambda: len(listener.of("valley/orchard/alive")) == 2, "its end")
    end = listener.of("valley/orchard/alive")[-1]
    listener.close()

    assert end.body == {"alive": False}
    if number is signal.SIGKILL:
        assert end.heard_s - went_s > 1.0, "the broker waits: a link that flaps is no death"


@needs_mosquitto
def test_what_was_promised_while_the_broker_was_away_arrives_once(voice: Voice, broker: Broker) -> None:
    voice.site(mqtt(broker))
    voice.start_guard()
    voice.start()
    before = Listener(broker.port)
    until(lambda: before.of("valley/orchard/state"), "a state")
    before.close()
    broker.stop()
    stopped_s = time.monotonic()
    voice.turns_cold()
    until(lambda: "cold" in voice.said.read_text(), "the notifier knows")
    time.sleep(max(stopped_s + OUTAGE_S - time.monotonic(), 0.0))

    broker.start()
    after = Listener(broker.port)
    until(lambda: after.of("valley/orchard/notice"), "the notice", within_s=90.0)
    until(
        lambda: [m for m in after.of("valley/orchard/state") if m.body["temperature_c"] < 0.0],
        "a fresh state",
    )
    time.sleep(3.0)
    notices = after.of("valley/orchard/notice")
    after.close()

    assert [notice.body["code"] for notice in notices] == ["cold"], "once"
    assert voice.count("broker fails") == 1, "an outage is one line, not one a try"
    assert voice.count("broker works again") == 1


@needs_mosquitto
def test_a_wrong_password_is_one_clear_line_and_the_right_one_stays_secret(
    voice: Voice, tmp_path: Path
) -> None:
    folder = tmp_path / "strict"
    folder.mkdir()
    broker = Broker(folder, password=True)
    broker.start()
    (voice.credentials / "mqtt-password").write_text("wrong\n")
    voice.site(mqtt(broker, 'user = "orchard"'))
    voice.start_guard()
    try:
        voice.start()
        until(lambda: voice.count("broker fails"), "told")
        time.sleep(5.0)
        assert voice.count("broker fails") == 1
        assert voice.count("the broker refuses us: Not authorized") == 1
        voice.house.keeps(
            lambda: voice.house.status()["temperature_c"] is not None, "the guard is unmoved", 1.0
        )
        voice.stop()

        (voice.credentials / "mqtt-password").write_text(f"{PASSWORD}\n")
        voice.start()
        assert voice.process is not None
        folder_of_process = Path(f"/proc/{voice.process.pid}")
        time.sleep(3.0)
        assert voice.count("broker fails") == 1, "it is let in"
        assert PASSWORD.encode() not in (folder_of_process / "cmdline").read_bytes()
        assert PASSWORD.encode() not in (folder_of_process / "environ").read_bytes()
        assert voice.count(PASSWORD) == 0
    finally:
        broker.stop()


@needs_mosquitto
@pytest.mark.parametrize(
    ("begins", "ends", "said"),
    [
        ("20200101000000Z", "20210101000000Z", "its certificate is refused: certificate has expired"),
        ("20260101000000Z", "20460101000000Z", None),
    ],
    ids=["expired", "good"],
)
def test_a_certificate_is_looked_at(
    voice: Voice, tmp_path: Path, begins: str, ends: str, said: str | None
) -> None:
    folder = tmp_path / "tls"
    folder.mkdir()
    authority = Authority(folder)
    broker = Broker(folder, tls=authority.server("server", begins=begins, ends=ends))
    broker.start()
    voice.site(mqtt(broker, f'ca_file = "{authority.file}"').replace("tls = false", "tls = true"))
    voice.start_guard()
    try:
        voice.start()
        if said is None:
            # Nobody but the notifier speaks to this broker, so its log tells who came.
            log = folder / "mosquitto.log"
            until(lambda: "as overwinter-valley-orchard" in log.read_text(), "connected")
            assert voice.count("broker fails") == 0
            return
        until(lambda: voice.count("broker fails"), "told")
        time.sleep(5.0)
        assert voice.count("broker fails") == 1
        assert voice.count(said) == 1
        assert voice.house.status()["temperature_c"] is not None
    finally:
        broker.stop()


def ask(listener: Listener, method: str, params: object, answer: str = "my/answers") -> None:
    properties: Any = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    properties.ResponseTopic = answer
    properties.CorrelationData = b"7"
    listener.client.publish(f"valley/orchard/{method}", json.dumps(params), qos=1, properties=properties)


@needs_mosquitto
def test_commands_from_afar_are_off_unless_asked_for(voice: Voice, broker: Broker) -> None:
    voice.site(mqtt(broker))
    voice.start_guard()
    voice.start()
    listener = Listener(broker.port)
    until(lambda: listener.of("valley/orchard/state"), "a state")

    ask(listener, "set", {"changes": {"band.low": "37F"}})
    time.sleep(1.5)
    answers = listener.of("my/answers")
    listener.close()

    assert answers == []
    assert voice.house.status()["band"]["low_c"] == pytest.approx(2.222, abs=0.01)


@needs_mosquitto
def test_commands_from_afar_are_held_to_the_guards_own_limits(voice: Voice, broker: Broker) -> None:
    voice.site(mqtt(broker, "change = true"))
    voice.start_guard()
    voice.start()
    listener = Listener(broker.port)
    until(lambda: listener.of("valley/orchard/state"), "a state")
    time.sleep(0.5)

    def answer(method: str, params: object) -> Any:
        count = len(listener.of("my/answers"))
        ask(listener, method, params)
        until(lambda: len(listener.of("my/answers")) > count, f"an answer to {method}")
        message = listener.of("my/answers")[-1]
        assert message.properties.CorrelationData == b"7"
        return message.body

    saved = answer("set", {"changes": {"band.low": "37F"}})
    assert saved["result"]["saved"] is True
    assert voice.house.status()["band"]["low_c"] == pytest.approx(2.78, abs=0.01)
    refused = answer("set", {"changes": {"band.low": "30F"}})
    assert refused["problems"][0]["key"] == "band.low"
    assert (
        "not taken over the broker"
        in answer("set", {"changes": {"band.low": "30F"}, "anyway": True})["error"]
    )
    assert answer("note", {"text": "from afar"}) == {"method": "note", "result": {}}
    assert "JSON object" in answer("hand", [1])["error"]
    listener.close()
    assert voice.house.events("note")[-1]["text"] == "from afar"


@needs_mosquitto
def test_a_command_that_somebody_left_behind_is_not_obeyed(voice: Voice, broker: Broker) -> None:
    voice.site(mqtt(broker, "change = true"))
    voice.start_guard()
    listener = Listener(broker.port)
    listener.client.publish("valley/orchard/set", '{"changes": {"band.low": "38F"}}', qos=1, retain=True)
    voice.start()
    until(lambda: listener.of("valley/orchard/state"), "a state")
    time.sleep(1.0)
    listener.close()

    assert voice.house.status()["band"]["low_c"] == pytest.approx(2.222, abs=0.01)


def test_a_broker_that_is_nowhere_is_one_line(voice: Voice) -> None:
    voice.site(f'\n[mqtt]\nhost = "localhost"\nport = {free_port()}\ntopic = "valley/orchard"\ntls = false\n')
    voice.start_guard()
    voice.start()
    until(lambda: voice.count("broker fails"), "told")
    time.sleep(4.0)

    assert voice.count("broker fails") == 1
    assert voice.count("the broker cannot be reached: Connection refused") == 1
    assert voice.stop() == 0

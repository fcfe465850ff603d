"""The whole notifier as a process, beside a real guard, a real broker, and what may go wrong with either."""

import json
import os
import signal
import sys
import time
from pathlib import Path

import jsonschema
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from overwinter import schemas
from tests.notify.broker import (
    PASSWORD,
    Authority,
    Broker,
    Listener,
    free_port,
    needs_mosquitto,
    until,
)
from tests.notify.voice import Voice, mqtt

OUTAGE_S = 120.0 if os.environ.get("LONG") else 12.0
"""For how long the broker is away; `LONG=1 make test` makes it two minutes."""


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


def test_a_broker_that_is_nowhere_is_one_line(voice: Voice) -> None:
    voice.site(f'\n[mqtt]\nhost = "localhost"\nport = {free_port()}\ntopic = "valley/orchard"\ntls = false\n')
    voice.start_guard()
    voice.start()
    until(lambda: voice.count("broker fails"), "told")
    time.sleep(4.0)

    assert voice.count("broker fails") == 1
    assert voice.count("the broker cannot be reached: Connection refused") == 1
    assert voice.stop() == 0

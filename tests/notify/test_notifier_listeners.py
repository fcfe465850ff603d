"""What those hear who listen at a real broker, how old it may be, and what they may ask for from afar."""

import json
import signal
import time
from typing import Any

import jsonschema
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from overwinter import schemas
from tests.notify.broker import Broker, Listener, needs_mosquitto, until
from tests.notify.voice import Voice, mqtt


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

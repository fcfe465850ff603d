"""The link to a broker, used from two threads at once: ours, and the library's that calls back."""

import signal
import threading
import time

from overwinter.core.telling import Mqtt
from overwinter.notify.mqtt import Broker as Link
from tests.notify.broker import Broker, Listener, needs_mosquitto, until


def link_to(broker: Broker, joined: threading.Event) -> Link:
    return Link(
        Mqtt(host="localhost", port=broker.port, topic="valley/orchard", tls=False),
        client_id="the-orchard",
        password=None,
        tell=lambda kind, _text: joined.set() if kind == "connected" else None,
        connected=lambda: None,
    )


@needs_mosquitto
def test_a_state_that_is_said_while_another_word_is_acknowledged_holds_nobody_up(broker: Broker) -> None:
    joined = threading.Event()
    link = link_to(broker, joined)
    link.start()
    assert joined.wait(60.0)
    said: list[int] = []

    def talk() -> None:
        for turn in range(300):
            link.notice({"turn": turn})  # its acknowledgement comes right when the state is said
            while not link.state({"turn": turn}):
                time.sleep(0.01)
            said.append(turn)

    talker = threading.Thread(target=talk, daemon=True)
    talker.start()
    talker.join(60.0)

    assert not talker.is_alive(), f"held up after {len(said)} states"
    assert len(said) == 300
    link.close(2.0)


@needs_mosquitto
def test_what_a_slow_link_has_not_taken_is_replaced_and_the_latest_gets_there(broker: Broker) -> None:
    joined = threading.Event()
    link = link_to(broker, joined)
    assert not link.state({"turn": 0}), "nobody is there who would take it"
    link.start()
    assert joined.wait(60.0)
    listener = Listener(broker.port)
    assert broker.process is not None

    broker.process.send_signal(signal.SIGSTOP)
    taken = [turn for turn in range(1, 50) if link.state({"turn": turn})]
    broker.process.send_signal(signal.SIGCONT)
    until(lambda: link.state({"turn": 50}), "the link takes it again")
    until(lambda: {"turn": 50} in [state.body for state in listener.of("valley/orchard/state")], "it came")
    heard = [state.body["turn"] for state in listener.of("valley/orchard/state")]
    listener.close()
    link.close(2.0)

    assert taken == [1]
    assert heard == [1, 50]

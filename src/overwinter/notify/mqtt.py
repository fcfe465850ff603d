"""MQTT 5: the state, the alarms and whether we are alive, for as many listeners as a broker bears.

Below the topic of site.toml:

- `alive` (retained): {"alive": true} when we come, {"alive": false} as our will when we go without a word;
  the broker waits `will_delay_s` before it says so, since a link that flaps is no death;
- `state` (retained, expires after `expiry_s`): the guard's status; nobody reads an old temperature as new;
- `notice`: one message an alarm raised, cleared or reminded, each with an `id` of its own;
- with `change = true`: `set`, `hand`, `release`, `quiet`, `note` take what the socket's methods take, as
  JSON; the answer goes to the response topic of the request, else to `answer`.

Rule 1: QoS 1. While the broker is away at most `queue` notices wait, in order; of the state only the latest
        counts, so it never waits.
Rule 2: the password comes from a file, is never in argv, environment or a line of ours.
Rule 3: a broker that is away, refuses us or shows a bad certificate is told once, not at every try.
"""

import contextlib
import json
import socket
import ssl
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from overwinter.core.telling import Mqtt

TYPE_CHECKING = False
if TYPE_CHECKING:
    from paho.mqtt.client import Client, MQTTMessageInfo

COMMANDS = ("set", "hand", "release", "quiet", "note")
"""What may be asked from afar. Not drop_samples and prove: those need somebody at the house."""

PAYLOAD_BYTES = 16_384
RETRY_LEAST_S, RETRY_MOST_S = 1, 60
SESSION_S = 60
LOOK_S = 5.0

Ask = Callable[[str, dict[str, object]], object]


class Broker:
    """The link to one broker, with a thread of its own in the client library."""

    def __init__(
        self,
        spec: Mqtt,
        *,
        client_id: str,
        password: str | None,
        tell: Callable[[str, str], None],
        connected: Callable[[], None],
        ask: Ask | None = None,
    ) -> None:
        """`tell(kind, text)` hears of trouble ("broker") and of its end ("connected"); `ask` serves commands.

        `connected` is called whenever a fresh state is wanted, since what was said before may be old.

        Raises
        ------
        OSError
            The file of authorities cannot be read, or is none.
        """
        # Heavy, and only for those who have a broker.
        from paho.mqtt import client as paho
        from paho.mqtt.enums import CallbackAPIVersion
        from paho.mqtt.packettypes import PacketTypes

        self._spec = spec
        self._tell = tell
        self._ask = ask if spec.change else None
        self._wanted = connected
        self._types = PacketTypes
        self._context = ssl.create_default_context(cafile=spec.ca_file) if spec.tls else None
        self._trouble: str | None = None
        self._on_its_way: MQTTMessageInfo | None = None
        client = self._client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=paho.MQTTv5
        )
        client.max_queued_messages_set(spec.queue)
        client.reconnect_delay_set(RETRY_LEAST_S, RETRY_MOST_S)
        client.on_connect = self._connected
        client.on_connect_fail = self._not_connected
        client.on_disconnect = self._gone
        client.on_message = self._asked
        if spec.user is not None:
            client.username_pw_set(spec.user, password)
        if self._context is not None:
            client.tls_set_context(self._context)
        will = _properties(PacketTypes.WILLMESSAGE)
        will.WillDelayInterval = int(spec.will_delay_s)
        client.will_set(self._topic("alive"), _alive(False), qos=1, retain=True, properties=will)

    def start(self) -> None:
        """Connect, now or as soon as it can be had, and again whenever the link is lost."""
        properties = _properties(self._types.CONNECT)
        # The session has to outlive the will's delay: with the session the will would go out at once.
        properties.SessionExpiryInterval = int(self._spec.will_delay_s) + SESSION_S
        self._client.connect_async(
            self._spec.host, self._spec.port, keepalive=int(self._spec.keepalive_s), properties=properties
        )
        self._client.loop_start()

    def state(self, status: Mapping[str, Any] | None) -> bool:
        """The latest; None: the guard does not answer, so what was said before is taken back.

        False: not said, since there is no link or the last one is on its way still; ask again, with what is
        the latest by then. What a slow link has not taken is replaced, not queued behind.
        """
        # The library calls back with a lock of its own held, and wants it in `publish`: a lock of ours around
        # that, wanted in a callback too, would hold both threads for good. So there is none.
        last = self._on_its_way
        if not self._client.is_connected() or (last is not None and not last.is_published()):
            return False
        properties = _properties(self._types.PUBLISH)
        if status is not None:
            properties.MessageExpiryInterval = int(self._spec.expiry_s)
        body = b"" if status is None else json.dumps(dict(status)).encode()
        info = self._client.publish(self._topic("state"), body, qos=1, retain=True, properties=properties)
        # What the library does not take it will never acknowledge.
        self._on_its_way = info if info.rc == 0 else None
        return info.rc == 0

    def notice(self, body: Mapping[str, object]) -> None:
        """One alarm raised, cleared or reminded; waits while the broker is away."""
        from paho.mqtt.client import MQTT_ERR_QUEUE_SIZE

        info = self._client.publish(self._topic("notice"), json.dumps(dict(body)).encode(), qos=1)
        if info.rc == MQTT_ERR_QUEUE_SIZE:
            self._say(f"{self._spec.queue} notices wait for the broker already; the newest is dropped")

    def close(self, within_s: float) -> None:
        """Say goodbye, as the will would have, and end."""
        if self._client.is_connected():
            info = self._client.publish(self._topic("alive"), _alive(False), qos=1, retain=True)
            with contextlib.suppress(RuntimeError, ValueError):  # the link went: then the will says it
                info.wait_for_publish(within_s)
        self._client.disconnect()
        self._client.loop_stop()

    def _topic(self, name: str) -> str:
        return f"{self._spec.topic}/{name}"

    def _connected(
        self, client: "Client", _data: object, _flags: object, reason: Any, _props: object
    ) -> None:
        if reason.is_failure:
            self._say(f"the broker refuses us: {reason}")
            return
        self._trouble = None
        self._tell("connected", f"{self._spec.host}:{self._spec.port}")
        client.publish(self._topic("alive"), _alive(True), qos=1, retain=True)
        self._on_its_way = None
        # The library sends again what was on its way when the link broke: a newer state must follow it.
        self._wanted()
        if self._ask is not None:
            client.subscribe([(self._topic(name), 1) for name in COMMANDS])

    def _not_connected(self, _client: "Client", _data: object) -> None:
        # The library does not say why; whoever has to mend it needs to know.
        self._say(f"the broker cannot be reached: {self._why_not()}")

    def _gone(self, _client: "Client", _data: object, _flags: object, reason: Any, _props: object) -> None:
        if reason.is_failure:
            self._say(f"the link to the broker is lost: {reason}")

    def _asked(self, client: "Client", _data: object, message: Any) -> None:
        """A command: held to what the guard allows, and answered where the asker listens."""
        assert self._ask is not None
        method = message.topic.removeprefix(f"{self._spec.topic}/")
        if message.retain:
            return  # left by somebody who is long gone: no one stands behind it now
        answer = {"method": method, **answer_to(method, message.payload, self._ask)}
        given = message.properties
        topic = getattr(given, "ResponseTopic", None) or self._topic("answer")
        properties = _properties(self._types.PUBLISH)
        correlation = getattr(given, "CorrelationData", None)
        if correlation is not None:
            properties.CorrelationData = correlation
        client.publish(topic, json.dumps(answer).encode(), qos=1, properties=properties)

    def _why_not(self) -> str:
        address = (self._spec.host, self._spec.port)
        try:
            with socket.create_connection(address, LOOK_S) as plain:
                if self._context is not None:
                    with self._context.wrap_socket(plain, server_hostname=self._spec.host):
                        pass
        except ssl.SSLCertVerificationError as error:
            return f"its certificate is refused: {error.verify_message}"
        except OSError as error:
            return error.strerror or str(error)
        return "the link breaks before it stands"

    def _say(self, text: str) -> None:
        if text != self._trouble:
            self._trouble = text
            self._tell("broker", f"{self._spec.host}:{self._spec.port}: {text}")


def answer_to(method: str, payload: bytes, ask: Ask) -> dict[str, object]:
    """What a command from afar comes to: {"result"} or {"error", "problems"}; never raises.

    `anyway` is not taken from afar: what the guard warns of wants somebody who sees the house.
    """
    from overwinter.wire.client import RpcError, Unreachable

    if len(payload) > PAYLOAD_BYTES:
        return {"error": f"{len(payload)} bytes; allowed: {PAYLOAD_BYTES} at most"}
    try:
        params = json.loads(payload) if payload.strip() else {}
    except (ValueError, RecursionError):
        return {"error": "the payload is not JSON"}
    if not isinstance(params, dict):
        return {"error": "the payload must be a JSON object"}
    if "anyway" in params:
        return {"error": "anyway: not taken over the broker; do it from a shell at the house"}
    try:
        return {"result": ask(method, params)}
    except RpcError as error:
        return {"error": error.message, "problems": error.problems}
    except Unreachable as error:
        return {"error": f"the guard cannot be reached: {error}"}


def password_from(folder: str | None) -> str | None:
    """The credential `mqtt-password` that systemd lays into `folder`; None if there is none.

    Raises
    ------
    OSError, UnicodeDecodeError
        It is there and cannot be read.
    """
    if folder is None:
        return None
    path = Path(folder) / "mqtt-password"
    try:
        return path.read_text("utf-8").rstrip("\r\n")
    except FileNotFoundError:
        return None


def _properties(packet_type: int) -> Any:
    from paho.mqtt.properties import Properties

    return Properties(packet_type)  # type: ignore[no-untyped-call]


def _alive(is_alive: bool) -> bytes:
    return json.dumps({"alive": is_alive}).encode()

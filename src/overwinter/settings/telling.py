"""`[notices]`, `[mqtt]` and `[web]` of site.toml: who is told, and by what.

Rule 1: no secret is ever read here; a password in this file is refused, and not repeated.
Rule 2: a command is a list of words, never a line for a shell: what an alarm says can then not be run.
"""

import ipaddress
import re
from collections.abc import Callable

from overwinter.core.telling import Mqtt, Notices, Signal, Web
from overwinter.settings.fields import Table

WORDS_MAX = 32
WORD_CHARACTERS_MAX = 1024
TOPIC_CHARACTERS_MAX = 128

_NOTICES = Notices()
_MQTT = Mqtt(host="", port=0, topic="")
_WEB = Web()
_MQTT_PORT = 1883
_MQTT_TLS_PORT = 8883  # both as registered with IANA

_COMMAND = '["/path/of/program", "argument", ...], with an absolute path and no shell'
_HOST = "the name or address of a broker, without scheme and port"
_URL = "an http:// or https:// address"
_TOPIC = f"1..{TOPIC_CHARACTERS_MAX} characters, no + or #, no / or $ at its start, no / at its end"
_SECRET = "give it to the notifier's service as the credential mqtt-password"
_METRICS = "the absolute path of a file whose name ends in .prom"
_BIND = 'an address of this machine: "127.0.0.1" (only from here), "::1", or the one people shall reach'


def notices(table: Table, pin_used: Callable[[int, Table, str], None]) -> Notices:
    """`[notices]`; `pin_used` is told of every pin that it takes."""
    heartbeat = table.one_of(["heartbeat_command", "heartbeat_url"], required=False)
    if heartbeat is None and table.has("heartbeat_every_s") and not table.has("heartbeat_command"):
        table.refuse("heartbeat_every_s", table.tree["heartbeat_every_s"], "beside one of them", _ALONE)
    found = Notices(
        led=_signal(table, "led", pin_used),
        buzzer=_signal(table, "buzzer", pin_used),
        remind_every_h=_or(table.number("remind_every_h", 0.0, 168.0, measure="h"), _NOTICES.remind_every_h),
        command=_command(table, "command"),
        command_timeout_s=_or(
            table.number("command_timeout_s", 1.0, 600.0, measure="s"), _NOTICES.command_timeout_s
        ),
        heartbeat_command=_command(table, "heartbeat_command") if heartbeat == "heartbeat_command" else (),
        heartbeat_url=(
            _matching(table, "heartbeat_url", r"https?://[^\s]+", _URL, longest=1024)
            if heartbeat == "heartbeat_url"
            else None
        ),
        heartbeat_every_s=_or(
            table.number("heartbeat_every_s", 10.0, 86_400.0, measure="s"), _NOTICES.heartbeat_every_s
        ),
        metrics_file=_matching(table, "metrics_file", r"/.*[^/]\.prom", _METRICS, longest=1024),
    )
    table.finish()
    return found


_ALONE = "nothing beats at this pace: give heartbeat_command or heartbeat_url"


def mqtt(table: Table) -> Mqtt:
    """`[mqtt]`, which must name its broker and its topic."""
    for name, what in (("host", _HOST), ("topic", _TOPIC)):
        if not table.has(name):
            table.missing(name, what)
    if table.take("password") is not None:  # and is not repeated here: problems go to the journal
        table.refuse("password", None, _SECRET, f"must not stand in this file: {_SECRET}")
    tls = table.flag("tls", default=_MQTT.tls)
    port = table.whole("port", 1, 65_535)
    queue = table.whole("queue", 1, 100_000)
    found = Mqtt(
        host=_matching(table, "host", r"[\w.:\-]+", _HOST, longest=255) or "",
        port=port or (_MQTT_TLS_PORT if tls else _MQTT_PORT),
        topic=_matching(table, "topic", r"[^/$+#\s][^+#\s]*(?<!/)", _TOPIC, longest=TOPIC_CHARACTERS_MAX)
        or "",
        tls=tls,
        ca_file=_matching(table, "ca_file", r"/.+", "an absolute path", longest=1024),
        user=table.text("user", "") or None,
        expiry_s=_or(table.number("expiry_s", 10.0, 86_400.0, measure="s"), _MQTT.expiry_s),
        will_delay_s=_or(table.number("will_delay_s", 0.0, 3600.0, measure="s"), _MQTT.will_delay_s),
        keepalive_s=_or(table.number("keepalive_s", 5.0, 600.0, measure="s"), _MQTT.keepalive_s),
        queue=_MQTT.queue if queue is None else queue,
        change=table.flag("change", default=_MQTT.change),
    )
    table.finish()
    return found


def web(table: Table) -> Web:
    """`[web]`."""
    bind = table.text("bind", _WEB.bind)
    try:
        ipaddress.ip_address(bind)
    except ValueError:
        table.refuse("bind", bind, _BIND)
    port = table.whole("port", 1, 65_535)
    found = Web(
        bind=bind, port=_WEB.port if port is None else port, change=table.flag("change", default=False)
    )
    table.finish()
    return found


def _signal(table: Table, name: str, pin_used: Callable[[int, Table, str], None]) -> Signal | None:
    pin = table.whole(f"{name}_pin", 0, 27)
    active_high = table.flag(f"{name}_active_high", default=True)
    if pin is None:
        return None
    pin_used(pin, table, f"{name}_pin")
    return Signal(pin=pin, active_high=active_high)


def _command(table: Table, name: str) -> tuple[str, ...]:
    value = table.take(name)
    if value is None:
        return ()
    if isinstance(value, str):
        table.refuse(name, value, _COMMAND, f"is one text; it must be a list of words: {_COMMAND}")
        return ()
    words = value if isinstance(value, list) else []
    if not (
        1 <= len(words) <= WORDS_MAX
        and all(
            isinstance(word, str) and len(word) <= WORD_CHARACTERS_MAX and "\0" not in word for word in words
        )
        and words[0].startswith("/")
    ):
        table.refuse(name, value, _COMMAND)
        return ()
    return tuple(words)


def _matching(table: Table, name: str, pattern: str, allowed: str, *, longest: int) -> str | None:
    if not table.has(name):
        table.take(name)
        return None
    text = table.text(name, None, longest=longest)
    if text and re.fullmatch(pattern, text) is None:
        table.refuse(name, text, allowed)
        return None
    return text or None


def _or(value: float | None, default: float) -> float:
    return default if value is None else value

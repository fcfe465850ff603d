"""The notifier: asks the guard how it is, at a set pace and whenever something happened, and tells everybody.

Rule 1: it only asks. It may hang, die or be stopped for a day; the guard does not notice.
Rule 2: every way of telling has a thread of its own; one that hangs holds up none of the others.
Rule 3: it remembers what it has told (`memory`), so that a restart tells nothing twice and forgets nothing.
"""

import contextlib
import json
import os
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from overwinter.core.nouns import Site
from overwinter.daemon.commentary import Repeats
from overwinter.notify.heartbeat import Heartbeat, by_command, by_url
from overwinter.notify.metrics import openmetrics
from overwinter.notify.mqtt import Broker
from overwinter.notify.outbox import Outbox, Parcel
from overwinter.notify.told import Notice, Told
from overwinter.wire.client import RpcError, Unreachable, Watch, call, watch

LOOK_EVERY_S = 10.0
"""How often the guard is asked when nothing happens."""

LOOK_AGAIN_S = 1.0
"""The shortest time between two questions: a guard with much to say is not asked at every word."""

WATCH_AGAIN_S = 5.0
STATE_SHARE = 3.0
"""The state goes to the broker so many times before it would expire, or when it says something else."""

MEMORY_BYTES = 1_048_576

_OURS = frozenset({"CREDENTIALS_DIRECTORY", "NOTIFY_SOCKET", "WATCHDOG_PID", "WATCHDOG_USEC"})


class Notifier:
    """One pump house's voice."""

    def __init__(
        self,
        site: Site,
        *,
        socket_path: str,
        memory: Path | None,
        password: str | None,
        log: Any,
        service: Any,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """`memory`: where to remember what was told, None: nowhere.

        Raises
        ------
        OSError
            The broker's authorities cannot be read.
        """
        self._site = site
        self._socket = socket_path
        self._memory = memory
        self._log = log
        self._service = service
        self._clock = clock
        self._repeats = Repeats()
        self._news: SimpleQueue[None] = SimpleQueue()
        self._is_over = False
        self._number = 0
        self._failing: set[str] = set()
        self._sent: tuple[object, ...] | None = None
        self._sent_s = 0.0
        self._remembered: bytes | None = None
        spec = site.notices
        self._told = Told(remind_every_s=3600.0 * spec.remind_every_h, known=_recall(memory), now_s=clock())
        self._outbox = (
            Outbox(spec.command, timeout_s=spec.command_timeout_s, tell=self._command_told)
            if spec.command
            else None
        )
        self._heartbeat = self._new_heartbeat()
        self._broker = (
            None
            if site.mqtt is None
            else Broker(
                site.mqtt,
                client_id="overwinter-" + site.mqtt.topic.replace("/", "-"),
                password=password,
                tell=self._broker_told,
                connected=self._state_wanted,
                ask=lambda method, params: call(socket_path, method, params),
            )
        )

    def run(self) -> None:
        """Tell, until `stop`."""
        for part in (self._outbox, self._heartbeat, self._broker):
            if part is not None:
                part.start()
        threading.Thread(target=self._listen, name="watch", daemon=True).start()
        self._service.ready()
        while not self._is_over:
            self.look()
            self._service.turned(self._status_line(), time.monotonic())
            self._rest()
        self._service.stopping()
        if self._heartbeat is not None:
            self._heartbeat.close()
        if self._broker is not None:
            self._broker.close(2.0)
        if self._outbox is not None:
            self._outbox.close(1.0)

    def stop(self) -> None:
        """End `run` soon; may be called from a signal handler."""
        # An Event's lock may be held right where the signal came, and is waited for then without end.
        self._is_over = True
        self._news.put(None)

    def _rest(self) -> None:
        """Until there is news or it is time again."""
        began_s = time.monotonic()
        ends_s = began_s + LOOK_EVERY_S
        while not self._is_over and (left_s := ends_s - time.monotonic()) > 0.0:
            with contextlib.suppress(Empty):
                self._news.get(timeout=left_s)
                ends_s = began_s + LOOK_AGAIN_S

    def look(self) -> None:
        """Ask the guard once, and pass on what is news."""
        status, why = self._ask()
        now_s = self._clock()
        if status is None:
            notices = self._told.see_nothing(why, now_s)
        else:
            notices = self._told.see(status.get("alarms") or [], now_s)
            if self._heartbeat is not None:
                self._heartbeat.turned((status.get("boot"), status.get("uptime_s")))
        for notice in notices:
            self._tell(notice, status)
        self._remember()
        self._send_state(status, now_s)
        self._write_metrics(status)

    def _ask(self) -> tuple[dict[str, Any] | None, str]:
        try:
            status = call(self._socket, "status")
        except (Unreachable, RpcError) as error:
            self._trouble("guard", str(error))
            return None, str(error).partition(";")[0]
        self._fine("guard")
        return (status, "") if isinstance(status, dict) else (None, "its answer is not understood")

    def _tell(self, notice: Notice, status: Mapping[str, Any] | None) -> None:
        self._number += 1
        now = datetime.now(UTC)
        body: dict[str, object] = {
            "id": f"{now.strftime('%Y%m%dT%H%M%S')}-{os.getpid()}-{self._number}",
            "house": self._site.name,
            "sent": _stamp(now),
            **asdict(notice),
            "health": None if status is None else status.get("health"),
            "temperature_c": None if status is None else status.get("temperature_c"),
        }
        self._log.warning("notice", state=notice.state, code=notice.code, text=notice.text)
        title = f"{self._site.name}: {notice.code} {notice.state}"
        if self._outbox is not None:
            words = {f"NOTICE_{key.upper()}": _word(value) for key, value in body.items()}
            environment = {**_environment(), **words, "NOTICE_TITLE": title}
            self._outbox.post(Parcel(title, json.dumps(body).encode() + b"\n", environment))
        if self._broker is not None:
            self._broker.notice(body)

    def _send_state(self, status: dict[str, Any] | None, now_s: float) -> None:
        if self._broker is None or self._site.mqtt is None:
            return
        heart = None if status is None else _what_matters(status)
        is_due = now_s - self._sent_s >= self._site.mqtt.expiry_s / STATE_SHARE
        if heart == self._sent and not (is_due and status is not None):
            return
        self._sent, self._sent_s = heart, now_s
        if not self._broker.state(None if status is None else {"t": _stamp(datetime.now(UTC)), **status}):
            self._sent = ()

    def _state_wanted(self) -> None:
        self._sent = ()
        self._news.put(None)

    def _write_metrics(self, status: Mapping[str, Any] | None) -> None:
        if self._site.notices.metrics_file is None:
            return
        path = Path(self._site.notices.metrics_file)
        # Renamed, never written in place: a scrape between two writes would read half of it. Not synced:
        # after a power cut nobody wants the old numbers.
        draft = path.with_name(f".{path.name}.draft")
        try:
            draft.write_text(openmetrics(status, house=self._site.name), "utf-8")
            draft.replace(path)
        except OSError as error:
            self._trouble("metrics file", f"{path}: {error.strerror or error}")
        else:
            self._fine("metrics file")

    def _listen(self) -> None:
        """In a thread: every new line of the logbook that is no sample means that somebody should look."""
        while not self._is_over:
            lines: Watch | None = None
            try:
                lines = watch(self._socket)
                for line in lines:
                    if line.get("event") != "sample":
                        self._news.put(None)
            except (Unreachable, RpcError):
                time.sleep(WATCH_AGAIN_S)  # asking tells what is wrong
            finally:
                if lines is not None:
                    lines.close()

    def _new_heartbeat(self) -> Heartbeat | None:
        spec = self._site.notices
        if spec.heartbeat_command:
            beat = by_command(spec.heartbeat_command, {**_environment(), "NOTICE_HOUSE": self._site.name})
        elif spec.heartbeat_url is not None:
            beat = by_url(spec.heartbeat_url)
        else:
            return None

        def told(error: str | None) -> None:
            if error is None:
                self._fine("heartbeat")
            else:
                self._trouble("heartbeat", error)

        return Heartbeat(beat, every_s=spec.heartbeat_every_s, tell=told)

    def _command_told(self, kind: str, text: str) -> None:
        if kind == "through":
            self._fine("command")
        else:
            self._trouble("command", text)

    def _broker_told(self, kind: str, text: str) -> None:
        if kind == "connected":
            self._fine("broker")
        else:
            self._trouble("broker", text)

    def _trouble(self, what: str, why: str) -> None:
        """Say it at a pace that a journal can bear."""
        self._failing.add(what)
        count = self._repeats.count(what, self._clock())
        if count:
            self._log.warning(f"{what} fails", why=why, times=count)

    def _fine(self, what: str) -> None:
        if what in self._failing:
            self._failing.discard(what)
            self._log.info(f"{what} works again")

    def _status_line(self) -> str:
        return f"failing: {', '.join(sorted(self._failing))}" if self._failing else "telling"

    def _remember(self) -> None:
        if self._memory is None:
            return
        data = json.dumps(self._told.known()).encode()
        if data == self._remembered:
            return
        draft = self._memory.with_name(f".{self._memory.name}.draft")
        with contextlib.suppress(OSError):  # then a restart tells once more
            draft.write_bytes(data)
            draft.replace(self._memory)
            self._remembered = data


def _stamp(now: datetime) -> str:
    return now.isoformat(timespec="seconds").replace("+00:00", "Z")


def _environment() -> dict[str, str]:
    """Ours, without what is between us and systemd."""
    return {key: value for key, value in os.environ.items() if key not in _OURS}


def _recall(memory: Path | None) -> list[dict[str, Any]]:
    if memory is None:
        return []
    try:
        with memory.open("rb") as file:
            known = json.loads(file.read(MEMORY_BYTES))
    except (OSError, ValueError, RecursionError):
        return []
    return [alarm for alarm in known if isinstance(alarm, dict)] if isinstance(known, list) else []


def _what_matters(status: Mapping[str, Any]) -> tuple[object, ...]:
    """What listeners want to hear of at once; the rest can wait for the next regular state."""
    heat, temperature_c = status.get("heat") or {}, status.get("temperature_c")
    return (
        status.get("mode"),
        status.get("health"),
        status.get("blind"),
        heat.get("on"),
        heat.get("reason"),
        None if temperature_c is None else round(temperature_c, 0),
        tuple((alarm.get("code"), alarm.get("acknowledged")) for alarm in status.get("alarms") or []),
    )


def _word(value: object) -> str:
    """For an environment: no null byte can be in there, and nothing longer than a line needs."""
    return "" if value is None else str(value).replace("\0", "")[:4096]

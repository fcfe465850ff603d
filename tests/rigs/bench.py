"""What the rigs share: how long they may take, and what must hold of a guard whatever its disk does."""

import json
import os
import socket
import time
from collections import Counter
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

from overwinter.settings.values import parse_settings, settings_facts
from overwinter.store.lines import read_lines
from tests.guard.house import House

IS_LONG = os.environ.get("OVERWINTER_LONG") == "1"
"""Every case instead of a sample of them: minutes instead of seconds."""

SEED = int(os.environ.get("OVERWINTER_SEED", "20260109"))
"""Of what is drawn by chance; printed where it matters."""

NOT_STORED = -32002
AGILE = ("sampling.sense_s=1", "sampling.record_s=1", "filter.window=1", "filter.max_rate_per_min=600")
AT_ONCE = ("relay.min_on_s=0", "relay.min_off_s=0")

COLD_C, WARM_C = 2.0, 8.0
FOLLOWS_WITHIN_S = 5.0
"""One reading a second and a window of one: two seconds, and three for a machine that is busy."""


def agile(house: House) -> None:
    """Start a guard that hears a sensor within a second and records each second."""
    house.reads(WARM_C)
    house.start()
    house.set(*AGILE, *AT_ONCE)
    house.until(lambda: house.status()["temperature_c"] == WARM_C, "the sensor is heard")
    house.until(lambda: len(house.events("sample")) >= 1, "samples are written")


def follows(house: House) -> None:
    """Heat goes on in the cold and off in the warm, in time."""
    house.reads(COLD_C)
    house.until(house.heat, "heat on in the cold", within_s=FOLLOWS_WITHIN_S)
    house.reads(WARM_C)
    house.until(lambda: not house.heat(), "heat off in the warm", within_s=FOLLOWS_WITHIN_S)


def in_file(house: House) -> dict[str, object]:
    """The settings as they lie on the disk, spelled like the answer to `settings`."""
    parsed = parse_settings(house.settings.read_bytes())
    assert not parsed.problems
    return settings_facts(parsed.settings)


def agree(house: House) -> None:
    """Memory and file say the same."""
    assert house.call("settings") == in_file(house)


def is_raised(house: House, code: str) -> bool:
    return any(alarm["code"] == code for alarm in house.status()["alarms"])


def code_of(answer: Any) -> int | None:
    """The code of a refusal; None: it was none."""
    return answer.get("code") if isinstance(answer, dict) else None


def lines_of(logs: Path) -> list[dict[str, Any]]:
    """The whole logbook; no line of it is broken."""
    skipped: Counter[str] = Counter()
    lines = list(read_lines(logs, skipped=skipped))
    assert not skipped, skipped
    return lines


def longest_gap_s(lines: list[dict[str, Any]]) -> float:
    """Between two samples."""
    ups = [line["up"] for line in lines if line["event"] == "sample"]
    return max((later - earlier for earlier, later in pairwise(ups)), default=0.0)


class Caller:
    """One connection that asks again and again, until the guard is gone."""

    def __init__(self, house: House) -> None:
        self._socket = socket.socket(socket.AF_UNIX)
        self._socket.settimeout(20)
        self._socket.connect(str(house.socket))
        self._rest = b""

    def ask(self, method: str, params: dict[str, object]) -> Any:
        """The result or the error object; None: the guard is gone."""
        request = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        try:
            self._socket.sendall(json.dumps(request).encode() + b"\n")
            while b"\n" not in self._rest:
                more = self._socket.recv(65536)
                if not more:
                    return None
                self._rest += more
        except (ConnectionError, BrokenPipeError):
            return None
        line, _, self._rest = self._rest.partition(b"\n")
        reply = json.loads(line)
        return reply.get("result", reply.get("error"))

    def close(self) -> None:
        self._socket.close()


def took_s(act: Callable[[], object]) -> float:
    """How long it takes."""
    began = time.monotonic()
    act()
    return time.monotonic() - began

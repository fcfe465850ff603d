"""What a change of a setting costs, from the request on the socket to the answer that says it is saved."""

import json
import os
import socket
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.bench.rig import house_on, median_ms
from tests.bench.table import Row
from tests.guard.house import House

RUNS = 41
GOAL = 1.5
APART_S = 0.4
"""Between two measurements, so that the fsync of the logbook, 0.25 s behind a change, falls into neither."""


def rows(folder: Path) -> list[Row]:
    """Changes between bare stores of the same bytes on the same disk."""
    one_s: list[float] = []
    two_s: list[float] = []
    set_s: list[float] = []
    read_s: list[float] = []
    with house_on(folder, "storing") as house:
        house.start()
        data = house.settings.read_bytes()
        with socket.socket(socket.AF_UNIX) as client:
            client.settimeout(10.0)
            client.connect(str(house.socket))
            for number in range(RUNS + 1):
                time.sleep(APART_S)
                one_s.append(_bare_s(folder, ("settings",), data))
                time.sleep(APART_S)
                two_s.append(_bare_s(folder, ("settings", "copy"), data))
                time.sleep(APART_S)
                set_s.append(_set_s(client, house, low=35.8 if number % 2 else 35.9))
                time.sleep(APART_S)
                read_s.append(_call_s(client, "status", None)[0])
    # The first of each warms caches and is not counted.
    one_ms, two_ms, set_ms, read_ms = (median_ms(times_s[1:]) for times_s in (one_s, two_s, set_s, read_s))
    return [
        Row(
            what=f"one set over the socket, median of {RUNS}",
            value=f"{set_ms:.2f} ms",
            floor=f"{one_ms:.2f} ms, one bare durable store",
            ratio=set_ms / one_ms,
            goal=GOAL,
        ),
        Row(
            what="the same against file and copy",
            value=f"{set_ms:.2f} ms",
            floor=f"{two_ms:.2f} ms, two bare durable stores",
            ratio=set_ms / two_ms,
        ),
        Row(what="of it not the disk's: set less two bare stores", value=f"{set_ms - two_ms:.2f} ms"),
        Row(what="a request that stores nothing: status", value=f"{read_ms:.2f} ms"),
    ]


def _bare_s(folder: Path, names: tuple[str, ...], data: bytes) -> float:
    """Draft, fsync, rename and fsync of the folder, for each file in turn [s]."""
    began_s = time.perf_counter()
    for name in names:
        draft = folder / f".{name}"
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
        os.write(descriptor, data)
        os.fsync(descriptor)
        os.close(descriptor)
        draft.rename(folder / name)
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        os.fsync(descriptor)
        os.close(descriptor)
    return time.perf_counter() - began_s


def _set_s(client: socket.socket, house: House, *, low: float) -> float:
    took_s, answer = _call_s(client, "set", {"changes": {"band.low": low}})
    assert answer["result"]["changes"], answer
    assert f"low = {low}" in house.settings.read_text()
    return took_s


def _call_s(client: socket.socket, method: str, params: Mapping[str, object] | None) -> tuple[float, Any]:
    request = {"jsonrpc": "2.0", "id": 1, "method": method, **({} if params is None else {"params": params})}
    data = json.dumps(request).encode() + b"\n"
    answer = b""
    began_s = time.perf_counter()
    client.sendall(data)
    while not answer.endswith(b"\n"):
        answer += client.recv(65536)
    took_s = time.perf_counter() - began_s
    return took_s, json.loads(answer)

"""A notifier that stands still for a simulated day beside a real guard in hurried time."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from overwinter.store.lines import read_lines
from overwinter.wire.client import call

SPEED = 1440.0
"""A day in a minute."""

DAY_S = 86_400.0
RECORD_S = 60.0


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    import tempfile

    with tempfile.TemporaryDirectory(prefix="ow-") as name:
        yield Path(name)


def lines(folder: Path) -> list[dict[str, Any]]:
    return list(read_lines(folder / "logs")) if (folder / "logs").exists() else []


def until(holds: Any, what: str, within_s: float = 30.0) -> None:
    ends = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends, what
        time.sleep(0.05)


def start(folder: Path, said: str, *words: str, **environment: str) -> "subprocess.Popen[bytes]":
    with (folder / said).open("wb") as log:
        return subprocess.Popen(
            [sys.executable, "-m", *words],
            stdout=log,
            stderr=log,
            cwd=Path(__file__).parents[2],
            env={**os.environ, **environment},
        )


def test_a_notifier_that_stands_still_for_a_day_costs_no_turn_and_is_one_clear_event(folder: Path) -> None:
    guard = start(folder, "guard.txt", "tests.rigs.fast", str(folder), str(SPEED), "0")
    notifier = None
    try:
        until(lambda: any(line["event"] == "sample" for line in lines(folder)), "the guard records")
        socket = folder / "run" / "s"
        site = (folder / "site.toml").read_text()
        (folder / "told.toml").write_text(site + f'\n[notices]\nmetrics_file = "{folder}/house.prom"\n')
        notifier = start(
            folder,
            "notifier.txt",
            *("overwinter", "notifier", "--site", str(folder / "told.toml"), "--socket", str(socket)),
        )
        until((folder / "house.prom").exists, "the notifier tells")
        time.sleep(1.0)
        notifier.send_signal(signal.SIGSTOP)
        begins_s = lines(folder)[-1]["up"]
        time.sleep(DAY_S / SPEED)
        ends_s = lines(folder)[-1]["up"]
        answered = call(str(socket), "status")
        notifier.send_signal(signal.SIGCONT)
        time.sleep(2.0)
        assert notifier.poll() is None, (folder / "notifier.txt").read_text()
        day = [line for line in lines(folder) if begins_s <= line["up"] <= ends_s]
    finally:
        for process in (notifier, guard):
            if process is not None:
                process.kill()
                process.wait(20)

    assert isinstance(answered, dict)
    assert ends_s - begins_s > 0.9 * DAY_S, "it was a day"
    samples = [line["up"] for line in day if line["event"] == "sample"]
    steps = [after - before for before, after in pairwise(samples)]
    # The hurried clock makes a tenth of a second of this machine into two minutes; a missed turn is more.
    assert len(samples) > 0.9 * DAY_S / RECORD_S
    assert sorted(steps)[len(steps) // 2] == pytest.approx(RECORD_S, rel=0.1)
    refused = [line for line in day if line["event"] == "refused"]
    assert [line["method"] for line in refused] == ["watch"], "one clear event"
    assert "too slow" in refused[0]["text"]
    assert refused[0]["pid"] == notifier.pid

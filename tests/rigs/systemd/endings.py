"""Chapters of `inside.py` in which the guard is stopped, killed, frozen or cut off, and what outlasts it."""

import json
import os
import shutil
import signal
import threading
import time
from collections import Counter
from pathlib import Path
from typing import Any, Self

from overwinter.wire.client import RpcError, Unreachable, call
from tests.rigs.systemd.commands import (
    RUNTIME,
    SOCKET,
    ask,
    drop_in,
    events,
    is_active,
    main_pid,
    must,
    reads,
    run,
    shown,
    states,
    systemctl,
    told,
    until,
)

ENDS = RUNTIME / "ends"
"""Where a drop-in writes down how each guard ended, after the shipped ExecStopPost= has succeeded."""

KILLS, HANGS, RESTARTS, CALLERS = 20, 3, 3, 2
QUICK = "[Unit]\nStartLimitBurst=2\n[Service]\nRestartSec=100ms\nWatchdogSec=3\n"
"""Also: the third start within ten seconds would be refused, did the shipped unit not forbid that."""

TELL_ENDS = f"[Service]\nExecStopPost=/bin/sh -c 'echo $SERVICE_RESULT >>{ENDS}'\n"
"""The shell expands the result; a file tells it, since the manager forgets it at the next start."""


class Callers:
    """Clients that ask again and again without a rest, and count what they get."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.odd: list[str] = []
        self.longest_s = 0.0
        self._is_over = False
        self._threads = [threading.Thread(target=self._ask_on) for _ in range(CALLERS)]

    def __enter__(self) -> Self:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._is_over = True
        for thread in self._threads:
            thread.join(30)

    def _ask_on(self) -> None:
        while not self._is_over:
            began_s = time.monotonic()
            try:
                call(SOCKET, "status")
                outcome = "answered"
            except RpcError as error:
                outcome = "refused by the guard"
                self.odd.append(str(error))
            except Unreachable as error:
                # Only that call whose guard died under it knows of a connection that had been made.
                is_cut = "closed the connection" in str(error) or "is gone" in str(error)
                outcome = "cut off" if is_cut else "no answer" if "no guard" not in str(error) else "refused"
                self.odd.append(str(error))
            self.longest_s = max(self.longest_s, time.monotonic() - began_s)
            self.counts[outcome] += 1

    def facts(self) -> dict[str, Any]:
        return {"counts": self.counts, "longest_s": round(self.longest_s, 2), "odd": self.odd[:20]}


def keeps_callers() -> dict[str, Any]:
    """Clients without a rest through restarts and kills of the unit as it is shipped."""
    socket_before = Path(SOCKET).stat().st_ino
    pauses: dict[str, list[float]] = {"restart": [], "kill": []}
    with Callers() as callers:
        for _ in range(RESTARTS):
            began_s = time.monotonic()
            must("systemctl", "restart", "overwinter")
            pauses["restart"].append(round(time.monotonic() - began_s, 2))
            time.sleep(0.5)
        by_restart = dict(callers.counts)
        for _ in range(RESTARTS):
            began_s, pid = time.monotonic(), main_pid()
            os.kill(pid, signal.SIGKILL)
            until(lambda pid=pid: main_pid() not in (0, pid) and is_active() and ask(), "it answers again")
            pauses["kill"].append(round(time.monotonic() - began_s, 2))
            time.sleep(0.5)
    return {
        **callers.facts(),
        "by restart": by_restart,
        "pauses": pauses,
        "is_same_socket": Path(SOCKET).stat().st_ino == socket_before,
    }


def survives() -> dict[str, Any]:
    """Killed and frozen in a row, with a shorter watchdog and a shorter rest before each restart."""
    drop_in(QUICK, TELL_ENDS)
    must("systemctl", "restart", "overwinter")
    ENDS.unlink(missing_ok=True)
    before = int(shown("overwinter", "NRestarts")["NRestarts"])
    bands, recovered = [], {"kill": [], "freeze": []}
    for number in range(KILLS + HANGS):
        kind = "kill" if number < KILLS else "freeze"
        pid, began_s = main_pid(), time.monotonic()
        os.kill(pid, signal.SIGKILL if kind == "kill" else signal.SIGSTOP)
        until(lambda pid=pid: main_pid() not in (0, pid) and is_active(), "another guard, and ready")
        band = ask("settings")["band"]
        recovered[kind].append(round(time.monotonic() - began_s, 2))
        bands.append([round(band[end] * 1.8 + 32.0, 3) for end in ("low_c", "high_c")])
    return {
        "bands": bands,
        "recovered_s": recovered,
        "ends": ENDS.read_text().split(),
        "restarts": int(shown("overwinter", "NRestarts")["NRestarts"]) - before,
        "states": states(),
        "alarms": [alarm["code"] for alarm in ask()["alarms"]],
        "left behind": sorted(path.name for path in RUNTIME.iterdir()),
    }


def stops() -> dict[str, Any]:
    """Stopped for good under the hands of clients that ask on, and started again."""
    drop_in(TELL_ENDS)
    must("systemctl", "restart", "overwinter")
    ENDS.unlink(missing_ok=True)
    with Callers() as callers:
        time.sleep(0.3)
        began_s = time.monotonic()
        stop = told(systemctl("stop", "overwinter"))
        stopped_s = time.monotonic() - began_s
        time.sleep(3.0)  # longer than RestartSec=
        stopped = states()
        asked = told(run("overwinter", "status"))
    found = {
        "stop": stop,
        "stopped": stopped,
        "stopped_s": stopped_s,
        "asked": asked,
        "callers": callers.facts(),
        "ends": ENDS.read_text().split(),
        "result": shown("overwinter", "Result")["Result"],
        "blind clock": json.loads((RUNTIME / "last-believed.json").read_text()),
        "boot": events("stop")[-1]["boot"],  # as a guard sees it: this machine's /proc is not the guard's
    }
    must("systemctl", "start", "overwinter")
    return {**found, "started": states(), "asked again": told(run("overwinter", "status"))}


def remembers() -> dict[str, Any]:
    """A sensor that is gone, and a restart: the time without a reading goes on where it was."""
    until(lambda: ask()["age_s"] is not None, "the sensor is heard")
    reads(None)
    lost_s = time.monotonic()
    time.sleep(3.0)
    must("systemctl", "restart", "overwinter")
    age_s, silent_s = ask()["age_s"], time.monotonic() - lost_s
    os.kill(main_pid(), signal.SIGKILL)
    time.sleep(0.5)
    again_s, killed_s = ask()["age_s"], time.monotonic() - lost_s
    reads(3.0)
    return {"restart": [age_s, silent_s], "kill": [again_s, killed_s]}


def is_let_alone() -> dict[str, Any]:
    """A forbidden system call ends the guard here, instead of an error that it might swallow."""
    drop_in("[Service]\nSystemCallErrorNumber=kill\n", TELL_ENDS)
    must("systemctl", "restart", "overwinter")
    ENDS.unlink(missing_ok=True)
    before = shown("overwinter", "NRestarts")["NRestarts"]
    must("overwinter", "set", "exercise.for_s=700")
    must("overwinter", "heat", "on", "--for", "1m")
    must("overwinter", "heat", "release")
    must("overwinter", "note", "a remark")
    must("overwinter", "drop-samples", "--yes")
    must("overwinter", "events", "--since", "1h")
    must("systemctl", "reload", "overwinter")
    time.sleep(2.0)  # a turn and a reading or two
    after = shown("overwinter", "NRestarts")["NRestarts"]
    must("systemctl", "stop", "overwinter")
    must("systemctl", "start", "overwinter")
    return {"restarts": [before, after], "ends": ENDS.read_text().split()}


def heats_unheard() -> dict[str, Any]:
    """Something stands where the socket belongs; and somebody stops the socket by itself."""
    must("systemctl", "stop", "overwinter")
    # It follows the stop, and a start that overtakes it would leave it listening where nothing lies any more.
    until(lambda: states()["socket"] == "inactive", "the socket is closed")
    socket = Path(SOCKET)
    socket.unlink(missing_ok=True)
    socket.mkdir()
    (socket / "in the way").touch()
    reads(1.0)
    began = told(systemctl("start", "overwinter"))
    until(lambda: shown("overwinter", "StatusText")["StatusText"], "the status is told")
    deaf = {**states(), "status": shown("overwinter", "StatusText")["StatusText"]}
    reads(3.0)
    shutil.rmtree(socket)
    must("systemctl", "restart", "overwinter")
    mended = {**states(), "asked": told(run("overwinter", "status"))}
    must("systemctl", "stop", "overwinter.socket")
    time.sleep(1.0)
    alone = states()
    must("systemctl", "restart", "overwinter")
    return {"began": began, "deaf": deaf, "mended": mended, "alone": alone, "again": states()}

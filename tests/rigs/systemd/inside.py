"""Runs inside the booted machine as root, which is its own to spoil: finds out, and judges nothing.

One chapter after the other, each with what it found; `test_service.py` holds that against the promises. A
chapter that fails tells its traceback, and the next one begins with a guard that runs. Where the shipped
unit would take too long, a drop-in makes it quicker, and the chapter says so.
"""

import grp
import json
import os
import pwd
import shutil
import signal
import subprocess
import threading
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self

from overwinter.wire.client import RpcError, Unreachable, call

FINDINGS = Path("/opt/rig/findings/findings.json")
UNITS = Path("/etc/systemd/system")
SITE, STATE, LOGS = (
    Path("/etc/overwinter/site.toml"),
    Path("/var/lib/overwinter"),
    Path("/var/log/overwinter"),
)
RUNTIME = Path("/run/overwinter")
SOCKET = str(RUNTIME / "control.sock")
SENSOR = Path("/srv/sensor")
DROP_IN = UNITS / "overwinter.service.d" / "rig.conf"
ENDS = RUNTIME / "ends"
"""Where a drop-in writes down how each guard ended, after the shipped ExecStopPost= has succeeded."""

OUTSIDER, MEMBER, BY_MAIN_GROUP = "mallory", "anna", "otto"
BAND_F = [37.0, 41.0]
"""What the owner sets, and what must be there for ever after."""

KILLS, HANGS, RESTARTS, CALLERS = 20, 3, 3, 2
QUICK = "[Unit]\nStartLimitBurst=2\n[Service]\nRestartSec=100ms\nWatchdogSec=3\n"
"""Also: the third start within ten seconds would be refused, did the shipped unit not forbid that."""

TELL_ENDS = f"[Service]\nExecStopPost=/bin/sh -c 'echo $SERVICE_RESULT >>{ENDS}'\n"
"""The shell expands the result; a file tells it, since the manager forgets it at the next start."""

SITE_TEXT = """
[site]
name = "{name}"
unit = "C"

[[sensor]]
name = "by the pump"
role = "control"
kind = "iio"
path = "{sensor}"

[relay]
kind = "simulated"
"""


def run(*words: str, within_s: float = 60.0) -> subprocess.CompletedProcess[str]:
    """A command; its outcome whatever it is."""
    return subprocess.run(words, capture_output=True, text=True, timeout=within_s, check=False)


def must(*words: str) -> str:
    """A command that has to succeed; what it says."""
    done = run(*words)
    if done.returncode != 0:
        raise RuntimeError(f"{' '.join(words)}: {done.returncode}: {done.stdout}{done.stderr}")
    return done.stdout


def told(done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    return {"code": done.returncode, "out": done.stdout, "err": done.stderr}


def systemctl(*words: str) -> subprocess.CompletedProcess[str]:
    return run("systemctl", "--no-pager", *words)


def shown(unit: str, *names: str) -> dict[str, str]:
    """Properties of a unit."""
    lines = must("systemctl", "show", unit, *(f"--property={name}" for name in names)).splitlines()
    return dict(line.split("=", 1) for line in lines)


def states() -> dict[str, str]:
    """Of the service, and of its socket."""
    units = ("overwinter.service", "overwinter.socket")
    return {unit.split(".")[1]: shown(unit, "ActiveState")["ActiveState"] for unit in units}


def main_pid(unit: str = "overwinter") -> int:
    return int(shown(unit, "MainPID")["MainPID"])


def is_active(unit: str = "overwinter") -> bool:
    """A start has told READY."""
    return shown(unit, "ActiveState")["ActiveState"] == "active"


def ask(method: str = "status", *, within_s: float = 20.0, **params: object) -> Any:
    return call(SOCKET, method, params or None, timeout_s=within_s)


def until(holds: Callable[[], object], what: str, within_s: float = 15.0) -> float:
    """Wait for it; how long that took [s]."""
    began_s = time.monotonic()
    while not holds():
        if time.monotonic() - began_s > within_s:
            raise TimeoutError(f"not within {within_s} s: {what}")
        time.sleep(0.02)
    return time.monotonic() - began_s


def reads(temperature_c: float | None) -> None:
    """What the sensor says from now on; None: it is gone."""
    file = SENSOR / "in_temp_input"
    if temperature_c is None:
        file.unlink(missing_ok=True)
        return
    draft = file.with_suffix(".draft")
    draft.write_text(f"{temperature_c * 1000:.0f}\n")
    draft.replace(file)


def writes_site(text: str) -> None:
    SITE.parent.mkdir(exist_ok=True)
    SITE.write_text(text)


def named(name: str) -> str:
    return SITE_TEXT.format(name=name, sensor=SENSOR)


def drop_in(*texts: str) -> None:
    """Other words for the unit from now on; none: as it is shipped."""
    DROP_IN.parent.mkdir(exist_ok=True)
    DROP_IN.write_text("\n".join(texts))
    must("systemctl", "daemon-reload")


def events(name: str) -> list[dict[str, Any]]:
    """The lines of the logbook, oldest first."""
    lines = [json.loads(line) for line in (LOGS / "logbook.jsonl").read_text().splitlines()]
    return [line for line in lines if line["event"] == name]


def as_user(user: str, *words: str) -> dict[str, Any]:
    """A command as this user would type it after logging in."""
    who = (f"--reuid={user}", f"--regid={pwd.getpwnam(user).pw_gid}", "--init-groups")
    return told(run("setpriv", *who, *words))


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


# The chapters.


def starts() -> dict[str, Any]:
    """The shipped unit, for the first time on this machine."""
    writes_site(named("bench"))
    reads(3.0)
    began_s = time.monotonic()
    started = told(systemctl("start", "overwinter"))
    ready_s = time.monotonic() - began_s
    # The guard tells how things are a moment after each turn, and a moment after it was ready.
    until(lambda: "heat off" in shown("overwinter", "StatusText")["StatusText"], "the status is told")
    status = systemctl("status", "overwinter").stdout
    for change in ("sampling.sense_s=1", "filter.window=1", "filter.max_rate_per_min=600"):
        must("overwinter", "set", change)
    must("systemctl", "enable", "overwinter")
    must("overwinter", "band", f"{BAND_F[0]}F", f"{BAND_F[1]}F")
    reads(1.0)
    # Cold must outlast nine readings before it is told.
    until(lambda: "ALARM cold" in shown("overwinter", "StatusText")["StatusText"], "cold is told", 30.0)
    status_when_cold = systemctl("status", "overwinter").stdout
    reads(3.0)
    return {
        "started": started,
        "ready_s": ready_s,
        "status": status,
        "status when cold": status_when_cold,
        "states": states(),
        "enabled": [
            systemctl("is-enabled", f"overwinter.{kind}").stdout.strip() for kind in ("service", "socket")
        ],
    }


def confined() -> dict[str, Any]:
    """What the kernel says of the running guard."""
    pid = main_pid()
    process = Path(f"/proc/{pid}")
    status = dict(line.split(":", 1) for line in (process / "status").read_text().splitlines())
    inside = ("nsenter", f"--target={pid}", "--mount", "--net")
    as_guard = ("setpriv", "--reuid=overwinter", "--regid=overwinter", "--init-groups")
    folders = "/ /boot /dev /etc /etc/overwinter /home /opt /proc/sys/kernel /root /run /srv /sys /usr /var"
    places = f"{folders} /var/lib /var/log {STATE} {LOGS} {RUNTIME} /tmp /var/tmp"
    attempt = (
        f'for at in {places}; do if touch "$at/.try" 2>/dev/null; then rm "$at/.try"; echo "$at"; fi; done'
    )
    return {
        "status": {name: status[name].split() for name in ("Uid", "Gid", "Groups", "NoNewPrivs", "Seccomp")},
        "capabilities": {name: int(status[name], 16) for name in status if name.startswith("Cap")},
        "oom_score_adj": [int((process / "oom_score_adj").read_text()), may_adjust_oom()],
        "interfaces": [
            line.split(":")[0].strip() for line in must(*inside, "cat", "/proc/net/dev").splitlines()[2:]
        ],
        "networks": [str(Path(f"/proc/{which}/ns/net").readlink()) for which in (pid, 1)],
        "routes": must(*inside, "cat", "/proc/net/route").splitlines()[1:],
        "writable": must(*inside, *as_guard, "sh", "-c", attempt).split(),
        "home": told(run(*inside, *as_guard, "ls", "/home")),
        "owners": {
            str(path): f"{path.owner()}:{path.group()}" for path in (STATE, LOGS, RUNTIME, SITE.parent)
        },
        "user": [
            pwd.getpwnam("overwinter").pw_uid,
            grp.getgrnam("overwinter").gr_gid,
            grp.getgrnam("gpio").gr_gid,
        ],
        "core": [
            line.split()[4:6] for line in (process / "limits").read_text().splitlines() if "core" in line
        ],
    }


def may_adjust_oom() -> bool:
    """Whether anybody on this machine may save a process from the out-of-memory killer."""
    try:
        Path("/proc/self/oom_score_adj").write_text("-1")
    except OSError:
        return False
    return True


def permits() -> dict[str, Any]:
    """Changes by people of the machine: each asks for a ceiling of his own."""
    asked = {}
    for user in (OUTSIDER, MEMBER, BY_MAIN_GROUP):
        asked[user] = {
            "read": as_user(user, "overwinter", "status", "--json"),
            "change": as_user(user, "overwinter", "set", f"limits.ceiling={75 + len(asked)}"),
            "uid": pwd.getpwnam(user).pw_uid,
            "groups": must("id", "-Gn", user).split(),
        }
    time.sleep(1.1)  # an event is written within a second
    return {
        "asked": asked,
        "refused": [line for line in events("refused") if line["method"] == "set"],
        "settings": [line for line in events("settings") if "limits.ceiling" in line["changes"]],
        "ceiling_c": ask("settings")["limits"]["ceiling_c"],
    }


def reloads() -> dict[str, Any]:
    """site.toml changed, then broken, under the running guard."""
    pid, at_once = main_pid(), 0
    codes = []
    for number in range(10):
        writes_site(named(f"bench {number}"))
        codes.append(systemctl("reload", "overwinter").returncode)
        at_once += ask()["site"] == f"bench {number}"
        until(lambda name=f"bench {number}": ask()["site"] == name, "the name is taken")
    writes_site(named("broken") + "nonsense = = 1\n")
    broken = told(systemctl("reload", "overwinter"))
    until(lambda: any(line["method"] == "reload" for line in events("refused")), "the refusal is recorded")
    writes_site(named("rewired").replace("by the pump", "by the door"))
    rewired = told(systemctl("reload", "overwinter"))
    until(lambda: sum(line["method"] == "reload" for line in events("refused")) == 2, "the second one, too")
    found = {
        "codes": codes,
        "at_once": at_once,
        "broken": broken,
        "rewired": rewired,
        "site": ask()["site"],
        "refused": [line for line in events("refused") if line["method"] == "reload"],
        "status": systemctl("status", "overwinter").stdout,
        "states": states(),
        "is_same_process": main_pid() == pid,
    }
    writes_site(named("bench"))
    must("systemctl", "reload", "overwinter")
    return found


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


def keeps_houses_apart() -> dict[str, Any]:
    """A second house from the template, where the units have one."""
    if not (UNITS / "overwinter@.service").exists():
        return {"is_template": False}
    sensor, folder = SENSOR.with_name("sensor-barn"), Path("/etc/overwinter@barn")
    sensor.mkdir()
    (sensor / "in_temp_input").write_text("5000\n")
    folder.mkdir(exist_ok=True)
    (folder / "site.toml").write_text(SITE_TEXT.format(name="barn", sensor=sensor))
    started = told(systemctl("start", "overwinter@barn"))
    must("overwinter", "band", "--house", "barn", "38F", "42F")
    barn, bench = main_pid("overwinter@barn"), main_pid()
    os.kill(barn, signal.SIGKILL)
    until(lambda: main_pid("overwinter@barn") not in (0, barn) and is_active("overwinter@barn"), "the barn's")
    found = {
        "is_template": True,
        "started": started,
        "barn": json.loads(must("overwinter", "status", "--house", "barn", "--json")),
        "bench": json.loads(must("overwinter", "status", "--json")),
        "is_left_alone": main_pid() == bench,
    }
    must("systemctl", "stop", "overwinter@barn")
    after = told(run("overwinter", "status", "--house", "barn"))
    return {**found, "stopped": after, "states": states()}


def journal() -> dict[str, Any]:
    """Every word of the guards and about them."""
    lines = must("journalctl", "--no-pager", "--output=json", "--unit=overwinter*").splitlines()
    entries = [json.loads(line) for line in lines]
    return {
        "of guards": sum(entry["_PID"] != "1" for entry in entries),
        "warnings": [str(entry["MESSAGE"]) for entry in entries if int(entry["PRIORITY"]) <= 4],
        "all": [str(entry["MESSAGE"]) for entry in entries],
    }


def tells() -> dict[str, Any]:
    """The notifier under its own unit, beside the guard, as a user who may change nothing."""
    unit, folder = "overwinter-notifier", Path("/run/overwinter-notifier")
    beat = '["/bin/sh", "-c", "id -u >/run/overwinter-notifier/beat"]'
    lines = f'metrics_file = "{folder}/house.prom"\nheartbeat_command = {beat}\n'
    SITE.write_text(SITE.read_text() + f"\n[notices]\n{lines}")
    started = told(systemctl("start", unit))
    until(lambda: (folder / "house.prom").exists() and (folder / "beat").exists(), "it tells")
    pid, asked_s = main_pid(unit), ask()["uptime_s"]
    os.kill(pid, signal.SIGSTOP)
    time.sleep(1.0)
    stopped_uptime_s = ask()["uptime_s"]
    os.kill(pid, signal.SIGCONT)
    found = {
        "started": started,
        "metrics": (folder / "house.prom").read_text(),
        "beat uid": int((folder / "beat").read_text()),
        "uid": int(must("stat", "--format=%u", f"/proc/{pid}")),
        "groups": must("sed", "-n", "s/^Groups://p", f"/proc/{pid}/status").split(),
        "guard's group": grp.getgrnam("overwinter").gr_gid,
        "turned meanwhile": stopped_uptime_s > asked_s,
        "journal": must("journalctl", f"--unit={unit}", "--output=cat"),
        "stopped": told(systemctl("stop", unit)),
    }
    writes_site(named("bench"))
    return found


CHAPTERS = (
    starts,
    confined,
    permits,
    reloads,
    keeps_callers,
    survives,
    stops,
    remembers,
    is_let_alone,
    heats_unheard,
    keeps_houses_apart,
    tells,
    journal,
)


def settle() -> None:
    """People, groups, a sensor."""
    users = Path("/etc/sysusers.d/rig.conf")
    users.parent.mkdir(exist_ok=True)
    users.write_text('g gpio -\nu overwinter - "keeps the pump house above freezing"\n')
    must("systemd-sysusers", str(users))
    for user, options in (
        (OUTSIDER, ()),
        (MEMBER, ("--groups", "overwinter")),
        (BY_MAIN_GROUP, ("--gid", "overwinter")),
    ):
        must("useradd", "--no-create-home", *options, user)
    SENSOR.mkdir(parents=True, exist_ok=True)
    (SENSOR / "in_humidityrelative_input").write_text("71000\n")
    must("systemctl", "daemon-reload")


def main() -> None:
    found: dict[str, Any] = {}
    settle()
    for chapter in CHAPTERS:
        began_s = time.monotonic()
        print(f"{chapter.__name__} ...", flush=True)
        try:
            found[chapter.__name__] = chapter()
        except Exception:  # noqa: BLE001 (the other chapters are still to be told)
            found[chapter.__name__] = {"failed": traceback.format_exc()}
            print(traceback.format_exc(), flush=True)
            reads(3.0)
            writes_site(named("bench"))
            systemctl("restart", "overwinter")
        found[chapter.__name__]["took_s"] = round(time.monotonic() - began_s, 1)
        print(f"{chapter.__name__}: {found[chapter.__name__]['took_s']} s", flush=True)
    FINDINGS.write_text(json.dumps(found))


if __name__ == "__main__":
    main()

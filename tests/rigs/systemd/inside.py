"""Runs inside the booted machine as root, which is its own to spoil: finds out, and judges nothing.

One chapter after the other, each with what it found; `test_service.py` holds that against the promises. A
chapter that fails tells its traceback, and the next one begins with a guard that runs. Where the shipped
unit would take too long, a drop-in makes it quicker, and the chapter says so.
"""

import grp
import json
import os
import pwd
import signal
import time
import traceback
from pathlib import Path
from typing import Any

from tests.rigs.systemd.commands import (
    LOGS,
    RUNTIME,
    SENSOR,
    SITE,
    SITE_TEXT,
    STATE,
    UNITS,
    as_user,
    ask,
    events,
    is_active,
    main_pid,
    must,
    named,
    reads,
    run,
    shown,
    states,
    systemctl,
    told,
    until,
    writes_site,
)
from tests.rigs.systemd.endings import heats_unheard, is_let_alone, keeps_callers, remembers, stops, survives

FINDINGS = Path("/opt/rig/findings/findings.json")

OUTSIDER, MEMBER, BY_MAIN_GROUP = "mallory", "anna", "otto"
BAND_F = [37.0, 41.0]
"""What the owner sets, and what must be there for ever after."""


# The chapters; those in which the guard comes to an end are in `endings.py`.


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

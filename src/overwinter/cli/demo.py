"""`demo`: the real guard on a simulated pump house, faster than life, in folders of its own."""

import os
import signal
import sys
import tempfile
import textwrap
import threading
import time
from pathlib import Path
from typing import Any

from overwinter.cli.options import Stop, Verb

VERB = Verb(
    "demo",
    about="""The real guard, socket, settings and logbook on a simulated pump house in a cold night, sped up.

Needs no Pi and no root, and never touches a real installation: folders and socket are new ones under the
folder for temporary files, and stay there for you to look at. Everything on the screen is simulated.""",
    examples=("overwinter demo", "overwinter demo --speed 120", "overwinter demo --hours 6 --unit C"),
    options={
        "speed": ("N", "simulated seconds for each real one (default 600, at most 3000)"),
        "hours": ("N", "simulated hours, from six in the evening (default 13, at most 48)"),
        "seed": ("N", "another house, night and noise (default 1)"),
        "unit": ("F|C", "how the screen speaks (default F)"),
    },
)

LINE_EVERY_S = 600.0
CHANGE_AT_H = 2.0
LOST_AT_H, FOUND_AT_H = 5.0, 6.5
SPEED_MOST = 3000.0
"""Beyond it a reading every ten seconds comes faster than threads take turns."""

SITE = """# The site of a demonstration: everything in it is simulated.
[site]
name = "a simulated pump house"
unit = "F"

[[sensor]]
name = "by the pump"
role = "control"
kind = "simulated"

[[sensor]]
name = "on the pipe"
role = "extra"
at = "pipe"
kind = "simulated"

[[sensor]]
name = "outdoors"
role = "outdoor"
kind = "simulated"

[relay]
kind = "simulated"

[heater]
watts = 500.0
kind = "air"
limiter = true
"""


def run(argv: list[str]) -> int:
    """Play one night."""
    given = VERB.parse(argv)
    speed = _number(given.value("speed"), "speed", default=600.0, most=SPEED_MOST)
    hours = _number(given.value("hours"), "hours", default=13.0, most=48.0)
    seed = int(_number(given.value("seed"), "seed", default=1.0, most=1e9))
    unit = (given.value("unit") or "F").upper()
    if unit not in ("F", "C"):
        raise Stop(2, f"--unit {unit}: F or C")
    return _play(speed=speed, hours=hours, seed=seed, unit=unit)


def _play(*, speed: float, hours: float, seed: int, unit: str) -> int:
    from overwinter.guard.clock import Clock
    from overwinter.guard.main import Simulation, guard
    from overwinter.guard.paths import Paths
    from overwinter.settings.site import parse_site
    from overwinter.twin.clock import ScaledClock
    from overwinter.twin.play import Play

    night = ScaledClock(speed)

    class Hall(Clock):
        """The guard's clock: the simulated night's."""

        def now_s(self) -> float:
            return night.now_s()

        def utc_s(self) -> float:
            return night.utc().timestamp()

        def real_s(self, duration_s: float) -> float:
            return duration_s / speed

    site = parse_site(SITE).site
    assert site is not None
    play = Play(site, night, seed, lost={"by the pump": (LOST_AT_H * 3600.0, FOUND_AT_H * 3600.0)})
    folder = Path(tempfile.mkdtemp(prefix="overwinter-demo-"))
    paths = Paths(
        site=folder / "site.toml",
        state=folder / "state",
        logs=folder / "logs",
        socket=folder / "control.sock",
    )
    paths.site.write_text(SITE)
    print(_opening(folder, speed=speed, hours=hours), flush=True)
    with (folder / "commentary.txt").open("w", encoding="utf-8") as commentary:
        simulation = Simulation(clock=Hall(), play=play, commentary=commentary)
        view = threading.Thread(target=_watch, args=(paths, night, hours, unit), name="view", daemon=True)
        view.start()
        code = guard(paths, simulation=simulation)
    print(_closing(folder, play.house.energy_kwh), flush=True)
    return code


def _watch(paths: Any, clock: Any, hours: float, unit: str) -> None:
    """A client like any other: sees the night through the socket, and types once into a second shell."""
    from overwinter.show.night import heading, line
    from overwinter.wire.client import Unreachable, call

    try:
        print(heading(unit), flush=True)
        due_s, has_changed, told = 60.0, False, 0
        while clock.now_s() < hours * 3600.0:
            try:
                status = call(str(paths.socket), "status")
            except Unreachable:
                time.sleep(0.05)
                continue
            assert isinstance(status, dict)
            told = _tell_news(paths.logs, told)
            if clock.now_s() >= due_s and status["age_s"] is not None:
                due_s += LINE_EVERY_S
                print(line(status, clock=f"{clock.utc():%H:%M}", unit=unit), flush=True)
            if not has_changed and clock.now_s() >= CHANGE_AT_H * 3600.0:
                has_changed = True
                _second_shell(paths.socket, "band", "38F", "42F")
            time.sleep(min(0.1, LINE_EVERY_S / clock.speed / 4))
    finally:
        os.kill(os.getpid(), signal.SIGTERM)


def _tell_news(logs: Path, told: int) -> int:
    """Alarms as they come into the logbook; heat is in the lines already."""
    from overwinter.store.logbook import read_lines

    events = [event for event in read_lines(logs) if event.get("event") == "alarm"]
    for event in events[told:]:
        what = f"alarm {event['code']} {event['state']}"
        text = f"{str(event['t'])[11:16]}  ! {what}: {event['text']}"
        print(textwrap.fill(text, 78, subsequent_indent=" " * 9), flush=True)
    return len(events)


def _second_shell(socket: Path, *words: str) -> None:
    """What a second shell would show: the command is a process of its own."""
    import subprocess

    command = [sys.executable, "-m", "overwinter", *words, "--socket", str(socket)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False)
    print(f"\n  in a second shell:\n  $ {_me()} {' '.join(words)} --socket {socket}")
    for said in (done.stdout + done.stderr).splitlines():
        print(f"  {said}")
    print(flush=True)


def _opening(folder: Path, *, speed: float, hours: float) -> str:
    minutes = hours * 3600.0 / speed / 60.0
    return f"""A simulated pump house in a cold night. The guard on it is the real one,
{speed:g} times faster than life: {hours:g} hours from six in the evening take {minutes:.1f} minutes.
Ctrl-C ends it sooner. Meanwhile, look in from a second shell:
  {_me()} status --socket {folder}/control.sock
"""


def _closing(folder: Path, energy_kwh: float) -> str:
    return f"""
The night is over; it took {energy_kwh:.1f} kWh. What the guard leaves is in {folder}:
  state/settings.toml     the settings, with the band as it was changed
  logs/logbook.jsonl      every sample and event, one JSON object a line
  commentary.txt          what a service would have told the system's journal
What to try next:
  {_me()} events --logs {folder}/logs --since 2026-01-01
  {_me()} samples --logs {folder}/logs --since 2026-01-01 --csv
  {_me()} demo --seed 2 --unit C
  {_me()} guard --help"""


def _me() -> str:
    """How this program was called, so that what is shown can be typed."""
    import shutil

    called = sys.argv[0]
    if not called.endswith("/overwinter"):
        return f"{sys.executable} -m overwinter"
    return "overwinter" if shutil.which("overwinter") == called else called


def _number(text: str | None, name: str, *, default: float, most: float) -> float:
    if text is None:
        return default
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0.0 < number <= most:
        raise Stop(2, f"--{name} {text}: a number above 0, at most {most:g}")
    return number

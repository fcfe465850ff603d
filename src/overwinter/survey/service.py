"""Does anything start the guard after a power cut, and end it when it hangs: units, watchdogs, version."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from overwinter import __version__
from overwinter.survey.finding import Finding, fault, not_seen, sound, unknown
from overwinter.survey.machine import CannotLook, Machine
from overwinter.survey.scene import Scene, Unit

FACTORY = "GPIOZERO_PIN_FACTORY"

_STARTED_AT_BOOT = frozenset({"enabled", "enabled-runtime", "static", "indirect", "generated", "alias"})
_WORDS_S = {
    "us": 1e-6,
    "ms": 1e-3,
    "s": 1.0,
    "min": 60.0,
    "h": 3600.0,
    "d": 86_400.0,
    "w": 604_800.0,
}
_SPAN = re.compile(r"([\d.]+)\s*(us|ms|s|min|h|d|w)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Supervision:
    """What supervises the guard."""

    board_watchdog_s: float | None = None  # RuntimeWatchdogUSec of systemd; None: not told
    has_watchdog_device: bool = False
    factory: str | None = None  # what the guard's own environment says
    unseen: str = ""


def look(machine: Machine, scene: Scene) -> Supervision:
    """The manager's own watchdog, and the guard's environment."""
    board_s, unseen = None, ""
    if scene.has_systemd:
        try:
            shown = machine.run("systemctl", "show", "--property=RuntimeWatchdogUSec")
            # As systemctl(1) prints it: RuntimeWatchdogUSec=1min, or =0 when it is off.
            board_s = None if shown is None else span_s(shown.partition("=")[2].strip())
        except CannotLook as error:
            unseen = str(error)
    return Supervision(
        board_watchdog_s=board_s,
        has_watchdog_device=machine.exists("/dev/watchdog") or machine.exists("/dev/watchdog0"),
        factory=_factory(machine, scene),
        unseen=unseen,
    )


def span_s(text: str) -> float | None:
    """A time as systemd prints it (systemd.time(7)): `1min 30s`, `0`, `infinity`; None: none of these."""
    if text in {"0", "off"}:
        return 0.0
    if text == "infinity":
        return float("inf")
    parts = _SPAN.findall(text)
    return sum(float(number) * _WORDS_S[word] for number, word in parts) if parts else None


def findings(seen: Supervision, scene: Scene) -> Iterator[Finding]:
    """What is to be said of supervision."""
    if not scene.has_systemd:
        yield unknown(
            "systemd",
            "systemd",
            "does not run this machine",
            why="Who starts the guard after a power cut, and restarts it when it hangs, cannot be seen.",
            fix="Make sure that whatever stands in for it does both.",
        )
    elif scene.units_unseen:
        yield not_seen(
            "service-unseen",
            scene.at.service,
            scene.units_unseen,
            why="Who starts the guard after a power cut cannot be seen.",
        )
    else:
        yield from _service(scene)
        yield from _watchdog(scene)
        yield from _board_watchdog(seen)
    yield from _answers(scene)
    yield from _pin_factory(seen, scene)
    yield from _version(scene)


def _service(scene: Scene) -> Iterator[Finding]:
    service, at = scene.service, scene.at
    if not service.is_there:
        yield fault(
            "service-missing",
            at.service,
            "is not installed",
            why="After a power cut nothing starts the guard again.",
            fix="Install the units overwinter.service and overwinter.socket, then:",
            command=f"sudo systemctl enable --now {at.service}",
        )
        return
    yield from _enabled(at.service, service)
    state = service.said.get("ActiveState", "")
    if service.is_active:
        yield sound("service-active", at.service, f"is {state}")
    else:
        yield fault(
            "service-inactive",
            at.service,
            f"is {state}",
            why="The guard that answers was started by hand, and no power cut will bring it back."
            if scene.guard.runs
            else "No guard runs: nothing watches, and nothing heats.",
            fix=f"See why with `systemctl status {at.unit}`, then:",
            command=scene.systemctl("restart"),
        )
    yield from _socket_unit(scene)


def _socket_unit(scene: Scene) -> Iterator[Finding]:
    socket, name = scene.socket, scene.at.socket_unit
    if not socket.is_there:
        yield fault(
            "socket-missing",
            name,
            "is not installed",
            why="Commands find no guard while it restarts.",
            fix="Install overwinter.socket, then:",
            command=f"sudo systemctl enable --now {name}",
        )
        return
    yield from _enabled(name, socket)
    if socket.is_active:
        yield sound("socket-active", name, "listens")
    elif scene.service.is_active:
        yield fault(
            "socket-inactive",
            name,
            f"is {socket.said.get('ActiveState')}",
            why="Commands may find no guard, although it heats.",
            command=f"sudo systemctl start {name}",
        )


def _enabled(name: str, unit: Unit) -> Iterator[Finding]:
    state = unit.said.get("UnitFileState", "")
    what = name.rpartition(".")[2]
    if state in _STARTED_AT_BOOT:
        yield sound(f"{what}-enabled", name, f"is {state}")
        return
    mask = "unmask" if state.startswith("masked") else "enable"
    yield fault(
        f"{what}-disabled",
        name,
        f"is {state or 'not enabled'}",
        why="After a power cut nothing starts it again.",
        command=f"sudo systemctl {mask} {name}"
        + (f" && sudo systemctl enable {name}" if mask == "unmask" else ""),
    )


def _watchdog(scene: Scene) -> Iterator[Finding]:
    if not scene.service.is_there:
        return
    why = "A guard that hangs stays hanging, with the relay as it was."
    watchdog_s = span_s(scene.service.said.get("WatchdogUSec", ""))
    if not scene.service.is_active:
        # Until a service has been started systemd says "infinity" of it, whatever its unit asks for.
        yield unknown(
            "watchdog",
            scene.at.service,
            "its watchdog is told only while it runs",
            why=why,
            fix="Look again when it runs.",
            command=scene.systemctl("start"),
        )
        return
    # What the guard itself was told, where it says so: a wrapper may have kept it from the guard.
    fed_s = (scene.guard.status or {}).get("watchdog_s", watchdog_s)
    if watchdog_s and watchdog_s != float("inf") and fed_s:
        yield sound("watchdog", scene.at.service, f"is restarted when it is silent for {watchdog_s:.0f} s")
        return
    yield fault(
        "watchdog",
        scene.at.service,
        "has no watchdog (WatchdogSec=)" if not watchdog_s else "has a watchdog that the guard does not feed",
        why=why,
        fix=f"Add these lines with `sudo systemctl edit {scene.at.service}` and restart; or take our unit.",
        command="[Service]\nWatchdogSec=30",
    )


def _board_watchdog(seen: Supervision) -> Iterator[Finding]:
    why = "When the kernel hangs, nobody is there to press reset: the relay stays as it was for the winter."
    if seen.unseen:
        yield not_seen("board-watchdog", "the board's watchdog", seen.unseen, why=why)
    elif not seen.has_watchdog_device:
        yield fault(
            "board-watchdog",
            "/dev/watchdog",
            "is not there",
            why=why,
            fix="On a Raspberry Pi add this line to config.txt and reboot:",
            command="dtparam=watchdog=on",
        )
    elif seen.board_watchdog_s is None:
        yield not_seen("board-watchdog", "RuntimeWatchdogUSec", "systemd does not tell it", why=why)
    elif seen.board_watchdog_s == 0.0 or seen.board_watchdog_s == float("inf"):
        yield fault(
            "board-watchdog",
            "the board's hardware watchdog",
            "is not used by systemd (RuntimeWatchdogSec is off)",
            why=why,
            fix="Put these two lines into /etc/systemd/system.conf.d/watchdog.conf, then "
            "`sudo systemctl daemon-reexec`:",
            command="[Manager]\nRuntimeWatchdogSec=15",
        )
    else:
        yield sound(
            "board-watchdog",
            "the board's hardware watchdog",
            f"resets a machine that hangs for {seen.board_watchdog_s:.0f} s",
        )


def _answers(scene: Scene) -> Iterator[Finding]:
    if scene.guard.runs:
        yield sound("guard", "the guard", "answers")
    elif scene.service.is_active:
        # Its socket is systemd's, and takes a question also from a guard that ends before it is ready.
        state = "does not get through its start" if scene.service.is_starting else "runs but does not answer"
        yield fault(
            "guard-silent",
            "the guard",
            f"{state}: {scene.guard.silence}",
            why="Nobody can see what it does, nor change it.",
            fix=f"Its last words say why: `sudo journalctl -u {scene.at.unit} -n 20`. Mend that, then:",
            command=scene.systemctl("restart"),
        )
    elif not scene.service.is_there:  # else it has been said that the service is inactive
        yield fault(
            "guard-stopped",
            "the guard",
            f"does not run: {scene.guard.silence}",
            why="Nothing watches, and nothing heats.",
            fix="Install and start the service; or, by hand and in the foreground:",
            command=scene.at.command("guard"),
        )


def _pin_factory(seen: Supervision, scene: Scene) -> Iterator[Finding]:
    if scene.site is None or scene.site.relay.kind != "gpio":
        return
    if (seen.factory or "lgpio").lower() == "lgpio":
        yield sound("pin-factory", FACTORY, "is lgpio" if seen.factory else "is not set, which means lgpio")
        return
    is_mock = str(seen.factory).lower() == "mock"
    yield fault(
        "pin-factory",
        FACTORY,
        f"is {seen.factory}, not lgpio",
        why="That one drives no pin at all: the relay never switches."
        if is_mock
        else "Only lgpio was tried out: another sets a relay's level later, or leaves it when it goes.",
        fix="Take it out of the unit's Environment= (or set it to lgpio), then:",
        command=scene.systemctl("restart"),
    )


def _version(scene: Scene) -> Iterator[Finding]:
    if scene.guard.status is None:
        return
    runs = scene.guard.status.get("version")
    if runs == __version__:
        yield sound("version", "the running guard", f"is the installed version, {__version__}")
        return
    yield fault(
        "version",
        "the running guard",
        f"is version {runs}; installed is {__version__}",
        why="What was mended by the update is not mended yet, and commands may misunderstand one another.",
        command=scene.systemctl("restart"),
    )


def _factory(machine: Machine, scene: Scene) -> str | None:
    """From the guard's own environment where that may be read, else from its unit, else from ours."""
    if not scene.service.is_there:
        return machine.variable(FACTORY)
    told = {}
    pid = scene.service.said.get("MainPID", "0")
    if pid.isdigit() and pid != "0":
        try:
            # proc_pid_environ(5): NAME=VALUE, each ended by a zero byte; for root and the same user only.
            told = _pairs((machine.text(f"/proc/{pid}/environ") or "").split("\0"))
        except CannotLook:
            told = {}
    return (told or _pairs(scene.service.said.get("Environment", "").split())).get(FACTORY)


def _pairs(words: list[str]) -> dict[str, str]:
    return {name: value for name, equals, value in (word.partition("=") for word in words) if equals}

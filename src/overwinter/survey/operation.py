"""How the guard is set and how it does: mode against the weather, contact NC, proof, alarms, who is told."""

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from overwinter.core.nouns import Health, Role, Settings, Site
from overwinter.core.units import say
from overwinter.survey.finding import Finding, fault, hint, not_seen, sound
from overwinter.survey.machine import CannotLook, Machine
from overwinter.survey.scene import Scene, Unit, unit
from overwinter.survey.sensors import Sensors

NEAR_K = 3.0
"""As near as this above the low end of the band it is cold: a house cools so much in an evening."""

FREEZING_C = 0.0
LOOPBACK = ("127.0.0.1", "::1")

WINDOW_LEAST = 5
"""A median of so many readings outvotes two that are wrong."""

PROOF_HOLDS = timedelta(days=365)
"""A proof is for one season."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """What is known beside the guard's own answer."""

    now: datetime
    proof: Mapping[str, Any] | None = None
    proof_unseen: str = ""
    notifier: Unit | None = None  # the service that tells; None: not asked for, or not to be seen


def look(machine: Machine, scene: Scene) -> Operation:
    """The last proof, from the guard or from its state file; and the service that tells."""
    proof, proof_unseen = None, ""
    status = scene.guard.status or {}
    if "proof" in status:
        proof = status["proof"]
    else:
        try:
            proof = (machine.state(scene.at.state_file) or {}).get("proof")
        except CannotLook as error:
            proof_unseen = str(error)
    notifier = None
    if scene.has_systemd and scene.site is not None and ways_of_telling(scene.site):
        with contextlib.suppress(CannotLook):
            notifier = unit(machine, scene.at.notifier)
    return Operation(
        now=machine.now(),
        proof=proof if isinstance(proof, Mapping) else None,
        proof_unseen=proof_unseen,
        notifier=notifier,
    )


def findings(seen: Operation, sensors: Sensors, scene: Scene) -> Iterator[Finding]:
    """What is to be said of how the house is guarded."""
    yield from _mode(sensors, scene)
    yield from _window(scene)
    yield from _contact(scene)
    yield from _proof(seen, scene)
    if scene.guard.status is not None:
        yield from _alarms(scene.guard.status, scene)
    if scene.site is not None:
        yield _told(scene.site, seen.notifier, scene)
        yield from _page(scene.site)


def _mode(sensors: Sensors, scene: Scene) -> Iterator[Finding]:
    if scene.mode is None:
        return
    if scene.mode != "observe":
        yield sound("mode", "mode", f"is {scene.mode}")
        return
    settings = scene.settings or Settings()
    inside_c, outdoor_c = (sensors.temperature_c(scene, role) for role in (Role.CONTROL, Role.OUTDOOR))
    cold = []
    if inside_c is not None and inside_c <= settings.low_c + NEAR_K:
        cold.append(f"it is {say(inside_c, settings.unit)} inside")
    if outdoor_c is not None and outdoor_c <= FREEZING_C:
        cold.append(f"{say(outdoor_c, settings.unit)} outdoors")
    why = "In this mode nothing is ever heated, whatever happens."
    command = scene.at.command("mode freeze")
    if cold:
        yield fault("observe", "mode", f"is observe, and {' and '.join(cold)}", why=why, command=command)
    else:
        yield hint("observe", "mode", "is observe", why=why, fix="Before the first frost:", command=command)


def _window(scene: Scene) -> Iterator[Finding]:
    if scene.settings is None:
        return
    window = scene.settings.window
    if window >= WINDOW_LEAST:
        yield sound("window", "filter.window", f"is {window}")
        return
    yield hint(
        "window",
        "filter.window",
        f"is {window}",
        why="Cheap sensors send damaged readings that look sound, even two in a row: these would decide.",
        fix="Unless the sensor is one without such readings:",
        command=f"overwinter set filter.window={WINDOW_LEAST}",
    )


def _contact(scene: Scene) -> Iterator[Finding]:
    site = scene.site
    if site is None or site.relay.contact != "NC":
        return
    if not scene.guard.runs and not scene.service.is_active:
        yield fault(
            "contact-nc",
            "contact NC",
            "and no guard runs: HEAT IS ON",
            why="The released relay heats without any limit but the independent one.",
            fix="Unplug the heater or open its breaker; or have it guarded:",
            command=scene.systemctl("start"),
        )
    elif scene.mode == "observe":
        yield fault(
            "contact-nc",
            "contact NC",
            "with mode observe",
            why="Heat is off only while guard and board keep the coil pulled in; any stop starts it.",
            fix="Unplug the heater for the summer, or open its breaker; when it is needed again:",
            command=scene.at.command("mode freeze"),
        )
    else:
        yield sound("contact-nc", "contact NC", "and the guard runs")


def _proof(seen: Operation, scene: Scene) -> Iterator[Finding]:
    why = "Only a proof test shows that sensor, relay, heater and fail-safe really work together."
    command = scene.at.command("prove")
    if seen.proof_unseen:
        yield not_seen("proof", "the last proof test", seen.proof_unseen, why=why)
        return
    if seen.proof is None:
        yield hint("proof", "proof test", "there has never been one", why=why, command=command)
        return
    verdict = str(seen.proof.get("verdict"))
    try:
        at = datetime.fromisoformat(str(seen.proof.get("t")))
        age = seen.now - at
    except (ValueError, TypeError):
        yield hint("proof", "proof test", "its date is not known", why=why, command=command)
        return
    when = f"on {at:%Y-%m-%d}"
    if verdict == "failed":
        yield fault(
            "proof",
            "proof test",
            f"failed {when}",
            why="Something between sensor and heater did not do its part then.",
            fix="See what it was in the logbook (`overwinter events`), mend it, and prove again:",
            command=command,
        )
    elif verdict != "passed":
        yield hint("proof", "proof test", f"was left unfinished {when}", why=why, command=command)
    elif age > PROOF_HOLDS:
        yield hint("proof", "proof test", f"passed {when}, {age.days} days ago", why=why, command=command)
    else:
        yield sound("proof", "proof test", f"passed {when}")


def _alarms(status: Mapping[str, Any], scene: Scene) -> Iterator[Finding]:
    alarms = [alarm for alarm in status.get("alarms") or [] if isinstance(alarm, Mapping)]
    new = [str(alarm.get("code")) for alarm in alarms if not alarm.get("acknowledged")]
    known = [str(alarm.get("code")) for alarm in alarms if alarm.get("acknowledged")]
    health = str(status.get("health"))
    why = "The guard says so itself; what to do about each is told by `overwinter status`."
    command = scene.at.command("status")
    if new:
        yield fault("alarms", "alarms nobody has acknowledged", ", ".join(new), why=why, command=command)
    if known:
        yield hint("alarms-known", "alarms that are still there", ", ".join(known), why=why, command=command)
    if health == Health.FAILURE or (health == Health.OUT_OF_SPECIFICATION and not alarms):
        yield fault("health", "the guard's health", health, why=why, command=command)
    elif health not in {Health.NORMAL, Health.FUNCTION_CHECK} and not alarms:
        yield hint("health", "the guard's health", health, why=why, command=command)
    elif not alarms:
        yield sound("alarms", "the guard", f"has no alarm, health {health}")
    bad = {name: state for name, state in (status.get("disk") or {}).items() if state != "ok"}
    for name, state in bad.items():
        yield fault(
            "guard-disk",
            f"the guard's {name}",
            f"cannot be written: {state}",
            why="Changes are refused and what happens waits in memory, to be lost with the power.",
            fix="See whether the disk is full, read-only or failing:",
            command=f"df -h {scene.at.state} {scene.at.logs}; journalctl -k -p err",
        )
    for text in status.get("warnings") or []:
        yield hint("guard-warning", "the guard", str(text), why="It says so itself.", command=command)


def ways_of_telling(site: Site) -> list[str]:
    """What of site.toml reaches somebody who is not in the pump house."""
    notices = site.notices
    ways = ["a command"] if notices.command else []
    ways += ["a heartbeat"] if notices.heartbeat_url or notices.heartbeat_command else []
    return ways + (["MQTT"] if site.mqtt is not None else [])


def _page(site: Site) -> Iterator[Finding]:
    """The page for a browser, where there is one."""
    web = site.web
    if web is None:
        return
    if not web.change or web.bind in LOOPBACK:
        yield sound("page-unencrypted", "[web]", "takes no password from elsewhere")
        return
    yield fault(
        "page-unencrypted",
        "[web]",
        f"takes changes at {web.bind} over plain HTTP",
        why="A password typed from elsewhere can be read on the way, and whoever has it can turn heat off.",
        fix='Set bind = "127.0.0.1" in site.toml, and reach it by `ssh -L`, or through a proxy with TLS.',
    )


def _told(site: Site, notifier: Unit | None, scene: Scene) -> Finding:
    ways = ways_of_telling(site)
    why = "An alarm that waits in the pump house until somebody comes is heard after the pipe has burst."
    if not ways:
        return hint(
            "notices",
            "being told",
            "nobody is told of an alarm (no command, heartbeat or [mqtt] in site.toml)",
            why=why,
            fix="Name in site.toml who is told, or look in now and then with `overwinter status` over ssh.",
        )
    if notifier is not None and not notifier.is_active:
        return fault(
            "notifier-inactive",
            scene.at.notifier,
            "does not run, although site.toml says who is told",
            why=why,
            command=f"sudo systemctl enable --now {scene.at.notifier}",
        )
    return sound("notices", "being told", f"by {', '.join(ways)}")

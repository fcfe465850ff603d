"""Do the sensors answer, and is there a second one to tell on the first?

While a guard runs its own readings are taken; a dht, whose wire one program only may hold, is never read.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from overwinter.core.nouns import Reading, Role, SensorSpec, Settings, Site
from overwinter.devices.iio import Iio
from overwinter.devices.w1 import W1
from overwinter.survey.finding import Finding, fault, hint, sound, unknown
from overwinter.survey.machine import Machine
from overwinter.survey.scene import Scene

MISSING = 9  # the QARTOD flag


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensors:
    """What the sensors say."""

    read: Mapping[str, Reading] = field(default_factory=dict)  # by ourselves, without a guard
    paths: Mapping[str, str] = field(default_factory=dict)  # each sensor's folder without symbolic links

    def temperature_c(self, scene: Scene, role: Role) -> float | None:
        """The coldest believable temperature of a role, from the guard or from ourselves."""
        if scene.guard.status is not None:
            key = {Role.CONTROL: "temperature_c", Role.OUTDOOR: "outdoor_c"}.get(role)
            value = None if key is None else scene.guard.status.get(key)
            return float(value) if isinstance(value, int | float) else None
        names = {spec.name for spec in scene.site.sensors if spec.role is role} if scene.site else set()
        said = [one.temperature_c for name, one in self.read.items() if name in names]
        return min((value for value in said if value is not None), default=None)


def look(machine: Machine, scene: Scene) -> Sensors:
    """Their folders; and one reading of each that may be read, if no guard runs."""
    if scene.site is None:
        return Sensors()
    with_path = [(spec, spec.path) for spec in scene.site.sensors if spec.path and spec.kind in {"iio", "w1"}]
    is_up = scene.guard.runs or scene.service.is_active
    return Sensors(
        read={} if is_up else {spec.name: _read(machine, spec, path) for spec, path in with_path},
        paths={spec.name: machine.real(path) for spec, path in with_path if machine.exists(path)},
    )


def _read(machine: Machine, spec: SensorSpec, path: str) -> Reading:
    driver = Iio if spec.kind == "iio" else W1
    return driver(spec.name, Path(path), machine.root).read(0.0)


def findings(sensors: Sensors, scene: Scene) -> Iterator[Finding]:
    """What is to be said of the sensors."""
    site = scene.site
    if site is None:
        return
    yield from _simulated(site)
    yield from _twice(sensors, site)
    if scene.guard.status is not None:
        yield from _as_the_guard_says(scene.guard.status, scene)
    elif scene.service.is_active:
        names = ", ".join(spec.name for spec in site.sensors)
        yield unknown(
            "sensor-silent",
            names,
            "the guard, whose they are, does not answer",
            why="A sensor that is lost leaves the house blind.",
            command=scene.systemctl("restart"),
        )
    else:
        yield from _as_we_see(sensors, site, scene)
    yield from _spare(site)


def _simulated(site: Site) -> Iterator[Finding]:
    made_up = [f'sensor "{spec.name}"' for spec in site.sensors if spec.kind == "simulated"]
    made_up += ["the relay"] if site.relay.kind == "simulated" else []
    for what in made_up:
        yield fault(
            "simulated",
            what,
            'is of kind "simulated"',
            why="A simulated house is kept warm, and the real one is not.",
            fix="Say in site.toml what is really wired.",
        )


def _twice(sensors: Sensors, site: Site) -> Iterator[Finding]:
    first: dict[str, str] = {}
    clean = True
    for spec in site.sensors:
        path = sensors.paths.get(spec.name) or (spec.path or "").rstrip("/")
        if not path or spec.kind == "simulated":
            continue
        if path in first:
            clean = False
            yield fault(
                "sensor-twice",
                f'sensor "{spec.name}"',
                f'reads {path}, as "{first[path]}" does',
                why="Two names for one sensor always agree, so nothing tells when it is wrong.",
                fix="Give each its own path in site.toml; these are there:",
                command=f"ls -d /sys/bus/{spec.kind}/devices/*",
            )
        first.setdefault(path, spec.name)
    if clean and len(site.sensors) > 1:
        yield sound("sensor-twice", "the sensors", "are all different ones")


def _as_the_guard_says(status: Mapping[str, Any], scene: Scene) -> Iterator[Finding]:
    settings = scene.settings or Settings()
    uptime_s = _number(status.get("uptime_s"))
    for sensor in status.get("sensors") or []:
        name = str(sensor.get("name"))
        age_s = sensor.get("age_s")
        is_fresh = isinstance(age_s, int | float) and age_s < settings.lost_after_s
        if is_fresh and sensor.get("flag") != MISSING:
            yield sound("sensor-silent", f'sensor "{name}"', f"was last believed {age_s:.0f} s ago")
        elif is_fresh or uptime_s < settings.lost_after_s:
            if not is_fresh:
                yield unknown(
                    "sensor-silent",
                    f'sensor "{name}"',
                    f"has not been believed yet; the guard runs for {uptime_s:.0f} s",
                    why="A sensor gets some time before it counts as lost.",
                    fix=f"Look again in {settings.lost_after_s:.0f} s.",
                    command=scene.at.command("check"),
                )
            else:  # one attempt failed; its last reading is still good
                yield sound("sensor-silent", f'sensor "{name}"', f"was last believed {age_s:.0f} s ago")
        else:
            error = sensor.get("error") or "nothing that could be believed came"
            since = "ever" if age_s is None else f"for {_number(age_s):.0f} s"
            spec = _spec(scene.site, name)
            yield _silent(name, f"has not been believed {since}: {error}", spec)


def _as_we_see(sensors: Sensors, site: Site, scene: Scene) -> Iterator[Finding]:
    only_guard = [spec.name for spec in site.sensors if spec.kind.startswith("dht")]
    for spec in site.sensors:
        reading = sensors.read.get(spec.name)
        if reading is None:
            continue
        if reading.temperature_c is None:
            yield _silent(spec.name, f"does not answer: {reading.error}", spec)
        else:
            yield sound("sensor-silent", f'sensor "{spec.name}"', f"says {reading.temperature_c:.1f} C")
    if only_guard:
        yield unknown(
            "sensor-silent",
            ", ".join(f'sensor "{name}"' for name in only_guard),
            "a dht is read by the guard alone, and none runs",
            why="A sensor that is lost leaves the house blind.",
            command=scene.systemctl("start"),
        )


def _silent(name: str, value: str, spec: SensorSpec | None) -> Finding:
    kind = "" if spec is None else spec.kind
    if kind.startswith("dht"):
        fix = "Look at its plug, wire and supply; a dht needs a pull-up of about 10 kilo-ohm at its data pin"
        command = ""
    elif kind == "w1":
        fix = "Look at its wire, and at dtoverlay=w1-gpio in config.txt; these answer on the bus:"
        command = "ls /sys/bus/w1/devices"
    else:
        fix = "Look at its wire and its dtoverlay= line in config.txt; these are there:"
        command = "grep . /sys/bus/iio/devices/*/name"
    return fault(
        "sensor-silent",
        f'sensor "{name}"',
        value,
        why="A sensor that is lost leaves the house blind."
        if spec is None or spec.role is Role.CONTROL
        else "It is counted on, for forecasts or as the second opinion, and it is not there.",
        fix=fix,
        command=command,
    )


def _spare(site: Site) -> Iterator[Finding]:
    control = [spec for spec in site.sensors if spec.role is Role.CONTROL]
    if len(control) > 1:
        yield sound("sensor-spare", "control sensors", f"{len(control)}, so that each tells on the other")
    else:
        yield hint(
            "sensor-spare",
            "control sensors",
            "there is only one",
            why="When it drifts nobody notices, and when it is lost the house is heated blindly.",
            fix='Fit a second one and add a [[sensor]] with role = "control" to site.toml.',
        )
    if any(spec.role is Role.OUTDOOR for spec in site.sensors):
        yield sound("sensor-outdoor", "outdoor sensor", "there is one")
    else:
        yield hint(
            "sensor-outdoor",
            "outdoor sensor",
            "there is none",
            why="It makes forecasts possible, and stops blind heat on a warm day.",
            fix='Fit one in the shade and add a [[sensor]] with role = "outdoor" to site.toml.',
        )


def _spec(site: Site | None, name: str) -> SensorSpec | None:
    return next((spec for spec in site.sensors if spec.name == name), None) if site else None


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else 0.0

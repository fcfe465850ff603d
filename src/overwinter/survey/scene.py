"""What several subjects need to know first: which house, its two files, its units, its guard.

Looked at once, in this order, so that the guard is asked twice in all and systemd a handful of times.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from overwinter.core.nouns import Problem, Settings, Site
from overwinter.settings.site import parse_site, sense_s_min
from overwinter.settings.values import Parsed, parse_settings
from overwinter.survey.machine import CannotLook, Machine

SETTINGS_NAME = "settings.toml"

_PROPERTIES = (
    "LoadState",
    "ActiveState",
    "UnitFileState",
    "WatchdogUSec",
    "User",
    "SupplementaryGroups",
    "Environment",
    "MainPID",
)
# As `systemctl show` prints them, systemd 252: NAME=VALUE, one a line; all are named in
# org.freedesktop.systemd1(5), and times are spelt as systemd.time(7) says.


@dataclass(frozen=True, slots=True, kw_only=True)
class Installation:
    """Where one guard's things are."""

    unit: str  # without its suffix: overwinter, overwinter@cabin
    site: str
    state: str
    logs: str
    socket: str
    site_copy: str  # the last site.toml that ran
    state_file: str  # counters and the last proof
    house: str | None = None

    @property
    def settings(self) -> str:
        """The file settings.toml."""
        return f"{self.state}/{SETTINGS_NAME}"

    @property
    def service(self) -> str:
        """The name of the service."""
        return f"{self.unit}.service"

    @property
    def socket_unit(self) -> str:
        """The name of the socket unit."""
        return f"{self.unit}.socket"

    @property
    def notifier(self) -> str:
        """The name of the service that tells."""
        return f"overwinter-notifier{'' if self.house is None else f'@{self.house}'}.service"

    def command(self, words: str) -> str:
        """One of our commands, for this house."""
        return f"overwinter {words}" + (f" --house {self.house}" if self.house else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit as systemd tells it; empty where it tells nothing."""

    said: Mapping[str, str] = field(default_factory=dict)

    @property
    def is_there(self) -> bool:
        """Whether there is such a unit."""
        return self.said.get("LoadState") not in {None, "", "not-found"}

    @property
    def is_active(self) -> bool:
        """Whether it runs, or is about to, or reads its files again."""
        return self.said.get("ActiveState") in {"active", "activating", "reloading"}

    @property
    def is_starting(self) -> bool:
        """Whether it is about to run, which some never get beyond."""
        return self.said.get("ActiveState") == "activating"


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """The running guard, as it answers."""

    status: Mapping[str, Any] | None = None
    settings: Mapping[str, Any] | None = None
    silence: str = ""  # why it did not answer

    @property
    def runs(self) -> bool:
        """Whether it answers."""
        return self.status is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What is known before anything is judged."""

    at: Installation
    site_text: bytes | None = None
    site: Site | None = None
    site_problems: tuple[Problem, ...] = ()
    site_unseen: str = ""  # why the file could not be read
    ran: Site | None = None  # the site that the guard took last
    ran_unseen: str = ""
    settings_text: bytes | None = None
    parsed: Parsed | None = None
    settings_unseen: str = ""
    has_systemd: bool = True
    service: Unit = field(default_factory=Unit)
    socket: Unit = field(default_factory=Unit)
    units_unseen: str = ""
    guard: Guard = field(default_factory=Guard)

    @property
    def settings(self) -> Settings | None:
        """The settings that the file says; None when there is no file to say any."""
        return None if self.parsed is None else self.parsed.settings

    def systemctl(self, verb: str) -> str:
        """The command that starts, restarts or reloads the guard here."""
        if self.has_systemd:
            return f"sudo systemctl {verb} {self.at.service}"
        return self.at.command("guard")  # by hand: stop it, and start it so

    @property
    def mode(self) -> str | None:
        """The mode that runs, else the one of the file."""
        if self.guard.status is not None:
            return str(self.guard.status.get("mode"))
        return None if self.settings is None else self.settings.mode.value


def look_around(machine: Machine, at: Installation) -> Scene:
    """Files, units and guard of one house. Never raises."""
    site_text, site_unseen = _read(machine, at.site)
    parsed_site = None if site_text is None else parse_site(site_text)
    site = None if parsed_site is None else parsed_site.site
    ran, ran_unseen = _ran(machine, at)
    settings_text, settings_unseen = _read(machine, at.settings)
    parsed = None
    if settings_text is not None:
        parsed = parse_settings(settings_text, sense_s_min=1.0 if site is None else sense_s_min(site))
    # sd_booted(3): systemd runs the machine where this folder is.
    has_systemd = machine.exists("/run/systemd/system")
    service, socket, units_unseen = Unit(), Unit(), ""
    if has_systemd:
        try:
            service, socket = unit(machine, at.service), unit(machine, at.socket_unit)
        except CannotLook as error:
            units_unseen = str(error)
    return Scene(
        at=at,
        site_text=site_text,
        site=site,
        site_problems=() if parsed_site is None else parsed_site.problems,
        site_unseen=site_unseen,
        ran=ran,
        ran_unseen=ran_unseen,
        settings_text=settings_text,
        parsed=parsed,
        settings_unseen=settings_unseen,
        has_systemd=has_systemd,
        service=service,
        socket=socket,
        units_unseen=units_unseen,
        guard=_guard(machine, at, service, socket),
    )


def _read(machine: Machine, path: str) -> tuple[bytes | None, str]:
    try:
        return machine.content(path), ""
    except CannotLook as error:
        return None, str(error)


def _ran(machine: Machine, at: Installation) -> tuple[Site | None, str]:
    try:
        kept = machine.copy(at.site_copy)
    except CannotLook as error:
        return None, str(error)
    ran = None if kept is None else parse_site(kept).site
    return ran, "" if ran is not None else f"{at.site_copy}: none that is whole"


def unit(machine: Machine, name: str) -> Unit:
    """What systemd tells of a unit.

    Raises
    ------
    CannotLook
        It tells nothing.
    """
    shown = machine.run("systemctl", "show", name, f"--property={','.join(_PROPERTIES)}")
    if shown is None:
        raise CannotLook(f"`systemctl show {name}` failed")
    pairs = (line.partition("=") for line in shown.splitlines() if "=" in line)
    return Unit(said={key: value for key, _, value in pairs})


def _guard(machine: Machine, at: Installation, service: Unit, socket: Unit) -> Guard:
    if service.is_there and not service.is_active and socket.is_active:
        # systemd listens there for a guard that was stopped: to ask would be to start it.
        return Guard(silence=f"{at.service} does not run")
    try:
        status = machine.ask(at.socket, "status")
    except CannotLook as error:
        return Guard(silence=str(error))
    try:
        return Guard(status=status, settings=machine.ask(at.socket, "settings"))
    except CannotLook:
        return Guard(status=status)

"""GPIO: is it there, may the guard use it, and does anything else have its hands on the same pins?"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from overwinter.core.nouns import Site
from overwinter.survey import boot, people
from overwinter.survey.finding import Finding, fault, not_seen, sound, unknown
from overwinter.survey.machine import CannotLook, Line, Machine, Node
from overwinter.survey.scene import Scene

OURS = "lg"
"""What the lgpio library calls itself as the consumer of a line, unless it is told otherwise."""

HIGH_AT_BOOT = range(9)
"""Pins that a Raspberry Pi's chip pulls high at reset; 9 to 27 it pulls low. [BCM2835 ARM Peripherals, table
of alternate functions, as widely quoted; from memory]"""

_GROUP = "gpio"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pins:
    """What was seen of GPIO."""

    chip: str | None = None  # /dev/gpiochip0; None: there is none
    node: Node | None = None
    node_group: str = ""
    guard_user: people.User | None = None
    lines: dict[int, Line] = field(default_factory=dict)
    unseen: str = ""  # why the lines could not be looked at
    config: boot.BootConfig | None = None
    config_unseen: str = ""


def look(machine: Machine, scene: Scene) -> Pins:
    """The chip, its lines, and what the kernel was told at boot."""
    site = scene.site
    if site is None or not users(site):
        return Pins()
    config, config_unseen = _config(machine)
    chip = _chip(machine)
    if chip is None:
        return Pins(config=config, config_unseen=config_unseen)
    node, group, user = None, "", None
    lines: dict[int, Line] = {}
    unseen = ""
    try:
        node = machine.node(chip)
        known = people.known(machine)
        group = known.group_name(node.gid)
        user = people.guard_user(known, scene.service)
        lines = {pin: machine.line(chip, pin) for pin, _ in users(site)}
    except CannotLook as error:
        unseen = str(error)
    return Pins(
        chip=chip,
        node=node,
        node_group=group,
        guard_user=user,
        lines=lines,
        unseen=unseen,
        config=config,
        config_unseen=config_unseen,
    )


def users(site: Site) -> list[tuple[int, str]]:
    """Each pin of the header that site.toml names, and what for; the relay first."""
    relay = site.relay
    named: list[tuple[int | None, str]] = []
    if relay.kind == "gpio":
        named += [(relay.pin, "relay"), (relay.feedback_pin, "relay feedback")]
    named += [(one.pin, f'sensor "{one.name}"') for one in site.sensors if one.kind.startswith("dht")]
    named += [(contact.pin, f'contact "{contact.name}"') for contact in site.contacts]
    signals = (("lamp", site.notices.led), ("buzzer", site.notices.buzzer))
    named += [(signal.pin, what) for what, signal in signals if signal is not None]
    return [(pin, what) for pin, what in named if pin is not None]


def findings(pins: Pins, scene: Scene) -> Iterator[Finding]:
    """What is to be said of GPIO."""
    site = scene.site
    if site is None or not users(site):
        return
    if pins.chip is None:
        yield fault(
            "gpio-missing",
            "/dev/gpiochip0",
            "is not there",
            why="Without the kernel's GPIO device the guard cannot reach its relay and does not start.",
            fix="Is this the right board, and its own kernel? See which chips there are:",
            command="ls -l /dev/gpiochip*",
        )
    else:
        yield from _access(pins, scene)
        yield from _lines(pins, scene, site)
    yield from _kernel(pins, site)
    yield from _boot_level(pins, site)


def _access(pins: Pins, scene: Scene) -> Iterator[Finding]:
    user, node, chip = pins.guard_user, pins.node, pins.chip
    if user is None or node is None or chip is None:
        if not pins.unseen:
            yield unknown(
                "gpio-access",
                chip or "GPIO",
                "nobody knows as which user the guard runs",
                why="Whoever may not open it cannot switch the relay.",
                fix=f"Install {scene.at.service}, which says it.",
            )
        return
    if may_open(user, node):
        yield sound("gpio-access", str(chip), f"may be opened by the guard's user, {user.name}")
        return
    if pins.node_group == _GROUP:
        yield fault(
            "gpio-group",
            f"the guard's user, {user.name}",
            f"is not in the group {_GROUP}, which {chip} belongs to",
            why="The guard cannot open the GPIO lines, so it cannot start and nothing is heated.",
            command=f"sudo usermod -aG {_GROUP} {user.name} && sudo systemctl restart {scene.at.service}",
        )
        return
    yield fault(
        "gpio-access",
        str(chip),
        f"belongs to group {pins.node_group or node.gid}, mode {node.mode:04o}; {user.name} may not open it",
        why="The guard cannot open the GPIO lines, so it cannot start and nothing is heated.",
        fix="Let udev give the lines to a group gpio: one line in /etc/udev/rules.d/60-gpio.rules; reboot.",
        command=f'SUBSYSTEM=="gpio", KERNEL=="gpiochip*", GROUP="{_GROUP}", MODE="0660"',
    )


def may_open(user: people.User, node: Node) -> bool:
    """Whether this user may read and write the file."""
    if user.uid == 0:
        return True
    if user.uid == node.uid:
        return node.mode & 0o600 == 0o600
    if node.gid in user.gids:
        return node.mode & 0o060 == 0o060
    return node.mode & 0o006 == 0o006


def _lines(pins: Pins, scene: Scene, site: Site) -> Iterator[Finding]:
    if pins.unseen:
        yield not_seen(
            "pins-busy",
            "who uses the pins",
            pins.unseen,
            why="Another program on the relay's pin switches heat.",
        )
        return
    is_up = scene.guard.runs or scene.service.is_active
    held = {pin for pin, _ in users(scene.ran or site)} if is_up else set()
    free = True
    for pin, what in users(site):
        line = pins.lines.get(pin)
        if line is None or (is_up and what.startswith("sensor")):
            continue  # a running guard and its helper take a dht's line over and over
        holder = f'"{line.consumer}"' if line.consumer else "the kernel, for another function of the pin"
        if line.used and not (pin in held and line.consumer == OURS):
            free = False
            yield fault(
                "pin-busy",
                f"{what}, GPIO {pin}",
                f"is used by {holder}",
                why="Two hands on one pin: the relay does what neither of them wants."
                if what == "relay"
                else "Two hands on one pin: what is read there is not what is wired there.",
                fix="Stop the other program, or take its line out of config.txt; or wire to another pin and "
                "say so in site.toml. This lists who uses what:",
                command="gpioinfo",
            )
        elif scene.guard.runs and what == "relay" and pin in held and not line.used:
            free = False
            yield fault(
                "relay-not-held",
                f"{what}, GPIO {pin}",
                "nobody holds its line, although the guard runs",
                why="What the guard says of heat does not reach the relay.",
                fix="Take GPIOZERO_PIN_FACTORY out of the unit (or set it to lgpio), then:",
                command=scene.systemctl("restart"),
            )
    if free:
        yield sound("pins-busy", "the pins", "are used by nobody else")


def _kernel(pins: Pins, site: Site) -> Iterator[Finding]:
    config = pins.config
    if config is None:
        yield (
            not_seen(
                "boot-config", "config.txt", pins.config_unseen, why="It may give our pins to the kernel."
            )
            if pins.config_unseen
            else unknown(
                "boot-config",
                "config.txt",
                f"is neither {' nor '.join(boot.CONFIG_FILES)}",
                why="What the kernel does with the pins, and their level at boot, cannot be read from it.",
                fix="On a Raspberry Pi mount the boot partition; on other boards see the device tree.",
            )
        )
        return
    clean = True
    for pin, what in users(site):
        for taken in config.taken:
            if taken.pin != pin:
                continue
            clean = False
            yield fault(
                "pin-kernel",
                f"{what}, GPIO {pin}",
                f"is taken by `{taken.by}` ({config.path}, line {taken.line})",
                why="The kernel drives or reads that pin for itself: heat may be switched by a bus, or never."
                if what == "relay"
                else "The kernel has that pin for itself, so nothing sensible can be read there.",
                fix=f"Take the line out of {config.path}, or wire to another pin and say so there. Then:",
                command="sudo reboot",
            )
    if clean:
        yield sound("pin-kernel", config.path, "gives none of our pins to the kernel")


def _boot_level(pins: Pins, site: Site) -> Iterator[Finding]:
    relay, config = site.relay, pins.config
    if relay.kind != "gpio" or relay.pin is None or config is None:
        return
    pulls_in_at = "high" if relay.active_high else "low"
    said = config.level(relay.pin)
    level = said or ("high" if relay.pin in HIGH_AT_BOOT else "low")
    thing = f"relay, GPIO {relay.pin}, active {pulls_in_at}"
    if level != pulls_in_at:
        yield sound("relay-boot", thing, f"is {level} while the board boots: released")
    elif relay.contact == "NC":
        yield sound("relay-boot", thing, f"is {level} while the board boots: with contact NC that is no heat")
    else:
        drive = "dl" if relay.active_high else "dh"
        yield fault(
            "relay-boot",
            thing,
            f"is {level} while the board boots, so the relay may pull in",
            why="A board that hangs while it boots, or has no card, may heat without end, unguarded.",
            fix=f"Fit a resistor that pulls the input to the released level, and add to {config.path}:",
            command=f"gpio={relay.pin}=op,{drive}",
        )


def _config(machine: Machine) -> tuple[boot.BootConfig | None, str]:
    unseen = ""
    for path in boot.CONFIG_FILES:
        try:
            text = machine.text(path)
        except CannotLook as error:
            unseen = str(error)
            continue
        if text is not None:
            return boot.parsed(path, text), ""
    return None, unseen


def _chip(machine: Machine) -> str | None:
    """The header's chip, chosen as gpiozero chooses it: on a Pi 5 number 4 where there is one, else 0."""
    try:
        model = machine.text("/proc/device-tree/model") or ""
    except CannotLook:
        model = ""
    wanted = ["/dev/gpiochip4"] if "Raspberry Pi 5" in model else []
    return next((chip for chip in (*wanted, "/dev/gpiochip0") if machine.exists(chip)), None)

"""How a machine in good order is spoilt in one step, and what is then found."""

from collections.abc import Callable

import pytest

from overwinter.cli import check
from overwinter.survey.finding import Finding, Grade
from overwinter.survey.machine import Line, Node, Space
from tests.survey.machine import Fake

CONFIG = "/boot/firmware/config.txt"
MOUNTS = "/proc/self/mountinfo"
ROOT_MOUNT = "26 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw"


def faults(machine: Fake) -> dict[str, Finding]:
    return {one.code: one for one in machine.survey().of(Grade.FAULT)}


def exit_code(machine: Fake, monkeypatch: pytest.MonkeyPatch, *argv: str) -> int:
    at = machine.at
    monkeypatch.setattr(check, "MACHINE", lambda: machine)
    places = ["--site", at.site, "--state", at.state, "--logs", at.logs, "--socket", at.socket]
    return check.run([*places, *argv])


def no_gpio_group(machine: Fake) -> None:
    machine.unit(".service", SupplementaryGroups="")
    machine.edit("/etc/group", "gpio:x:986:ada,overwinter", "gpio:x:986:ada")


def unreadable_gpio(machine: Fake) -> None:
    machine.nodes["/dev/gpiochip0"] = Node(uid=0, gid=0, mode=0o600)


def lines(**taken: Line) -> Callable[[Fake], None]:
    return lambda machine: machine.lines.update({17: taken["relay"]})


def config(text: str) -> Callable[[Fake], None]:
    return lambda machine: machine.add(CONFIG, text)


def site(old: str, new: str) -> Callable[[Fake], None]:
    return lambda machine: machine.edit_site(old, new)


def unit(name: str, **properties: str) -> Callable[[Fake], None]:
    return lambda machine: machine.unit(name, **properties)


def without_unit(name: str) -> Callable[[Fake], None]:
    return lambda machine: machine.units.pop(f"overwinter{name}") and None


def put(path: str, text: str) -> Callable[[Fake], None]:
    return lambda machine: machine.put(path, text)


def drop(path: str) -> Callable[[Fake], None]:
    return lambda machine: machine.drop(path)


def edit(path: str, old: str, new: str) -> Callable[[Fake], None]:
    return lambda machine: machine.edit(path, old, new)


def both(*steps: Callable[[Fake], None]) -> Callable[[Fake], None]:
    def spoil(machine: Fake) -> None:
        for step in steps:
            step(machine)

    return spoil


def space(**amounts: int) -> Callable[[Fake], None]:
    usual = {"free_bytes": 20 * 10**9, "total_bytes": 30 * 10**9, "free_files": 10**6, "total_files": 10**7}

    def spoil(machine: Fake) -> None:
        for folder in (machine.at.state, machine.at.logs):
            machine.spaces[folder] = Space(**{**usual, **amounts})

    return spoil

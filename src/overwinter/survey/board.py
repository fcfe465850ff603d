"""The board itself: does it know the time, and does it get enough voltage?"""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass

from overwinter.survey.finding import Finding, fault, hint, sound
from overwinter.survey.machine import CannotLook, Machine
from overwinter.survey.scene import Scene

THROTTLED = "/sys/devices/platform/soc/soc:firmware/get_throttled"
"""The firmware's flags in hexadecimal, as `vcgencmd get_throttled` shows them (the maker's documentation)."""

UNDER_VOLTAGE_NOW = 1 << 0
UNDER_VOLTAGE_SEEN = 1 << 16

VOLTAGE_DRIVER = "rpi_volt"
"""The kernel's hwmon driver for the same flag; in0_lcrit_alarm is 1 after an undervoltage
(Documentation/hwmon/raspberrypi-hwmon.rst)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """What the board says of itself."""

    is_synchronised: bool | None = None
    has_battery_clock: bool = False
    under_voltage: str | None = None  # "now", "before", ""; None: the board does not tell


def look(machine: Machine, scene: Scene) -> Board:
    """Clock and voltage."""
    return Board(
        is_synchronised=_synchronised(machine, scene),
        has_battery_clock=bool(machine.names("/sys/class/rtc/rtc*")),
        under_voltage=_under_voltage(machine),
    )


def findings(board: Board, scene: Scene) -> Iterator[Finding]:  # noqa: ARG001 (as every subject)
    """What is to be said of the board."""
    yield from _clock(board)
    yield from _voltage(board)


def _clock(board: Board) -> Iterator[Finding]:
    if board.is_synchronised:
        yield sound("clock", "the clock", "is synchronised")
        return
    state = (
        "is not synchronised"
        if board.is_synchronised is False
        else "does not tell whether it is synchronised"
    )
    why = "After a power cut dates are wrong: of alarms, of samples, and of the end of `observe --until`."
    fix = "Give it a network and a time service, or fit a battery clock (dtoverlay=i2c-rtc). See:"
    if board.has_battery_clock:
        yield hint(
            "clock",
            "the clock",
            f"{state}, and goes by a battery clock",
            why=why,
            fix=fix,
            command="timedatectl",
        )
    else:
        yield fault(
            "clock",
            "the clock",
            f"{state}, and there is no battery clock",
            why=why,
            fix=fix,
            command="timedatectl",
        )


def _voltage(board: Board) -> Iterator[Finding]:
    if board.under_voltage is None:
        return  # not a board that tells
    if not board.under_voltage:
        yield sound("under-voltage", "the supply", "has kept its voltage since the board booted")
        return
    yield fault(
        "under-voltage",
        "the supply",
        "is too low now" if board.under_voltage == "now" else "was too low since the board booted",
        why="Undervoltage hangs boards and spoils cards, most of all when the relay pulls in.",
        fix="Fit the supply that is made for this board, and a short thick cable; feed the relay's coil "
        "from a supply of its own.",
    )


def _synchronised(machine: Machine, scene: Scene) -> bool | None:
    # systemd-timesyncd.service(8): the file is touched at each synchronisation.
    if machine.exists("/run/systemd/timesync/synchronized"):
        return True
    with contextlib.suppress(CannotLook):
        # Before the guard's word: it knows of that file only, and not of other time services.
        shown = machine.run("timedatectl", "show", "--property=NTPSynchronized", "--value")
        if shown is not None:
            return shown.strip() == "yes"
    told = (scene.guard.status or {}).get("clock")
    return None if told is None else bool(told == "synchronised")


def _under_voltage(machine: Machine) -> str | None:
    try:
        flags = int((machine.text(THROTTLED) or "").strip(), 16)
    except (CannotLook, ValueError):
        flags = None
    if flags is not None:
        return "now" if flags & UNDER_VOLTAGE_NOW else "before" if flags & UNDER_VOLTAGE_SEEN else ""
    for folder in machine.names("/sys/class/hwmon/hwmon*"):
        try:
            if (machine.text(f"{folder}/name") or "").strip() == VOLTAGE_DRIVER:
                alarm = (machine.text(f"{folder}/in0_lcrit_alarm") or "").strip()
                return {"0": "", "1": "before"}.get(alarm)
        except CannotLook:
            continue
    return None

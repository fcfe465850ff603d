"""From the sensor's registers to the line: what a temperature, a lost sensor, a command and an input do."""

import json
import time

from tests.rigs.gpio.guest.board import IIO
from tests.rigs.gpio.guest.rig import (
    COLD_C,
    FEEDBACK,
    FLOOR,
    HEARD_S,
    HIGH_C,
    LOST_AFTER_S,
    LOW_C,
    PUMP,
    RELAY,
    WARM_C,
    Rig,
)
from tests.rigs.gpio.guest.service import Broken, keeps, status, typed, until

STEP_C = 0.01  # what the kernel's driver tells apart
KEPT_S = 4.0  # four readings
EXACT_C = (-12.34, 0.0, 2.0, 25.08)


def board(rig: Rig) -> str:
    """The kernel's own driver computes from our registers what the data sheet says."""
    rig.make()
    for wanted_c in EXACT_C:
        computed_c = rig.sensor.reads(wanted_c)
        shown_c = int((IIO / "in_temp_input").read_text()) / 1000
        if not shown_c == computed_c == wanted_c:
            raise Broken(f"{wanted_c} °C: the data sheet's formula says {computed_c}, the kernel {shown_c}")
    rig.sensor.reads(WARM_C)
    name = (IIO / "name").read_text().strip()
    values = ", ".join(f"{value_c:g}" for value_c in EXACT_C)
    return f"{name}: {values} °C exactly; {rig.chip.file(RELAY).parent}"


def told(rig: Rig) -> str:
    """By the command, as an owner types it."""
    exact_c = rig.sensor.reads(3.21)
    until(lambda: status().get("temperature_c") == exact_c, f"{exact_c} °C is believed", HEARD_S)
    facts = json.loads(typed("status", "--json"))
    humidity_pct = int((IIO / "in_humidityrelative_input").read_text()) / 1000
    if facts["temperature_c"] != exact_c or abs(facts["humidity_pct"] - humidity_pct) > 0.01:
        raise Broken(
            f"{facts['temperature_c']} °C, {facts['humidity_pct']} % instead of {exact_c}, {humidity_pct}"
        )
    return f"{facts['temperature_c']} °C, {facts['humidity_pct']} %"


def on_at_low(rig: Rig) -> str:
    rig.hears(WARM_C)
    rig.heats(False)
    rig.hears(LOW_C + STEP_C)
    keeps(lambda: rig.level == rig.wiring.level(heat=False), "no heat a hundredth above low", KEPT_S)
    rig.sensor.reads(LOW_C)
    return f"at {LOW_C} °C on after {rig.heats(True):.1f} s; at {LOW_C + STEP_C} °C not"


def off_at_high(rig: Rig) -> str:
    rig.hears(HIGH_C - STEP_C)
    keeps(lambda: rig.level == rig.wiring.level(heat=True), "heat a hundredth below high", KEPT_S)
    rig.sensor.reads(HIGH_C)
    return f"at {HIGH_C} °C off after {rig.heats(False):.1f} s; at {HIGH_C - STEP_C} °C not"


def band(rig: Rig) -> str:
    """A temperature that stays becomes cold, then warm, by what an owner types."""
    rig.hears(4.5)
    keeps(lambda: rig.level == rig.wiring.level(heat=False), "no heat inside the band", 1.0)
    typed("band", "6C", "9C")
    on_s = rig.heats(True)
    typed("band", "2C", "4C")
    off_s = rig.heats(False)
    typed("band", f"{LOW_C}C", f"{HIGH_C}C")
    return f"6..9 °C: on {on_s:.1f} s after the answer; 2..4 °C: off after {off_s:.1f} s"


def contacts(rig: Rig) -> str:
    """The pump's input is active when high, the floor's when low; nothing is connected at first."""
    found = {pin: rig.chip.pulled(pin) for pin in (PUMP, FLOOR, FEEDBACK)}
    if found != {PUMP: 0, FLOOR: 1, FEEDBACK: 0}:
        raise Broken(f"pulls of the inputs: {found}")
    _seen(pump=False, floor=False)
    rig.chip.pull(PUMP, 1)
    took_s = [_seen(pump=True, floor=False)]
    rig.chip.pull(FLOOR, 0)
    took_s.append(_seen(pump=True, floor=True))
    rig.chip.pull(PUMP, 0)
    rig.chip.pull(FLOOR, 1)
    took_s.append(_seen(pump=False, floor=False))
    return f"three changes, each in status within {max(took_s):.1f} s; feedback's line is pulled down too"


def _seen(**wanted: bool) -> float:
    return until(lambda: status().get("contacts") == wanted, f"contacts {wanted}", HEARD_S)


def lost(rig: Rig) -> str:
    """Inside the band and off, so that only blindness can turn heat on."""
    rig.hears(HIGH_C)
    rig.heats(False)
    rig.hears((LOW_C + HIGH_C) / 2)
    began = time.monotonic()
    rig.sensor.unplug()
    rig.heats(True, within_s=LOST_AFTER_S + HEARD_S)
    lost_s = time.monotonic() - began
    facts = status()
    if not facts["blind"] or facts["heat"]["reason"] != "sensor-lost" or facts["temperature_c"] is not None:
        raise Broken(f"blind {facts['blind']}, heat {facts['heat']}, {facts['temperature_c']} °C")
    if lost_s < LOST_AFTER_S - 2.0:  # the last believed reading was up to two turns old
        raise Broken(f"heat on {lost_s:.1f} s after the sensor went, with lost_after_s = {LOST_AFTER_S}")
    said = facts["sensors"][0]["error"]
    rig.sensor.reads(WARM_C)
    rig.sensor.plug()
    back_s = rig.heats(False)
    if status()["blind"]:
        raise Broken("heat is off, and it is still blind")
    rig.hears(COLD_C)
    rig.heats(True)
    return (
        f"on {lost_s:.1f} s after it went (set: {LOST_AFTER_S:g}), off {back_s:.1f} s after it came; {said!r}"
    )

"""The relay's line from claim to release: no level that nobody asked for, and the released one at the end.

gpio-sim drops a line to its pull when its owner closes it, and real boards may keep the last level. So before
a guard is killed or started the pull is set to the level that must not stay: what such a board would keep.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from itertools import dropwhile, zip_longest

from tests.rigs.gpio.guest.board import LINES
from tests.rigs.gpio.guest.record import Call, Level, Looks, driven
from tests.rigs.gpio.guest.rig import COLD_C, HEARD_S, RELAY, WARM_C, Rig, Wiring
from tests.rigs.gpio.guest.service import (
    CPUINFO,
    SITE,
    START_S,
    Broken,
    ask,
    journal,
    main_pid,
    show,
    start,
    stop,
    until,
)

SPARE = 18  # a line that no guard claims

# How gpiozero claims an active-low line when left to itself.
ITS_OWN_WAY = f"""
from gpiozero import OutputDevice
from gpiozero.pins.lgpio import LGPIOFactory
OutputDevice({SPARE}, active_high=False, initial_value=False, pin_factory=LGPIOFactory()).close()
"""


def claimed(rig: Rig, *, wiring: Wiring) -> str:
    """Warm, so that nothing but the claim itself could let the relay pull in (or, with NC, let go)."""
    rig.wire(wiring)
    rig.sensor.reads(WARM_C)
    rig.chip.pull(RELAY, wiring.pulled_in)  # as a board whose pins float to the wrong side
    rig.record.forget()
    with Looks(rig.chip.file(RELAY)) as looks:
        took_s = start()
        if ask("settings")["unit"] != "C":
            rig.adjust()
        rig.hears(WARM_C)
        rig.heats(False)
    levels = _outputs(rig)
    wanted = [wiring.released] if wiring.contact == "NO" else [wiring.released, wiring.pulled_in]
    if [level.level for level in levels] != wanted:
        raise Broken(f"driven {_in_words(levels)}, not {wanted}")
    seen = [level for _, level in looks.changes]
    return (
        f"READY after {took_s:.1f} s; every call of the driver: {_in_words(levels)}; {looks.count} looks, "
        f"{looks.gap_s * 1000:.0f} ms apart at most, saw {seen}"
    )


def follows(rig: Rig) -> str:
    rig.hears(WARM_C)
    rig.heats(False)
    rig.sensor.reads(COLD_C)
    on_s = rig.heats(True)
    rig.sensor.reads(WARM_C)
    off_s = rig.heats(False)
    on, off = rig.wiring.level(heat=True), rig.wiring.level(heat=False)
    return f"{COLD_C} °C: {on} after {on_s:.1f} s; {WARM_C} °C: {off} after {off_s:.1f} s"


def killed(rig: Rig) -> str:
    """While the relay is pulled in, on a board that keeps it so."""
    wiring = rig.wiring
    heat = wiring.contact == "NO"
    rig.sensor.reads(COLD_C if heat else WARM_C)
    until(lambda: rig.level == wiring.pulled_in, "the relay is pulled in", HEARD_S)
    rig.chip.pull(RELAY, wiring.pulled_in)
    rig.record.forget()
    pid = main_pid()
    began = time.monotonic()
    os.kill(pid, signal.SIGKILL)
    until(lambda: rig.level == wiring.released, "let go", START_S)
    until(
        lambda: main_pid() not in (0, pid) and show("ActiveState")["ActiveState"] == "active",
        "READY",
        START_S,
    )
    rig.heats(heat, within_s=START_S)
    calls = [call for call in rig.record.calls() if call.pin == RELAY]
    after = main_pid()
    between = [call for call in calls if call.pid not in (pid, after)]
    _let_go(between, wiring)
    # The kernel frees it in whichever thread of the dead ends last.
    kept_s = next(call.at_s for call in calls if call.what == "free") - began
    let_go_s = next(call.at_s for call in between if call.what == "out") - began
    back_s = next(call.at_s for call in calls if call.pid == after and call.level == wiring.pulled_in) - began
    if "is released" not in journal(60):
        raise Broken(f"nothing in the journal of it: {journal(20)}")
    return (
        f"freed after {kept_s:.2f} s and kept at {wiring.pulled_in} by the pull, at {wiring.released} after "
        f"{let_go_s:.1f} s, by the next guard at {wiring.pulled_in} again after {back_s:.1f} s"
    )


def _let_go(calls: Sequence[Call], wiring: Wiring) -> None:
    """What `overwinter guard --let-go` did: drive the released level, pull towards it, nothing else."""
    outputs = {call.level for call in calls if call.what in ("out", "set")}
    pulls = {call.level for call in calls if call.what == "pull"}  # closing twice, it pulls twice
    if outputs != {wiring.released} or pulls != {wiring.released}:
        raise Broken(f"the one who lets go drove {outputs} and pulled {pulls}: {calls}")


def stopped(rig: Rig) -> str:
    """From the pulled in state, on a board that would keep it so."""
    wiring = rig.wiring
    rig.sensor.reads(COLD_C if wiring.contact == "NO" else WARM_C)
    until(lambda: rig.level == wiring.pulled_in, "the relay is pulled in", HEARD_S)
    rig.chip.pull(RELAY, wiring.pulled_in)
    rig.record.forget()
    took_s = stop()
    facts = show("ActiveState", "Result", "SubState")
    if (facts["ActiveState"], facts["Result"]) != ("inactive", "success"):
        raise Broken(f"{facts}; {journal(10)}")
    if (rig.level, rig.chip.pulled(RELAY)) != (wiring.released, wiring.released):
        raise Broken(f"level {rig.level}, pull {rig.chip.pulled(RELAY)}, released is {wiring.released}")
    if any(level.level == wiring.pulled_in for level in _outputs(rig)):
        raise Broken(f"driven while it stopped: {_in_words(_outputs(rig))}")
    return f"gone after {took_s:.1f} s; level {rig.level}, pull {rig.chip.pulled(RELAY)}"


def the_record_sees_a_blink(rig: Rig) -> str:
    """So that the check can fail: gpiozero's own way with an active-low line, on this chip."""
    rig.record.forget()
    SITE.unlink()
    # A board's model for this process alone.
    script = f"mount --bind {CPUINFO} /proc/cpuinfo && exec {sys.executable} -c '{ITS_OWN_WAY}'"
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", script], capture_output=True, text=True, check=False, cwd="/tmp"
    )
    if done.returncode:
        raise Broken(done.stderr[-500:])
    levels = [level for level in driven(rig.record.calls(), SPARE) if level.level is not None]
    if [level.level for level in levels] != [0, 1]:
        raise Broken(f"driven {_in_words(levels)}, and a blink [0, 1] was expected")
    lasted_s = levels[1].at_s - levels[0].at_s
    return f"an active-low line low, which is ON, for {lasted_s * 1000:.1f} ms, before it is high"


def _outputs(rig: Rig) -> list[Level]:
    """How the relay's line was driven, from its first claim as an output; None is a gap."""
    calls = rig.record.calls()
    assert all(call.pin < LINES for call in calls)
    return list(dropwhile(lambda level: level.level is None, driven(calls, RELAY)))


def _in_words(levels: Sequence[Level]) -> str:
    words = []
    for level, after in zip_longest(levels, levels[1:]):
        lasted = "" if after is None else f" for {after.at_s - level.at_s:.2f} s"
        words.append(("input" if level.level is None else str(level.level)) + lasted)
    return ", then ".join(words) or "nothing"

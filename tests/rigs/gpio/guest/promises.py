"""What a hardened unit on a real kernel must do, one promise after another, in the order they run in.

Each check says what it measured, or raises `Broken`. Later ones build on what earlier ones left: a guard that
runs on the wiring named last.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from tests.rigs.gpio.guest import cage, line, sensing
from tests.rigs.gpio.guest.rig import Rig, Wiring

WIRINGS = (
    Wiring(active_high=True, contact="NO"),
    Wiring(active_high=False, contact="NO"),
    Wiring(active_high=True, contact="NC"),
    Wiring(active_high=False, contact="NC"),
)


@dataclass(frozen=True, slots=True)
class Promise:
    """A sentence, and what finds out whether it is true."""

    text: str
    check: Callable[[Rig], str]


def _of_the_line(wiring: Wiring, first: tuple[Promise, ...] = ()) -> tuple[Promise, ...]:
    return (
        Promise(f"{wiring}: claimed released, without a blink", partial(line.claimed, wiring=wiring)),
        *first,
        Promise(f"{wiring}: cold brings heat, warmth ends it", line.follows),
        Promise(f"{wiring}: killed, it is let go, and comes back", line.killed),
        Promise(f"{wiring}: stopped, it is released and pulled there", line.stopped),
    )


# Once, on the first wiring: they have nothing to do with which level means heat.
_ONCE = (
    Promise("the unit runs in its cage", cage.closed),
    Promise("status tells the registers' temperature", sensing.told),
    Promise("heat goes on at low, not above it", sensing.on_at_low),
    Promise("heat goes off at high, not below it", sensing.off_at_high),
    Promise("a band changed by command moves the level", sensing.band),
    Promise("inputs are seen, pulled towards no", sensing.contacts),
    Promise("sensor gone: blind, heat on; back: believed", sensing.lost),
    Promise("only gpiochips may be opened", cage.devices),
    Promise("memory after minutes is far from the limit", cage.memory_use),
    Promise("TasksMax holds", cage.tasks),
    Promise("MemoryMax holds, and the guard comes back", cage.memory),
)

PROMISES = (
    Promise("chip and sensor are real to the kernel", sensing.board),
    *_of_the_line(WIRINGS[0], _ONCE),
    *(promise for wiring in WIRINGS[1:] for promise in _of_the_line(wiring)),
    Promise("without DeviceAllow there is no relay", cage.forbidden),
    Promise("the record sees gpiozero's own blink", line.the_record_sees_a_blink),
)

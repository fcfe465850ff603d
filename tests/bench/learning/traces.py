"""Winters of simulated houses under the band's control, made once and kept on disk.

Rule: the same arguments give the same trace, bit by bit, whether it was made or read.
"""

import hashlib
import json
import os
import pickle
import random
import tempfile
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import cast

from overwinter.core.units import c_from_f
from tests.bench.learning.faults import Fault
from tests.bench.learning.lines import write_logbook
from tests.bench.learning.plants import names
from tests.bench.learning.record import AIR, BEGAN, OUTDOOR, PUMP, UP_S, Day, Happened, Trace
from tests.bench.learning.simulate import simulated
from tests.bench.learning.winters import winter

__all__ = [
    "AIR", "BEGAN", "OUTDOOR", "PUMP", "UP_S", "Day", "Happened", "Trace", "names", "trace", "write_logbook",
]  # fmt: skip

VERSIONS = {"twin": 1, "other": 3}
"""Part of every key on disk: a change of the simulation makes all anew."""


def trace(
    house: str,
    winter_name: str,
    seed: int,
    *,
    model: str = "twin",
    days: int = 120,
    faults: Sequence[Fault] = (),
    outdoor: bool = True,
    low_c: float = c_from_f(36.0),
    high_c: float = c_from_f(40.0),
    bias_k: float | None = None,
    outdoor_bias_k: float = 0.0,
    failed_share: float = 0.03,
    spike_share: float = 0.001,
    heater_share: float = 1.0,
    pump: bool = False,
    pump_contact: bool = False,
) -> Trace:
    """The winter of a house; from disk if it was made before.

    Parameters
    ----------
    house, winter_name : str
        A name of the model's houses, and one of `winters`.
    seed : int
        How the house departs from its drawing, gusts, noise, and when the pump runs.
    model : str
        "twin" or "other".
    faults : sequence of Fault
        What goes wrong when (`faults.plan`).
    outdoor : bool
        Whether there is an outdoor sensor.
    bias_k : float, optional
        Of the sensor [K]; None draws one from -0.5 to 0.5 by the seed.
    heater_share : float
        How much of the drawing's heater is there: 0.5 is one too small for the weather.
    pump, pump_contact : bool
        Whether the pump runs some times a day, and whether an input is told of it.
    """
    arguments = {key: value for key, value in locals().items() if key != "faults"} | {
        "faults": [(str(fault.kind), fault.begins_s, fault.lasts_s) for fault in faults]
    }
    key = hashlib.sha256(json.dumps([VERSIONS[model], arguments], sort_keys=True).encode()).hexdigest()[:24]
    folder = Path(os.environ.get("OVERWINTER_TRACES", Path(tempfile.gettempdir()) / "overwinter-traces"))
    kept = folder / f"{key}.trace"
    if kept.exists():
        return cast("Trace", pickle.loads(zlib.decompress(kept.read_bytes())))
    if bias_k is None:
        bias_k = random.Random(f"bias {house} {winter_name} {seed}").uniform(-0.5, 0.5)
    made = simulated(
        house,
        winter(winter_name),
        seed,
        model=model,
        days=days,
        faults=faults,
        has_outdoor=outdoor,
        low_c=low_c,
        high_c=high_c,
        bias_k=bias_k,
        outdoor_bias_k=outdoor_bias_k,
        failed_share=failed_share,
        spike_share=spike_share,
        heater_share=heater_share,
        has_pump=pump,
        has_pump_contact=pump_contact,
    )
    folder.mkdir(parents=True, exist_ok=True)
    packed = zlib.compress(pickle.dumps(made, protocol=5), 1)
    beside = kept.with_suffix(f".{os.getpid()}")
    beside.write_bytes(packed)
    beside.replace(kept)
    # As it will be read later: the first run shall see what the second does.
    return cast("Trace", pickle.loads(zlib.decompress(packed)))

"""What one start leaves for the next: the blind clock within a boot, counters across power cuts.

The blind clock lies in the runtime folder (memory, gone with the boot, as it must be: seconds since boot mean
nothing in another boot). Counters lie in a small state file, saved hourly and at stop; every `heat` event in
the logbook bears them too, so that a power cut costs no cycle.
"""

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from overwinter.core.evidence import is_record
from overwinter.guard.files import CannotStart

SAVE_EVERY_S = 3600.0
"""How often counters are saved: each save is two fsyncs of the card's life."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counters:
    """The relay's and the heater's lives so far."""

    cycles: int = 0
    on_s: float = 0.0
    unused_s: float = 0.0


def counters(stored: Mapping[str, object] | None, last_lines: list[dict[str, object]]) -> Counters:
    """The furthest that state file and logbook know of; what is no number counts for nothing."""
    stored = stored or {}
    known = Counters(
        cycles=int(_number(stored.get("cycles"))),
        on_s=_number(stored.get("on_s")),
        unused_s=_number(stored.get("unused_s")),
    )
    for line in last_lines:
        if line.get("event") == "heat" and _number(line.get("cycles")) >= known.cycles:
            used = _number(line.get("on_s"))
            known = Counters(
                cycles=int(_number(line.get("cycles"))),
                on_s=max(known.on_s, used),
                unused_s=known.unused_s if used <= known.on_s else 0.0,
            )
    return known


def _number(value: object) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and 0.0 <= value < 1e12 else 0.0  # type: ignore[operator,arg-type]


def recall_proof(stored: object) -> dict[str, object] | None:
    """The last proof test of the state file; anything odd is none."""
    if not isinstance(stored, dict) or not is_record(stored.get("verdict"), stored.get("steps")):
        return None
    return stored if isinstance(stored.get("t"), str) and isinstance(stored.get("boot"), str) else None


class BlindClock:
    """The last believed control reading, kept within one boot."""

    def __init__(self, runtime_dir: Path, boot_id: str) -> None:
        self._path = runtime_dir / "last-believed.json"
        self._boot_id = boot_id
        self._kept_s: float | None = None

    def recall(self, now_s: float) -> tuple[float, float | None] | None:
        """When it was taken and what it said [s, °C]; None: nothing is known of this boot."""
        try:
            kept = json.loads(self._path.read_bytes())
            if kept["boot"] != self._boot_id or not 0.0 <= kept["believed_s"] <= now_s:
                return None
            believed_c = kept["believed_c"]
            return float(kept["believed_s"]), None if believed_c is None else float(believed_c)
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def keep(self, believed_s: float, believed_c: float | None) -> None:
        """Remember it; a folder that takes no writes costs only the memory."""
        if believed_s == self._kept_s:
            return
        self._kept_s = believed_s
        draft = self._path.with_suffix(".draft")
        try:
            draft.write_text(
                json.dumps({"boot": self._boot_id, "believed_s": believed_s, "believed_c": believed_c})
            )
            draft.replace(self._path)  # no fsync: memory, and gone with the boot
        except OSError:
            return


def lock(folder: Path) -> int | None:
    """Take the state folder for this process; None: another guard has it.

    The folder itself is locked, not a file in it: that works on a full and on a read-only disk. The
    descriptor is kept open for the life of the process.

    Raises
    ------
    OSError
        There is no such folder, or it may not be read.
    """
    import fcntl

    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return None
    return descriptor


def hold(state_dir: Path) -> int | None:
    """Be the one guard of this house; None: no folder to lie in, so nothing that a second could spoil.

    Raises
    ------
    CannotStart
        Another guard is running here.
    """
    try:
        held = lock(state_dir)
    except OSError:
        return None
    if held is None:
        raise CannotStart(f"another guard is running on {state_dir}: one guard a house")
    return held

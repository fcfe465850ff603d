"""A small state file: counters, the last proof, what was learned.

It is kept as a checked copy: after a power cut it is whole (the old one or the new one) or it is absent,
and the guard then starts its counters afresh. Nothing in it may be needed to keep pipes warm.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from overwinter.store.atomic import read_copy, write_copy
from overwinter.store.lines import encode


def save_state(path: Path, state: Mapping[str, object]) -> None:
    """Store the state durably; numbers that are not finite become null.

    Raises
    ------
    OSError
        It is not stored; the old state stays.
    """
    write_copy(path, encode(state))


def load_state(path: Path) -> dict[str, Any] | None:
    """What `save_state` stored; None when it is missing, torn or flipped anywhere."""
    kept = read_copy(path)
    if kept is None:
        return None
    try:
        state = json.loads(kept)
    except (ValueError, RecursionError):
        return None  # a checked copy, but not of a state
    return state if isinstance(state, dict) else None

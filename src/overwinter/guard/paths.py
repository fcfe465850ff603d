"""Where one guard's things are."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Paths:
    """The owner's file, the guard's two folders, and its socket."""

    site: Path
    state: Path
    logs: Path
    socket: Path
    root: Path = Path("/")  # kernel files of sensors are looked for below

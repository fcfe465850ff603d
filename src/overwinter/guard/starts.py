"""Starts that fail by themselves: the third in a row goes on without whatever may be poisoned.

Counted are starts that an unforeseen error ended before READY, within one kernel boot; READY clears the
count. Power that flaps, a kill, another guard, a broken site.toml or a missing relay are no bad starts:
setting files aside would not help, and would lose what an owner has set.
"""

import json
from collections.abc import Iterable
from pathlib import Path

from overwinter.store.atomic import set_aside

BAD_IN_A_ROW = 2
"""After so many the next start sets its suspects aside."""


class Starts:
    """The count, in the runtime folder: memory, gone with the boot."""

    def __init__(self, runtime_dir: Path, boot_id: str) -> None:
        self._path = runtime_dir / "bad-starts.json"
        self._boot_id = boot_id
        self.are_over = False  # whether READY was reached: an error after it is none of a start

    def count(self) -> int:
        """How many starts in a row have failed in this boot."""
        try:
            kept = json.loads(self._path.read_bytes())
            return int(kept["count"]) if kept["boot"] == self._boot_id else 0
        except (OSError, ValueError, KeyError, TypeError):
            return 0

    def another_failed(self) -> None:
        """Count one more; a folder that takes no writes costs only the count."""
        try:
            self._path.write_text(json.dumps({"boot": self._boot_id, "count": self.count() + 1}))
        except OSError:
            return

    def one_succeeded(self) -> None:
        """READY was reached."""
        self.are_over = True
        try:
            self._path.unlink(missing_ok=True)
        except OSError:
            return

    def set_suspects_aside(self, suspects: Iterable[Path]) -> str | None:
        """After too many bad starts rename what may be poisoned; what was done, in words, or None."""
        if self.count() < BAD_IN_A_ROW:
            return None
        aside = [path.name for path in suspects if path.exists() and set_aside(path, "suspect") is not None]
        return (
            f"{self.count()} starts in a row failed: {', '.join(aside) or 'nothing could be'} set aside, and "
            "the guard runs on defaults that protect pipes; compare the files set aside with what you had"
        )

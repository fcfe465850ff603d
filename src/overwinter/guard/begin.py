"""What a start takes over from earlier runs, and what it makes of it: in the pump house as when rehearsed."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from overwinter.core.nouns import Arrival, Code, Fact, Remark, Settings, Site
from overwinter.core.state import State
from overwinter.guard.clock import Clock
from overwinter.guard.gap import Gap, gap_before
from overwinter.guard.memory import BlindClock, counters, recall_proof
from overwinter.guard.way_back import Return
from overwinter.store.keeper import STATE_NAME
from overwinter.store.lines import last_lines
from overwinter.store.small import load_state

if TYPE_CHECKING:
    from concurrent.futures import Future

TAIL_LINES = 500
"""How far back a start looks for counters; every heat event bears them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beginning:
    """A state to turn on, and what goes beside it."""

    state: State
    gap: Gap | None
    way_back: Return | None
    proof: dict[str, object] | None
    learned: object  # as kept
    fear: str | None  # pipes may have frozen, and nobody has acknowledged it yet


def begin(
    state_dir: Path, logs_dir: Path, *, site: Site, settings: Settings, clock: Clock, blind_clock: BlindClock
) -> Beginning:
    """Read what earlier runs left; what can't be read counts for nothing."""
    now_s = clock.now_s()
    stored, tail = _state_file(state_dir), _tail(logs_dir)
    past = counters(stored, tail)
    believed_s, believed_c = blind_clock.recall(now_s) or (None, None)
    return Beginning(
        state=State(
            site,
            settings,
            now_s,
            believed_s=believed_s,
            believed_c=believed_c,
            cycles=past.cycles,
            on_s=past.on_s,
            unused_s=past.unused_s,
        ),
        gap=gap_before(
            tail,
            boot=clock.boot_id,
            now_s=now_s,
            utc_s=clock.utc_s(),
            record_s=settings.record_s,
            is_synchronised=clock.is_synchronised(),
        ),
        way_back=Return.recall(stored.get("way_back")) if stored else None,
        proof=recall_proof(stored.get("proof")) if stored else None,
        learned=stored.get("learned") if stored else None,
        fear=_text(stored.get("may_have_frozen")) if stored else None,
    )


def disk_told(
    code: str,
    present: bool,
    text: str,
    *,
    post: Callable[[Arrival], None],
    put_back: Callable[[], "Future[None]"],
    repaired: Callable[["Future[None]"], None],
) -> None:
    """Pass on what the keeper says of its disk."""
    post(Fact(code=Code(code), present=present, text=text))
    if text and not present:
        post(Remark(ticket=0, event="lost-lines", fields={"text": text}))
    if not present:  # a disk that was gone may have come back without what lay on it
        put_back().add_done_callback(repaired)


def _text(stored: object) -> str | None:
    return stored[:1000] if isinstance(stored, str) else None


def _state_file(state_dir: Path) -> dict[str, Any] | None:
    try:
        return load_state(state_dir / STATE_NAME)
    except OSError:
        return None


def _tail(logs_dir: Path) -> list[dict[str, object]]:
    try:
        return last_lines(logs_dir, TAIL_LINES)
    except OSError:
        return []

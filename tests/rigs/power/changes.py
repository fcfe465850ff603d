"""The numbered changes and notes that the guard is asked for, so that what is found later can be dated.

Change 0 are the settings of a first start. Every change writes its number into several keys at once: half a
change would be seen as well.
"""

import random
from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from overwinter.core.nouns import Mode, Settings
from overwinter.core.units import c_from_f

STEP_F = 0.01
RECORD_S = 100  # beyond the default of sampling.record_s, so that no change spells it
CHANGES_MOST = 800  # then the band would come too near to the temperatures above it
OBSERVE_EVERY = 7  # changes: to mode observe, with a way back
NOTE_CHARACTERS_MOST = 900
ROUNDING = 1e-6


def is_observe(number: int) -> bool:
    """Whether this change goes to mode observe."""
    return number % OBSERVE_EVERY == 3


def change(number: int, until: str) -> dict[str, object]:
    """The parameters of `set` for a change; `until` is when a mode observe ends."""
    assert 1 <= number <= CHANGES_MOST
    mode = Mode.OBSERVE if is_observe(number) else Mode.FREEZE
    changes = {
        "mode": mode.value,
        "band.low": round(36.0 + number * STEP_F, 4),
        "band.high": round(40.0 + number * STEP_F, 4),
        "sampling.record_s": RECORD_S + number,
    }
    return {"changes": changes, "anyway": True, **({"until": until} if is_observe(number) else {})}


def settings_after(number: int) -> Settings:
    """All settings as they must be once this change is made."""
    if number == 0:
        return Settings()
    return replace(
        Settings(),
        mode=Mode.OBSERVE if is_observe(number) else Mode.FREEZE,
        low_c=c_from_f(36.0 + number * STEP_F),
        high_c=c_from_f(40.0 + number * STEP_F),
        record_s=float(RECORD_S + number),
    )


def number_of(settings: Settings) -> int | None:
    """Which change these settings are the outcome of, all of them; None: of none."""
    number = 0 if settings.record_s == Settings().record_s else round(settings.record_s) - RECORD_S
    if not 0 <= number <= CHANGES_MOST:
        return None
    wanted = settings_after(number)
    is_same = all(_same(getattr(settings, one.name), getattr(wanted, one.name)) for one in fields(Settings))
    return number if is_same else None


def _same(found: object, wanted: object) -> bool:
    if isinstance(found, float) and isinstance(wanted, int | float):
        return abs(found - wanted) < ROUNDING
    return found == wanted


def note(number: int, chance: random.Random) -> str:
    """The text of a note; of any length, so that lines lie anywhere in the disk's blocks."""
    return f"note {number} " + "x" * chance.randrange(1, NOTE_CHARACTERS_MOST)


def note_number(line: Mapping[str, Any]) -> int | None:
    """The number of a note, from its line in the logbook."""
    if line.get("event") != "note":
        return None
    return int(str(line["text"]).split()[1])


def change_number(line: Mapping[str, Any]) -> int | None:
    """The number of a change by command, from its line in the logbook."""
    if line.get("event") != "settings" or line.get("how") != "command":
        return None
    return round(float(line["changes"]["sampling.record_s"][1])) - RECORD_S

"""Whoever asks for a change, and the settings that the tests of a turn begin with."""

from dataclasses import replace

from overwinter.core.nouns import (
    Adopt,
    Mode,
    Settings,
)
from tests.core.rig import (
    BAND,
    CALLER,
)

WHO = {"uid": 1000, "user": "ada", "pid": 4711}

WARM = replace(BAND, mode=Mode.WARM)

OBSERVE = replace(BAND, mode=Mode.OBSERVE)


def adopt(settings: Settings, how: str = "command", **changes: tuple[object, object]) -> Adopt:
    return Adopt(ticket=7, caller=CALLER, settings=settings, changes=changes, how=how)

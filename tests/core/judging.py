"""A series of values through one sensor's track, and the flags by their numbers."""

from collections.abc import Sequence

from overwinter.core.judge import Track
from overwinter.core.nouns import Settings
from tests.core.rig import BAND, reading

PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9


def flags(
    track: Track,
    values: Sequence[float | None],
    settings: Settings = BAND,
    *,
    start_s: float = 0.0,
    step_s: float = 10.0,
) -> list[int]:
    """The flags of values that come at an even pace."""
    return [
        int(track.hear(reading(value, start_s + step_s * index), settings))
        for index, value in enumerate(values)
    ]

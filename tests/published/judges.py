"""The two judges of a series of readings: ours, and `ioos_qc`, the reference implementation of QARTOD.

The library (Apache-2.0, 365 MB with what it needs) judges in development and CI only: the extra `qartod`.
Traps are those of `test_ioos_qc_traps.py`, by their numbers.
"""

from collections.abc import Sequence

import pytest

from overwinter.core.judge import RANGE_C, Track
from overwinter.core.nouns import Settings
from tests.core.rig import reading, sensor

np = pytest.importorskip("numpy", reason="ioos_qc is not installed: pip install 'overwinter[qartod]'")
qartod = pytest.importorskip(
    "ioos_qc.qartod", reason="ioos_qc is not installed: pip install 'overwinter[qartod]'"
)

NAN = float("nan")
STEP_S = 10.0
KIND = "iio"  # without humidity every error value lies outside its gross range too
SENSOR_STEP_K = 0.1
LEAST_TOLERANCE_K = SENSOR_STEP_K / 1000.0  # trap 1: with none at all the library never flags


def ours(values: Sequence[float], settings: Settings, *, times_s: Sequence[float] | None = None) -> list[int]:
    """Our flags; at an even pace of `sense_s` unless times are given."""
    if times_s is None:
        times_s = [settings.sense_s * index for index in range(len(values))]
    track = Track(sensor(kind=KIND))
    return [
        int(track.hear(reading(value, at_s), settings)) for at_s, value in zip(times_s, values, strict=True)
    ]


def at_pace(count: int, step_s: float = STEP_S) -> list[float]:
    return [step_s * index for index in range(count)]


def library_range(values: Sequence[float]) -> "np.ndarray":
    return qartod.gross_range_test(values, RANGE_C[KIND]).filled()


def library_rate(values: Sequence[float], times_s: Sequence[float], limit_k_s: float) -> list[int]:
    return qartod.rate_of_change_test(values, times_s, limit_k_s).filled().tolist()


def library_flat(
    values: Sequence[float], times_s: Sequence[float], after_s: float, tolerance_k: float = LEAST_TOLERANCE_K
) -> list[int]:
    """With one threshold for both stages: ours has one."""
    return np.asarray(qartod.flat_line_test(values, times_s, after_s, after_s, tolerance_k)).tolist()

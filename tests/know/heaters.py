"""The houses whose heater answers at once, for the tests of its faults, and the seeds of their days."""

from tests.know.plant import HOUSES

QUICK = [HOUSES[name] for name in ("shed", "block", "box")]
QUICK_NAMES = ["shed", "block", "box"]
SEEDS = (1, 2)

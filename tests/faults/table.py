"""Every fault that is injected, in one list, and what needs root."""

from tests.faults import heating, running, sensing
from tests.faults.nouns import Row

NEEDS_ROOT = frozenset(("stranger-changes-settings",))
"""Another user is needed."""

ORDER = ("sensor", "relay", "heater", "building", "power", "disk", "clock", "person")

ROWS: tuple[Row, ...] = tuple(
    sorted((*sensing.ROWS, *heating.ROWS, *running.ROWS), key=lambda row: ORDER.index(row.of))
)

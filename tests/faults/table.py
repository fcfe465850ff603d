"""Every fault that is injected, in one list; what is not told yet, and what needs root."""

from tests.faults import heating, running, sensing
from tests.faults.nouns import Row

NOT_YET = frozenset[str]()
"""Rows that nobody tells yet, injected and lived through all the same; one that is told in time must leave."""

NEEDS_ROOT = frozenset(("stranger-changes-settings",))
"""Another user is needed."""

ORDER = ("sensor", "relay", "heater", "building", "power", "disk", "clock", "person")

ROWS: tuple[Row, ...] = tuple(
    sorted((*sensing.ROWS, *heating.ROWS, *running.ROWS), key=lambda row: ORDER.index(row.of))
)

"""Local time on the days on which clocks are changed, in three parts of the world."""

import time
from datetime import UTC, datetime

import pytest

from overwinter.cli import drawing

HOUR_S = 3600

ZONES = {  # as POSIX spells them; the rules of 2026, from memory of the zone database
    "EST5EDT,M3.2.0,M11.1.0": [(2026, 3, 8, 7, 0, -4.0), (2026, 11, 1, 6, 0, -5.0)],
    "CET-1CEST,M3.5.0,M10.5.0/3": [(2026, 3, 29, 1, 0, 2.0), (2026, 10, 25, 1, 0, 1.0)],
    # Half an hour only, and in the other half of the world.
    "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0": [(2026, 4, 4, 15, 0, 10.5), (2026, 10, 3, 15, 30, 11.0)],
}


@pytest.mark.parametrize("zone", ZONES)
def test_both_changes_of_a_year_are_found_at_their_second(zone: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", zone)
    time.tzset()

    for year, month, day, hour, minute, ahead_h in ZONES[zone]:
        at_s = datetime(year, month, day, hour, minute, tzinfo=UTC).timestamp()
        found = drawing.local_zone(at_s - 20 * HOUR_S, at_s + 20 * HOUR_S)

        assert [offset.from_s for offset in found[1:]] == [at_s]
        assert found[1].ahead_s == ahead_h * HOUR_S

"""What a quiet day costs the card: the rig's own measurement by strace, beside its bounds."""

import shutil
from pathlib import Path

from tests.bench.table import Row
from tests.rigs.test_wear import BYTES_A_DAY_MOST, FSYNCS_A_DAY_MOST, live


def rows(folder: Path) -> list[Row]:
    """Bytes and fsyncs a day at default settings, without a heat event."""
    if shutil.which("strace") is None:
        return [Row(what="wear of a quiet day", value="not measured: strace is not installed")]
    place = folder / "wear"
    place.mkdir()
    wear = live(place, half_cycle_s=0.0)
    hours = f"{wear.hours:.1f} h measured, {wear.count('heat')} heat events"
    written_kb = wear.a_day(wear.written) / 1000.0
    syncs = wear.a_day(wear.syncs)
    return [
        Row(
            what="written in a quiet day",
            value=f"{written_kb:.0f} kB",
            floor=hours,
            judged=written_kb,
            goal=BYTES_A_DAY_MOST / 1000.0,
            sign=" kB",
        ),
        Row(
            what="fsyncs in a quiet day",
            value=f"{syncs:.0f}",
            floor=hours,
            judged=syncs,
            goal=float(FSYNCS_A_DAY_MOST),
        ),
    ]

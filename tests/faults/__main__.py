"""`python -m tests.faults`: live through the fault table and write its page (as root)."""

import os
import sys
import tempfile
from pathlib import Path

from tests.faults.report import PAGE, is_covered, page
from tests.faults.table import NEEDS_ROOT, ROWS


def main() -> int:
    """Write the page, unless a row is not as the table says."""
    if NEEDS_ROOT and os.geteuid() != 0:
        print(f"needs root, for {', '.join(sorted(NEEDS_ROOT))}", file=sys.stderr)
        return 1
    seen, wrong = {}, []
    for row in ROWS:
        with tempfile.TemporaryDirectory(prefix="overwinter-fault-") as folder:
            found = seen[row.id] = row.drive(Path(folder))
        is_right = (
            found.heat == row.heat
            and (row.may_freeze or found.ice_after_s is None)
            and (not row.told or is_covered(row, found))
        )
        wrong += [] if is_right else [row.id]
        print(f"{'' if is_right else 'NOT AS THE TABLE SAYS: '}{row.id}: {found}", file=sys.stderr)
    if wrong:
        return 1
    PAGE.write_text(page(seen, ROWS), encoding="utf-8")
    print(f"{PAGE} was written", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""`samples`: temperature, humidity and heat from the logbook."""

from overwinter.cli.history import OPTIONS, tell
from overwinter.cli.options import Verb

VERB = Verb(
    "samples",
    about="""Temperature, humidity and heat from the logbook, the last 24 h if nothing else is said.

Read from the logbook's files where they are readable, else asked of the guard. CSV is in SI units,
with local time and UTC, for any spreadsheet.""",
    examples=(
        "overwinter samples",
        "overwinter samples --since 7d --csv > week.csv",
        "overwinter samples --since '2026-01-09 18:00' --until 2026-01-10 --json",
    ),
    options=OPTIONS,
)


def run(argv: list[str]) -> int:
    """Print the samples."""
    return tell(VERB, argv, default_since="24h")

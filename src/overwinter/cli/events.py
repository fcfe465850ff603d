"""`events`: what happened, from the logbook."""

from overwinter.cli.history import OPTIONS, tell
from overwinter.cli.options import Verb

VERB = Verb(
    "events",
    about="""What happened: starts, heat, settings, alarms, remarks; the last 7 d if nothing else is said.

Read from the logbook's files where they are readable, else asked of the guard.""",
    examples=(
        "overwinter events",
        "overwinter events --since 30d --limit 20",
        "overwinter events --csv > all.csv",
    ),
    options=OPTIONS,
)


def run(argv: list[str]) -> int:
    """Print the events."""
    return tell(VERB, argv, default_since="7d")

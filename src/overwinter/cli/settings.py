"""`settings`: every setting, by the key that `set` takes."""

from overwinter.cli.ask import facts, print_json
from overwinter.cli.changes import unit_of
from overwinter.cli.options import JSON, Verb
from overwinter.cli.places import places
from overwinter.show.text import MEANINGS, flattened, table

VERB = Verb(
    "settings",
    about="Show every setting, by the key that `overwinter set` takes.",
    examples=("overwinter settings", "overwinter settings --json"),
    options={"json": JSON},
)


def run(argv: list[str]) -> int:
    """Print the settings."""
    given = VERB.parse(argv)
    settings = facts(places(given.options, client=True), "settings")
    if given.has("json"):
        print_json(settings)
        return 0
    rows = [
        (key, value, MEANINGS.get(key, "")) for key, value in flattened(settings, unit_of(settings)).items()
    ]
    print(table(("key", "value", "meaning"), rows))
    return 0

"""`settings`: every setting, by the key that `set` takes; and both files to another card and back."""

from overwinter.cli.ask import facts, print_json
from overwinter.cli.changes import print_changes, unit_of
from overwinter.cli.options import ANYWAY, JSON, Verb
from overwinter.cli.places import places
from overwinter.show.text import MEANINGS, flattened, table

VERB = Verb(
    "settings",
    about="""Show every setting, by the key that `overwinter set` takes.

--export writes settings.toml and site.toml, as they are stored, into one file; - is stdout.
--import checks all of such a file and takes the settings over: through the guard, or, where none runs,
into the folder of settings.toml. With --state and no --socket it goes into that folder, such as the one of
a card in a reader. site.toml is written only where --site says, and the old one is kept beside it.""",
    examples=(
        "overwinter settings",
        "overwinter settings --json",
        "overwinter settings --export pump-house.toml",
        "overwinter settings --import pump-house.toml --site /etc/overwinter/site.toml",
    ),
    options={
        "json": JSON,
        "export": ("FILE", "write both files into one; - is stdout"),
        "import": ("FILE", "take over what an export wrote; - is stdin"),
        "anyway": ANYWAY,
    },
)


def run(argv: list[str]) -> int:
    """Print the settings, or carry them."""
    given = VERB.parse(argv)
    where = places(given.options, client=True)
    to, come_from = given.value("export"), given.value("import")
    if to is not None and come_from is not None:
        raise VERB.wrong("--export and --import do not go together")
    if given.has("anyway") and come_from is None:
        raise VERB.wrong("--anyway goes with --import")
    if to is not None:
        if given.has("json"):
            raise VERB.wrong("--json does not go with --export")
        from overwinter.cli.carrying import export

        return export(where, to)
    if come_from is not None:
        from overwinter.cli.carrying import bring

        brought = bring(where, given, come_from)
        if given.has("json"):
            print_json(brought.answer)
            return 0
        print_changes(brought.answer, unit=brought.unit)
        print("saved")
        return 0
    settings = facts(where, "settings")
    if given.has("json"):
        print_json(settings)
        return 0
    rows = [
        (key, value, MEANINGS.get(key, "")) for key, value in flattened(settings, unit_of(settings)).items()
    ]
    print(table(("key", "value", "meaning"), rows))
    return 0

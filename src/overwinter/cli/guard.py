"""`guard`: the daemon, in the foreground; what the service runs."""

from overwinter.cli.options import Stop, Verb, complain
from overwinter.cli.places import places

VERB = Verb(
    "guard",
    about="""The daemon itself: senses, judges, decides, drives the relay, records. Stays in the foreground.

The relay's pin factory is the one that GPIOZERO_PIN_FACTORY names, lgpio otherwise, and never another by
itself. SIGHUP reads both files again; SIGTERM releases the relay and stops. A process is no safety device:
an independent high limit belongs into the heater's circuit.""",
    examples=(
        "overwinter guard",
        "overwinter guard --site ./site.toml --state ./state --logs ./logs --socket ./control.sock",
        "GPIOZERO_PIN_FACTORY=mock overwinter guard --house bench",
    ),
    options={
        "let-go": ("", "only release the relay of a guard that has gone, and end; the service does this"),
        "reread": ("", "only say whether a reload takes the two files as they are; the service does this"),
    },
)


def run(argv: list[str]) -> int:
    """Guard until a signal ends it."""
    given = VERB.parse(argv)
    where = places(given.options, client=False)
    from pathlib import Path

    from overwinter.core.nouns import OverwinterError
    from overwinter.guard.paths import Paths

    # Absolute, since a service may run in another folder than its owner thought.
    paths = Paths(
        site=Path(where.site).absolute(),
        state=Path(where.state).absolute(),
        logs=Path(where.logs).absolute(),
        socket=Path(where.socket).absolute(),
    )
    try:
        if given.has("let-go"):
            from overwinter.guard.let_go import let_go

            complain(let_go(paths))
            return 0
        if given.has("reread"):
            from overwinter.guard.files import last_good_site
            from overwinter.guard.reread import reread

            refused = reread(paths, last_good_site(paths.state)).refused
            if refused:
                raise Stop(1, "refused, the running values stay", *(f"  {text}" for text in refused))
            return 0
        from overwinter.guard.main import guard

        return guard(paths)
    except OverwinterError as error:
        raise Stop(error.exit_code, str(error)) from None

"""`guard`: the daemon, in the foreground; what the service runs."""

from overwinter.cli.options import Stop, Verb
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
)


def run(argv: list[str]) -> int:
    """Guard until a signal ends it."""
    where = places(VERB.parse(argv).options, client=False)
    from pathlib import Path

    from overwinter.core.nouns import OverwinterError
    from overwinter.guard.main import Paths, guard

    # Absolute, since a service may run in another folder than its owner thought.
    paths = Paths(
        site=Path(where.site).absolute(),
        state=Path(where.state).absolute(),
        logs=Path(where.logs).absolute(),
        socket=Path(where.socket).absolute(),
    )
    try:
        return guard(paths)
    except OverwinterError as error:
        raise Stop(error.exit_code, str(error)) from None

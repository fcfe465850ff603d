"""`notifier`: the process that tells; what its service runs."""

import os
import signal

from overwinter.cli.options import Stop, Verb
from overwinter.cli.places import places

VERB = Verb(
    "notifier",
    about="""Tells others how it is there: runs the owner's command for every alarm, gives a sign of life
while the guard turns, speaks to an MQTT broker, writes a metrics file. Stays in the foreground.

What it does stands under [notices] and [mqtt] in site.toml. It asks the guard over its socket and touches
nothing else. The broker's password is read from the credential mqtt-password (the file of that name in
CREDENTIALS_DIRECTORY), never from a command line. SIGTERM stops it.""",
    examples=(
        "overwinter notifier",
        "overwinter notifier --site ./site.toml --socket ./run/control.sock",
    ),
)


def run(argv: list[str]) -> int:
    """Tell until a signal ends it."""
    where = places(VERB.parse(argv).options, client=True)
    from pathlib import Path

    from overwinter.settings.site import parse_site

    try:
        data = Path(where.site).read_bytes()
    except OSError as error:
        raise Stop(1, f"{where.site}: {error.strerror or error}") from None
    parsed = parse_site(data)
    if parsed.site is None:
        raise Stop(1, *(problem.text for problem in parsed.problems))
    spec = parsed.site.notices
    if parsed.site.mqtt is None and not (
        spec.command or spec.heartbeat_command or spec.heartbeat_url or spec.metrics_file
    ):
        raise Stop(
            1,
            f"{where.site} asks for nothing to be told",
            "allowed: command, heartbeat_command, heartbeat_url or metrics_file under [notices], or [mqtt]",
        )
    from overwinter.daemon import commentary
    from overwinter.daemon.service import Service
    from overwinter.notify.mqtt import password_from
    from overwinter.notify.notifier import Notifier

    commentary.configure()
    log = commentary.get()
    folder = os.environ.get("NOTIFIER_MEMORY")
    try:
        notifier = Notifier(
            parsed.site,
            socket_path=where.socket,
            memory=Path(folder) / "told.json" if folder else None,
            password=password_from(os.environ.get("CREDENTIALS_DIRECTORY")),
            log=log,
            service=Service(lambda text: log.warning("systemd was not told", why=text)),
        )
    except ImportError as error:
        raise Stop(
            1,
            f"[mqtt] needs the package paho-mqtt ({error})",
            "make install brings it; in the source tree: pip install '.[mqtt]'",
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise Stop(1, f"the broker cannot be spoken to: {error}") from None
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: notifier.stop())
    notifier.run()
    return 0

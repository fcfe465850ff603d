"""After a guard has gone: put the relay's line where a stopped guard puts it.

A guard that was killed could not release its relay, and many a board keeps the last level of a line whose
owner is gone: heat would stay on, or off, unwatched. The service manager runs this after every end of it.
"""

import os

from overwinter.core.nouns import Site
from overwinter.devices.relay import open_relay
from overwinter.guard.files import last_good_site, load_site
from overwinter.guard.memory import hold
from overwinter.guard.paths import Paths


def let_go(paths: Paths) -> str:
    """Release the relay; what was done, in one line.

    Raises
    ------
    OverwinterError
        A guard is running, nothing says what is wired, or the line cannot be had.
    """
    held = hold(paths.state)
    try:
        spec = _wired(paths).relay
        if spec.kind != "gpio":
            return f"relay.kind = {spec.kind!r}: there is no line to let go"
        open_relay(spec, runtime_dir=paths.socket.parent).close()
        means = "heat is ON as long as there is power" if spec.contact == "NC" else "no heat"
        return f"relay on GPIO {spec.pin} is released; with contact {spec.contact} that is: {means}"
    finally:
        if held is not None:
            os.close(held)


def _wired(paths: Paths) -> Site:
    # The copy first: it is what the guard that has gone had claimed. The file may have been edited since.
    return last_good_site(paths.state) or load_site(paths.site, paths.state).site

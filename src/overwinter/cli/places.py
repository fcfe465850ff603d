"""Where things are: the first that applies of option, OVERWINTER_* variable, systemd, root, XDG.

Only strings, and each place is worked out when it is asked for: `status` needs the socket alone, and
neither pathlib nor platformdirs is imported for it.

Rule: an option beats the environment; so with `--house` the OVERWINTER_* variables, which may speak of
another house, are not looked at, and systemd's only where they name this house.
Rule: an ordinary user's client that finds the system guard's socket looks at the system's other places
too, so that socket and logbook belong to one house.
"""

import os
from collections.abc import Mapping

from overwinter.cli.options import Stop

SYSTEM_ROOT = ""
"""Before /etc, /var and /run; a test puts a folder of its own here."""

_SYSTEMD = {
    "site": "CONFIGURATION_DIRECTORY",
    "state": "STATE_DIRECTORY",
    "logs": "LOGS_DIRECTORY",
    "socket": "RUNTIME_DIRECTORY",
}
_SYSTEM_FOLDER = {"site": "/etc", "state": "/var/lib", "logs": "/var/log", "socket": "/run"}
_FILE = {"site": "/site.toml", "state": "", "logs": "", "socket": "/control.sock"}
_HOUSE_LONGEST = 64


class Places:
    """site.toml, the state and logbook folders and the socket, as paths in text."""

    __slots__ = ("_client", "_name", "_options")

    def __init__(self, options: Mapping[str, str], *, client: bool) -> None:
        house = options.get("house")
        if house is not None and not _is_house(house):
            raise Stop(
                2,
                f"--house {house!r} is no name of a house",
                f"allowed: letters, digits, '-', '_' and '.', at most {_HOUSE_LONGEST}",
            )
        self._options = options
        self._client = client
        self._name = f"overwinter@{house}" if house is not None else "overwinter"

    @property
    def site(self) -> str:
        """The file site.toml."""
        return self._place("site")

    @property
    def state(self) -> str:
        """The folder of settings.toml."""
        return self._place("state")

    @property
    def logs(self) -> str:
        """The folder of the logbook."""
        return self._place("logs")

    @property
    def socket(self) -> str:
        """The guard's socket."""
        return self._place("socket")

    def is_named(self, what: str) -> bool:
        """Whether an option or an OVERWINTER_* variable says where this is."""
        return bool(self._named(what))

    def _named(self, what: str) -> str | None:
        return self._options.get(what) or self._environment(f"OVERWINTER_{what.upper()}")

    def _environment(self, variable: str) -> str | None:
        return None if "house" in self._options else os.environ.get(variable)

    def _place(self, what: str) -> str:
        named = self._named(what)
        if named:
            return named
        folder = os.environ.get(_SYSTEMD[what], "").split(":")[0]
        if folder and ("house" not in self._options or folder.rsplit("/", 1)[-1] == self._name):
            return folder + _FILE[what]
        if _is_root() or (self._client and os.path.exists(self._system("socket"))):  # noqa: PTH110
            return self._system(what)
        return self._own(what) + _FILE[what]

    def _system(self, what: str) -> str:
        return f"{SYSTEM_ROOT}{_SYSTEM_FOLDER[what]}/{self._name}{_FILE[what]}"

    def _own(self, what: str) -> str:
        import warnings

        import platformdirs

        if what == "site":
            return platformdirs.user_config_dir(self._name)
        if what == "state":
            return platformdirs.user_state_dir(self._name)
        if what == "logs":
            return platformdirs.user_log_dir(self._name)
        with warnings.catch_warnings():
            # Without a login there is no runtime folder, and one in /tmp is taken: whatever is said about
            # the socket names its path anyway.
            warnings.simplefilter("ignore")
            return platformdirs.user_runtime_dir(self._name)


def places(options: Mapping[str, str], *, client: bool) -> Places:
    """Where things are for this command line.

    Parameters
    ----------
    options : Mapping
        By name without dashes: site, state, logs, socket, house; others are ignored.
    client : bool
        True for what talks to a guard, False for the guard itself.

    Raises
    ------
    Stop
        The name of a house is none.
    """
    return Places(options, client=client)


def _is_root() -> bool:
    return os.geteuid() == 0


def _is_house(name: str) -> bool:
    # A slash or '..' would lead out of the folders that are meant.
    return (
        0 < len(name) <= _HOUSE_LONGEST
        and name.isascii()
        and not name.startswith(".")
        and all(letter.isalnum() or letter in "-_." for letter in name)
    )

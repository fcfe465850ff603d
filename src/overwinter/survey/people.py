"""Users and groups, as /etc/passwd and /etc/group say: the guard's user, and whoever looks."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from overwinter.survey.finding import Finding, hint, sound
from overwinter.survey.machine import CannotLook, Machine
from overwinter.survey.scene import Scene, Unit

GROUP = "overwinter"
"""Its members may change settings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class User:
    """A user with all his groups."""

    name: str
    uid: int
    gids: frozenset[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """Users and groups of this machine."""

    users: Mapping[str, tuple[int, int]]  # uid, gid
    groups: Mapping[str, tuple[int, frozenset[str]]]  # gid, members

    def group_name(self, gid: int) -> str:
        """Its name; empty where it has none here."""
        return next((name for name, (number, _) in self.groups.items() if number == gid), "")

    def user(self, name: str, also: tuple[str, ...] = ()) -> User | None:
        """A user with his groups and those named in `also`; None when he is not known."""
        if name not in self.users:
            return None
        uid, gid = self.users[name]
        gids = {number for number, members in self.groups.values() if name in members}
        gids |= {self.groups[group][0] for group in also if group in self.groups}
        return User(name=name, uid=uid, gids=frozenset(gids | {gid}))

    def name_of(self, uid: int) -> str:
        """The user's name, else his number."""
        return next((name for name, (number, _) in self.users.items() if number == uid), str(uid))


def known(machine: Machine) -> Known:
    """What passwd(5) and group(5) say.

    Raises
    ------
    CannotLook
        One of them cannot be read.
    """
    users = {
        row[0]: (int(row[2]), int(row[3]))
        for row in _rows(machine, "/etc/passwd", 4)
        if row[2].isdigit() and row[3].isdigit()
    }
    groups = {
        row[0]: (int(row[2]), frozenset(filter(None, row[3].split(","))))
        for row in _rows(machine, "/etc/group", 4)
        if row[2].isdigit()
    }
    return Known(users=users, groups=groups)


def guard_user(people: Known, service: Unit) -> User | None:
    """As whom the service runs; None without a service, or when there is no such user."""
    if not service.is_there:
        return None
    also = tuple(service.said.get("SupplementaryGroups", "").split())
    return people.user(service.said.get("User") or "root", also)


def look(machine: Machine, scene: Scene) -> tuple[str, bool, bool] | None:
    """Who looks, whether he may change settings, and whether the group exists; None: it cannot be known."""
    try:
        everybody = known(machine)
    except CannotLook:
        return None
    uid, gids = machine.caller()
    guard = guard_user(everybody, scene.service)
    group = everybody.groups.get(GROUP)
    may = uid == 0 or (guard is not None and uid == guard.uid) or (group is not None and group[0] in gids)
    return everybody.name_of(uid), may, group is not None


def findings(caller: tuple[str, bool, bool] | None, scene: Scene) -> Iterator[Finding]:
    """A note for whoever looks."""
    user = scene.service.said.get("User", "")
    if scene.service.is_there and user:
        yield sound("guard-user", scene.at.service, f"runs as {user}, not as root")
    if caller is None:
        return
    name, may, exists = caller
    if may:
        yield sound("caller", f"you, {name}", "may change settings")
        return
    join = f"sudo usermod -aG {GROUP} {name}"
    yield hint(
        "caller",
        f"you, {name}",
        f"are not in the group {GROUP}",
        why="You may look, and every change will be refused.",
        fix="Use sudo, or join and log in again:",
        command=join if exists else f"sudo groupadd --system {GROUP} && {join}",
    )


def _rows(machine: Machine, path: str, columns: int) -> Iterator[list[str]]:
    for line in (machine.text(path) or "").splitlines():
        row = line.split(":")
        if len(row) >= columns:
            yield row

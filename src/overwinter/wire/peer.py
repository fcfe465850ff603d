"""Who is at the other end of a connection, and whether he may change anything.

The kernel says who connected (SO_PEERCRED) and with which groups (SO_PEERGROUPS), as of the moment of
connecting; nothing the caller sends is asked. The group may be created, and joined, while the guard runs.
"""

import grp
import os
import pwd
import socket
import struct
from dataclasses import dataclass

from overwinter.core.nouns import Caller, Problem
from overwinter.wire.rpc import NOT_PERMITTED, Fault

GROUP = "overwinter"
"""Its members may change; it need not exist."""

_UCRED = struct.Struct("3i")  # struct ucred of unix(7): pid, uid, gid
_SO_PEERGROUPS = 59  # asm-generic/socket.h since Linux 4.13; Python has no name for it
_GROUPS_BYTES = 1024  # the most that socket.getsockopt takes: 256 groups


@dataclass(frozen=True, slots=True)
class Peer:
    """A caller with the groups he connected with."""

    caller: Caller
    groups: frozenset[int]


def peer_of(connection: socket.socket) -> Peer:
    """Who connected."""
    pid, uid, gid = _UCRED.unpack(
        connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _UCRED.size),
    )
    user = _user_name(uid)
    return Peer(
        caller=Caller(uid=uid, user=str(uid) if user is None else user, pid=pid),
        groups=frozenset((gid, *_supplementary(connection, user, gid))),
    )


def _supplementary(connection: socket.socket, user: str | None, gid: int) -> list[int]:
    try:
        raw = connection.getsockopt(socket.SOL_SOCKET, _SO_PEERGROUPS, _GROUPS_BYTES)
    except OSError:
        # An old kernel, or more groups than fit: what the user would get if he logged in now.
        return os.getgrouplist(user, gid) if user is not None else []
    return [group for (group,) in struct.iter_unpack("I", raw)]


def _user_name(uid: int) -> str | None:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return None


def group_gid() -> int | None:
    """The number of the group, None while there is none."""
    try:
        return grp.getgrnam(GROUP).gr_gid
    except KeyError:
        return None


def may_change(peer: Peer) -> bool:
    """Root, the guard's own user, and members of the group."""
    return peer.caller.uid in {0, os.geteuid()} or group_gid() in peer.groups


def not_permitted(method: str, peer: Peer) -> Fault:
    """The answer to one who may not, with the command that lets him."""
    user = peer.caller.user
    remedy = f"`sudo usermod -aG {GROUP} {user}`, then log in again"
    if group_gid() is None:
        remedy = f"that group does not exist yet: `sudo groupadd --system {GROUP}`, {remedy}"
    allowed = f"root, the guard's own user, members of the group {GROUP}"
    text = f"{method}: not permitted to {user}, who is not in the group {GROUP}; {remedy}"
    return Fault(NOT_PERMITTED, text, [Problem("method", method, allowed, text)])

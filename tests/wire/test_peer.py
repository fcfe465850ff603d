"""Who may change: real other users over a real socket, where the test may become one."""

import grp
import json
import os
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from overwinter.core.nouns import Caller
from overwinter.wire import methods, peer
from tests.wire.conftest import FakePort, Talker

STRANGER = 54_321
GROUP_GID = 54_322

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root can become another user")

CHILD = """
import os, socket, sys
path, uid, gid, groups, *lines = sys.argv[1:]
os.setgroups([int(group) for group in groups.split(",") if group])
os.setgid(int(gid))
os.setuid(int(uid))
connections = []
for line in lines:
    connections.append(socket.socket(socket.AF_UNIX))
    connections[-1].settimeout(20)
    connections[-1].connect(path)
    try:
        connections[-1].sendall(line.encode() + b"\\n")
    except BrokenPipeError:
        pass  # turned away already: why stands in the line to be read
    print(connections[-1].makefile().readline(), end="")
"""


def ask_as(path: Path, *lines: str, uid: int = STRANGER, gid: int = STRANGER, groups: str = "") -> list[Any]:
    """The first answer to each line, each on a connection of its own that stays open until the last."""
    child = subprocess.run(
        [sys.executable, "-I", "-c", CHILD, str(path), str(uid), str(gid), groups, *lines],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return [json.loads(line) for line in child.stdout.splitlines()]


def request(method: str, params: object = None) -> str:
    return json.dumps({"jsonrpc": "2.0", "method": method, "params": params or {}, "id": 1})


GOOD_PARAMS: dict[str, object] = {
    "set": {"changes": {"band.low": 36.0}},
    "hand": {"heat": True, "for_s": 60},
    "note": {"text": "new lamp"},
    "prove": {
        "step": "record",
        "result": {
            "verdict": "failed",
            "steps": [{"step": "relay", "verdict": "failed", "by": "owner", "text": "no heat"}],
        },
    },
}
BUILT_READS = sorted(set(methods.READS) - {"forecast"})
BUILT_CHANGES = sorted(methods.CHANGES)


@pytest.fixture
def group(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(peer, "group_gid", lambda: GROUP_GID)


@pytest.fixture
def no_group(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(peer, "group_gid", lambda: None)


@pytest.mark.usefixtures("server", "group")
@pytest.mark.parametrize(
    ("who", "may"),
    [
        pytest.param({"uid": 0, "gid": 0}, True, id="root"),
        pytest.param({}, False, id="a stranger"),
        pytest.param({"groups": "7,8"}, False, id="in other groups"),
        pytest.param({"groups": f"7,{GROUP_GID},8"}, True, id="in the group"),
        pytest.param({"gid": GROUP_GID}, True, id="the group is his first"),
        pytest.param({"gid": 0, "groups": "0"}, False, id="group root is not user root"),
    ],
)
@as_root
def test_anyone_reads_and_only_some_change(
    port: FakePort, path: Path, who: dict[str, Any], may: bool
) -> None:
    reads = ask_as(path, *(request(method) for method in BUILT_READS), **who)
    changes = ask_as(path, *(request(method, GOOD_PARAMS.get(method)) for method in BUILT_CHANGES), **who)

    assert [answer.get("result") for answer in reads] == [{}] * len(BUILT_READS)
    if may:
        assert [answer.get("result") for answer in changes] == [{}] * len(BUILT_CHANGES)
        assert {call[0] for call in port.calls} == {"status", "settings", "records", *BUILT_CHANGES}
    else:
        assert [answer["error"]["code"] for answer in changes] == [-32001] * len(BUILT_CHANGES)
        assert {call[0] for call in port.calls} == {"status", "settings", "records"}


@pytest.mark.usefixtures("server", "group")
@as_root
def test_the_guards_own_user_changes(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: STRANGER)

    (answer,) = ask_as(path, request("quiet"))

    assert answer["result"] == {}


@pytest.mark.usefixtures("server", "group")
@as_root
def test_a_refusal_names_the_group_and_the_command_and_becomes_an_event(port: FakePort, path: Path) -> None:
    (answer,) = ask_as(path, request("quiet"))

    error = answer["error"]
    assert "not in the group overwinter" in error["message"]
    assert f"sudo usermod -aG overwinter {STRANGER}" in error["message"]
    assert "log in again" in error["message"]
    assert error["data"]["problems"][0]["value"] == "quiet"
    ((method, caller, text),) = port.refusals
    assert (method, caller.uid, text) == ("quiet", STRANGER, error["message"])
    assert caller.pid != os.getpid()


@pytest.mark.usefixtures("server", "no_group")
@as_root
def test_while_there_is_no_group_the_refusal_says_how_to_make_it(path: Path) -> None:
    (answer,) = ask_as(path, request("quiet"))

    assert answer["error"]["code"] == -32001
    assert "`sudo groupadd --system overwinter`, `sudo usermod -aG" in answer["error"]["message"]


@pytest.mark.usefixtures("server", "no_group")
@as_root
def test_a_forbidden_notification_is_silent_but_told(port: FakePort, path: Path) -> None:
    forbidden = '{"jsonrpc":"2.0","method":"drop_samples"}'

    (answer,) = ask_as(path, f"[{forbidden},{request('status')}]")

    assert [item["result"] for item in answer] == [{}]
    assert [method for method, _, _ in port.refusals] == ["drop_samples"]
    assert [name for name, _ in port.calls] == ["status"]


@pytest.mark.usefixtures("server")
@as_root
def test_one_user_holds_16_connections_and_leaves_root_the_others(path: Path) -> None:
    answers = ask_as(path, *[request("status")] * 17)

    assert [answer.get("result") for answer in answers[:16]] == [{}] * 16
    assert answers[16]["error"]["code"] == -32003
    assert "at most 16 of one user" in answers[16]["error"]["message"]
    assert answers[16]["id"] is None


@pytest.mark.usefixtures("server")
def test_the_caller_is_who_the_kernel_says(port: FakePort, talker: Talker) -> None:
    assert talker.ask("quiet")["result"] == {}

    ((_, given),) = port.calls
    assert (given["caller"].uid, given["caller"].pid) == (os.geteuid(), os.getpid())


def test_the_groups_are_those_of_the_connection() -> None:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        assert peer.peer_of(ours).groups == {os.getegid(), *os.getgroups()}


class _NoPeerGroups:
    """A socket on a kernel older than SO_PEERGROUPS."""

    def __init__(self, credentials: bytes) -> None:
        self.credentials = credentials

    def getsockopt(self, _level: int, option: int, _length: int) -> bytes:
        if option != socket.SO_PEERCRED:
            raise OSError(92, "Protocol not available")
        return self.credentials


def test_an_old_kernel_is_asked_through_the_group_database(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "getgrouplist", lambda user, gid: [gid, 77] if user == "root" else [])
    old = _NoPeerGroups(peer._UCRED.pack(1, 0, 5))

    found = peer.peer_of(old)  # type: ignore[arg-type]

    assert found == peer.Peer(caller=Caller(uid=0, user="root", pid=1), groups=frozenset({5, 77}))


def test_a_user_without_a_name_is_called_by_his_number() -> None:
    found = peer.peer_of(_NoPeerGroups(peer._UCRED.pack(1, STRANGER, 5)))  # type: ignore[arg-type]

    assert (found.caller.user, found.groups) == (str(STRANGER), frozenset({5}))


def test_the_group_is_looked_up_each_time(monkeypatch: pytest.MonkeyPatch) -> None:
    stranger = peer.Peer(Caller(uid=STRANGER, user="s", pid=1), frozenset({GROUP_GID}))
    entries = {"overwinter": grp.struct_group(("overwinter", "x", GROUP_GID, []))}
    before = dict[str, object]().__getitem__  # raises KeyError, as getgrnam does
    monkeypatch.setattr(grp, "getgrnam", before)
    assert not peer.may_change(stranger)

    monkeypatch.setattr(grp, "getgrnam", entries.__getitem__)
    assert peer.may_change(stranger)

"""The socket in the file system."""

import os
import socket
import stat
from pathlib import Path

import pytest

from overwinter.core.nouns import OverwinterError
from overwinter.wire.listening import bind


def answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX) as client:
        try:
            client.connect(str(path))
        except OSError:
            return False
    return True


@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077, 0o777])
def test_anyone_may_connect_whatever_the_umask_which_stays(path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        bound = bind(path)
        assert os.umask(umask) == umask
    finally:
        os.umask(before)
    with bound.listening:
        assert stat.S_IMODE(path.lstat().st_mode) == 0o666
        assert answers(path)
        assert os.listdir(path.parent) == [path.name]  # noqa: PTH208 - nothing else, hidden or not


def test_a_missing_folder_is_made(place: Path) -> None:
    path = place / "a" / "b" / "control.sock"

    with bind(path).listening:
        assert answers(path)


def test_a_dead_guards_socket_is_replaced(path: Path) -> None:
    bind(path).listening.close()
    assert path.is_socket()
    assert not answers(path)

    with bind(path).listening:
        assert answers(path)


def test_a_living_guards_socket_is_left_alone(path: Path) -> None:
    with bind(path).listening:
        with pytest.raises(OverwinterError, match=r"control\.sock: another guard answers there"):
            bind(path)
        assert answers(path)


def test_a_guard_whose_queue_is_full_still_lives(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as listening, socket.socket(socket.AF_UNIX) as waiting:
        listening.bind(str(path))
        listening.listen(0)
        waiting.connect(str(path))

        with pytest.raises(OverwinterError, match="another guard answers there"):
            bind(path)


def test_what_is_no_socket_is_left_alone(path: Path) -> None:
    path.write_text("mine")

    with pytest.raises(OverwinterError, match="something else than a socket stands there"):
        bind(path)

    assert path.read_text() == "mine"


def test_a_path_that_no_socket_can_have_is_named(place: Path) -> None:
    with pytest.raises(OverwinterError, match="at most 107 bytes"):
        bind(place / ("x" * 100))


def test_what_the_system_refuses_is_named(place: Path) -> None:
    (place / "file").touch()

    with pytest.raises(OverwinterError, match=r"socket .*file/control\.sock: "):
        bind(place / "file" / "control.sock")


def test_only_our_own_file_is_removed(path: Path) -> None:
    first = bind(path)
    first.listening.close()
    second = bind(path)
    second.listening.close()

    first.remove()
    assert path.is_socket()

    second.remove()
    assert not path.exists()
    second.remove()  # once more does nothing

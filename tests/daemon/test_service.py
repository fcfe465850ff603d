"""What systemd is told, over a real datagram socket."""

import gc
import os
import socket
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest

from overwinter.daemon.service import Service


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    monkeypatch.chdir(tmp_path)  # a socket's path is short
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind("notify")
        manager.settimeout(2)
        monkeypatch.setenv("NOTIFY_SOCKET", "notify")
        monkeypatch.setenv("WATCHDOG_USEC", "20000000")
        monkeypatch.setenv("WATCHDOG_PID", str(os.getpid()))
        yield manager


def test_a_life_as_systemd_hears_it(manager: socket.socket) -> None:
    complaints: list[str] = []
    with closing(Service(complaints.append)) as service:
        service.ready()
        service.turned("freeze: 36.0 F", 0.0)
        service.turned("freeze: 36.0 F", 1.0)
        service.turned("freeze: 36.1 F", 5.0)
        service.reloading()
        service.stopping()
    heard = [manager.recv(4096).decode() for _ in range(7)]

    assert heard[:3] == ["READY=1", "STATUS=freeze: 36.0 F", "WATCHDOG=1"]
    assert heard[3:5] == ["STATUS=freeze: 36.1 F", "WATCHDOG=1"]
    assert heard[5].startswith("RELOADING=1\nMONOTONIC_USEC=")
    assert heard[6] == "STOPPING=1"
    assert complaints == []


def test_a_minus_sign_of_typography_does_not_lose_the_datagram(manager: socket.socket) -> None:
    with closing(Service(print)) as service:
        service.turned("−3 °C", 0.0)

    assert manager.recv(4096) == "STATUS=−3 °C".encode()
    assert manager.recv(4096) == b"WATCHDOG=1"


def test_a_manager_that_sleeps_neither_blocks_nor_goes_unheard(manager: socket.socket) -> None:
    complaints: list[str] = []
    with closing(Service(complaints.append)) as service:
        for turn in range(400):  # more than any queue of datagrams holds
            service.turned(f"status {turn}", float(turn) * 10)
        assert len(complaints) == 1

        manager.setblocking(False)
        with suppress(BlockingIOError):  # it wakes up, and reads all that waits
            while True:
                manager.recv(4096)
        service.turned("awake", 1e6)
        assert manager.recv(4096) == b"STATUS=awake"


# The library drops a socket that cannot connect without closing it.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_manager_that_comes_back_is_found_again(manager: socket.socket) -> None:
    complaints: list[str] = []
    with closing(Service(complaints.append)) as service:
        service.ready()
        manager.recv(4096)
        manager.close()
        service.turned("nobody hears", 0.0)
        assert len(complaints) == 1

        Path("notify").unlink()
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as again:
            again.bind("notify")
            again.settimeout(2)
            service.turned("heard", 100.0)
            assert again.recv(4096) == b"STATUS=heard"
        gc.collect()  # within the filter


def test_without_a_manager_nothing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    complaints: list[str] = []
    service = Service(complaints.append)
    service.ready()
    service.turned("status", 0.0)

    assert service.watchdog_s is None or os.environ.get("WATCHDOG_USEC")
    assert complaints == []


@pytest.mark.parametrize(
    ("usec", "pid", "watchdog_s"), [("30000000", "", 30.0), ("30000000", "1", None), ("x", "", None)]
)
def test_the_watchdogs_time_is_ours_or_none(
    monkeypatch: pytest.MonkeyPatch, usec: str, pid: str, watchdog_s: float | None
) -> None:
    monkeypatch.setenv("WATCHDOG_USEC", usec)
    monkeypatch.setenv("WATCHDOG_PID", pid)

    assert Service(print).watchdog_s == watchdog_s

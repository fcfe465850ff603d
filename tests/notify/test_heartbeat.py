import http.server
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from overwinter.notify.heartbeat import Heartbeat, by_command, by_url


class Beats:
    def __init__(self) -> None:
        self.count = 0
        self.told: list[str | None] = []

    def beat(self) -> str | None:
        self.count += 1
        return None


def until(holds: Callable[[], bool], within_s: float = 10.0) -> None:
    ends = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends
        time.sleep(0.01)


@pytest.fixture
def beats() -> Beats:
    return Beats()


@pytest.fixture
def heart(beats: Beats) -> Iterator[Heartbeat]:
    heart = Heartbeat(beats.beat, every_s=0.05, tell=beats.told.append)
    heart.start()
    yield heart
    heart.close()


def test_it_beats_once_for_turns_since_the_last_beat(heart: Heartbeat, beats: Beats) -> None:
    for uptime_s in range(3):
        before = beats.count
        heart.turned(("boot", uptime_s))
        until(lambda before=before: beats.count == before + 1)  # type: ignore[misc]


def test_without_a_turn_of_the_guard_there_is_no_beat(heart: Heartbeat, beats: Beats) -> None:
    """A guard whose socket still answers while its wheel stands says the same uptime again and again."""
    heart.turned(("boot", 7.0))
    until(lambda: beats.count == 1)
    for _ in range(20):
        heart.turned(("boot", 7.0))
        time.sleep(0.01)

    assert beats.count == 1


def test_nothing_heard_nothing_beaten(heart: Heartbeat, beats: Beats) -> None:
    time.sleep(0.3)

    assert beats.count == 0


def test_a_command_that_beats(tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    code = "import os, pathlib, sys; pathlib.Path(sys.argv[1]).write_text(os.environ['NOTICE_HOUSE'])"

    assert by_command([sys.executable, "-c", code, str(mark)], {"NOTICE_HOUSE": "orchard"})() is None
    assert mark.read_text() == "orchard"
    assert by_command([sys.executable, "-c", "import sys; sys.exit(4)"], {})() == "exit code 4"


class Listener(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200 if self.path == "/orchard" else 410)
        self.end_headers()

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def address() -> Iterator[str]:
    with http.server.HTTPServer(("127.0.0.1", 0), Listener) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


def test_an_address_that_is_asked_for(address: str) -> None:
    assert by_url(f"{address}/orchard")() is None


def test_an_address_that_refuses_or_is_not_there_says_so(address: str) -> None:
    assert by_url(f"{address}/gone")() == "the heartbeat address answered 410"
    assert (by_url("http://127.0.0.1:9/")() or "").startswith("the heartbeat address cannot be reached: ")

"""What only shows: pages, streams, charts and figures, of a real guard over real sockets."""

import json
import signal
import socket
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.guard.house import House
from tests.web.served import Answer, Served, Stream

Serve = Callable[..., Served]
POLICY = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; ",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


def raw(page: Served, data: bytes) -> Answer:
    """Bytes as they are, and all that comes back."""
    with socket.create_connection(("127.0.0.1", page.port), 15.0) as client:
        client.sendall(data)
        received = b""
        while more := client.recv(65_536):
            received += more
    head, _, body = received.partition(b"\r\n\r\n")
    first, *lines = head.decode().split("\r\n")
    headers = dict(line.lower().split(": ", 1) for line in lines)
    return Answer(int(first.split()[1]), headers, body)


def test_the_page_says_how_it_is(page: Served, house: House) -> None:
    answer = page.ask("/")

    assert answer.code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert "<h1>bench</h1>" in answer.text
    assert "3.0 °C" in answer.text
    assert "<dt>band</dt><dd>2.22 to 4.44 C (36 to 40 F)</dd>" in answer.text
    assert '<th scope="row">by the pump</th>' in answer.text


@pytest.mark.parametrize(
    ("method", "path", "code"),
    [
        ("GET", "/", 200),
        ("HEAD", "/", 200),
        ("GET", "/?span=year", 400),
        ("GET", "/record", 200),
        ("GET", "/record?span=year", 400),
        ("GET", "/metrics", 200),
        ("GET", "/assets/page.css", 200),
        ("GET", "/assets/nothing", 404),
        ("GET", "/nowhere", 404),
        ("POST", "/", 405),
        ("DELETE", "/record", 405),
    ],
)
def test_the_policy_goes_with_every_answer(page: Served, method: str, path: str, code: int) -> None:
    answer = page.ask(path, method=method)

    assert answer.code == code
    for name, value in POLICY.items():
        assert answer.headers[name].startswith(value.lower() if name.startswith("cross") else value)
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert "server" not in answer.headers
    assert answer.headers["cache-control"] == ("no-cache" if path == "/assets/page.css" else "no-store")


@pytest.mark.parametrize(
    "data", [b"hello\r\n\r\n", b"\x16\x03\x01\x02\x00\x01" * 9 + b"\r\n\r\n", b"GET / HTTP/1.1\r\n\r\n"]
)
def test_what_is_no_request_is_refused_under_the_same_policy(page: Served, data: bytes) -> None:
    answer = raw(page, data)

    assert answer.code == 400
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")


def test_nothing_in_a_page_is_inline(page: Served) -> None:
    text = page.ask("/").text + page.ask("/record").text

    assert "<style" not in text
    assert " style=" not in text
    assert "onclick" not in text
    assert "<script>" not in text


def test_without_changes_there_is_no_form_and_no_address_for_one(page: Served) -> None:
    text = page.ask("/").text

    assert "<form" not in text
    assert "ign in" not in text
    for path in ("/sign-in", "/sign-out", "/change"):
        assert page.ask(path).code == 404
        assert page.ask(path, form={"low": "1"}).code == 404


@pytest.mark.parametrize(
    "name",
    [
        *("../page.css", "..%2f..%2fcli%2fweb.py", "%2e%2e/hub.py", "....//hub.py", "hub.py", "/etc/passwd"),
        *("page.css%00", "page.css/", ".", "", "%c0%ae%c0%ae/hub.py"),
    ],
)
def test_no_trick_leads_out_of_the_assets(page: Served, name: str) -> None:
    answer = page.ask(f"/assets/{name}")

    assert answer.code in (404, 307)  # 307: to the same without its last slash, on this very server
    assert b"import" not in answer.body


def test_a_change_is_told_without_being_asked_for(page: Served, house: House) -> None:
    stream = Stream(page.port)
    try:
        name, told = stream.event()
        assert (stream.code, name) == (200, "now")
        assert "3.0 °C" in told["html"]
        house.reads(3.6)
        ends_s = time.monotonic() + 20.0
        while "3.6 °C" not in told["html"]:
            assert time.monotonic() < ends_s, told["html"]
            name, told = stream.event()
        assert isinstance(told["samples"], int)
    finally:
        stream.close()
        house.reads(3.0)


def test_a_guard_that_hangs_is_told_and_an_old_state_is_never_shown(page: Served, house: House) -> None:
    assert house.process is not None
    page.ask("/")
    house.process.send_signal(signal.SIGSTOP)
    try:
        time.sleep(1.1)  # what was asked a second ago would still serve
        began_s = time.monotonic()
        text = page.ask("/").text
        assert time.monotonic() - began_s < 3.0
        assert "The guard does not answer" in text
        assert "It has not answered within 1 s" in text
        assert "°C" not in text
    finally:
        house.process.send_signal(signal.SIGCONT)
    house.until(lambda: "3.0 °C" in page.ask("/").text, "the page has it again")


def test_the_chart_of_a_span_comes_with_its_words_and_its_data(page: Served, house: House) -> None:
    house.until(lambda: len(house.events("sample")) >= 3, "some samples")
    told = page.ask("/record?span=week")

    assert told.headers["content-type"] == "application/json"
    found = json.loads(told.body)
    assert "Inside it was 3.0" in found["html"]
    assert found["picture"]["unit"] == "C"
    assert found["picture"]["thin"] is False


def test_the_chart_keeps_its_unit_while_the_guard_does_not_answer(page: Served, house: House) -> None:
    """Another unit would be another chart, and who looks closer would lose the place."""
    assert house.process is not None
    house.until(lambda: len(house.events("sample")) >= 3, "some samples")
    page.ask("/record?span=day")
    house.process.send_signal(signal.SIGSTOP)
    try:
        now_s = time.time()
        found = json.loads(page.ask(f"/record?from={now_s - 3600:.0f}&to={now_s:.0f}", timeout_s=30.0).body)
    finally:
        house.process.send_signal(signal.SIGCONT)

    assert found["picture"]["unit"] == "C"


def test_a_part_of_a_span_can_be_had_by_itself(page: Served, house: House) -> None:
    house.until(lambda: len(house.events("sample")) >= 3, "some samples")
    now_s = time.time()
    found = json.loads(page.ask(f"/record?from={now_s - 7200:.0f}&to={now_s:.0f}").body)

    assert found["picture"]["from"] >= now_s - 7260


@pytest.mark.parametrize(
    "query",
    [
        *("from=1", "to=5", "from=2&to=1", "from=nan&to=5", "from=a&to=b", "from=-9&to=-5", "from=1&to=inf"),
        *("from=0&to=1e300", "from=1&to=99999999", "span=", "span=../day", "from=1700000000&to=99999999999"),
    ],
)
def test_a_span_that_is_none_is_refused(page: Served, query: str) -> None:
    assert page.ask(f"/record?{query}").code == 400


def test_where_the_logbook_cannot_be_read_the_guard_is_asked(house: House, tmp_path: Path) -> None:
    served = Served(
        tmp_path, site=house.site.read_text(), socket_path=house.socket, logs=tmp_path / "nowhere"
    )
    served.start()
    try:
        house.until(lambda: len(house.events("sample")) >= 3, "some samples")
        assert "Inside it was 3" in json.loads(served.ask("/record").body)["html"]
    finally:
        served.close()


def test_without_logbook_and_guard_it_says_so(house: House, tmp_path: Path) -> None:
    served = Served(
        tmp_path,
        site=house.site.read_text(),
        socket_path=tmp_path / "no.sock",
        logs=tmp_path / "nowhere",
    )
    served.start()
    try:
        answer = served.ask("/record")
        assert answer.code == 503
        assert answer.text.startswith("The record cannot be read: the guard cannot be reached")
        assert "There is no socket" in served.ask("/").text
        assert 'overwinter_up{house="bench"} 0' in served.ask("/metrics").text
    finally:
        served.close()


def test_a_metrics_store_can_read_it(page: Served) -> None:
    parser = pytest.importorskip("prometheus_client.openmetrics.parser", reason="no prometheus_client here")
    answer = page.ask("/metrics")

    assert answer.headers["content-type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    samples = [one for family in parser.text_string_to_metric_families(answer.text) for one in family.samples]
    values = {one.name: one.value for one in samples}
    assert values["overwinter_up"] == 1.0
    assert values["overwinter_temperature_celsius"] == pytest.approx(3.0, abs=0.7)
    assert {one.labels["house"] for one in samples} == {"bench"}


def test_a_signal_ends_it_at_once_also_while_pages_are_open(serve: Serve) -> None:
    served = serve()
    streams = [Stream(served.port) for _ in range(3)]
    for stream in streams:
        stream.event()

    began_s = time.monotonic()
    code = served.stop()

    assert (code, time.monotonic() - began_s < 2.0) == (0, True)
    for stream in streams:
        stream.close()


def test_a_signal_ends_it_at_once_also_while_the_guard_hangs(serve: Serve, house: House) -> None:
    assert house.process is not None
    served = serve()
    stream = Stream(served.port)
    stream.event()
    house.process.send_signal(signal.SIGSTOP)
    try:
        time.sleep(0.3)
        began_s = time.monotonic()
        assert served.stop() == 0
        assert time.monotonic() - began_s < 2.0
    finally:
        house.process.send_signal(signal.SIGCONT)
        stream.close()


def test_systemd_is_told_once_it_listens_and_its_watchdog_is_fed(serve: Serve) -> None:
    # An abstract name: the folder of a test is often too long for a socket.
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as told:
        told.bind(f"\0overwinter-web-test-{time.monotonic_ns()}")
        told.settimeout(10.0)
        name = "@" + told.getsockname()[1:].decode()
        served = serve(NOTIFY_SOCKET=name, WATCHDOG_USEC="4000000")
        heard: list[str] = []
        while heard.count("WATCHDOG=1") < 2 or "READY=1" not in heard:
            heard.append(told.recv(4096).decode())
        served.stop()
        while "STOPPING=1" not in heard:
            heard.append(told.recv(4096).decode())
    assert "STATUS=0 pages open" in heard

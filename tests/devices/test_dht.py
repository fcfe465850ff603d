"""The real adafruit_dht decodes pulse trains through our driver."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from types import SimpleNamespace
from typing import ClassVar

import adafruit_dht
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from overwinter.core.nouns import Reading
from overwinter.devices.dht import ASK_AGAIN_S, REBUILD_AFTER_FAILURES, Dht
from tests.devices.pulses import Clock, FakePulseIn, HelperProcess, frame22, train


class Line:
    """A sensor on a line: what it sends next, and one read after another, each a period later."""

    def __init__(self, clock: Clock, timer: type[FakePulseIn]) -> None:
        self.clock = clock
        self.timer = timer
        self.drivers: list[Dht] = []

    def sends(self, pulses: Sequence[int] | Callable[[], Sequence[int]]) -> None:
        self.timer.source = staticmethod(pulses if callable(pulses) else lambda: pulses)

    def driver(self, kind: str = "dht22") -> Dht:
        self.drivers.append(Dht("by the pump", kind, 4))
        return self.drivers[-1]

    def read(self, driver: Dht, *, after_s: float = 10.0) -> Reading:
        self.clock.now_s += after_s
        return driver.read(self.clock.now_s)


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> Iterator[Line]:
    class Timer(FakePulseIn):
        pass

    clock = Clock()
    monkeypatch.setattr(adafruit_dht, "PulseIn", Timer, raising=False)
    monkeypatch.setattr(adafruit_dht, "time", clock)
    line = Line(clock, Timer)
    yield line
    for driver in line.drivers:
        driver.close()
    assert Timer.open == 0


@pytest.mark.parametrize(
    ("kind", "frame", "expected"),
    [
        pytest.param("dht22", "02 8C 01 5F EE", (35.1, 65.2), id="AM2302 data sheet, example"),
        pytest.param("dht22", "02 8C 80 65 73", (-10.1, 65.2), id="AM2302 data sheet, 8065h"),
        pytest.param("dht22", "02 92 01 0D A2", (26.9, 65.8), id="AM2320 data sheet, same frame"),
        # The first three bytes from the DHT11 manual, the last two from memory.
        pytest.param("dht11", "35 00 18 00 4D", (24.0, 53.0), id="DHT11 manual"),
        pytest.param("dht22", "00 00 00 00 00", (0.0, 0.0), id="all zero, which is for the judge"),
    ],
)
def test_a_published_frame_is_read(line: Line, kind: str, frame: str, expected: tuple[float, float]) -> None:
    line.sends(train(bytes.fromhex(frame)))
    driver = line.driver(kind)

    reading = line.read(driver)

    assert (reading.temperature_c, reading.humidity_pct) == expected
    assert (reading.sensor, reading.error) == ("by the pump", None)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(tenths_c=st.integers(-400, 800), tenths_pct=st.integers(0, 1000))
def test_every_frame_in_the_sensors_range_comes_back_exactly(
    line: Line, tenths_c: int, tenths_pct: int
) -> None:
    line.sends(train(frame22(tenths_c / 10, tenths_pct / 10)))
    driver = line.driver()

    reading = line.read(driver)

    assert (reading.temperature_c, reading.humidity_pct) == (tenths_c / 10, tenths_pct / 10)


def test_the_reading_bears_the_time_the_read_began(line: Line) -> None:
    line.sends(train(frame22(2.1, 71.0)))
    driver = line.driver()

    began_s = line.clock.now_s + 10.0
    reading = line.read(driver, after_s=10.0)

    assert line.clock.now_s > began_s, "the read took time"
    assert reading.taken_s == began_s


@pytest.mark.parametrize(
    ("pulses", "error"),
    [
        pytest.param(
            # AM2320 data sheet: with this last byte the frame must be refused.
            train(bytes.fromhex("02 92 01 0D B2")),
            "checksum wrong (Checksum did not validate. Try again.)",
            id="checksum",
        ),
        pytest.param(
            train(frame22(2.1, 71.0))[:60],
            "part of the answer is missing (A full buffer was not returned. Try again.)",
            id="short",
        ),
        pytest.param([], "no answer; wired and powered? (DHT sensor not found, check wiring)", id="nothing"),
        pytest.param(
            train(frame22(2.1, 120.0)),
            "humidity outside 0..100 % (Received unplausible data. Try again.)",
            id="humidity 120 %",
        ),
        pytest.param(
            [70_000] * 81, "a pulse far too long (unsigned short is greater than maximum)", id="overflow"
        ),
    ],
)
def test_a_bad_answer_is_an_error_in_our_words_with_the_librarys_behind(
    line: Line, pulses: Sequence[int], error: str
) -> None:
    line.sends(pulses)
    driver = line.driver()

    reading = line.read(driver)

    assert (reading.temperature_c, reading.humidity_pct) == (None, None)
    assert reading.error == f"dht22 on GPIO 4: {error}"


def test_an_unknown_exception_keeps_its_name_and_text(line: Line) -> None:
    def burst() -> Sequence[int]:
        raise ZeroDivisionError("of a future version")

    line.sends(burst)
    driver = line.driver()

    assert line.read(driver).error == "dht22 on GPIO 4: ZeroDivisionError (of a future version)"


@pytest.mark.parametrize(
    "first", [train(frame22(2.1, 71.0)), []], ids=["after a good read", "after a bad read"]
)
def test_a_value_from_before_never_comes_again_as_a_fresh_one(line: Line, first: Sequence[int]) -> None:
    line.sends(first)
    driver = line.driver()
    line.read(driver)
    line.sends(train(frame22(-3.0, 80.0)))

    again = driver.read(line.clock.now_s)
    later = line.read(driver, after_s=ASK_AGAIN_S + 0.5)

    assert (again.temperature_c, again.error) == (None, "dht22 on GPIO 4: asked again within 2 s")
    assert later.temperature_c == -3.0


def test_within_two_seconds_the_library_is_not_even_asked(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it would do is its own affair, and may change with its version."""
    line.sends([])
    driver = line.driver()
    line.read(driver)

    def measure(self: object) -> None:
        raise AssertionError("asked")

    monkeypatch.setattr(adafruit_dht.DHTBase, "measure", measure)

    assert driver.read(line.clock.now_s).error == "dht22 on GPIO 4: asked again within 2 s"
    assert "asked" in str(line.read(driver).error)


def test_nor_does_it_when_building_the_device_took_long(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    """The library counts its two seconds from when it was asked, ours began before the device was built."""
    build = line.timer.__init__

    def slow(self: FakePulseIn, pin: object, maxlen: int = 2, idle_state: bool = False) -> None:
        build(self, pin, maxlen, idle_state)
        line.clock.now_s += 1.0

    monkeypatch.setattr(line.timer, "__init__", slow)
    line.sends(train(frame22(2.1, 71.0)))
    driver = line.driver()
    began_s = line.clock.now_s
    assert driver.read(began_s).temperature_c == 2.1

    line.clock.now_s = began_s + 2.5
    again = driver.read(line.clock.now_s)

    assert (again.temperature_c, again.error) == (None, "dht22 on GPIO 4: asked again within 2 s")


def test_one_device_serves_all_reads_until_too_many_fail_in_a_row(line: Line) -> None:
    driver = line.driver()
    line.sends([])
    for _ in range(REBUILD_AFTER_FAILURES - 1):
        line.read(driver)
    line.sends(train(frame22(2.1, 71.0)))
    line.read(driver)
    assert line.timer.built == 1, "a good read in between starts the count afresh"

    line.sends([])
    for _ in range(REBUILD_AFTER_FAILURES):
        line.read(driver)
    assert (line.timer.built, line.timer.open) == (1, 0)

    line.sends(train(frame22(2.1, 71.0)))
    assert line.read(driver).temperature_c == 2.1
    assert (line.timer.built, line.timer.open) == (2, 1)


def test_closing_ends_the_helper_and_a_later_read_builds_anew(line: Line) -> None:
    line.sends(train(frame22(2.1, 71.0)))
    driver = line.driver()
    line.read(driver)

    driver.close()
    driver.close()
    assert line.timer.open == 0

    assert line.read(driver).temperature_c == 2.1


def test_waking_a_driver_that_has_no_device_yet_does_nothing(line: Line) -> None:
    line.sends(train(frame22(2.1, 71.0)))
    driver = line.driver()

    driver.unstick()

    assert line.read(driver).temperature_c == 2.1


def test_a_board_that_cannot_time_pulses_says_so_at_each_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(adafruit_dht, "PulseIn", raising=False)

    error = Dht("by the pump", "dht22", 4).read(0.0).error

    assert error == ("dht22 on GPIO 4: pulses cannot be timed on this board (name 'PulseIn' is not defined)")


def test_a_library_that_cannot_be_imported_is_told_by_the_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "adafruit_dht", None)

    Dht.prepare()
    error = Dht("by the pump", "dht22", 4).read(0.0).error

    assert error is not None
    assert error.startswith("dht22 on GPIO 4: ModuleNotFoundError (import of adafruit_dht halted")


def test_preparing_keeps_standard_output_for_data_and_puts_the_signal_handler_back() -> None:
    # A fresh interpreter, in which the timer's module installs its SIGTERM handler as it does on a Pi.
    script = """
import signal, sys, types
from overwinter.devices.dht import Dht
ours = lambda *_: None
signal.signal(signal.SIGTERM, ours)
def hijack(*_): raise SystemExit(1)
class Hijacking:
    def find_spec(self, name, path=None, target=None):
        if name == "adafruit_dht":
            signal.signal(signal.SIGTERM, hijack)
sys.meta_path.insert(0, Hijacking())
Dht.prepare()
assert "adafruit_dht" in sys.modules
assert signal.getsignal(signal.SIGTERM) is ours
"""
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": os.pathsep.join(sys.path), "PATH": os.defpath},
    )

    assert (done.returncode, done.stdout) == (0, ""), done.stderr


@pytest.fixture
def real_timer(monkeypatch: pytest.MonkeyPatch) -> Iterator[type[HelperProcess]]:
    """Blinka's own PulseIn over a real message queue; only its helper program is a stand-in."""
    handler = signal.getsignal(signal.SIGTERM)
    from adafruit_blinka.microcontroller.bcm283x.pin import Pin
    from adafruit_blinka.microcontroller.bcm283x.pulseio import PulseIn

    signal.signal(signal.SIGTERM, handler)

    class Helper(HelperProcess):
        started: ClassVar[list[HelperProcess]] = []

    monkeypatch.setattr(PulseIn, "subprocess", SimpleNamespace(Popen=Helper))
    monkeypatch.setattr(Pin, "chip_index", 0)
    monkeypatch.setattr(adafruit_dht, "PulseIn", PulseIn.PulseIn, raising=False)
    monkeypatch.setattr(adafruit_dht, "time", Clock())
    yield Helper
    assert PulseIn.queues == [], "a message queue was left behind"


def test_the_real_timer_reads_through_its_message_queue(real_timer: type[HelperProcess]) -> None:
    real_timer.pulses = train(frame22(-0.1, 99.9))[-81:]
    driver = Dht("by the pump", "dht22", 4)

    reading = driver.read(0.0)
    driver.close()

    assert (reading.temperature_c, reading.humidity_pct, reading.error) == (-0.1, 99.9, None)


def test_a_read_that_hangs_on_a_dead_helper_is_woken_and_the_next_one_builds_another(
    real_timer: type[HelperProcess],
) -> None:
    real_timer.pulses = train(frame22(2.1, 71.0))[-81:]
    driver = Dht("by the pump", "dht22", 4)
    adafruit_dht.time.now_s = 1000.0
    assert driver.read(0.0).temperature_c == 2.1

    real_timer.started[0].silent = True
    adafruit_dht.time.now_s = 1010.0
    answers: list[Reading] = []
    hanging = threading.Thread(target=lambda: answers.append(driver.read(10.0)), daemon=True)
    hanging.start()
    hanging.join(0.2)
    assert hanging.is_alive(), "without a helper the library waits for ever"

    driver.unstick()
    hanging.join(5.0)
    assert [answer.error for answer in answers] == [
        "dht22 on GPIO 4: the pulse helper is gone (The queue no longer exists)"
    ]

    adafruit_dht.time.now_s = 1020.0
    assert driver.read(20.0).temperature_c == 2.1
    assert len(real_timer.started) == 2
    driver.close()


def test_a_helper_that_does_not_start_costs_the_read_and_leaves_no_queue(
    real_timer: type[HelperProcess], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(real_timer, "_serve", lambda self: None)
    driver = Dht("by the pump", "dht22", 4)

    error = driver.read(0.0).error

    assert error is not None
    assert error.startswith("dht22 on GPIO 4: the pulse helper did not start (Timed out waiting for PulseIn")

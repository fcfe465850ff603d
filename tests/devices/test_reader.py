"""The thread is a true one; the time it sees is the test's."""

import math
import queue
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overwinter.core.nouns import Reading
from overwinter.devices import reader as module
from overwinter.devices.reader import NOTICE_S, Reader

PATIENCE_S = 5.0
"""How long a test waits for a thread before it fails; never waited out when all is well."""


class Driver:
    """Does what the test says, and counts what it is asked."""

    def __init__(self, action: Callable[[float], float] = lambda now_s: 2.1) -> None:
        self.action = action
        self.began: list[float] = []
        self.unstuck = 0
        self.closed = 0

    def read(self, now_s: float) -> Reading:
        self.began.append(now_s)
        return Reading(sensor="by the pump", taken_s=now_s, temperature_c=self.action(now_s))

    def unstick(self) -> None:
        self.unstuck += 1

    def close(self) -> None:
        self.closed += 1


class Film:
    """A clock that jumps: each wait ends at once and moves it on, and after `reads` reads the film ends."""

    def __init__(
        self, reads: int, *, takes_s: Sequence[float] = (), late_s: dict[int, float] | None = None
    ) -> None:
        self.now_s = 0.0
        self.reads = reads
        self.takes_s = takes_s
        self.late_s = late_s or {}
        self.period_s = 10.0
        self.waited: list[float] = []
        self.posted: list[Reading] = []
        self.over = threading.Event()
        self.driver = Driver(self.act)

    def act(self, now_s: float) -> float:
        number = len(self.driver.began) - 1
        self.now_s += self.takes_s[number] if number < len(self.takes_s) else 0.0
        return 2.1

    def wait(self, event: threading.Event, seconds: float) -> bool:
        assert seconds > 0.0
        self.waited.append(seconds)
        if len(self.driver.began) >= self.reads:
            self.over.set()
            event.wait(PATIENCE_S)
            return True
        self.now_s += seconds + self.late_s.pop(len(self.driver.began) - 1, 0.0)
        return False

    def run(self) -> list[float]:
        """The instants at which reads began."""
        reader = Reader(
            self.driver,
            sensor="by the pump",
            clock=lambda: self.now_s,
            post=self.posted.append,
            period_s=lambda: self.period_s,
            wait=self.wait,
        )
        reader.start()
        assert self.over.wait(PATIENCE_S)
        reader.stop()
        return self.driver.began


def test_reads_begin_once_a_period_and_each_is_posted() -> None:
    film = Film(4)

    assert film.run() == [0.0, 10.0, 20.0, 30.0]
    assert [(reading.taken_s, reading.temperature_c) for reading in film.posted] == [
        (0.0, 2.1), (10.0, 2.1), (20.0, 2.1), (30.0, 2.1),
    ]  # fmt: skip


def test_a_slow_driver_makes_the_schedule_no_later() -> None:
    assert Film(1000, takes_s=[0.26] * 1000).run() == [10.0 * number for number in range(1000)]


def test_a_read_longer_than_the_period_skips_and_catches_up_on_nothing() -> None:
    assert Film(4, takes_s=[25.0]).run() == [0.0, 30.0, 40.0, 50.0]


@pytest.fixture
def whole_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Waits in one piece, so that the piece's lateness is the wait's."""
    monkeypatch.setattr(module, "NOTICE_S", math.inf)


def test_a_wait_that_ends_a_little_late_leaves_the_schedule_alone(whole_waits: None) -> None:
    assert Film(4, late_s={0: 0.9}).run() == [0.0, 10.9, 20.0, 30.0]


def test_after_a_stall_the_schedule_starts_afresh_without_a_burst(whole_waits: None) -> None:
    assert Film(4, late_s={0: 95.0}).run() == [0.0, 105.0, 115.0, 125.0]


@settings(deadline=None, max_examples=30)
@given(takes_s=st.lists(st.floats(0.0, 100.0), min_size=1, max_size=20), period_s=st.floats(1.0, 300.0))
def test_however_long_reads_take_none_begins_before_its_turn(takes_s: list[float], period_s: float) -> None:
    film = Film(len(takes_s) + 1, takes_s=takes_s)
    film.period_s = period_s

    began = film.run()

    periods = [(later - earlier) / period_s for earlier, later in pairwise(began)]
    assert all(count > 0.999 for count in periods)
    assert all(abs(count - round(count)) < 1e-6 for count in periods), "off the grid"


@settings(deadline=None, max_examples=30)
@given(late_s=st.lists(st.floats(0.0, 100.0), min_size=1, max_size=20), period_s=st.floats(1.0, 300.0))
def test_however_late_waits_end_two_reads_keep_their_distance(late_s: list[float], period_s: float) -> None:
    film = Film(len(late_s) + 1, late_s=dict(enumerate(late_s)))
    film.period_s = period_s

    began = film.run()

    closest_s = min(later - earlier for earlier, later in pairwise(began))
    assert closest_s >= period_s * (1 - module.STALL_SHARE) - 1e-9


def test_no_wait_is_longer_than_the_notice_of_a_new_period() -> None:
    film = Film(3)
    film.period_s = 300.0

    assert film.run() == [0.0, 300.0, 600.0]
    assert max(film.waited) == NOTICE_S


def test_a_shorter_period_counts_at_once() -> None:
    film = Film(4)
    film.period_s = 300.0
    wait = film.wait

    def changing(event: threading.Event, seconds: float) -> bool:
        if film.now_s >= 40.0:
            film.period_s = 10.0
        return wait(event, seconds)

    film.wait = changing  # type: ignore[method-assign]

    assert film.run() == [0.0, 40.0 + NOTICE_S, 50.0 + NOTICE_S, 60.0 + NOTICE_S]


def test_a_period_of_nothing_does_not_spin() -> None:
    film = Film(3)
    film.period_s = 0.0

    assert film.run() == pytest.approx([0.0, module.PERIOD_S_MIN, 2 * module.PERIOD_S_MIN])


def test_a_driver_that_raises_costs_that_reading_only() -> None:
    film = Film(3)

    def act(now_s: float) -> float:
        if now_s == 10.0:
            raise ZeroDivisionError("deep in a library")
        return 2.1

    film.driver.action = act
    film.run()

    assert [reading.temperature_c for reading in film.posted] == [2.1, None, 2.1]
    assert film.posted[1].error == "by the pump: ZeroDivisionError: deep in a library"
    assert film.posted[1].taken_s == 10.0


class Stage:
    """A reader whose first read hangs until the test lets it go."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.hanging = threading.Event()
        self.answer = threading.Event()
        self.idle = threading.Event()
        self.posted: queue.Queue[Reading] = queue.Queue()
        self.driver = Driver(self.hang)
        self.reader = Reader(
            self.driver,
            sensor="by the pump",
            clock=lambda: self.now_s,
            post=self.post,
            period_s=lambda: 10.0,
            deadline_s=5.0,
            wait=self.wait,
        )

    def post(self, reading: Reading) -> None:
        self.posted.put(reading)

    def hang(self, now_s: float) -> float:
        self.hanging.set()
        assert self.answer.wait(PATIENCE_S)
        return 2.1

    def wait(self, event: threading.Event, seconds: float) -> bool:
        self.idle.set()
        return event.wait(PATIENCE_S)

    def overdue(self, now_s: float) -> str | None:
        reading = self.reader.overdue(now_s)
        if reading is None:
            return None
        assert (reading.sensor, reading.taken_s, reading.temperature_c) == ("by the pump", now_s, None)
        return reading.error


@pytest.fixture
def stage() -> Iterator[Stage]:
    stage = Stage()
    yield stage
    stage.answer.set()
    stage.reader.stop()


@pytest.fixture
def hung(stage: Stage) -> Stage:
    stage.reader.start()
    assert stage.hanging.wait(PATIENCE_S)
    return stage


def test_a_read_within_its_deadline_is_not_overdue(hung: Stage) -> None:
    assert hung.overdue(4.9) is None
    assert hung.driver.unstuck == 0


def test_a_hang_is_told_once_per_period_and_woken_once(hung: Stage) -> None:
    told = {now_s: hung.overdue(float(now_s)) for now_s in range(1, 34)}

    assert {now_s: words for now_s, words in told.items() if words is not None} == {
        5: "no answer for 5 s: the read hangs",
        15: "no answer for 15 s: the read hangs",
        25: "no answer for 25 s: the read hangs",
    }
    assert hung.driver.unstuck == 1


def test_a_late_answer_bears_the_time_its_read_began(hung: Stage) -> None:
    assert hung.overdue(12.0) is not None

    hung.now_s = 12.0
    hung.answer.set()

    assert hung.posted.get(timeout=PATIENCE_S).taken_s == 0.0
    assert hung.overdue(40.0) is None, "it answered"


def test_a_driver_that_cannot_even_be_woken_stops_nobody(hung: Stage) -> None:
    def refuse() -> None:
        raise OSError("no")

    hung.driver.unstick = refuse  # type: ignore[method-assign]

    assert hung.overdue(12.0) == "no answer for 12 s: the read hangs"


def test_a_reader_that_is_not_reading_is_not_overdue(stage: Stage) -> None:
    assert stage.overdue(1000.0) is None, "not started"

    stage.answer.set()
    stage.reader.start()
    assert stage.idle.wait(PATIENCE_S)
    assert stage.overdue(1000.0) is None, "between two reads"

    stage.reader.stop()
    assert stage.overdue(2000.0) is None, "stopped"


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_ended_by_a_fault_of_ours_is_told_and_started_again(stage: Stage) -> None:
    def broken(reading: Reading) -> None:
        raise RuntimeError("the inbox is gone")

    stage.answer.set()
    stage.reader._post = broken
    stage.reader.start()
    assert stage.reader._thread is not None
    stage.reader._thread.join(PATIENCE_S)
    stage.reader._post = stage.post

    assert stage.overdue(1.0) == "the reading thread had ended and is started again"
    assert stage.posted.get(timeout=PATIENCE_S).temperature_c == 2.1
    assert stage.overdue(2.0) is None


def test_starting_twice_makes_no_second_thread(hung: Stage) -> None:
    before = threading.active_count()

    hung.reader.start()

    assert threading.active_count() == before


def test_stopping_closes_the_driver_and_posts_no_more(stage: Stage) -> None:
    stage.answer.set()
    stage.reader.start()
    assert stage.idle.wait(PATIENCE_S)

    stage.reader.stop()
    stage.reader.stop()

    assert stage.driver.closed == 1
    assert stage.posted.qsize() == 1


def test_stopping_wakes_a_read_that_hangs(hung: Stage) -> None:
    hung.driver.unstick = hung.answer.set  # type: ignore[method-assign]

    hung.reader.stop()

    assert hung.driver.closed == 1
    assert hung.posted.empty(), "nobody waits for it any more"


def test_stopping_blocks_no_longer_than_promised_even_if_the_read_hangs_for_good(hung: Stage) -> None:
    began_s = time.monotonic()
    hung.reader.stop()

    assert module.STOP_S == 1.0
    # Half a second for a busy machine.
    assert time.monotonic() - began_s < module.STOP_S + 0.5
    assert hung.driver.closed == 0, "its thread still owns it"


def test_a_clock_faster_than_life_divides_the_wait() -> None:
    speed = 1000.0
    readings: queue.Queue[Reading] = queue.Queue()
    reader = Reader(
        Driver(),
        sensor="by the pump",
        clock=lambda: time.monotonic() * speed,
        post=readings.put,
        period_s=lambda: 10.0,
        wait=lambda event, seconds: event.wait(seconds / speed),
    )
    reader.start()

    taken_s = [readings.get(timeout=PATIENCE_S).taken_s for _ in range(5)]
    reader.stop()

    assert taken_s[-1] - taken_s[0] >= 30.0, (
        "at least three periods between five reads, however late they are"
    )

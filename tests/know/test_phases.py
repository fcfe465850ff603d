"""When heat was switched, worked out from shares of spans, and how the air changed since and before."""

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.know.nouns import Span
from overwinter.know.phases import KEPT, LOOK_MIN, QUIET_S, RISEN_MIN, Course, Phase


class Feed:
    """A course, and the spans it is fed with one after another."""

    def __init__(self) -> None:
        self.course = Course()
        self.now_s = 0.0
        self.span = Span(ends_s=0.0, lasts_s=60.0)

    def take(
        self,
        air_c: float | None,
        heat: float,
        *,
        lasts_s: float = 60.0,
        gap_s: float = 0.0,
        is_forced: bool = False,
    ) -> None:
        """One more."""
        self.now_s += gap_s + lasts_s
        self.span = Span(
            ends_s=self.now_s,
            lasts_s=lasts_s,
            gap_s=gap_s,
            temperature_c=air_c,
            heat=heat,
            is_forced=is_forced,
        )
        self.course.take(self.span)

    def many(self, count: int, air_c: float, heat: float, *, step_k: float = 0.0) -> None:
        """So many, the air changing by so much each."""
        for place in range(count):
            self.take(air_c + place * step_k, heat)

    @property
    def phase(self) -> Phase:
        """The present one, which is there."""
        assert self.course.phase is not None
        return self.course.phase


def test_the_first_phase_is_not_whole_for_its_beginning_was_not_seen() -> None:
    feed = Feed()
    feed.take(3.0, 1.0)
    assert (feed.phase.is_on, feed.phase.is_whole) == (True, False)
    feed.take(3.0, 0.0)
    assert (feed.phase.is_on, feed.phase.is_whole) == (False, True)


@pytest.mark.parametrize(("share", "minutes_ago"), [(1.0, 1.0), (0.5, 0.5), (0.25, 0.25)])
def test_heat_went_on_when_its_share_of_the_span_says(share: float, minutes_ago: float) -> None:
    feed = Feed()
    feed.many(5, 3.0, 0.0)
    feed.take(3.0, share)
    assert feed.phase.is_on
    assert feed.course.minutes(feed.span) == pytest.approx(minutes_ago)


@pytest.mark.parametrize(("share", "minutes_ago"), [(0.0, 1.0), (0.5, 0.5), (0.75, 0.25)])
def test_heat_went_off_when_its_share_of_the_span_says(share: float, minutes_ago: float) -> None:
    feed = Feed()
    feed.many(5, 3.0, 1.0)
    feed.take(3.0, share)
    assert not feed.phase.is_on
    assert feed.course.minutes(feed.span) == pytest.approx(minutes_ago)


def test_a_phase_begins_at_the_air_before_it() -> None:
    feed = Feed()
    feed.many(5, 3.0, 0.0)
    feed.take(3.9, 1.0)
    assert feed.phase.began_c == pytest.approx(3.0)


def test_the_phase_that_ended_is_there_for_one_span_only() -> None:
    feed = Feed()
    ended = []
    for heat in (0.0, 0.0, 1.0, 1.0, 0.0):
        feed.take(3.0, heat)
        ended.append(None if feed.course.before is None else feed.course.before.is_on)
    assert ended == [None, None, False, None, True]


def test_forced_heat_marks_its_phase_and_not_the_next() -> None:
    feed = Feed()
    feed.many(3, 3.0, 0.0)
    feed.take(3.0, 1.0, is_forced=True)
    feed.take(3.1, 1.0)
    kept = [feed.phase.is_forced]
    feed.take(3.1, 0.0)
    kept.append(feed.phase.is_forced)
    assert kept == [True, False]


def test_the_warmest_and_the_deepest_fall_from_it_are_kept() -> None:
    feed = Feed()
    for air_c in (3.0, 4.0, 5.0, 5.0, 5.0, 3.0, 3.0, 3.0, 4.5, 4.5, 4.5):
        feed.take(air_c, 0.0)
    assert feed.phase.top_c == pytest.approx(5.0)
    assert feed.phase.fell_k == pytest.approx(2.0)


@given(
    st.floats(-30.0, 30.0),
    st.floats(-0.5, 0.5),
    st.integers(1, 60),
    st.integers(0, 60),
    st.booleans(),
)
def test_on_a_straight_line_the_change_is_its_slope_times_the_minutes(
    start_c: float, slope_k: float, minutes: int, ended: int, is_smooth: bool
) -> None:
    feed = Feed()
    feed.many(KEPT, start_c, 0.0, step_k=slope_k)
    change_k = feed.course.change_k(minutes, ended=ended, is_smooth=is_smooth)
    assert change_k == pytest.approx(slope_k * minutes, abs=1e-9)


@pytest.mark.parametrize("lasts_s", [10.0, 60.0, 120.0, 300.0])
def test_a_change_is_known_for_spans_of_any_usual_length(lasts_s: float) -> None:
    feed = Feed()
    for place in range(60):
        feed.take(3.0 - place * lasts_s / 3600.0, 0.0, lasts_s=lasts_s)
    assert feed.course.change_k(5.0) == pytest.approx(-5.0 / 60.0, abs=lasts_s / 3600.0)


def test_a_change_over_more_than_was_recorded_is_not_known() -> None:
    feed = Feed()
    assert feed.course.change_k(5.0) is None
    feed.many(5, 3.0, 0.0)
    assert feed.course.change_k(4.0) is not None
    assert feed.course.change_k(10.0) is None
    feed.many(3 * KEPT, 3.0, 0.0)
    assert feed.course.change_k(KEPT + 5.0) is None


def test_a_change_that_would_begin_where_nothing_was_recorded_is_not_known() -> None:
    feed = Feed()
    feed.many(20, 3.0, 0.0)
    for _ in range(5):
        feed.take(None, 0.0)
    feed.many(3, 3.0, 0.0)
    assert feed.course.change_k(2.0) is not None
    assert feed.course.change_k(5.0) is None


@pytest.mark.parametrize("missing", [1, 2, 5])
def test_a_change_that_began_before_some_missing_readings_is_known(missing: int) -> None:
    feed = Feed()
    feed.many(20, 3.0, 0.0)
    for _ in range(missing):
        feed.take(None, 0.0)
    feed.many(3, 5.0, 0.0)
    assert feed.course.change_k(15.0) == pytest.approx(2.0)


def test_a_gap_makes_all_before_it_unknown() -> None:
    feed = Feed()
    feed.many(20, 3.0, 0.0)
    feed.take(1.0, 1.0, gap_s=3600.0)
    assert feed.course.before is None
    assert not feed.phase.is_whole
    assert feed.phase.began_c == pytest.approx(1.0)
    assert feed.course.change_k(5.0) is None
    assert feed.course.change_k(60.0) is None


def test_a_lost_line_of_the_logbook_is_no_gap() -> None:
    feed = Feed()
    feed.many(20, 3.0, 0.0)
    feed.take(3.0, 0.0, gap_s=60.0)
    assert feed.course.change_k(10.0) == pytest.approx(0.0)


def test_a_long_silence_of_the_sensor_makes_all_before_it_unknown() -> None:
    feed = Feed()
    feed.many(20, 3.0, 0.0)
    for _ in range(round(QUIET_S / 60.0) - 1):
        feed.take(None, 0.0)
    assert feed.phase.began_c == pytest.approx(3.0)
    feed.take(None, 0.0)
    assert feed.course.phase is None
    assert feed.course.minutes(feed.span) == 0.0
    feed.take(9.0, 0.0)
    assert feed.course.smooth_c == pytest.approx(9.0)
    assert feed.course.change_k(8.0) is None


def test_it_keeps_no_more_after_a_winter_than_after_a_day() -> None:
    feed = Feed()
    feed.many(1440, 3.0, 0.0)
    day = len(pickle.dumps(feed.course))
    feed.many(20_000, 3.0, 0.0)
    assert len(pickle.dumps(feed.course)) < 1.1 * day


@given(
    st.lists(st.one_of(st.none(), st.integers(-30, 30)), min_size=1, max_size=2 * KEPT),
    st.sampled_from([60.0, 120.0, 600.0]),
    st.integers(0, 400).map(lambda halves: halves / 2.0),
)
def test_a_rise_before_the_last_minutes_is_that_above_the_lowest_of_all_before(
    tenths_c: list[int | None], lasts_s: float, minutes: float
) -> None:
    """Against a look at every reading."""
    feed = Feed()
    known: list[tuple[float, float]] = []
    silent = 0
    for tenth_c in tenths_c:
        feed.take(None if tenth_c is None else tenth_c / 10.0, 0.0, lasts_s=lasts_s)
        silent = silent + 1 if tenth_c is None else 0
        if silent * lasts_s >= QUIET_S:
            known.clear()
        elif tenth_c is not None:
            known.append((feed.now_s, tenth_c / 10.0))

    rose_k = 0.0
    if known:
        until_s = known[-1][0] - LOOK_MIN * 60.0
        from_s = until_s - min(minutes, RISEN_MIN) * 60.0
        before = [air_c for at_s, air_c in known if from_s <= at_s <= until_s]
        rose_k = before[-1] - min(before) if before else 0.0
    assert feed.course.risen_k(minutes) == rose_k

"""Dates and times as people write and read them; local time is an hour ahead of UTC here."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.cli.moments import local, local_with_distance, moment, rfc3339
from overwinter.cli.options import Stop

NOW = datetime(2026, 1, 10, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("24h", NOW - timedelta(hours=24)),
        ("90m", NOW - timedelta(minutes=90)),
        ("1.5d", NOW - timedelta(hours=36)),
        ("30s", NOW - timedelta(seconds=30)),
        (" 7d ", NOW - timedelta(days=7)),
        ("2026-01-09", datetime(2026, 1, 8, 23, tzinfo=UTC)),
        ("2026-01-09 18:00", datetime(2026, 1, 9, 17, tzinfo=UTC)),
        ("2026-01-09T18:00:30", datetime(2026, 1, 9, 17, 0, 30, tzinfo=UTC)),
        ("2026-01-09T18:00:00.5Z", datetime(2026, 1, 9, 18, 0, 0, 500_000, tzinfo=UTC)),
        ("2026-01-09 18:00+05:30", datetime(2026, 1, 9, 12, 30, tzinfo=UTC)),
    ],
)
def test_these_are_understood(text: str, expected: datetime) -> None:
    assert moment(text, option="--since", ahead=False, now=NOW) == expected


def test_a_span_may_count_ahead() -> None:
    assert moment("3d", option="--until", ahead=True, now=NOW) == NOW + timedelta(days=3)


@pytest.mark.parametrize(
    "text", ["", "2026", "24", "soon", "-3d", "9999999999d", "2026-13-01", "0001-01-01", "nand"]
)
def test_these_are_refused_with_what_is_allowed(text: str) -> None:
    with pytest.raises(Stop, match="--since") as stop:
        moment(text, option="--since", ahead=False, now=NOW)

    assert stop.value.code == 2
    assert "2026-12-01" in stop.value.lines[1]
    assert "24h" in stop.value.lines[1]


@given(st.text(max_size=40))
def test_no_text_ends_it_otherwise(text: str) -> None:
    try:
        found = moment(text, option="--since", ahead=False, now=NOW)
    except Stop:
        return
    assert found.tzinfo is not None


@given(st.datetimes(min_value=datetime(1970, 1, 2), max_value=datetime(9000, 1, 1)))  # noqa: DTZ001
def test_what_goes_over_the_wire_comes_back(at: datetime) -> None:
    exact = at.replace(tzinfo=UTC, microsecond=at.microsecond // 1000 * 1000)

    text = rfc3339(exact)

    assert text.endswith("Z")
    assert datetime.fromisoformat(text) == exact


def test_times_are_shown_in_local_time() -> None:
    assert local("2026-01-09T04:12:33.123Z") == "2026-01-09 05:12:33"
    past = rfc3339(datetime.now(UTC) - timedelta(hours=3, minutes=20, seconds=5))
    ahead = rfc3339(datetime.now(UTC) + timedelta(days=2, hours=4) - timedelta(seconds=2))
    assert local_with_distance(past).endswith(" (3 h 20 min ago)")
    assert local_with_distance(ahead).endswith(" (in 2 d 4 h)")


@pytest.mark.parametrize("text", ["never", "", "\x1b[2J"])
def test_what_is_no_time_is_shown_as_it_is_but_harmless(text: str) -> None:
    assert local(text) == local_with_distance(text) == text.replace("\x1b", "?")

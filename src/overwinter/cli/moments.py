"""Dates and times as people write and read them: local, unless a zone stands there."""

from datetime import UTC, datetime, timedelta

from overwinter.cli.options import Stop
from overwinter.core.units import parse_duration_s
from overwinter.show.text import clean, duration

ALLOWED = (
    "a date such as 2026-12-01 or '2026-12-01 18:00', an RFC 3339 time, or a span such as 90m, 24h or 3d"
)


def moment(text: str, *, option: str, ahead: bool, now: datetime | None = None) -> datetime:
    """The moment that is meant; a span counts from now, ahead or back.

    Raises
    ------
    Stop
        Code 2: it is none, or lies beyond the calendar.
    """
    now = now or datetime.now(UTC)
    text = text.strip()
    try:
        # A bare number is no span here: 2026 would be half an hour.
        if text[-1:] in "smhd":
            length = timedelta(seconds=parse_duration_s(text))
            return now + length if ahead else now - length
        return datetime.fromisoformat(text).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        raise Stop(2, f"{option} {text!r} is no time", f"allowed: {ALLOWED}") from None


def rfc3339(at: datetime) -> str:
    """In UTC with milliseconds, as in the logbook."""
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def local(text: str) -> str:
    """An RFC 3339 time as local date and time; what is no time is left as it is."""
    try:
        return datetime.fromisoformat(text).astimezone().strftime("%Y-%m-%d %H:%M:%S")
    except (ValueError, OverflowError):
        return clean(text)


def local_with_distance(text: str) -> str:
    """`2026-01-09 05:12 (3 h ago)`, or `(in 20 min)`."""
    try:
        at = datetime.fromisoformat(text).astimezone()
        away_s = (at - datetime.now(UTC)).total_seconds()
    except (ValueError, OverflowError, TypeError):
        return clean(text)
    # To the nearest minute ahead: what was asked for 20 min a moment ago is not "in 19 min".
    distance = (
        f"in {duration(away_s + 30 if away_s > 60 else away_s)}" if away_s > 0 else f"{duration(-away_s)} ago"
    )
    return f"{at:%Y-%m-%d %H:%M} ({distance})"

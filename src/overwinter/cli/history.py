"""Reading the logbook for `samples` and `events`: from its files, or through the guard.

Rule: the files are read where they can be and belong to the house that is meant. Whoever names a socket
and no logs folder means that guard, and gets its answer, not a logbook that lies around somewhere else.
"""

import json
import os
import sys
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from overwinter.cli.ask import ask, facts
from overwinter.cli.moments import local, moment, rfc3339
from overwinter.cli.options import Stop, Verb, complain
from overwinter.cli.places import Places, places
from overwinter.show import history

OPTIONS: Mapping[str, tuple[str, str]] = {
    "since": ("WHEN", "from then on: 24h, 7d, 2026-01-09, '2026-01-09 18:00', or an RFC 3339 time"),
    "until": ("WHEN", "up to then"),
    "limit": ("N", "only the newest N"),
    "csv": ("", "for a spreadsheet, in SI units"),
    "json": ("", "as recorded, one object a line; t_recorded beside a date that was put right"),
}
UNIT_TIMEOUT_S = 1.0
"""The guard is asked only for the unit to show; without it both are shown."""

Line = dict[str, Any]
Read = Callable[[], Iterable[Line]]


def tell(verb: Verb, argv: list[str], *, default_since: str) -> int:
    """Print the samples or events that were asked for."""
    given = verb.parse(argv)
    if given.has("csv") and given.has("json"):
        raise verb.wrong("--csv or --json, not both")
    limit = _limit(verb, given.value("limit"))
    now = datetime.now(UTC)
    since = moment(given.value("since") or default_since, option="--since", ahead=False, now=now)
    wanted_until = given.value("until")
    until = moment(wanted_until, option="--until", ahead=False, now=now) if wanted_until else None
    if until is not None and until <= since:
        raise verb.wrong(f"--until {wanted_until} is not after --since")
    where = places(given.options, client=True)
    skipped: Counter[str] = Counter()
    read = reader(where, verb.name, since=since, until=until, limit=limit, skipped=skipped)
    if given.has("json"):
        for line in read():
            print(json.dumps(line))
    elif given.has("csv"):
        _print_csv(read, verb.name, skipped)
    else:
        _print_rows(read(), verb.name, where)
    complain_of(skipped)
    return 0


def complain_of(skipped: Counter[str]) -> None:
    """Say how many lines were not whole."""
    if skipped.total():
        complain(f"{skipped.total()} broken line{'' if skipped.total() == 1 else 's'} in the logbook skipped")


def _limit(verb: Verb, text: str | None) -> int | None:
    if text is None:
        return None
    if not (text.isascii() and text.isdigit() and int(text[:9]) > 0 and len(text) < 10):
        raise verb.wrong(f"--limit {text!r} is none: a whole number from 1 on")
    return int(text)


def reader(
    where: Places,
    what: str,
    *,
    since: datetime,
    until: datetime | None,
    limit: int | None = None,
    skipped: Counter[str],
) -> Read:
    """How to get at `samples`, `events` or `lines` (both), oldest first; may be called twice.

    From the guard, which gives the one or the other, `lines` are first the samples and then the events.
    """
    means_the_guard = where.is_named("socket") and not where.is_named("logs")
    if not means_the_guard and _is_readable(Path(where.logs)):
        return lambda: _from_files(
            Path(where.logs), what, since=since, until=until, limit=limit, skipped=skipped
        )
    if where.is_named("logs"):
        raise Stop(1, f"no logbook can be read in {where.logs}", "allowed: a folder with logbook.jsonl in it")
    return from_guard(where, what, since=since, until=until, limit=limit)


def from_guard(
    where: Places, what: str, *, since: datetime, until: datetime | None, limit: int | None = None
) -> Read:
    """The same, asked of the guard at once; with `limit` the newest of each kind."""
    params: dict[str, object] = {"since": rfc3339(since)}
    if until is not None:
        params["until"] = rfc3339(until)
    if limit is not None:
        params["limit"] = limit
    kinds = ("samples", "events") if what == "lines" else (what,)
    found = [line for kind in kinds for line in _asked(where, kind, params)]
    return lambda: iter(found)


def _asked(where: Places, what: str, params: Mapping[str, object]) -> Iterator[Line]:
    lines = ask(where, what, params)
    if not isinstance(lines, list):
        raise Stop(
            1, f"the guard's answer to {what} is not understood; is its version another than this one's?"
        )
    return (line for line in lines if _is_line(line, what))


def _from_files(
    folder: Path,
    what: str,
    *,
    since: datetime,
    until: datetime | None,
    limit: int | None,
    skipped: Counter[str],
) -> Iterable[Line]:
    from overwinter.store.timeline import read_placed

    skipped.clear()
    kinds = {"sample"} if what == "samples" else None
    found = read_placed(folder, since=since, until=until, events=kinds, skipped=skipped, loads=quick_loads())
    lines: Iterator[Line] = (line for line in found if _is_line(line, what))
    return lines if limit is None else deque(lines, maxlen=limit)


def _is_line(line: object, what: str) -> bool:
    return (
        isinstance(line, dict)
        and isinstance(line.get("t"), str)
        and (what == "lines" or (line.get("event") == "sample") == (what == "samples"))
    )


def quick_loads() -> Callable[[bytes], Any] | None:
    """A JSON decoder several times as fast as the standard one, where it is installed.

    It is passed on from here, and never imported by `store`: in the guard it would only cost memory. Whole
    numbers beyond 64 bits, of which the logbook has none, it gives as floats.
    """
    try:
        from orjson import loads
    except ImportError:
        return None
    return loads


def _is_readable(folder: Path) -> bool:
    """Whether there is a logbook here, and all of it may be read."""
    try:
        files = [file for file in folder.iterdir() if file.name.startswith("logbook.jsonl")]
    except OSError:
        return False
    return bool(files) and all(os.access(file, os.R_OK) for file in files)


def _print_rows(lines: Iterable[Line], what: str, where: Places) -> None:
    unit = unit_of(where)
    columns = history.Columns(unit)
    count = 0
    for line in lines:
        if what == "events":
            print(history.event_row(line, local=local, unit=unit or "F"))
        else:
            if count == 0:
                print(columns.head)
            print(columns.row(line, local=local))
        count += 1
    if count == 0:
        complain(f"no {what} in this span")


def unit_of(where: Places) -> str | None:
    """The guard's unit for the screen; None: nobody says."""
    try:
        unit = facts(where, "settings", timeout_s=UNIT_TIMEOUT_S).get("unit")
    except Stop:
        return None
    return unit if unit in {"F", "C"} else None


def _print_csv(read: Read, what: str, skipped: Counter[str]) -> None:
    import csv

    writer = csv.writer(sys.stdout)
    if what == "events":
        writer.writerow(history.EVENT_COLUMNS)
        for line in read():
            writer.writerow(history.event_cells(line, local=local, dumps=json.dumps))
        return
    # Each sensor has columns of its own; which there are is known only after all of it was read once.
    sensors, contacts = history.names_in(read())
    skipped.clear()
    writer.writerow(history.sample_head(sensors=sensors, contacts=contacts))
    for line in read():
        writer.writerow(history.sample_cells(line, sensors=sensors, contacts=contacts, local=local))

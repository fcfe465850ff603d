"""`report`: a night, a week, a season or any span in one page, from the logbook alone."""

from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

from overwinter.cli.ask import painter, print_json
from overwinter.cli.files import write_whole
from overwinter.cli.history import OPTIONS, Read, complain_of, reader
from overwinter.cli.moments import local, moment, rfc3339
from overwinter.cli.options import JSON, NO_COLOR, Given, Stop, Verb, complain
from overwinter.cli.places import Places, places
from overwinter.cli.plan import is_anothers, settings_of, site_of
from overwinter.core.nouns import Settings, Site

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from overwinter.show.report_words import Report

VERB = Verb(
    "report",
    "[night|week|season]",
    about="""What happened and what to change, in one page: the coldest, hours too cold, heat and its cost,
gaps, alarms, ice in the pipes. It is read from the logbook and needs no guard.

night (if nothing is said): the last one from 18:00 to 09:00 local time, or the one in progress.
week: the last seven days, to this time of the day.
season: from the last 1 July on, or from the first record after it.
They count back from now; with --logs from the last record there. --since and --until give any other span.
A silence before the first record of the logbook is no gap. alarm_low is that of the settings where they
are this house's (with --site only if --state is named too), else the default; the report says which.""",
    examples=(
        "overwinter report",
        "overwinter report season -o report.html",
        "overwinter report --since 2026-01-09 --until 2026-01-12 --json",
        "overwinter report season --logs copy/logs --site copy/site.toml",
    ),
    options={
        "since": OPTIONS["since"],
        "until": OPTIONS["until"],
        "o": ("FILE", "write it there as FILE.html, with the chart in it"),
        "json": JSON,
        "no-color": NO_COLOR,
    },
)

WORDS = ("night", "week", "season")
EVENING, MORNING = 18, 9
LAST_LINES = 50


def run(argv: list[str]) -> int:
    """Reckon and print; no guard is needed."""
    given = VERB.parse(argv, most=1)
    _see_to_usage(given)
    where = places(given.options, client=True)
    site = _site(where)
    settings = None if is_anothers(given, where) else settings_of(where, site)
    what, since, until = _span(given, where)
    skipped: Counter[str] = Counter()
    # A record at the very end belongs to the span; the reader leaves out what is not before its end.
    read = reader(where, "lines", since=since, until=until + timedelta(milliseconds=1), skipped=skipped)

    from overwinter.cli.reporting import answer, recorded, reported
    from overwinter.know.learned import Learned

    learned = Learned(site.heater)  # what this span alone teaches
    learned.heed(site.contacts)
    found = recorded(read(), learned)
    complain_of(skipped)
    if what == "season" and found.samples:
        since = max(since, datetime.fromtimestamp(found.samples[0].at_s, UTC))
    report = reported(
        found,
        site,
        what=what,
        from_s=since.timestamp(),
        to_s=until.timestamp(),
        alarm_low_c=(settings or Settings()).alarm_low_c,
        alarm_low_from="default" if settings is None else "settings",
        has_older=_has_older(where, since),
        learned=learned.summary(),
    )
    if given.has("json"):
        print_json(answer(report))
        return 0
    file = given.value("o")
    if file is None:
        print(_in_terminal(report))
        return 0
    write_whole(Path(file), _in_html(report, read, since, until).encode())
    complain(f"written: {file}")
    return 0


def _see_to_usage(given: Given) -> None:
    if given.words and given.words[0] not in WORDS:
        raise VERB.wrong(f"{given.words[0]!r} is none of {', '.join(WORDS)}; or --since and --until")
    if given.words and (given.has("since") or given.has("until")):
        raise VERB.wrong(f"{given.words[0]} is a span already: either it, or --since and --until")
    if given.has("until") and not given.has("since"):
        raise VERB.wrong("--until needs --since")
    if given.has("json") and given.has("o"):
        raise VERB.wrong("--json prints all of it: -o does not go with it")
    file = given.value("o")
    if file is not None and Path(file).suffix.lower() != ".html":
        raise Stop(2, f"-o {file}: its name must end in .html")


def _site(where: Places) -> Site:
    """The house that is meant; a logbook alone is reported with what is known, and that is said."""
    if where.is_named("site") or not where.is_named("logs"):
        return site_of(where)
    try:
        site = site_of(where)
    except Stop:
        complain("no --site FILE: heater, tariff and pipes are not known")
        return Site(name=f"logbook in {where.logs}")
    complain(f"reckoned with the heater, tariff and pipes of {where.site}; --site FILE names another")
    return site


def _span(given: Given, where: Places) -> tuple[str, datetime, datetime]:
    """What it is called, and from when to when."""
    now = datetime.now(UTC)
    last = _last_record(where) or now if where.is_named("logs") else now
    asked = given.value("since")
    if asked is None:
        what = given.words[0] if given.words else "night"
        return (what, *named_span(what, last))
    since = moment(asked, option="--since", ahead=False, now=now)
    asked_until = given.value("until")
    until = last if asked_until is None else moment(asked_until, option="--until", ahead=False, now=now)
    if not where.is_named("logs"):
        until = min(until, now)
    if until <= since:
        raise VERB.wrong(f"--until {asked_until or local(rfc3339(until))} is not after --since {asked}")
    return "report", since, until


def named_span(what: str, now: datetime) -> tuple[datetime, datetime]:
    """The last night, week or season at a moment, in UTC: clocks on the wall count, not hours."""
    here = now.astimezone().replace(tzinfo=None)
    if what == "week":
        return _utc(here - timedelta(days=7)), now
    if what == "season":
        first = here.replace(month=7, day=1, hour=0, minute=0, second=0, microsecond=0)
        return _utc(first if here >= first else first.replace(year=first.year - 1)), now
    evening = here.replace(hour=EVENING, minute=0, second=0, microsecond=0)
    if here < evening:
        evening -= timedelta(days=1)
    morning = (evening + timedelta(days=1)).replace(hour=MORNING)
    return _utc(evening), min(_utc(morning), now)


def _utc(here: datetime) -> datetime:
    return here.astimezone(UTC)


def _last_record(where: Places) -> datetime | None:
    from overwinter.store.lines import last_lines

    try:
        lines = last_lines(Path(where.logs), LAST_LINES)
    except OSError:
        return None
    for line in reversed(list(lines)):
        try:
            return datetime.fromisoformat(str(line["t"])).astimezone(UTC)
        except (KeyError, ValueError, OverflowError):
            continue
    return None


def _has_older(where: Places, since: datetime) -> bool:
    """Whether anything was recorded before; the guard alone is not asked."""
    from overwinter.store.timeline import read_placed

    if where.is_named("socket") and not where.is_named("logs"):
        return False
    try:
        return next(iter(read_placed(Path(where.logs), until=since)), None) is not None
    except OSError:
        return False


def _when(at_s: float) -> str:
    return f"{datetime.fromtimestamp(at_s, UTC).astimezone():%Y-%m-%d %H:%M}"


def _made_by() -> str:
    from overwinter import __version__

    return f"Made by overwinter {__version__} on {datetime.now(UTC).astimezone():%Y-%m-%d %H:%M}."


def _in_terminal(report: "Report") -> str:
    import shutil

    from overwinter.show.plan_text import page
    from overwinter.show.report_words import report_page

    width = shutil.get_terminal_size((80, 24)).columns
    return page(report_page(report, when=_when), width=width, paint=painter())


def _in_html(report: "Report", read: Read, since: datetime, until: datetime) -> str:
    from overwinter.cli.drawing import parts, picture_of
    from overwinter.show.report_html import report_html
    from overwinter.show.report_words import report_page

    drawn = picture_of(read(), house=report.site.name, unit=report.unit, since=since, until=until)
    foot = f"{_made_by()} All of it is in this file; it asks no network."
    return report_html(report_page(report, when=_when, foot=foot), drawn if drawn.at_s else None, parts())

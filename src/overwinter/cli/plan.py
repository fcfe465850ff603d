"""`plan`: what fits, what does not and what to change, from site.toml alone; and the card for the door."""

import stat
from pathlib import Path

from overwinter.cli.ask import painter, print_json
from overwinter.cli.figures import Figures
from overwinter.cli.files import write_whole
from overwinter.cli.options import JSON, NO_COLOR, Given, Stop, Verb, complain
from overwinter.cli.places import Places, places
from overwinter.core.nouns import Refused, Settings, Site
from overwinter.core.units import K_PER_F, Unit, c_from_f
from overwinter.reckon.plan import Band, Outdoors, Plan, plan

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from overwinter.show.plan_page import Page

VERB = Verb(
    "plan",
    about="""What fits, what does not and what to change, with numbers: heat loss, heater, energy and cost
of a winter, band, circuit, and how soon pipes freeze. Reckoned from site.toml alone: it needs no guard and
no Pi.

The band is --band LOW HIGH, else that of the settings where this machine or --state has some, else the one
that is advised. A bare number is in the site's unit. With --card it is the card for the door, one page for
when power and board are dead.""",
    examples=(
        "overwinter plan",
        "overwinter plan --site site.toml --weather chicago.epw",
        "overwinter plan --band 36F 40F --degree-days 900F -o plan.html",
        "overwinter plan --card -o card.html",
    ),
    options={
        "weather": ("FILE", "the season's weather: EPW, TMY3 or a plain CSV of times and temperatures"),
        "degree-days": ("N[F|C]", "or its heating degree days below the middle of the band"),
        "band": ("LOW HIGH", "the band to plan for"),
        "card": ("", "the card for the door instead"),
        "o": ("FILE", "write it there as FILE.html, to print"),
        "json": JSON,
        "no-color": NO_COLOR,
    },
)

WEATHER_BYTES_MAX = 256 * 1024 * 1024
"""Ten years of five-minute weather with all columns; more is no weather file."""

BAND_C = (c_from_f(-40.0), c_from_f(100.0))
"""As the settings allow it."""

NARROWEST_K = 0.5


def run(argv: list[str]) -> int:
    """Reckon and print; no guard is asked."""
    given = VERB.parse(argv, most=1)
    _see_to_usage(given)
    where = places(given.options, client=True)
    site = site_of(where)
    figures = Figures(site.unit)
    asked_band = _asked_band(given, figures)
    degree_days_kd = _degree_days_kd(given, figures, site)
    figures.stop_if_wrong(VERB)
    settings = None if is_anothers(given, where) else settings_of(where, site)
    band = asked_band
    if band is None and settings is not None:
        band = Band(low_c=settings.low_c, high_c=settings.high_c, source="settings")
    outdoors = _outdoors(given.value("weather"))
    try:
        found = plan(site, band=band, settings=settings, outdoors=outdoors, degree_days_kd=degree_days_kd)
    except ValueError as error:
        raise Stop(1, f"plan: {where.site} cannot be reckoned with: {error}") from None
    if given.has("json"):
        _print_facts(found)
        return 0
    _show(found, given)
    return 0


def _see_to_usage(given: Given) -> None:
    if given.has("band") != bool(given.words):
        raise VERB.wrong(
            "--band takes two temperatures: --band 36F 40F"
            if given.has("band")
            else f"{given.words[0]!r} is one word too many"
        )
    if given.has("weather") and given.has("degree-days"):
        raise VERB.wrong("--weather and --degree-days both tell the season: one of them")
    if given.has("json") and (given.has("o") or given.has("card")):
        raise VERB.wrong("--json prints all of it: neither -o nor --card goes with it")
    file = given.value("o")
    if file is not None and Path(file).suffix.lower() != ".html":
        raise Stop(2, f"-o {file}: its name must end in .html")


def site_of(where: Places) -> Site:
    """The house of site.toml; stops where it cannot be read or is refused."""
    from overwinter.guard.files import read_bounded
    from overwinter.settings.site import parse_site

    try:
        parsed = parse_site(read_bounded(Path(where.site)))
    except OSError as error:
        raise Stop(
            1,
            f"{where.site} could not be read: {error.strerror or error}",
            "it says what is wired and built; name it with --site FILE. A commented example is etc/site.toml",
        ) from None
    if parsed.site is None:
        told = [f"  {problem.text}" for problem in parsed.problems]
        raise Stop(1, f"{where.site} is refused", *told)
    return parsed.site


def is_anothers(given: Given, where: Places) -> bool:
    """Whether this machine's settings may be another house's: of a site.toml that somebody sent, say."""
    if given.has("site"):
        return not given.has("state")
    return where.is_named("site") and not where.is_named("state")


def settings_of(where: Places, site: Site) -> Settings | None:
    """The house's settings; None where there are none."""
    from overwinter.guard.files import read_bounded
    from overwinter.settings.site import sense_s_min
    from overwinter.settings.values import FILE, parse_settings

    path = Path(where.state) / FILE
    try:
        parsed = parse_settings(read_bounded(path), sense_s_min=sense_s_min(site))
    except FileNotFoundError:
        return None
    except OSError as error:
        complain(f"{path} could not be read: {error.strerror or error}; going on without the settings")
        return None
    if parsed.problems:
        told = [f"  {problem.text}" for problem in parsed.problems]
        complain(f"{path} has problems; what is wrong there takes its default here", *told)
    return parsed.settings


def _asked_band(given: Given, figures: Figures) -> Band | None:
    low, high = given.value("band"), given.words[0] if given.words else None
    if low is None:
        return None
    low_c = figures.temperature_c("--band LOW", low, *BAND_C)
    high_c = figures.temperature_c("--band HIGH", high, *BAND_C)
    # A low end at 100 F leaves no room above; NaN, which is told already, compares as neither.
    if high_c - low_c < NARROWEST_K - 1e-9:
        figures.refuse(f"--band {low} {high}: HIGH must be at least {NARROWEST_K:g} K (0.9 F) above LOW")
    return Band(low_c=low_c, high_c=high_c, source="asked")


def _degree_days_kd(given: Given, figures: Figures, site: Site) -> float | None:
    word = given.value("degree-days")
    if word is None:
        return None
    last = word[-1:].upper()
    unit = Unit(last) if last in tuple(Unit) else site.unit
    number = word[:-1].rstrip() if last in tuple(Unit) else word
    k_per_degree = K_PER_F if unit is Unit.F else 1.0
    most = 36_000.0 if unit is Unit.F else 20_000.0
    return k_per_degree * figures.number("--degree-days", number, 0.0, most, f"{unit} days")


def _outdoors(file: str | None) -> Outdoors | None:
    if file is None:
        return None
    from overwinter.weatherfile.parse import parse_weather

    try:
        weather = parse_weather(_weather_text(Path(file)))
    except Refused as refused:
        told = [f"  {problem.text}" for problem in refused.problems]
        raise Stop(1, f"--weather {file} is refused", *told) from None
    place = weather.place or Path(file).name
    name = f"{weather.kind} of {place}"
    return Outdoors(
        name=name, temperatures_c=weather.temperatures_c, step_h=weather.step_h, filled=weather.filled
    )


def _weather_text(path: Path) -> str:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise Stop(1, f"--weather {path} is no regular file")
        with path.open("rb") as file:
            data = file.read(WEATHER_BYTES_MAX + 1)
    except OSError as error:
        raise Stop(1, f"--weather {path} could not be read: {error.strerror or error}") from None
    if len(data) > WEATHER_BYTES_MAX:
        raise Stop(1, f"--weather {path}: larger than {WEATHER_BYTES_MAX} bytes; that is no weather file")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")  # names of places in old files; figures are the same in either


def _print_facts(found: Plan) -> None:
    from overwinter.reckon.facts import facts
    from overwinter.show.plan_words import assumptions, cautions, missing

    sentences = {"cautions": cautions(found), "assumptions": assumptions(found), "missing": missing(found)}
    print_json({**facts(found), **sentences})


def _show(found: Plan, given: Given) -> None:
    from overwinter.show.plan_card import card_page
    from overwinter.show.plan_words import plan_page

    page_of = card_page if given.has("card") else plan_page
    file = given.value("o")
    if file is None:
        print(_in_terminal(page_of(found)))
        return
    from overwinter.show.plan_html import card_html, plan_html

    html_of = card_html if given.has("card") else plan_html
    write_whole(Path(file), html_of(page_of(found, made_by=_made_by())).encode())
    complain(f"written: {file}")


def _in_terminal(shown: "Page") -> str:
    import shutil

    from overwinter.show.plan_text import page

    return page(shown, width=shutil.get_terminal_size((80, 24)).columns, paint=painter())


def _made_by() -> str:
    from datetime import UTC, datetime

    from overwinter import __version__

    at = datetime.now(UTC).astimezone()
    return f"Made by overwinter {__version__} on {at:%Y-%m-%d} from site.toml. All of it is in this file."

"""`rehearse`: the same control loop against a simulated pump house and winter, with faults."""

import os
import sys
import tempfile
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from overwinter.cli.ask import print_json
from overwinter.cli.options import JSON, Given, Stop, Verb, complain, nearest
from overwinter.cli.places import Places, places
from overwinter.core.nouns import Refused
from overwinter.core.units import Unit, say_difference

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any

    from overwinter.core.nouns import Site
    from overwinter.know.knowledge import Knowledge
    from overwinter.rehearse.nouns import Outcome, Progress, Scenario
    from overwinter.twin.parameters import HouseParameters
    from overwinter.twin.weather import Sunshine, Weather

VERB = Verb(
    "rehearse",
    "[SCENARIO|FILE.toml]",
    about="""The guard's own control loop, settings and logbook against a simulated pump house, with faults.

Without a scenario: the list of those that come with the program. A file of your own says the same things
as they do. Your site.toml (building, heater, tariff) and settings.toml are used where they are found; the
sensors are the scenario's. --learned takes the house as the guard has learned it (with --logs: as that
logbook teaches it). Nothing of a real installation is touched, and no answer is a promise: the house is
simulated. The exit code is 1 when something is not as the scenario says it must be.""",
    examples=(
        "overwinter rehearse",
        "overwinter rehearse cold-snap",
        "overwinter rehearse quiet-winter --weather winter.epw --keep rehearsed",
        "overwinter rehearse cold-snap --against band.low=34,band.high=36",
        "overwinter rehearse dead-bulb-on-the-coldest-night --learned",
        "overwinter rehearse --campaign 50",
    ),
    options={
        "seed": ("N", "another house, weather and noise (default 1)"),
        "weather": ("FILE", "recorded hours: EPW, TMY3 or plain CSV; the coldest stretch of them"),
        "against": ("KEY=VALUE,...", "the same again with these settings, side by side"),
        "learned": ("", "the house as it was learned in service, not as site.toml says it"),
        "keep": ("DIR", "keep settings and logbook there; a new or empty folder"),
        "campaign": ("N", "N random fault schedules of three cold days instead, on all cores"),
        "json": JSON,
    },
)

SEED_MAX = 2**31
CAMPAIGN_MAX = 100_000
BAR = 30


def run(argv: list[str]) -> int:
    """List, rehearse, or go on campaign."""
    given = VERB.parse(argv, most=1)
    seed = _count(given, "seed", 1, 0, SEED_MAX)
    if given.has("campaign"):
        return _campaign(given, seed)
    if not given.words:
        _list(given)
        return 0
    where = places(given.options, client=True)
    word, keep = given.words[0], given.value("keep")
    scenario = _scenario(word)
    against = _against(given.value("against"))
    site, settings_text = _own_site(where), _own_settings(where)
    house, assumed = _house(where, site, scenario, is_learned=given.has("learned"))
    weather, sun = _weather(given.value("weather"), scenario, seed)

    def lived(scenario: "Scenario", keep: str | None, label: str) -> "Outcome":
        from overwinter.rehearse.run import rehearse

        with _folder(keep) as folder:
            return rehearse(
                scenario,
                seed=seed,
                folder=folder,
                weather=weather,
                sun=sun,
                house=house,
                site=site,
                settings_text=settings_text,
                progress=_progress(label),
            )

    try:
        first = lived(scenario, keep, word)
        second = None
        if against:
            changed = replace(scenario, settings={**scenario.settings, **against})
            second = lived(changed, None, "against")
    except Refused as refused:
        raise Stop(1, f"{word}: refused", *_problems(refused)) from None
    facts = first.facts()
    if second is not None:
        facts["against"] = {"settings": against, **second.facts()}
    if given.has("json"):
        print_json(facts)
    else:
        _print(facts, scenario, site, assumed)
    if keep is not None:
        logs = Path(keep) / "logs"
        complain(
            f"kept in {keep}", f"see it: overwinter events --logs {logs} --since {scenario.begins:%Y-%m-%d}"
        )
    return 1 if first.failed else 0


@contextmanager
def _folder(keep: str | None) -> "Iterator[Path]":
    """Where the rehearsal's files lie: to stay, or in memory and gone afterwards."""
    if keep is None:
        from overwinter.rehearse.disk import in_memory

        with tempfile.TemporaryDirectory(prefix="overwinter-rehearse-", dir=in_memory()) as folder:
            yield Path(folder)
        return
    path = Path(keep)
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise Stop(1, f"--keep {keep} is there and not an empty folder; it is left alone")
    path.mkdir(parents=True, exist_ok=True)
    yield path


def _house(
    where: Places, site: "Site | None", scenario: "Scenario", *, is_learned: bool
) -> "tuple[HouseParameters, tuple[str, ...]]":
    """The house to rehearse in, and what of it was assumed, in words."""
    from overwinter.rehearse.stage import parameters_of

    drawn, assumed = parameters_of(site, scenario.house)
    if not is_learned:
        return drawn, assumed
    from overwinter.twin.houses import parameters_learned

    learned = _knowledge(where, site).learned
    rise_k = learned.rise_k()
    if rise_k is None:
        raise Stop(
            1,
            f"--learned: this house is not known yet, after {learned.based_on_h:.0f} h of usable records",
            "it takes an outdoor sensor and some five cold days; `overwinter forecast` says how far it is",
        )
    try:
        bent = parameters_learned(drawn, heater_w=drawn.heater_w, rise_k=rise_k)
    except Refused as refused:
        raise Stop(1, "--learned: what was learned is no house like this one", *_problems(refused)) from None
    unit = Unit.F if site is None else site.unit
    return bent, (
        *assumed,
        f"heat that lifts the air by {say_difference(rise_k, unit)} in the end, as learned",
    )


def _knowledge(where: Places, site: "Site | None") -> "Knowledge":
    """From the logbook that is named, else what the guard of this machine has stored."""
    if where.is_named("logs"):
        from overwinter.cli.replaying import replayed

        return replayed(where).knowledge
    from overwinter.core.nouns import Site
    from overwinter.know.knowledge import Knowledge
    from overwinter.store.keeper import STATE_NAME
    from overwinter.store.small import load_state

    stored = load_state(Path(where.state) / STATE_NAME)
    return Knowledge(Site() if site is None else site, None if stored is None else stored.get("learned"))


def _print(
    facts: "dict[str, Any]", scenario: "Scenario", site: "Site | None", assumed: tuple[str, ...]
) -> None:
    from overwinter.show.rehearsal import page, side_by_side

    unit = "F" if site is None else site.unit.value
    currency = "" if site is None else site.currency
    print(page(facts, unit=unit, currency=currency, about=scenario.about, assumed=assumed))
    against = facts.get("against")
    if against is not None:
        names = "as set", ", ".join(f"{key}={value}" for key, value in against["settings"].items())
        print()
        print(side_by_side(facts, against, names=names, unit=unit, currency=currency))


def _list(given: Given) -> None:
    from overwinter.rehearse.file import parse_scenario, shipped

    unused = [name for name in ("seed", "weather", "against", "learned", "keep") if given.has(name)]
    if unused:
        raise VERB.wrong(f"--{unused[0]} needs a scenario; without anything they are listed")
    rows = []
    for name, text in shipped().items():
        try:
            rows.append({"name": name, "about": parse_scenario(text, name).about})
        except Refused as refused:  # a damaged installation
            raise Stop(1, f"the program's own scenario {name} is damaged", *_problems(refused)) from None
    if given.has("json"):
        print_json(rows)
        return
    width = max(len(row["name"]) for row in rows)
    for row in rows:
        print(f"{row['name']:<{width}}  {row['about']}")


def _campaign(given: Given, seed: int) -> int:
    from overwinter.rehearse.campaign import campaign
    from overwinter.rehearse.file import text_of

    count = _count(given, "campaign", 50, 1, CAMPAIGN_MAX)
    unused = [f"--{name}" for name in ("weather", "against", "learned") if given.has(name)]
    if unused or given.words:
        raise VERB.wrong(f"{(given.words or unused)[0]} and --campaign do not go together")
    found = campaign(count, seed=seed, progress=_progress("campaign"))
    facts: dict[str, object] = {
        "schedules": count,
        "seed": seed,
        "failed": [{"seed": failure.seed, "why": failure.why} for failure in found.failures],
        "froze_unavoidably": found.froze,
    }
    file = None
    if found.smallest is not None:
        folder = Path(given.value("keep") or ".")
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / f"failure-{found.smallest.seed}.toml"
        file.write_text(text_of(found.smallest.scenario), encoding="utf-8")
        facts["scenario"] = str(file)
    if given.has("json"):
        print_json(facts)
    else:
        print(f"{len(found.failures)} of {count} schedules ended otherwise than they must (seed {seed}).")
        print(f"Ice in {found.froze}, each time where no guard could have kept it off.")
        for failure in found.failures[:10]:
            print(f"  seed {failure.seed}: {failure.why}")
        if found.smallest is not None:
            print(f"The first, made small: overwinter rehearse {file} --seed {found.smallest.seed}")
    return 1 if found.failures else 0


def _scenario(word: str) -> "Scenario":
    from overwinter.rehearse.file import SUFFIX, parse_scenario, shipped

    known = shipped()
    text = known.get(word)
    if text is None:
        if not word.endswith(SUFFIX):
            near = nearest(word, known)
            hint = f"; did you mean {near}?" if near else ""
            raise Stop(
                1, f"there is no scenario {word!r}{hint}", "all: overwinter rehearse; your own: FILE.toml"
            )
        text = _read(word)
    try:
        return parse_scenario(text, word)
    except Refused as refused:
        raise Stop(1, f"{word}: refused", *_problems(refused)) from None


def _weather(file: str | None, scenario: "Scenario", seed: int) -> "tuple[Weather, Sunshine | None]":
    from overwinter.rehearse.weather import sun_of, weather_of

    if file is None:
        return weather_of(scenario, seed=seed), sun_of(scenario, seed=seed)
    from overwinter.weatherfile.parse import parse_weather

    try:
        recorded = parse_weather(_read(file))
    except Refused as refused:
        raise Stop(1, f"--weather {file}: refused", *_problems(refused)) from None
    temperatures_c, step_h = recorded.temperatures_c, recorded.step_h
    return (
        weather_of(scenario, seed=seed, recorded=temperatures_c, step_h=step_h),
        sun_of(
            scenario,
            seed=seed,
            recorded=temperatures_c,
            radiation_w_m2=recorded.radiation_w_m2,
            step_h=step_h,
        ),
    )


def _own_site(where: Places) -> "Site | None":
    if not os.path.exists(where.site):  # noqa: PTH110
        if where.is_named("site"):
            raise Stop(1, f"there is no {where.site}")
        return None
    from overwinter.settings.site import parse_site

    parsed = parse_site(_read(where.site))
    if parsed.site is None:
        raise Stop(1, f"{where.site}: refused", *(f"  {problem.text}" for problem in parsed.problems))
    return parsed.site


def _own_settings(where: Places) -> str | None:
    path = os.path.join(where.state, "settings.toml")  # noqa: PTH118
    return _read(path) if os.path.exists(path) else None  # noqa: PTH110


def _against(text: str | None) -> dict[str, object]:
    changes: dict[str, object] = {}
    for pair in (text or "").split(","):
        key, equals, value = pair.partition("=")
        if not pair and text is None:
            continue
        if not equals or not key.strip() or not value.strip():
            raise VERB.wrong(f"--against {pair!r} is no KEY=VALUE, such as band.low=34,band.high=36")
        changes[key.strip()] = value.strip()
    return changes


def _count(given: Given, name: str, usual: int, least: int, most: int) -> int:
    text = given.value(name)
    if text is None:
        return usual
    if not (text.isascii() and text.isdigit() and len(text) < 12 and least <= int(text) <= most):
        raise VERB.wrong(f"--{name} {text!r}: a whole number, {least} to {most}")
    return int(text)


def _read(file: str) -> str:
    try:
        return Path(file).read_text(encoding="utf-8")
    except OSError as error:
        raise Stop(1, f"{file}: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise Stop(1, f"{file}: it is no text in UTF-8") from None


def _problems(refused: Refused) -> list[str]:
    return [f"  {problem.text}" for problem in refused.problems]


def _progress(label: str) -> "Progress":
    """A bar on stderr, where somebody sees it."""
    if sys.stderr is None or not sys.stderr.isatty():
        return lambda _: None

    def show(share: float) -> None:
        filled = round(share * BAR)
        end = "\n" if share >= 1.0 else ""
        print(
            f"\r{label} [{'#' * filled}{'.' * (BAR - filled)}] {share:4.0%}".lstrip(" "),
            end=end,
            file=sys.stderr,
        )
        sys.stderr.flush()

    return show

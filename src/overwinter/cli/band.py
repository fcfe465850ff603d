"""`band`: between which temperatures the house is kept."""

from overwinter.cli.ask import facts, print_json
from overwinter.cli.changes import change, print_changes, settings_now, unit_of
from overwinter.cli.options import ANYWAY, JSON, Stop, Verb
from overwinter.cli.places import places
from overwinter.core.units import Unit, parse_temperature_c
from overwinter.show.text import span

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

VERB = Verb(
    "band",
    "[LOW HIGH]",
    about="""Show or change the band: heat goes on at or below LOW, off at or above HIGH.

A bare number is in the settings' unit; 36F and 2.2C say theirs.""",
    examples=("overwinter band", "overwinter band 36F 40F", "overwinter band -1C 3C --anyway"),
    options={"anyway": ANYWAY, "json": JSON},
)


def run(argv: list[str]) -> int:
    """Show the band, or have it changed."""
    given = VERB.parse(argv, most=2)
    where = places(given.options, client=True)
    if not given.words:
        if given.has("anyway"):
            raise VERB.wrong("--anyway goes with LOW and HIGH")
        band = facts(where, "settings")
        if given.has("json"):
            print_json(band.get("band"))
        else:
            print(_line(band))
        return 0
    if len(given.words) == 1:
        raise VERB.wrong(f"LOW and HIGH go together; {given.words[0]} stands alone")
    answer = change(where, _changes(given.words), anyway=given.has("anyway"))
    if given.has("json"):
        print_json(answer)
        return 0
    now = settings_now(where)
    print_changes(answer, unit=unit_of(now))
    if now.get("band"):
        print(_line(now))
    print("saved")
    return 0


def _changes(words: list[str]) -> dict[str, object]:
    changes: dict[str, object] = {}
    problems = []
    for key, word in zip(("band.low", "band.high"), words, strict=True):
        try:
            in_default_c = parse_temperature_c(word, Unit.C)
        except ValueError as error:
            problems.append(f"  {key}: {error}")
            continue
        # A number is in the settings' unit, which only the guard knows; what names its unit goes as it is.
        changes[key] = word if word.strip()[-1] in "FfCc" else in_default_c
    if problems:
        raise Stop(2, "band: that is no temperature", *problems)
    return changes


def _line(settings: "Mapping[str, Any]") -> str:
    band = settings.get("band") or {}
    if not {"low_c", "high_c"} <= band.keys():
        raise Stop(1, "the guard's answer tells no band; is its version another than this one's?")
    return f"band {span(low_c=band['low_c'], high_c=band['high_c'], unit=unit_of(settings))}"

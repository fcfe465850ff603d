"""`forecast`: how long it lasts if heat fails now, what this heater can do, and what tomorrow costs."""

from overwinter.cli.ask import ask, print_json
from overwinter.cli.figures import Figures
from overwinter.cli.options import JSON, Stop, Verb
from overwinter.cli.places import Places, places
from overwinter.core.units import Unit
from overwinter.show.forecast import screen

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any

OUTDOOR_C = (-90.0, 60.0)

VERB = Verb(
    "forecast",
    about="""How many hours are left until alarm_low, until 0 C and until the pipes of site.toml start to
freeze, if heat fails now and the weather stays; down to which outdoor temperature this heater holds the
band; and what tomorrow takes of heat and money. All of it from what the guard has learned of this house:
always a range, and "not known yet" until it is.

It asks the guard, or with --logs learns anew from that logbook and answers as of its last sample. A bare
number is in the settings' unit (with --logs in the site's).""",
    examples=(
        "overwinter forecast",
        "overwinter forecast --outdoor -15C",
        "overwinter forecast --logs ./january --site site.toml --outdoor 5F --json",
    ),
    options={
        "outdoor": ("T", "the outdoor temperature to reckon with, and tomorrow's mean; else the present one"),
        "json": JSON,
    },
)


def run(argv: list[str]) -> int:
    """Ask the guard or a logbook, and print."""
    given = VERB.parse(argv)
    where = places(given.options, client=True)
    is_from_files = "logs" in given.options
    unit = _unit(where, is_from_files=is_from_files)
    outdoor_c = None
    if given.has("outdoor"):
        figures = Figures(unit)
        outdoor_c = figures.temperature_c("--outdoor", given.value("outdoor"), *OUTDOOR_C)
        figures.stop_if_wrong(VERB)
    answer = _learned(where, outdoor_c) if is_from_files else _asked(where, outdoor_c)
    if given.has("json"):
        print_json(answer)
    else:
        print(screen(answer, unit=unit))
    return 0


def _unit(where: Places, *, is_from_files: bool) -> Unit:
    if is_from_files:
        from overwinter.cli.replaying import site_of

        return site_of(where).unit
    answer = ask(where, "settings")
    return Unit.C if isinstance(answer, dict) and answer.get("unit") == "C" else Unit.F


def _asked(where: Places, outdoor_c: float | None) -> "dict[str, Any]":
    answer = ask(where, "forecast", {} if outdoor_c is None else {"outdoor_c": outdoor_c})
    if not isinstance(answer, dict):
        text = "the guard's answer to forecast is not understood; is its version another than this one's?"
        raise Stop(1, text)
    return answer


def _learned(where: Places, outdoor_c: float | None) -> "dict[str, Any]":
    from overwinter.cli.replaying import replayed
    from overwinter.know.answer import forecast_facts

    past = replayed(where)
    return forecast_facts(past.knowledge.forecast(past.settings, outdoor_c))

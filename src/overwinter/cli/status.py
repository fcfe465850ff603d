"""`status`: what is the temperature, is heat on and why, is anything wrong."""

from overwinter.cli.ask import facts, painter, print_json
from overwinter.cli.options import JSON, NO_COLOR, Stop, Verb
from overwinter.cli.places import Places, places
from overwinter.show.forecast import breakfast
from overwinter.show.status import GRADES, UNKNOWN, grade, screen

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any

VERB = Verb(
    "status",
    about="""What is the temperature, is heat on and why, is anything wrong.

With --exit-code the exit code is that of the open monitoring-plugin convention: 0 fine, 1 warning
(any alarm), 2 critical (somebody has to go there), 3 unknown (the guard cannot be reached).""",
    examples=("overwinter status", "overwinter status --json", "overwinter status --exit-code --house cabin"),
    options={"json": JSON, "exit-code": ("", "tell how bad it is by the exit code"), "no-color": NO_COLOR},
)


def run(argv: list[str]) -> int:
    """Print the state of the house."""
    given = VERB.parse(argv)
    where = places(given.options, client=True)
    graded, as_json = given.has("exit-code"), given.has("json")
    try:
        status = facts(where, "status")
    except Stop as stop:
        if not graded:
            raise
        if not as_json:
            print(f"{GRADES[UNKNOWN]}: {stop.lines[0]}")  # monitoring shows what is on stdout
        raise Stop(UNKNOWN, *stop.lines) from None
    if as_json:
        print_json(status)
    else:
        print(screen(status, local=_local, paint=painter(), graded=graded))
        _print_breakfast(where, status)
    return grade(status) if graded else 0


def _print_breakfast(where: Places, status: "dict[str, Any]") -> None:
    """The line to repeat; a guard that has no forecast costs nobody the rest of the screen."""
    try:
        forecast = facts(where, "forecast")
    except Stop:
        return
    print("", breakfast(status, forecast), sep="\n")


def _local(text: str) -> str:
    from overwinter.cli.moments import local_with_distance  # datetime, only when there is a date to show

    return local_with_distance(text)

"""`check`: is this installation sound, with the fix for each fault."""

from collections.abc import Callable
from pathlib import Path

from overwinter.cli.ask import painter, print_json
from overwinter.cli.options import JSON, NO_COLOR, Given, Verb, complain
from overwinter.cli.places import places
from overwinter.guard.files import SITE_COPY
from overwinter.store.keeper import STATE_NAME
from overwinter.survey.finding import Grade
from overwinter.survey.machine import Machine
from overwinter.survey.page import page
from overwinter.survey.report import survey
from overwinter.survey.scene import Installation

MACHINE: Callable[[], Machine] = Machine
"""What is looked at; a test puts a machine of its own here."""

VERB = Verb(
    "check",
    about="""Is this installation sound? Names all that makes it useless or dangerous, each with its fix.

Looks and changes nothing: no line is claimed, and a running guard is only asked. Some things only root may
see; what could not be looked at is told as such, and is never counted as sound. Exit code 0: no fault; 1: any
fault. Hints, and what cannot be told, do not count.""",
    examples=("overwinter check", "overwinter check --verbose", "overwinter check --house cabin --json"),
    options={
        "json": JSON,
        "verbose": ("", "show also what was looked at and is sound"),
        "no-color": NO_COLOR,
    },
)


def run(argv: list[str]) -> int:
    """Look at everything, and say what was found."""
    given = VERB.parse(argv)
    machine = MACHINE()
    report = survey(machine, _installation(given, machine))
    if given.has("json"):
        print_json(report.facts())
    else:
        print(page(report, paint=painter(), with_sound=given.has("verbose")))
    unknown = len(report.of(Grade.UNKNOWN))
    if unknown:
        # A script that goes by the exit code alone shall not take this for sound in silence.
        are = "is" if unknown == 1 else "are"
        complain(f"{unknown} of the things to look at {are} not known, which is not sound")
    return 0 if report.is_clean else 1


def _installation(given: Given, machine: Machine) -> Installation:
    where = places(given.options, client=True)
    house = given.value("house")
    unit = "overwinter" if house is None else f"overwinter@{house}"
    site, state, logs, socket = where.site, where.state, where.logs, where.socket
    is_named = any(where.is_named(what) for what in ("site", "state", "logs", "socket"))
    if not is_named and machine.exists(f"/etc/{unit}/site.toml"):
        # An ordinary user's other clients find the system's house by its socket, which is gone while the
        # guard is stopped: just then this one must not look at folders that nobody uses.
        site, state, logs = f"/etc/{unit}/site.toml", f"/var/lib/{unit}", f"/var/log/{unit}"
        socket = f"/run/{unit}/control.sock"
    state = _whole(state)
    return Installation(
        unit=unit,
        site=_whole(site),
        state=state,
        logs=_whole(logs),
        socket=socket,
        site_copy=f"{state}/{SITE_COPY}",
        state_file=f"{state}/{STATE_NAME}",
        house=house,
    )


def _whole(path: str) -> str:
    return str(Path(path).absolute())

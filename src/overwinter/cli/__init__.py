"""The command `overwinter VERB`: finds the verb's file, runs it, and turns every end into an exit code.

Rule 1: one file a verb, `cli/<verb>.py` with `run(argv) -> int`, imported only when it is called.
Rule 2: nothing heavy is imported on the way: `overwinter status` runs on a small board, often.
Rule 3: data goes to stdout, all else to stderr. No rule about heat lives in this room.
"""

import os
import sys
from importlib import import_module

from overwinter.cli.options import PLACES, Stop, complain, dashed, is_option, nearest

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from collections.abc import Callable

GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "at the house",
        (
            ("status", "what is the temperature, is heat on and why, is anything wrong"),
            ("band", "show or change the band: heat on at its low end, off at its high end"),
            ("mode", "freeze, warm or observe"),
            ("settings", "show every setting"),
            ("set", "change any setting by its key"),
            ("heat", "on or off by hand, never without an end"),
            ("quiet", "acknowledge the present alarms"),
            ("note", "write a remark into the logbook"),
        ),
    ),
    (
        "looking back",
        (
            ("samples", "temperature, humidity and heat from the logbook"),
            ("events", "what happened, from the logbook"),
            ("drop-samples", "forget the samples, not the events"),
            ("chart", "picture of temperature, humidity, heat and the band"),
            ("report", "a night, a season, any span in one page"),
            ("replay", "judge a recorded logbook again"),
        ),
    ),
    (
        "looking ahead",
        (
            ("forecast", "hours until freezing if heat fails now"),
            ("plan", "heat loss, heater, season's cost, band and circuit from site.toml"),
            ("air", "the moist-air calculator"),
            ("pipe", "the pipe-freezing calculator"),
            ("rehearse", "the same control loop against a simulated winter"),
        ),
    ),
    (
        "the installation",
        (
            ("guard", "the daemon itself; what the service runs"),
            ("demo", "a simulated pump house, faster than life; needs no Pi and no root"),
            ("prove", "guided proof test of sensor, relay, heater and fail-safe"),
            ("check", "is this installation sound"),
            ("rounds", "several pump houses in one table"),
            ("notifier", "the process that tells"),
            ("web", "the page for a browser"),
        ),
    ),
)
VERBS = tuple(verb for _, verbs in GROUPS for verb, _ in verbs)
INTERRUPTED = 130  # what shells say of a program ended by Ctrl-C


def main(argv: list[str] | None = None) -> int:
    """The command: arguments in, exit code out (0 done, 1 refused or failed, 2 wrong usage, 3 no guard)."""
    if hasattr(sys.stdout, "reconfigure"):  # a name that the terminal cannot spell must not end the command
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        code = _run(sys.argv[1:] if argv is None else argv)
    except Stop as stop:
        complain(*stop.lines)
        code = stop.code
    except KeyboardInterrupt:
        code = INTERRUPTED
    except BrokenPipeError:
        code = 0  # the reader has seen enough, as with `| head`
    except OSError as error:
        complain(f"{error.strerror or error}" + (f": {error.filename}" if error.filename else ""))
        code = 1
    return code if _is_stdout_written() else 1


def overview() -> str:
    """What is printed without any verb."""
    lines = [
        "overwinter keeps an unoccupied pump house just above freezing.",
        "",
        "examples:",
        "  overwinter status                    how is it there",
        "  overwinter band 36F 40F              heat on at 36 F, off at 40 F",
        "  overwinter heat on --for 20m         by hand, with an end",
        "  overwinter events --since 7d         what happened this week",
        "  overwinter help band                 more about one verb",
    ]
    for title, verbs in GROUPS:
        lines += ["", f"{title}:"]
        for verb, text in verbs:
            lines.append(f"  {verb:<13} {text}")
    names = ", ".join(f"{dashed(name)} {takes}" for name, (takes, _) in PLACES.items())
    lines += ["", f"every verb takes {names}, and --help", "overwinter --version"]
    return "\n".join(lines)


def _run(argv: list[str]) -> int:
    before, rest = _split(argv)
    if not rest or rest[0] in {"-h", "--help"} or rest == ["help"]:
        print(overview())
        return 0
    if rest[0] == "--version":
        from overwinter import __version__

        print(f"overwinter {__version__}")
        return 0
    if rest[0] == "help":
        rest = [rest[1], "--help"]
    verb = rest[0]
    if verb not in VERBS:
        raise _unknown(verb)
    run: Callable[[list[str]], int] = import_module(f"overwinter.cli.{verb.replace('-', '_')}").run
    return run(before + rest[1:])


def _split(argv: list[str]) -> tuple[list[str], list[str]]:
    """The places named before the verb, and the rest."""
    at = 0
    while at < len(argv) and is_option(argv[at]):
        name, equals, _ = argv[at].removeprefix("--").partition("=")
        if name not in PLACES:
            break
        at += 1 if equals else 2
    if at > len(argv):
        raise Stop(2, f"{argv[-1]} needs a value", "all verbs: overwinter help")
    return argv[:at], argv[at:]


def _unknown(verb: str) -> Stop:
    if is_option(verb):
        return Stop(2, f"there is no option {verb} before the verb", "all verbs: overwinter help")
    near = nearest(verb.lower(), VERBS)
    hint = f"; did you mean {near}?" if near else ""
    return Stop(2, f"there is no verb {verb!r}{hint}", "all verbs: overwinter help")


def _is_stdout_written() -> bool:
    """Write what is buffered; a full disk behind `> file` is told, a reader that left is not."""
    if sys.stdout is None:
        return True
    try:
        sys.stdout.flush()
    except OSError as error:
        # What is still buffered would be tried, and complained about, once more at the interpreter's end.
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
        if not isinstance(error, BrokenPipeError):
            complain(f"the answer could not be written to stdout: {error.strerror}")
            return False
    return True

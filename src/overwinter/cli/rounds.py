"""`rounds`: several pump houses in one table over ssh, without a broker.

Each house is asked by an ssh of its own, all at the same time, and none is waited for longer than the limit:
one that hangs must not hide the others.
"""

import json
from pathlib import Path

from overwinter.cli.ask import painter, print_json
from overwinter.cli.options import JSON, NO_COLOR, Stop, Verb
from overwinter.notify.program import run as run_program
from overwinter.show.rounds import not_reached, reached, summary, table, worst_first
from overwinter.show.status import GRADES

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any

HOSTS_AT_MOST = 200
AT_ONCE = 32
"""So many at the same time: each is a process, and the asking machine may be a Pi too."""

TIMEOUT_S = 8.0
TIMEOUT_RANGE_S = (1.0, 120.0)

ANSWER_BYTES = 1_048_576
"""A status is some kilobytes; whatever says more than this is no guard."""

VERB = Verb(
    "rounds",
    "[HOST[/HOUSE] ...]",
    about="""Several pump houses in one table: each host's `overwinter status` over ssh, all at the same time.

Whoever cannot be reached stands on top, then the worst, then the coldest. HOST is whatever ssh takes: a
name, user@name, or an entry of ~/.ssh/config; HOST/HOUSE asks the second house on that board. Sign-in
must work without a question, as with a key: nobody is there to type a password.

The exit code is 0 when every house answered, 1 when at least one did not; with --exit-code it is the
worst grade, as `status --exit-code` has it.""",
    examples=(
        "overwinter rounds orchard mill pi@lakeside",
        "overwinter rounds --hosts ./houses.txt --json",
        "overwinter rounds --ssh 'ssh -F ./ssh_config' farm farm/barn",
    ),
    options={
        "hosts": ("FILE", "one HOST[/HOUSE] a line; # begins a remark"),
        "timeout": ("S", f"for one house's answer, {TIMEOUT_S:g} s if not said"),
        "ssh": ("COMMAND", "the command that reaches a host, `ssh` if not said"),
        "unit": ("F|C", "one unit for all; else each house's own"),
        "exit-code": ("", "tell how bad it is by the exit code"),
        "json": JSON,
        "no-color": NO_COLOR,
    },
)


def run(argv: list[str]) -> int:
    """Ask every house and print what they say."""
    given = VERB.parse(argv, most=None)
    hosts = _hosts(given.words, given.value("hosts"))
    timeout_s = _timeout_s(given.value("timeout"))
    ssh = _ssh(given.value("ssh"), timeout_s)
    unit = given.value("unit")
    if unit not in {None, "F", "C"}:
        raise VERB.wrong(f"--unit {unit}: F or C")
    houses = worst_first(_ask_all(hosts, ssh, timeout_s))
    if given.has("json"):
        print_json({"houses": houses})
    else:
        print(table(houses, unit=unit, paint=painter()))
        print(f"\n{summary(houses)}")
    if given.has("exit-code"):
        return max(GRADES.index(house["grade"]) for house in houses)
    return 0 if all(house["reached"] for house in houses) else 1


def _hosts(words: list[str], file: str | None) -> list[str]:
    hosts = list(words)
    if file is not None:
        try:
            lines = Path(file).read_text("utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            why = error.strerror if isinstance(error, OSError) else "it is no text"
            raise Stop(1, f"--hosts {file}: {why}") from None
        hosts += [host for line in lines if (host := line.partition("#")[0].strip())]
    hosts = list(dict.fromkeys(hosts))
    if not hosts:
        raise VERB.wrong("no host is named: give some, or --hosts FILE")
    if len(hosts) > HOSTS_AT_MOST:
        raise Stop(1, f"{len(hosts)} hosts; allowed: {HOSTS_AT_MOST} at most in one round")
    bad = [host for host in hosts if not _is_host(host)]
    if bad:
        allowed = "allowed: HOST, USER@HOST or HOST/HOUSE, without spaces, not beginning with -"
        raise Stop(2, *(f"{host!r} is no host" for host in bad), allowed)
    return hosts


def _is_host(text: str) -> bool:
    host, slash, house = text.partition("/")
    # A leading dash would be an option to ssh; the house is a word of a command line over there.
    return (
        host.isprintable()
        and bool(host)
        and not host.startswith("-")
        and not any(letter.isspace() for letter in host)
        and (
            not slash
            or (house.isascii() and house.replace("-", "a").replace("_", "a").replace(".", "a").isalnum())
        )
    )


def _timeout_s(text: str | None) -> float:
    least_s, most_s = TIMEOUT_RANGE_S
    try:
        timeout_s = TIMEOUT_S if text is None else float(text)
    except ValueError:
        timeout_s = 0.0
    if not least_s <= timeout_s <= most_s:
        raise VERB.wrong(f"--timeout {text}: {least_s:g} to {most_s:g} seconds")
    return timeout_s


def _ssh(command: str | None, timeout_s: float) -> list[str]:
    import shlex

    words = shlex.split(command) if command else ["ssh"]
    if not words:
        raise VERB.wrong("--ssh is empty")
    # BatchMode: a question for a password would wait for nobody.
    return [*words, "-o", "BatchMode=yes", "-o", f"ConnectTimeout={max(int(timeout_s) - 1, 1)}"]


def _ask_all(hosts: list[str], ssh: list[str], timeout_s: float) -> "list[dict[str, Any]]":
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(min(AT_ONCE, len(hosts))) as crew:
        return list(crew.map(lambda host: _ask(host, ssh, timeout_s), hosts))


def _ask(text: str, ssh: list[str], timeout_s: float) -> "dict[str, Any]":
    host, _, house = text.partition("/")
    command = "overwinter status --json" + (f" --house {house}" if house else "")
    ended = run_program([*ssh, "--", host, command], timeout_s=timeout_s, keep_bytes=ANSWER_BYTES)
    if ended.error is not None:
        return not_reached(text, ended.error, ended.took_s)
    try:
        status = json.loads(ended.out)
    except ValueError:
        status = None
    if not isinstance(status, dict) or "heat" not in status:
        return not_reached(text, "its answer is not a guard's status", ended.took_s)
    return reached(text, status, ended.took_s)

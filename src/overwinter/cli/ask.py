"""Asking the guard, and saying its answer or its refusal: what every client verb shares."""

import json
import os
import sys
from collections.abc import Callable, Mapping

from overwinter.cli.options import Stop, complain
from overwinter.cli.places import Places

TYPE_CHECKING = False  # the same to mypy, without importing typing at every start
if TYPE_CHECKING:
    from typing import Any

NOT_PERMITTED = -32001
_COLOURS = {1: "\x1b[33m", 2: "\x1b[1;31m"}  # by the grade of show.status: warning yellow, critical red
_PLAIN = "\x1b[0m"


def ask(
    where: Places, method: str, params: Mapping[str, object] | None = None, *, timeout_s: float = 5.0
) -> object:
    """The guard's answer.

    Raises
    ------
    Stop
        Code 3 when nobody answers, 1 when the guard refused; its problems come as lines.
    """
    from overwinter.wire.client import RpcError, Unreachable, call

    try:
        return call(where.socket, method, None if params is None else dict(params), timeout_s=timeout_s)
    except Unreachable as error:
        raise Stop(3, f"the guard cannot be reached: {error}") from None
    except RpcError as error:
        raise Stop(1, *refusal(error.code, error.message, error.problems)) from None


def facts(where: Places, method: str, *, timeout_s: float = 5.0) -> "dict[str, Any]":
    """The guard's answer to a question whose answer is an object."""
    answer = ask(where, method, timeout_s=timeout_s)
    if not isinstance(answer, dict):
        raise Stop(
            1, f"the guard's answer to {method} is not understood; is its version another than this one's?"
        )
    return answer


def refusal(code: int, message: str, problems: "list[dict[str, Any]]") -> list[str]:
    """A refusal as lines: what, each problem with what is allowed, and who may where that is the point."""
    from overwinter.show.text import clean

    # The message often repeats the problems, which read better one a line.
    told = "; ".join(str(problem.get("text")) for problem in problems)
    lines = [clean(message.removesuffix(told).rstrip(": ") or "refused")]
    for problem in problems:
        line = str(problem.get("text") or f"{problem.get('key')} = {problem.get('value')}")
        allowed = str(problem.get("allowed") or "")
        lines.append(
            clean(f"  {line}" if not allowed or allowed in line else f"  {line}; allowed: {allowed}")
        )
    if code == NOT_PERMITTED and not problems:  # which say it themselves
        lines.append("changes are for root, the guard's own user and members of the group overwinter")
    return lines


def print_json(answer: object) -> None:
    """An answer as it came, for programs."""
    print(json.dumps(answer, indent=2))


def print_caution() -> None:
    """What everyone must know who has just switched heat off."""
    from overwinter.show.text import NOT_ISOLATED

    complain(NOT_ISOLATED)


def painter() -> Callable[[str, int], str]:
    """Colours a text by its grade where stdout is a terminal that wants colour; else leaves it alone."""
    wanted = (
        sys.stdout is not None
        and sys.stdout.isatty()
        and not os.environ.get("NO_COLOR")
        and (os.environ.get("TERM") or "dumb") != "dumb"
    )

    def paint(text: str, grade: int) -> str:
        colour = _COLOURS.get(grade)
        return f"{colour}{text}{_PLAIN}" if wanted and colour else text

    return paint

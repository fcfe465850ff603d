"""What can be asked of the guard, and by whom: who may do it is which table a method stands in.

Every function takes the port, the params as they came and the caller; it refuses bad params, all at once,
before it touches the port. What a value *means* (which settings exist, which band is safe) is the port's to
judge. Nothing here waits: the port answers at once with a snapshot, or with a future.
"""

import math
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, Protocol, TypeAlias

from overwinter.core.away import AWAY_AT_MOST_S
from overwinter.core.evidence import STEPS_AT_MOST, is_record
from overwinter.core.nouns import Caller, Problem, Refused
from overwinter.wire.rpc import INVALID_PARAMS, Fault, Params, shown

MAX_HAND_S = 43_200.0
"""Twelve hours: nobody forgets a switch for longer than a night."""
MAX_NOTE = 1_000
"""Characters of a remark; the logbook is bounded and a remark is not a letter."""
MAX_CHANGES = 100
"""Settings in one change; several times those there are."""
MAX_KEY = 100
"""Characters of a setting's dotted key."""
MAX_INSTANT = 64
"""Characters of a point in time or a span; RFC 3339 needs 35."""
MAX_RECORDS = 10_000
"""Logbook lines in one answer: a week of samples. The port never has to hold more in memory."""


OUTDOOR_C = (-90.0, 60.0)
"""Colder and warmer than it has ever been anywhere on Earth."""


class Port(Protocol):
    """What the guard offers to the wire. Called from the server's thread; nothing here may block it.

    `status` and `settings` are snapshots. A Future is settled exactly once, from any thread, also when the
    guard gives up; it may raise Refused or NotStored. The server never cancels one.
    """

    def status(self) -> dict[str, Any]: ...

    def settings(self) -> dict[str, Any]: ...

    def records(
        self, *, events: bool, since: str | None, until: str | None, limit: int | None
    ) -> Future[list[dict[str, Any]]]:
        """Logbook lines, oldest first; of more than `limit` the newest."""

    def forecast(self, outdoor_c: float | None) -> Future[dict[str, Any]]:
        """What comes if heat fails now, at this outdoor temperature or the present one."""

    def set(
        self, changes: dict[str, Any], *, anyway: bool, until: str | None, caller: Caller
    ) -> Future[dict[str, Any]]: ...

    def hand(self, *, heat: bool, for_s: float, caller: Caller) -> Future[dict[str, Any]]: ...

    def release(self, caller: Caller) -> Future[dict[str, Any]]: ...

    def quiet(self, caller: Caller) -> Future[dict[str, Any]]: ...

    def note(self, text: str, caller: Caller) -> Future[dict[str, Any]]: ...

    def drop_samples(self, caller: Caller) -> Future[dict[str, Any]]: ...

    def take_away(self, *, for_s: float, caller: Caller) -> Future[dict[str, Any]]:
        """Put the control sensors aside for a proof test; it ends by itself."""

    def give_back(self, caller: Caller) -> Future[dict[str, Any]]: ...

    def prove(self, verdict: str, steps: list[dict[str, Any]], caller: Caller) -> Future[dict[str, Any]]:
        """Keep what a proof test came to; the answer is what was kept."""

    def refused(self, method: str, caller: Caller, text: str) -> None:
        """Someone asked for what he may not; called for every such request."""

    def subscribe(self, callback: Callable[[bytes], None]) -> Callable[[], None]:
        """Call back with every new logbook line, from any thread; returns how to end that."""


@dataclass(frozen=True, slots=True)
class _Param:
    """One parameter: its name, what is allowed, in words and as a test, and whether it may be left out."""

    name: str
    allowed: str
    is_allowed: Callable[[Any], bool]
    default: object = None
    is_optional: bool = False


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_flag(value: object) -> bool:
    return isinstance(value, bool)


def _is_instant(value: object) -> bool:
    return isinstance(value, str) and 1 <= len(value.strip()) <= MAX_INSTANT and _is_plain(value)


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MAX_RECORDS


def _is_note(value: object) -> bool:
    return isinstance(value, str) and 1 <= len(value.strip()) <= MAX_NOTE and _is_plain(value.strip())


def _is_plain(text: str) -> bool:
    """No control characters (C0, DEL, C1) and no line separators: nothing that could steer a terminal."""
    return not any(
        ord(letter) < 0x20 or 0x7F <= ord(letter) <= 0x9F or letter in "\u2028\u2029" for letter in text
    )


def _is_changes(value: object) -> bool:
    return isinstance(value, dict) and 1 <= len(value) <= MAX_CHANGES


def _is_result(value: object) -> bool:
    if not isinstance(value, dict) or value.keys() != {"verdict", "steps"}:
        return False
    steps = value["steps"]
    return is_record(value["verdict"], steps) and all(
        _is_plain(text) for step in steps for text in step.values() if text is not None
    )


_HEAT = _Param("heat", "true or false", _is_flag)
_FOR_S = _Param("for_s", f"a number of seconds, 1 to {MAX_HAND_S:.0f}", _is_number)
_TEXT = _Param("text", f"1 to {MAX_NOTE} characters without control characters", _is_note)
_CHANGES = _Param("changes", f"an object of 1 to {MAX_CHANGES} settings and their new values", _is_changes)
_ANYWAY = _Param("anyway", "true or false", _is_flag, default=False, is_optional=True)
_SINCE = _Param("since", "a time or a span, as text such as 24h", _is_instant, is_optional=True)
_UNTIL = _Param("until", "a time or a span, as text such as 24h", _is_instant, is_optional=True)
_PROOF_STEPS = ("sensors-away", "sensors-back", "record")
_STEP = _Param("step", " or ".join(_PROOF_STEPS), lambda value: value in _PROOF_STEPS)
_AWAY_S = _Param("for_s", f"a number of seconds, at most {AWAY_AT_MOST_S:.0f}", _is_number)
_RESULT = _Param(
    "result",
    f"the worst verdict of 1 to {STEPS_AT_MOST} steps, and these, each with step, verdict, by and text",
    _is_result,
)
_OUTDOOR_C = _Param(
    "outdoor_c",
    f"a temperature in °C, {OUTDOOR_C[0]:g} to {OUTDOOR_C[1]:g}",
    lambda value: _is_number(value) and OUTDOOR_C[0] <= value <= OUTDOOR_C[1],
    is_optional=True,
)
_LIMIT = _Param("limit", f"a whole number, 1 to {MAX_RECORDS}", _is_count, is_optional=True)


def _taken(params: Params, *wanted: _Param) -> dict[str, Any]:
    """The params by name, defaults filled in; raises Fault with all that is wrong with them."""
    names = [param.name for param in wanted]
    problems: list[Problem] = []
    given: dict[str, Any]
    if isinstance(params, list):
        given = dict(zip(names, params, strict=False))
        if len(params) > len(names):
            allowed = f"at most {len(names)}: {', '.join(names)}" if names else "none"
            text = f"{len(params)} params: {allowed}"
            problems.append(Problem("params", len(params), allowed, text))
    else:
        given = params or {}
        allowed = ", ".join(names) if names else "no params"
        problems += [
            Problem(name, given[name], allowed, f"{shown(name)}: unknown; allowed: {allowed}")
            for name in given
            if name not in names
        ]
    taken: dict[str, Any] = {}
    for param in wanted:
        value = given.get(param.name)
        taken[param.name] = param.default if value is None else value
        if value is None and param.is_optional:
            continue
        if not param.is_allowed(value):
            was = "missing" if param.name not in given else f"{shown(value)!r} is not allowed"
            text = f"{param.name}: {was}; must be {param.allowed}"
            problems.append(Problem(param.name, value, param.allowed, text))
    if problems:
        raise invalid_params(problems)
    return taken


def invalid_params(problems: list[Problem]) -> Fault:
    """The answer to params that cannot be understood."""
    texts = "; ".join(problem.text for problem in problems)
    return Fault(INVALID_PARAMS, f"Invalid params: {texts}", problems)


def _status(port: Port, params: Params, _caller: Caller) -> object:
    _taken(params)
    return port.status()


def _settings(port: Port, params: Params, _caller: Caller) -> object:
    _taken(params)
    return port.settings()


def _samples(port: Port, params: Params, _caller: Caller) -> object:
    return _records(port, params, events=False)


def _events(port: Port, params: Params, _caller: Caller) -> object:
    return _records(port, params, events=True)


def _records(port: Port, params: Params, *, events: bool) -> object:
    taken = _taken(params, _SINCE, _UNTIL, _LIMIT)
    # One more than may be answered tells "all there is" from "too many", without reading a whole logbook.
    limit = MAX_RECORDS + 1 if taken["limit"] is None else taken["limit"]
    return port.records(events=events, since=taken["since"], until=taken["until"], limit=limit)


def _watch(_port: Port, params: Params, _caller: Caller) -> object:
    """The server itself passes the lines on; all there is to say here is yes."""
    _taken(params)
    return {}


def _set(port: Port, params: Params, caller: Caller) -> object:
    taken = _taken(params, _CHANGES, _ANYWAY, _UNTIL)
    allowed = "a number, or text such as 36F"
    problems = [
        Problem(key, value, allowed, f"{shown(key)}: {shown(value)!r} is not allowed; must be {allowed}")
        for key, value in taken["changes"].items()
        if not (1 <= len(key) <= MAX_KEY and (isinstance(value, str) or _is_number(value)))
    ]
    if problems:
        raise invalid_params(problems)
    return port.set(taken["changes"], anyway=taken["anyway"], until=taken["until"], caller=caller)


def _hand(port: Port, params: Params, caller: Caller) -> object:
    taken = _taken(params, _HEAT, _FOR_S)
    for_s = float(taken["for_s"])
    if not 1.0 <= for_s <= MAX_HAND_S:
        allowed = f"1 to {MAX_HAND_S:.0f} seconds (12 h): by hand is never without an end"
        text = f"for_s: {for_s:g} is not allowed; must be {allowed}"
        raise Refused([Problem("for_s", for_s, allowed, text)])
    return port.hand(heat=taken["heat"], for_s=for_s, caller=caller)


def _release(port: Port, params: Params, caller: Caller) -> object:
    _taken(params)
    return port.release(caller)


def _quiet(port: Port, params: Params, caller: Caller) -> object:
    _taken(params)
    return port.quiet(caller)


def _note(port: Port, params: Params, caller: Caller) -> object:
    return port.note(_taken(params, _TEXT)["text"].strip(), caller)


def _drop_samples(port: Port, params: Params, caller: Caller) -> object:
    _taken(params)
    return port.drop_samples(caller)


def _prove(port: Port, params: Params, caller: Caller) -> object:
    """A proof test's three acts; each takes its own params."""
    step = params.get("step") if isinstance(params, dict) else params[0] if params else None
    if step == "sensors-away":
        return port.take_away(for_s=float(_taken(params, _STEP, _AWAY_S)["for_s"]), caller=caller)
    if step == "record":
        result = _taken(params, _STEP, _RESULT)["result"]
        return port.prove(result["verdict"], result["steps"], caller)
    _taken(params, _STEP)
    return port.give_back(caller)


def _forecast(port: Port, params: Params, _caller: Caller) -> object:
    outdoor_c = _taken(params, _OUTDOOR_C)["outdoor_c"]
    return port.forecast(None if outdoor_c is None else float(outdoor_c))


Method: TypeAlias = Callable[[Port, Params, Caller], object]

READS: Mapping[str, Method] = {
    "status": _status,
    "settings": _settings,
    "samples": _samples,
    "events": _events,
    "watch": _watch,
    "forecast": _forecast,
}
"""Any local user may."""

CHANGES: Mapping[str, Method] = {
    "set": _set,
    "hand": _hand,
    "release": _release,
    "quiet": _quiet,
    "note": _note,
    "drop_samples": _drop_samples,
    "prove": _prove,
}
"""Root, the guard's own user and the group may."""

WAITS = frozenset({"samples", "events", "forecast"})
"""Reads that take the port a while, as every change may; so many at once, and no more."""

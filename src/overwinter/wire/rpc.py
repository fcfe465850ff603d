"""JSON-RPC 2.0 without a socket: one line of bytes to requests, results and errors back to bytes.

Nothing in here knows a method, a caller or the guard. `parse` never raises, whatever the line holds: what
cannot be a request comes back as the error to answer with. JSON is read strictly (RFC 8259 and, for
repeated names and lone surrogates, RFC 7493): a line that two readers could understand differently is no
command. A reply never holds a line break, so that one line stays one message.
"""

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, TypeAlias

from overwinter.core.nouns import OverwinterError, Problem

PARSE_ERROR = -32700
INVALID_REQUEST = -32600
METHOD_NOT_FOUND = -32601
INVALID_PARAMS = -32602
INTERNAL_ERROR = -32603
NOT_PERMITTED = -32001
NOT_STORED = -32002
REFUSED = -32003

MAX_LINE_BYTES = 65_536
"""A line without its break. The longest honest one, every setting at once, is under 2 KiB."""
MAX_BATCH = 50
"""Requests in one batch; more than anyone types, and it keeps one line from being an hour's work."""
MAX_PROBLEMS = 50
"""Problems in one error: twice the settings there are. A line can hold thousands of unknown names."""
MAX_TEXT = 2_000
"""Characters of one text in an error, so that an answer never grows with what was sent."""
MAX_SHOWN = 200
"""Characters of a refused value or key that are shown back."""
MAX_DIGITS = 300
"""A longer whole number fits no float and is slow to read: it counts as infinite, which no method takes."""

Id: TypeAlias = str | int | float | None
Params: TypeAlias = dict[str, Any] | list[Any] | None


class Fault(OverwinterError):
    """What a request is answered with instead of a result."""

    def __init__(self, code: int, message: str, problems: Iterable[Problem] = ()) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.problems = tuple(problems)


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """One request that has the right shape; whether its method exists is not known here."""

    method: str
    params: Params
    id: Id
    is_notification: bool  # without an `id` nobody waits; an `id` of null is still a request


@dataclass(frozen=True, slots=True)
class Unusable:
    """What stood where a request should be, with the error to answer."""

    id: Id
    fault: Fault


@dataclass(frozen=True, slots=True)
class Message:
    """What one line held, in order."""

    parts: tuple[Request | Unusable, ...]
    is_batch: bool


def parse(line: bytes) -> Message:
    """One line as requests, or as the errors to answer with. Never raises."""
    if len(line) > MAX_LINE_BYTES:
        return _unusable_line(too_long())
    try:
        value = _read(line)
    except RecursionError:
        return _unusable_line(_parse_error("nested too deeply"))
    except ValueError as error:  # UnicodeDecodeError and JSONDecodeError are this too
        return _unusable_line(_parse_error(str(error)))
    if not isinstance(value, list):
        return Message((_request(value),), is_batch=False)
    if not 1 <= len(value) <= MAX_BATCH:
        text = f"a batch of {len(value)}: must hold 1 to {MAX_BATCH} requests"
        problem = Problem("batch", len(value), f"1 to {MAX_BATCH} requests", text)
        return _unusable_line(Fault(INVALID_REQUEST, "Invalid Request", [problem]))
    return Message(tuple(_request(item) for item in value), is_batch=True)


def _unusable_line(fault: Fault) -> Message:
    return Message((Unusable(None, fault),), is_batch=False)


def _parse_error(why: str) -> Fault:
    text = f"the line is not readable: {why}"
    return Fault(PARSE_ERROR, "Parse error", [Problem("line", None, "one JSON text, UTF-8", text)])


def too_long() -> Fault:
    """The answer to a line that nobody will read to its end."""
    allowed = f"at most {MAX_LINE_BYTES} bytes a line"
    text = f"the line is too long: {allowed}"
    return Fault(PARSE_ERROR, "Parse error", [Problem("line", None, allowed, text)])


def _read(line: bytes) -> object:
    value = json.loads(
        line.decode("utf-8"),
        object_pairs_hook=_object,
        parse_int=_whole_number,
        parse_constant=_no_constant,
    )
    if b"\\ud" in line.lower():
        # Only an escape can smuggle in half a character, which no file and no screen takes.
        try:
            json.dumps(value, ensure_ascii=False).encode()
        except UnicodeEncodeError:
            raise ValueError("half of a surrogate pair stands alone") from None
    return value


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    names = dict(pairs)
    if len(names) < len(pairs):
        seen: set[str] = set()
        for name, _ in pairs:
            if name in seen:
                raise ValueError(f"{_clip(name, MAX_SHOWN)!r} stands twice in one object")
            seen.add(name)
    return names


def _whole_number(digits: str) -> int | float:
    if len(digits) <= MAX_DIGITS:
        return int(digits)
    return -math.inf if digits.startswith("-") else math.inf


def _no_constant(word: str) -> object:
    raise ValueError(f"{word} is not JSON")


def _request(value: object) -> Request | Unusable:
    if not isinstance(value, dict):
        return _invalid(None, Problem("request", value, "an object", "a request must be an object"))
    request_id = value.get("id")
    if not _is_id(request_id):
        text = "id: must be a string, a finite number or null"
        return _invalid(None, Problem("id", request_id, "a string, a finite number or null", text))
    if value.get("jsonrpc") != "2.0":
        text = 'jsonrpc: must be the string "2.0"'
        return _invalid(request_id, Problem("jsonrpc", value.get("jsonrpc"), '"2.0"', text))
    method = value.get("method")
    if not isinstance(method, str):
        text = "method: must be a string"
        return _invalid(request_id, Problem("method", method, "a string", text))
    params = value.get("params")
    if "params" in value and not isinstance(params, dict | list):
        text = "params: must be an object or a list, or be left out"
        return _invalid(request_id, Problem("params", params, "an object or a list", text))
    return Request(method=method, params=params, id=request_id, is_notification="id" not in value)


def _is_id(value: object) -> bool:
    if isinstance(value, bool):
        return False
    if isinstance(value, float):
        return math.isfinite(value)
    return value is None or isinstance(value, str | int)


def _invalid(request_id: Id, problem: Problem) -> Unusable:
    return Unusable(request_id, Fault(INVALID_REQUEST, "Invalid Request", [problem]))


def shown(value: object) -> object:
    """A refused value as an error shows it: what is long or nested only by its kind, never in full."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _clip(value, MAX_SHOWN)
    if isinstance(value, int):
        return int(value) if abs(value) < 10**MAX_DIGITS else "a number too large"
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else str(float(value))
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list | tuple):
        return "a list"
    return _clip(str(value), MAX_SHOWN)


def _clip(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 1] + "…"


def encode(value: object) -> bytes:
    """A value as JSON on one line.

    Raises
    ------
    ValueError, TypeError, RecursionError
        NaN, infinities, what JSON has no form for, and what is nested without end.
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    # Half a surrogate pair (an odd file name) stands inside a JSON string, where the \udc80 that
    # backslashreplace writes for it is JSON's own escape.
    return text.encode("utf-8", "backslashreplace")


def encode_result(request_id: Id, result_json: bytes) -> bytes:
    """The answer to a request; the result is encoded already, since a long one is encoded in portions."""
    return b'{"jsonrpc":"2.0","result":' + result_json + b',"id":' + encode(request_id) + b"}"


def encode_error(request_id: Id, fault: Fault) -> bytes:
    """The answer to a request that was not done, with what can be mended in `data.problems`."""
    problems = [
        {
            "key": _clip(problem.key, MAX_SHOWN),
            "value": shown(problem.value),
            "allowed": _clip(problem.allowed, MAX_TEXT),
            "text": _clip(problem.text, MAX_TEXT),
        }
        for problem in fault.problems[:MAX_PROBLEMS]
    ]
    unshown = len(fault.problems) - len(problems)
    if unshown > 0:
        problems.append({"key": "", "value": unshown, "allowed": "", "text": f"and {unshown} problems more"})
    error = {"code": fault.code, "message": _clip(fault.message, MAX_TEXT), "data": {"problems": problems}}
    return encode({"jsonrpc": "2.0", "error": error, "id": request_id})


def encode_batch(replies: list[bytes]) -> bytes:
    """The answers to a batch; never of an empty list, to which the answer is silence."""
    assert replies
    return b"[" + b",".join(replies) + b"]"


def encode_event(logbook_line: bytes) -> bytes:
    """A logbook line, which is JSON already, as the notification `event`."""
    line = logbook_line.strip()
    assert line.startswith(b"{")
    assert b"\n" not in line
    return b'{"jsonrpc":"2.0","method":"event","params":' + line + b"}"

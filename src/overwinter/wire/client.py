"""Asking the guard, for the commands: one connection, one request, one answer, and never a wait without end.

Every `overwinter status` pays for what this file imports, so it imports next to nothing: the nouns, asyncio
and typing stay away.
"""

import json
import os
import socket
import time
from collections.abc import Iterator

TIMEOUT_S = 5.0
"""A client gives up after this long, connecting included."""
MAX_REPLY_BYTES = 16 * 1024 * 1024
"""Four times what the guard ever answers: something else sits at the socket."""
CHUNK_BYTES = 65_536
RETRY_S = 0.02
"""Between two tries to connect while the guard's queue is full."""

SERVICE = "overwinter"


class Unreachable(ConnectionError):
    """Nobody answers at the guard's socket."""

    exit_code = 3


class RpcError(Exception):
    """The guard answered, and said no."""

    exit_code = 1

    def __init__(self, code: int, message: str, problems: list[dict[str, object]]) -> None:
        self.code = code
        self.message = message
        self.problems = problems
        details = [text for text in (str(problem.get("text")) for problem in problems) if text not in message]
        super().__init__(": ".join([message, "; ".join(details)] if details else [message]))


def call(
    path: str,
    method: str,
    params: dict[str, object] | None = None,
    *,
    timeout_s: float = TIMEOUT_S,
) -> object:
    """What the guard answers.

    Raises
    ------
    Unreachable
        Nobody answered in time. Whether a change was made is then not known.
    RpcError
        The guard refused.
    """
    line = _Line(path, timeout_s)
    try:
        return line.ask(method, params)
    finally:
        line.close()


def watch(path: str, *, timeout_s: float = TIMEOUT_S) -> "Watch":
    """Every new logbook line from now on; `timeout_s` bounds only the beginning."""
    line = _Line(path, timeout_s)
    try:
        line.ask("watch", None)
    except BaseException:
        line.close()
        raise
    return Watch(line)


class Watch(Iterator[dict[str, object]]):
    """Logbook lines as they come; raises Unreachable when the guard goes, or drops a reader too slow."""

    def __init__(self, line: "_Line") -> None:
        self._line = line

    def __next__(self) -> dict[str, object]:
        while True:
            message = self._line.receive(deadline_s=None)
            params = message.get("params")
            if message.get("method") == "event" and isinstance(params, dict):
                return params

    def close(self) -> None:
        """Stop watching."""
        self._line.close()


class _Line:
    """One connection; every wait ends at a deadline, however slowly the other side drips."""

    def __init__(self, path: str, timeout_s: float) -> None:
        self.path = path
        self.timeout_s = timeout_s
        self.deadline_s = time.monotonic() + timeout_s
        self.received = bytearray()
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._connect()
        except BaseException:
            self.close()
            raise

    def _connect(self) -> None:
        while True:
            self._arm(self.deadline_s)
            try:
                self.socket.connect(self.path)
            except BlockingIOError:
                # A full queue of a unix socket does not make connect wait, whatever its timeout.
                time.sleep(RETRY_S)
            except TimeoutError:
                raise self._silent() from None
            except FileNotFoundError:
                raise Unreachable(f"there is no socket {self.path}; {self._hint()}") from None
            except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
                reason = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else error
                raise Unreachable(f"no guard at {self.path}: {reason}; {self._hint()}") from None
            else:
                return

    def ask(self, method: str, params: dict[str, object] | None) -> object:
        request: dict[str, object] = {"jsonrpc": "2.0", "method": method, "id": 1}
        if params is not None:
            request["params"] = params
        self._send(json.dumps(request).encode() + b"\n")
        while True:
            answer = self.receive(deadline_s=self.deadline_s)
            if "method" not in answer:
                break
        error = answer.get("error")
        if isinstance(error, dict):
            data = error.get("data")
            problems = data.get("problems") if isinstance(data, dict) else None
            code, message = error.get("code"), str(error.get("message"))
            raise RpcError(
                code if isinstance(code, int) else 0,
                message,
                [problem for problem in problems if isinstance(problem, dict)]
                if isinstance(problems, list)
                else [],
            )
        if answer.get("id") != 1 or "result" not in answer:
            raise self._stranger()
        return answer["result"]

    def _send(self, data: bytes) -> None:
        self._arm(self.deadline_s)
        try:
            self.socket.sendall(data)
        except TimeoutError:
            raise self._silent() from None
        except OSError:
            pass  # a guard that closed first has said why: its line is still there to be read

    def receive(self, *, deadline_s: float | None) -> dict[str, object]:
        """The next line; without a deadline it may take for ever."""
        searched = 0
        while (end := self.received.find(b"\n", searched)) < 0:
            searched = len(self.received)
            if searched > MAX_REPLY_BYTES:
                raise self._stranger()
            self._arm(deadline_s)
            try:
                chunk = self.socket.recv(CHUNK_BYTES)
            except TimeoutError:
                raise self._silent() from None
            except OSError as error:
                text = f"the guard at {self.path} is gone: {error.strerror}; {self._hint()}"
                raise Unreachable(text) from None
            if not chunk:
                raise Unreachable(f"the guard at {self.path} closed the connection; {self._hint()}")
            self.received += chunk
        line = bytes(self.received[:end])
        del self.received[: end + 1]
        try:
            message = json.loads(line)
        except (ValueError, RecursionError):
            raise self._stranger() from None
        if not isinstance(message, dict):
            raise self._stranger()
        return message

    def _arm(self, deadline_s: float | None) -> None:
        if deadline_s is None:
            self.socket.settimeout(None)
            return
        left_s = deadline_s - time.monotonic()
        if left_s <= 0:  # a timeout of zero would mean "do not wait at all"
            raise self._silent()
        self.socket.settimeout(left_s)

    def _hint(self) -> str:
        """Where to read more: a service's socket lies in a folder of its own name."""
        folder = self.path.rpartition("/")[0].rpartition("/")[2]
        unit = folder if folder.startswith(f"{SERVICE}@") else SERVICE
        return f"is the guard running? `systemctl status {unit}` tells"

    def _silent(self) -> Unreachable:
        return Unreachable(
            f"no answer from the guard at {self.path} within {self.timeout_s:g} s"
            f" (what was asked may still happen); {self._hint()}"
        )

    def _stranger(self) -> Unreachable:
        return Unreachable(f"what answers at {self.path} is not the guard; {self._hint()}")

    def close(self) -> None:
        self.socket.close()

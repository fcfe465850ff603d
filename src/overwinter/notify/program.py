"""Run somebody else's program: without a shell, for a bounded time, with a bounded memory of what it says.

Rule 1: whatever the program does (hang, flood, fail, be missing, leave children behind), `run` comes back.
Rule 2: it runs in a process group of its own, so that its children end with it.
"""

import contextlib
import os
import selectors
import signal
import subprocess
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

KEEP_BYTES = 65_536
"""How much is kept of what a program says, on either stream; the rest is read and thrown away."""

LINGER_S = 0.5
"""How long children that hold the pipes open may go on talking after the program itself has ended."""

_READ_BYTES = 65_536
_LOOK_EVERY_S = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How it ended. `code` is None where it could not be started or did not end in time."""

    code: int | None
    out: bytes = b""
    err: bytes = b""
    took_s: float = 0.0
    error: str | None = None  # why there is no code, or what a bad one means; None: done


def run(
    argv: Sequence[str],
    *,
    timeout_s: float,
    stdin: bytes = b"",
    environment: Mapping[str, str] | None = None,
    keep_bytes: int = KEEP_BYTES,
) -> Ended:
    """Run `argv` and come back within `timeout_s` and a moment.

    Parameters
    ----------
    argv : sequence of str
        The program and its words; no shell looks at them.
    timeout_s : float
        After this the whole process group is killed [s].
    stdin : bytes
        What it may read; a program that does not is not waited for.
    environment : mapping, optional
        Instead of our own.
    keep_bytes : int
        What is kept of each stream.
    """
    began_s = time.monotonic()
    try:
        process = subprocess.Popen(
            list(argv),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
            env=None if environment is None else dict(environment),
        )
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        return Ended(code=None, error=f"{argv[0]} cannot be started: {why}")
    try:
        out, err, is_late = _talk(process, stdin, began_s + timeout_s, keep_bytes)
        if not is_late:
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(max(began_s + timeout_s - time.monotonic(), 0.0))
    finally:
        code = process.poll()
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        for pipe in (process.stdin, process.stdout, process.stderr):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
    took_s = time.monotonic() - began_s
    if code is None:
        why = f"not done after {timeout_s:g} s, so it was ended"
    elif code < 0:
        why = f"ended by signal {-code}"
    else:
        why = f"exit code {code}" if code else ""
    said = _last_line(err or out)
    if why and said:
        why += f": {said}"
    return Ended(code=code, out=out, err=err, took_s=took_s, error=why or None)


def _talk(
    process: "subprocess.Popen[bytes]", stdin: bytes, deadline_s: float, keep_bytes: int
) -> tuple[bytes, bytes, bool]:
    """Feed and hear it until its pipes close or the time is over."""
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    out, err = bytearray(), bytearray()
    unsent = memoryview(stdin)
    ended_s: float | None = None
    with selectors.DefaultSelector() as selector:
        for pipe, kept in ((process.stdout, out), (process.stderr, err)):
            os.set_blocking(pipe.fileno(), False)
            selector.register(pipe, selectors.EVENT_READ, kept)
        os.set_blocking(process.stdin.fileno(), False)
        selector.register(process.stdin, selectors.EVENT_WRITE)
        while selector.get_map():
            now_s = time.monotonic()
            if now_s >= deadline_s:
                return bytes(out), bytes(err), True
            if process.poll() is not None:
                ended_s = now_s if ended_s is None else ended_s
                if now_s - ended_s >= LINGER_S:
                    break
            for key, _ in selector.select(min(_LOOK_EVERY_S, deadline_s - now_s)):
                if key.data is None:
                    unsent = _fed(key.fd, unsent)
                    if not unsent:
                        selector.unregister(process.stdin)
                        process.stdin.close()
                    continue
                heard = os.read(key.fd, _READ_BYTES)
                if not heard:
                    selector.unregister(key.fileobj)
                key.data.extend(heard[: max(keep_bytes - len(key.data), 0)])
    return bytes(out), bytes(err), False


def _fed(descriptor: int, unsent: memoryview) -> memoryview:
    try:
        return unsent[os.write(descriptor, unsent[:_READ_BYTES]) :] if unsent else unsent
    except BlockingIOError:
        return unsent
    except OSError:  # it does not want to read
        return unsent[:0]


def _last_line(said: bytes) -> str:
    lines = said.decode("utf-8", "replace").strip().splitlines()
    return lines[-1][:200] if lines else ""

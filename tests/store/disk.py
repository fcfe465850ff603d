"""What stands between the program and its disk: it passes calls on, watches them, or lets them fail.

They replace the functions of `os` that change a disk, so that what is tested is the code that ships.
"""

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHANGING = ("open", "write", "fsync", "ftruncate", "fchmod", "rename", "unlink", "mkdir")


@contextmanager
def between(seen: Callable[[str, Callable[..., Any], tuple[Any, ...]], Any]) -> Iterator[None]:
    """Pass each changing call to `seen(name, the true function, its arguments)`."""
    with pytest.MonkeyPatch.context() as patch:
        for name in CHANGING:
            patch.setattr(os, name, _through(name, getattr(os, name), seen))
        yield


def _through(name: str, true: Callable[..., Any], seen: Callable[..., Any]) -> Callable[..., Any]:
    def call(*arguments: Any, **named: Any) -> Any:
        return seen(name, lambda *given: true(*given, **named), arguments)

    return call


class FailingDisk:
    """Fails at the n-th changing call, and `times` calls in all, each `step` after the one before.

    With `short` a write takes half of its bytes before it fails.
    """

    def __init__(
        self, at: int, *, error: int = errno.ENOSPC, times: int = 1, step: int = 1, short: bool = False
    ) -> None:
        self.failing = range(at, at + times * step, step)
        self.error = error
        self.short = short
        self.calls = 0
        self.failed: list[str] = []

    def __call__(self, name: str, true: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        number = self.calls
        self.calls += 1
        if number not in self.failing:
            return true(*arguments)
        self.failed.append(name)
        if self.short and name == "write" and len(arguments[1]) > 1:
            true(arguments[0], bytes(arguments[1])[: len(arguments[1]) // 2])
        raise OSError(self.error, os.strerror(self.error))


def logbook_bytes(folder: Path) -> int:
    """All that counts against the bound, drafts included."""
    return sum(path.stat().st_size for path in folder.iterdir() if "logbook.jsonl" in path.name)

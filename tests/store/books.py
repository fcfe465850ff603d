"""A small logbook, filled and watched."""

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from overwinter.store.logbook import SMALLEST_BYTES, Logbook, encode, read_lines
from tests.store.disk import logbook_bytes

SEGMENT = SMALLEST_BYTES // 8


def line(number: int, *, event: str = "note", size: int = 250) -> bytes:
    bare = encode({"event": event, "n": number, "text": ""})
    return encode({"event": event, "n": number, "text": "x" * (size - len(bare))})


def numbers(folder: Path) -> list[int]:
    return [found["n"] for found in read_lines(folder)]


def opened(folder: Path, max_bytes: int = SMALLEST_BYTES) -> Logbook:
    logbook = Logbook(folder, max_bytes)
    logbook.open()
    return logbook


def fill(logbook: Logbook, first: int, count: int, **how: Any) -> None:
    for number in range(first, first + count):
        logbook.append([line(number, **how)])


class Watch:
    """Calls pass; after each one the bytes of the folder are within the bound."""

    def __init__(self, folder: Path, bound: int) -> None:
        self.folder = folder
        self.bound = bound
        self.most = 0
        self.calls: Counter[str] = Counter()

    def __call__(self, name: str, true: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        result = true(*arguments)
        self.calls[name] += 1
        self.most = max(self.most, logbook_bytes(self.folder))
        assert self.most <= self.bound, (name, arguments[:1])
        return result

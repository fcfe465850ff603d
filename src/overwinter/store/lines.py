"""The logbook's lines: how one is spelt, and how a folder of them is read.

Rule 1: a line is whole or it is skipped and counted; a broken one never hides its neighbours.
Rule 2: reading needs no lock and no help of the writer, also while files turn over.
Rule 3: `t` only labels. The wall clock steps, so files are never skipped for their dates.
"""

import json
import math
import os
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

NAME = "logbook.jsonl"
MOST_FILES = 99  # logbook.jsonl.1 to .99; eight are usual
LINE_BYTES_MOST = 65_536  # no line is ever longer; the longest on the socket is the same
BLOCK_BYTES = 65_536

_SAMPLE = b'"event":"sample"'
_TELLING = (b'"event":"start"', b'"event":"clock"')
_STAMPED = b'{"t":"'  # how `encode` begins a line of the logbook; its stamp follows
_STAMP = slice(len(_STAMPED), len(_STAMPED) + len("2026-01-09T04:12:33.123Z"))


def encode(fields: Mapping[str, object]) -> bytes:
    """One line of JSON with its newline. Numbers that are not finite become null, for JSON has none.

    What JSON can't say becomes text: a line with an odd value beats no line at all.
    """
    try:
        text = _dumps(fields)
    except ValueError:
        text = _dumps(_finite(fields))
    return text.encode("utf-8", "replace") + b"\n"


def _plain(value: object) -> object:
    return dict(value) if isinstance(value, Mapping) else str(value)


# Made once: json.dumps with anything but its defaults would make an encoder for every line.
_dumps = json.JSONEncoder(
    ensure_ascii=False, check_circular=False, allow_nan=False, separators=(",", ":"), default=_plain
).encode


def _finite(value: object) -> object:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return value


_raw_decode = json.JSONDecoder(parse_constant=lambda _: None).raw_decode


def decode(line: bytes) -> dict[str, Any] | None:
    """A line as a dict; None for anything else. Faster than json.loads, which looks for encodings."""
    try:
        text = line.decode()
        found, end = _raw_decode(text)
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, dict) or (end < len(text) and text[end:].strip()):
        return None
    return found


def is_plainly_sample(line: bytes) -> bool:
    """Whether the bytes alone show a sample, without a parse. False is no answer.

    In a string the quotes would be escaped, and a brace before it could mean that it stands in a value.
    """
    at = line.find(_SAMPLE)
    return at > 0 and line.find(b"{", 1, at) < 0


def is_event(line: bytes) -> bool:
    """Whether it is a whole line of another kind than a sample."""
    if is_plainly_sample(line) or not line.endswith(b"\n"):
        return False
    found = decode(line)
    return found is not None and found.get("event") != "sample"


def stamp(when: datetime) -> str:
    """An instant as the logbook spells it: RFC 3339, UTC, milliseconds; sorts as text.

    Raises
    ------
    ValueError
        The instant has no time zone.
    """
    if when.tzinfo is None:
        raise ValueError(f"{when}: must have a time zone")
    return when.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def read_lines(
    folder: Path,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    events: Collection[str] | None = None,
    skipped: Counter[str] | None = None,
    loads: Callable[[bytes], Any] | None = None,
) -> Iterator[dict[str, Any]]:
    """Read the logbook's lines, oldest first, as they were when the first one is asked for.

    Parameters
    ----------
    folder : Path
        The logs folder; a missing one is an empty logbook.
    since, until : datetime, optional
        Lines with `since <= t < until`; with either, lines without a `t` are left out.
    events : collection of str, optional
        Only these kinds.
    skipped : Counter, optional
        Counts the lines that were not whole, under `torn` (no newline) and `garbage`.
    loads : callable, optional
        A faster JSON decoder than the standard one, which raises ValueError where it will not. Such a line
        is left to the standard one, so that what counts as whole does not depend on what is installed.

    Raises
    ------
    ValueError
        An instant has no time zone.
    OSError
        The disk can't be read.
    """
    return _read(
        folder,
        since="" if since is None else stamp(since),
        until="" if until is None else stamp(until),
        kinds=None if events is None else frozenset(events),
        skipped=Counter() if skipped is None else skipped,
        loads=decode if loads is None else loads,
    )


def _read(
    folder: Path,
    *,
    since: str,
    until: str,
    kinds: frozenset[str] | None,
    skipped: Counter[str],
    loads: Callable[[bytes], Any],
) -> Iterator[dict[str, Any]]:
    since_bytes, until_bytes = since.encode(), until.encode()
    dated = bool(since or until)
    no_samples = kinds is not None and "sample" not in kinds
    with ExitStack() as stack:
        files = [stack.enter_context(file) for file in _open_newest_first(folder)]
        for file in reversed(files):
            for line in file:
                # Most lines are unwanted samples; what the bytes alone can tell spares a parse.
                if dated:
                    at = line[_STAMP]
                    is_out = at < since_bytes or (until_bytes and at >= until_bytes)
                    if is_out and line.startswith(_STAMPED):
                        continue
                if no_samples and is_plainly_sample(line):
                    continue
                if not line.endswith(b"\n"):
                    skipped["torn"] += 1
                    break  # the writer may go on with it while we read: no line begins here
                try:
                    found = loads(line)
                except ValueError:
                    found = decode(line)
                if type(found) is not dict:
                    skipped["garbage"] += 1
                    continue
                if kinds is not None and found.get("event") not in kinds:
                    continue
                if dated:
                    t = found.get("t")
                    if not isinstance(t, str) or t < since or (until and t >= until):
                        continue
                yield found


def telling_lines(folder: Path) -> Iterator[dict[str, Any]]:
    """The lines that tell of boots and clocks, oldest first: starts, steps, the line before, ends of files.

    Found by their bytes, so that a season takes a moment: samples are not parsed.
    """
    with ExitStack() as stack:
        files = [stack.enter_context(file) for file in _open_newest_first(folder)]
        for file in reversed(files):
            before = b""
            for lines in _blocks(file):
                for begins in _telling(lines):
                    if begins:  # else the line before is the last of the block before
                        before = lines[lines.rfind(b"\n", 0, begins - 1) + 1 : begins]
                    this = lines[begins : lines.find(b"\n", begins) + 1]
                    yield from filter(None, (decode(before), decode(this)))
                before = lines[lines.rfind(b"\n", 0, len(lines) - 1) + 1 :]
            yield from filter(None, (decode(before),))


def _blocks(file: BinaryIO) -> Iterator[bytes]:
    """A file in blocks of whole lines; a torn end is left out."""
    rest = b""
    while more := file.read(BLOCK_BYTES * 4):
        end = more.rfind(b"\n") + 1
        if end:
            yield rest + more[:end]
            rest = more[end:]
        elif len(rest) <= LINE_BYTES_MOST:  # longer than any line: garbage, of which the end is enough
            rest += more


def _telling(lines: bytes) -> Iterator[int]:
    """Where in a block the telling lines begin: its first, and each start and step."""
    begins = [0]
    for word in _TELLING:
        at = lines.find(word)
        while at >= 0:
            begins.append(lines.rfind(b"\n", 0, at) + 1)
            at = lines.find(word, at + 1)
    return iter(sorted(set(begins)))


def _open_newest_first(folder: Path) -> Iterator[BinaryIO]:
    """Open each file once, even while they turn over.

    A file only ever moves to a higher number. Going upwards we meet one again that moved on meanwhile,
    and know it by its inode, but never miss one.
    """
    met: set[tuple[int, int]] = set()
    for number in range(MOST_FILES + 1):
        try:
            file = (folder / (f"{NAME}.{number}" if number else NAME)).open("rb", buffering=BLOCK_BYTES)
        except (FileNotFoundError, NotADirectoryError):
            continue
        found = os.fstat(file.fileno())
        identity = (found.st_dev, found.st_ino)
        if identity in met:
            file.close()
            continue
        met.add(identity)
        yield file


def last_lines(folder: Path, count: int) -> list[dict[str, Any]]:
    """The last whole lines, newest last; reads no more than it needs, from the end.

    Raises
    ------
    OSError
        The disk can't be read.
    """
    found: list[dict[str, Any]] = []
    for file in _open_newest_first(folder):
        with file:
            for line in _backwards(file.fileno()):
                if len(found) >= count:
                    break
                fields = decode(line)
                if fields is not None:
                    found.append(fields)
        if len(found) >= count:
            break
    return found[::-1]


def _backwards(descriptor: int) -> Iterator[bytes]:
    """Lines from the last to the first; what follows the last newline is no line."""
    at = os.fstat(descriptor).st_size
    tail = b""
    is_torn = True
    while at > 0:
        start = max(0, at - BLOCK_BYTES)
        first, *lines = (os.pread(descriptor, at - start, start) + tail).split(b"\n")
        at = start
        # Longer than any line: garbage, of which one byte is enough to remember.
        tail = first if len(first) <= LINE_BYTES_MOST else b"\0"
        if lines and is_torn:
            lines.pop()
            is_torn = False
        yield from reversed(lines)
    if not is_torn:
        yield tail


def end_of_last_line(descriptor: int, size: int) -> int:
    """How many of the first `size` bytes are whole lines."""
    at = size
    while at > 0:
        start = max(0, at - BLOCK_BYTES)
        newline = os.pread(descriptor, at - start, start).rfind(b"\n")
        if newline >= 0:
            return start + newline + 1
        at = start
    return 0

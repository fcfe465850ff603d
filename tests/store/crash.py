"""A file system as a power cut may leave it.

`Recorder` notes the calls that change one folder. `states` builds what may be found after a cut behind any
of them, as far as POSIX promises: bytes are durable after fsync of their file, names after fsync of their
folder. Before that each change of a name may be missing or not, whatever came after it; of each write
all, nothing, a part, or only its length (zeros) may be found.
"""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import combinations, islice, product
from pathlib import Path
from typing import Any

Files = dict[str, bytes]
SECTOR = 512
PARTS = 8  # a write is torn at about so many of its sectors, and within its first and last
SUBSETS_OF = 5  # of so many undurable names every subset is built; of more the likely ones
PRODUCTS_MOST = (
    1000  # where several files are undurable at once, which is so only where an fsync was left out
)


@dataclass(frozen=True)
class Named:
    """A change of names: what goes, and what comes in its place."""

    gone: str | None
    come: str | None
    file: int


@dataclass(frozen=True)
class Written:
    file: int
    at: int
    data: bytes


@dataclass(frozen=True)
class Cut:
    file: int
    size: int


@dataclass(frozen=True)
class Synced:
    file: int | None  # None: the folder


@dataclass(frozen=True)
class Mark:
    """Something was promised here."""

    value: Any


Step = Named | Written | Cut | Synced | Mark


@dataclass
class Recorder:
    """Lets calls pass and notes them. `deaf_to` leaves an fsync out: of "file" or of "folder"."""

    folder: Path
    deaf_to: str | None = None
    steps: list[Step] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.names = {path.name: number for number, path in enumerate(sorted(self.folder.iterdir()))}
        self.before = [(self.folder / name).read_bytes() for name in self.names]
        self.first_names = dict(self.names)
        self.sizes = [len(content) for content in self.before]
        self.open: dict[int, int | None] = {}

    def mark(self, value: Any) -> None:
        self.steps.append(Mark(value))

    def __call__(self, name: str, true: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
        result = true(*arguments)
        getattr(self, f"_{name}", lambda *_: None)(result, *arguments)
        return result

    def _open(self, descriptor: int, path: Any, flags: int, *_: Any) -> None:
        if Path(path) == self.folder:
            self.open[descriptor] = None
            return
        assert Path(path).parent == self.folder
        name = Path(path).name
        if name not in self.names:
            self.names[name] = len(self.sizes)
            self.sizes.append(0)
            self.steps.append(Named(None, name, self.names[name]))
        assert not flags & os.O_TRUNC
        self.open[descriptor] = self.names[name]

    def _write(self, taken: int, descriptor: int, data: bytes) -> None:
        file = self.open[descriptor]
        assert file is not None
        self.steps.append(Written(file, self.sizes[file], bytes(data)[:taken]))
        self.sizes[file] += taken

    def _ftruncate(self, _: None, descriptor: int, size: int) -> None:
        file = self.open[descriptor]
        assert file is not None
        self.steps.append(Cut(file, size))
        self.sizes[file] = size

    def _fsync(self, _: None, descriptor: int) -> None:
        file = self.open[descriptor]
        if self.deaf_to != ("folder" if file is None else "file"):
            self.steps.append(Synced(file))

    def _rename(self, _: None, source: Any, target: Any) -> None:
        file = self.names.pop(Path(source).name)
        self.names[Path(target).name] = file
        self.steps.append(Named(Path(source).name, Path(target).name, file))

    def _unlink(self, _: None, path: Any) -> None:
        self.steps.append(Named(Path(path).name, None, self.names.pop(Path(path).name)))

    def states(self) -> Iterator[tuple[int, Files]]:
        """Each state once for each place of the cut: how many steps were done, and what is found.

        Where an fsync was left out, from the last step on: there most is promised that may be gone.
        """
        cuts = range(len(self.steps) + 1)
        for done in cuts if self.deaf_to is None else reversed(cuts):
            met = set()
            for files in self._states_after(self.steps[:done]):
                key = frozenset(files.items())
                if key not in met:
                    met.add(key)
                    yield done, files

    def _states_after(self, steps: list[Step]) -> Iterator[Files]:
        names, pending_names = dict(self.first_names), list[Named]()
        contents = [*self.before, *(b"" for _ in range(len(self.sizes) - len(self.before)))]
        pending: dict[int, list[Written | Cut]] = {}
        for step in steps:
            if isinstance(step, Named):
                pending_names.append(step)
            elif isinstance(step, Written | Cut):
                pending.setdefault(step.file, []).append(step)
            elif isinstance(step, Synced) and step.file is None:
                names = _renamed(names, pending_names)
                pending_names = []
            elif isinstance(step, Synced) and step.file is not None:
                contents[step.file] = _applied(contents[step.file], pending.pop(step.file, []))
        variants = [_variants(contents[file], changes) for file, changes in pending.items()]
        for chosen in islice(product(*variants), PRODUCTS_MOST):
            found = {**dict(enumerate(contents)), **dict(zip(pending, chosen, strict=True))}
            for some in _subsets(pending_names):
                yield {name: found[file] for name, file in _renamed(names, some).items()}


def _renamed(names: dict[str, int], changes: list[Named]) -> dict[str, int]:
    names = dict(names)
    for change in changes:
        if change.gone is not None and names.get(change.gone) == change.file:
            del names[change.gone]
        if change.come is not None:
            names[change.come] = change.file
    return names


def _subsets(changes: list[Named]) -> Iterator[list[Named]]:
    if len(changes) <= SUBSETS_OF:
        for count in range(len(changes) + 1):
            for some in combinations(changes, count):
                yield list(some)
        return
    for place in range(len(changes) + 1):
        yield changes[:place]
        yield changes[:place] + changes[place + 1 :]


def _applied(content: bytes, changes: list[Written | Cut]) -> bytes:
    for change in changes:
        if isinstance(change, Cut):
            content = content[: change.size].ljust(change.size, b"\0")
        else:
            content = content.ljust(change.at, b"\0")
            content = content[: change.at] + change.data + content[change.at + len(change.data) :]
    return content


def _variants(content: bytes, changes: list[Written | Cut]) -> list[bytes]:
    """What may be found of changes that were not synced."""
    found = [content, _applied(content, [change for change in changes if isinstance(change, Written)])]
    for place, change in enumerate(changes):
        before = changes[:place]
        found.append(_applied(content, [*before, change]))
        if isinstance(change, Cut):
            continue
        size = len(change.data)
        sectors = range(SECTOR, size, SECTOR * max(1, size // (SECTOR * PARTS)))
        for part in sorted({0, 1, size // 2, size - 1, *sectors}):
            torn = change.data[:part]
            found.append(_applied(content, [*before, Written(change.file, change.at, torn)]))
            holes = (torn.ljust(size, b"\0"), bytes(part) + change.data[part:])  # the length came first
            found += [_applied(content, [*before, Written(change.file, change.at, hole)]) for hole in holes]
    return list(dict.fromkeys(found))

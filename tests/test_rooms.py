"""The walls between the rooms: who may import what. Read from the source, nothing is imported or run.

A row says which rooms of this program, which packages and which modules of the standard library a room may
use; what is not named is not allowed. The wall that matters most is the core's: whoever decides about heat
sees no clock, no file, no thread and no network.
"""

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

import overwinter

SRC = Path(overwinter.__file__).parent

VOCABULARY = frozenset({"collections", "dataclasses", "enum", "math", "operator", "typing"})
"""What nouns and formulas are made of; every room may use it."""

FILES = frozenset({"contextlib", "errno", "json", "os", "pathlib", "re", "stat"})
THREADS = frozenset({"concurrent", "queue", "threading", "time"})


@dataclass(frozen=True)
class Wall:
    """What one room may import, beside itself and the vocabulary."""

    rooms: frozenset[str] = frozenset()
    lazily: frozenset[str] = frozenset()  # rooms, only inside a function or for the type checker
    packages: frozenset[str] = frozenset()
    library: frozenset[str] = frozenset()  # "importlib.metadata" allows that part only
    calls: frozenset[str] = frozenset({"open", "print", "input"})  # builtins that may not be called


def names(text: str) -> frozenset[str]:
    return frozenset(text.split())


ANY_CALL = frozenset[str]()
ALL_BUT_CLI_AND_TWIN = names("core physics settings store devices wire show schemas")

WALLS = {
    "core": Wall(library=names("statistics")),
    "physics": Wall(rooms=names("core")),
    "reckon": Wall(rooms=names("core physics")),
    "know": Wall(rooms=names("core physics")),
    "settings": Wall(
        rooms=names("core"),
        packages=names("tomlkit"),
        library=names("difflib ipaddress re tomllib unicodedata"),
    ),
    "store": Wall(
        rooms=names("core"),
        library=FILES | THREADS | names("bisect datetime fcntl hashlib heapq itertools traceback"),
        calls=names("print input"),
    ),
    "devices": Wall(
        rooms=names("core"),
        packages=names("gpiozero adafruit_dht adafruit_blinka"),
        library=FILES | THREADS | names("importlib.metadata signal sys tempfile"),
        calls=names("print input"),
    ),
    "twin": Wall(rooms=names("core physics"), library=names("datetime random threading")),
    "wire": Wall(
        rooms=names("core settings"),
        library=FILES | THREADS | names("asyncio grp logging pwd socket struct"),
    ),
    "show": Wall(
        rooms=names("core reckon"),
        packages=names("plotille"),
        library=names("base64 bisect contextlib datetime html itertools json re textwrap"),
    ),
    "schemas": Wall(library=names("importlib.resources json")),
    "weatherfile": Wall(rooms=names("core"), library=names("csv datetime itertools re")),
    "daemon": Wall(packages=names("sdnotify structlog"), library=FILES | names("sys time")),
    "notify": Wall(
        rooms=names("core wire daemon"),
        packages=names("paho"),
        library=FILES
        | THREADS
        | names("datetime selectors signal socket ssl subprocess urllib.error urllib.request"),
    ),
    "web": Wall(
        rooms=names("core wire show notify daemon"),
        packages=names("starlette uvicorn"),
        library=names(
            "asyncio base64 binascii bisect contextlib hashlib hmac json logging os secrets signal socket"
        )
        | names("threading time urllib.parse"),
    ),
    "survey": Wall(
        rooms=names("core physics settings store devices wire show"),
        library=FILES | names("datetime fcntl functools shutil struct subprocess textwrap"),
        calls=names("print input open"),
    ),
    "rehearse": Wall(
        rooms=names("core physics settings store daemon guard twin"),
        library=FILES
        | names("concurrent datetime importlib.resources multiprocessing random tempfile tomllib uuid"),
        calls=names("print input open"),
    ),
    "guard": Wall(
        rooms=ALL_BUT_CLI_AND_TWIN | names("daemon know"),
        lazily=names("twin"),
        library=FILES | THREADS | names("datetime fcntl itertools pwd signal socket sys types"),
        calls=names("input"),
    ),
    "cli": Wall(
        rooms=ALL_BUT_CLI_AND_TWIN
        | names("daemon guard know notify reckon rehearse survey twin weatherfile web"),
        packages=names("orjson platformdirs resvg_py"),
        library=FILES
        | THREADS
        | names("csv datetime difflib importlib itertools shlex shutil signal subprocess sys tempfile")
        | names("textwrap warnings"),
        calls=ANY_CALL,
    ),
}

ALLOWED_IN_ONE_FILE = {
    "cli/web.py": names("getpass"),  # a password is typed unseen
    "core/units.py": names("re"),  # the words people write for temperatures
    "twin/clock.py": names("time"),  # ties simulated time to the people who watch
}

FIRST_SEEN = ("__init__.py", "options.py")
"""The files of the command that every call pays for."""


@dataclass(frozen=True)
class Import:
    module: str  # in full: overwinter.core.nouns, os.path
    is_lazy: bool


def imports(source: str) -> Iterator[Import]:
    """Every import of a file; `from overwinter import core` counts as importing overwinter.core."""
    tree = ast.parse(source)
    lazy = {
        id(inner)
        for outer in ast.walk(tree)
        if isinstance(outer, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) or _is_for_types(outer)
        for inner in ast.walk(outer)
    }
    for node in ast.walk(tree):
        is_lazy = id(node) in lazy
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(alias.name, is_lazy)
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            if module == "overwinter":
                for alias in node.names:
                    is_inner = not alias.name.startswith("__")
                    yield Import(f"overwinter.{alias.name}" if is_inner else "overwinter", is_lazy)
            else:
                yield Import(module, is_lazy)


def _is_for_types(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING"


def breaches(source: str, room: str, wall: Wall, also: frozenset[str] = frozenset()) -> list[str]:
    """What in this file goes through the wall of its room."""
    found = []
    library = VOCABULARY | wall.library | also
    for one in imports(source):
        first, *rest = one.module.split(".")
        if one.module.startswith("."):
            found.append(f"a relative import of {one.module}")
        elif first == "overwinter":
            to = rest[0] if rest else room
            if to not in wall.rooms | {room} and not (one.is_lazy and to in wall.lazily):
                found.append(f"room {to}")
        elif first in sys.stdlib_module_names:
            if not any(one.module == name or one.module.startswith(f"{name}.") for name in library):
                found.append(f"library {one.module}")
        elif first not in wall.packages:
            found.append(f"package {one.module}")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in wall.calls:
            found.append(f"call of {node.func.id}")
        if isinstance(node, ast.Name) and node.id == "__import__":
            found.append("call of __import__")
    return found


def rooms() -> list[str]:
    return sorted(path.parent.name for path in SRC.glob("*/__init__.py"))


def files_of(room: str) -> list[Path]:
    return sorted((SRC / room).rglob("*.py"))


ALL_FILES = sorted(SRC.rglob("*.py"))


def name_of(path: Path) -> str:
    return path.relative_to(SRC).as_posix()


def test_every_room_has_a_wall_and_every_wall_a_room() -> None:
    assert set(rooms()) == set(WALLS)


@pytest.mark.parametrize("path", [path for room in rooms() for path in files_of(room)], ids=name_of)
def test_a_file_imports_only_what_its_room_may(path: Path) -> None:
    room = path.relative_to(SRC).parts[0]
    also = ALLOWED_IN_ONE_FILE.get(name_of(path), frozenset())

    assert breaches(path.read_text("utf-8"), room, WALLS[room], also) == []


def test_every_exception_for_one_file_is_needed() -> None:
    for name, also in ALLOWED_IN_ONE_FILE.items():
        source = (SRC / name).read_text("utf-8")
        assert breaches(source, name.split("/")[0], WALLS[name.split("/")[0]]) == [
            f"library {one}" for one in sorted(also)
        ]


@pytest.mark.parametrize("path", [path for path in ALL_FILES if path.stat().st_size], ids=name_of)
def test_a_file_that_is_not_empty_opens_with_what_it_is_for(path: Path) -> None:
    assert ast.get_docstring(ast.parse(path.read_text("utf-8"))), f"{name_of(path)}: no module docstring"


def test_the_package_itself_imports_nothing() -> None:
    """Whoever asks for its version must not pay for the program."""
    assert list(imports((SRC / "__init__.py").read_text("utf-8"))) == []


def test_the_command_is_entered_by_one_door() -> None:
    modules = {one.module for one in imports((SRC / "__main__.py").read_text("utf-8"))}

    assert modules == {"sys", "overwinter.cli"}


@pytest.mark.parametrize("name", FIRST_SEEN)
def test_the_command_loads_a_verb_only_when_it_is_called(name: str) -> None:
    """A verb may import every room; what stands before all verbs may import none."""
    entry = [one for one in imports((SRC / "cli" / name).read_text("utf-8")) if not one.is_lazy]
    inner = {one.module for one in entry if one.module.startswith("overwinter")}

    assert inner <= {f"overwinter.cli.{Path(first).stem}" for first in FIRST_SEEN}
    assert all(
        one.module.split(".")[0] in sys.stdlib_module_names for one in entry if one.module not in inner
    )


def chance_without_seed(source: str) -> list[str]:
    """Uses of the `random` module other than its class `Random`."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module == "random":
            found += [alias.name for alias in node.names if alias.name != "Random"]
        if (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id == "random"
            and node.attr != "Random"
        ):
            found.append(node.attr)
        if (
            isinstance(node, ast.Call)
            and not node.args
            and ast.unparse(node.func) in ("Random", "random.Random")
        ):
            found.append("Random()")
    return found


@pytest.mark.parametrize("path", files_of("twin"), ids=name_of)
def test_chance_in_the_simulated_house_has_a_seed(path: Path) -> None:
    assert chance_without_seed(path.read_text("utf-8")) == []


# --- that these checks can fail -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("room", "source", "breach"),
    [
        pytest.param("core", "import time", "library time", id="core: a clock"),
        pytest.param("core", "from datetime import UTC", "library datetime", id="core: a calendar"),
        pytest.param("core", "import os.path", "library os.path", id="core: the system"),
        pytest.param("core", "import re", "library re", id="core: patterns, outside units"),
        pytest.param("core", "import logging", "library logging", id="core: a logger"),
        pytest.param("core", "def f():\n    import threading", "library threading", id="core: lazily too"),
        pytest.param("core", "if TYPE_CHECKING:\n    import io", "library io", id="core: for types too"),
        pytest.param("core", "from overwinter.store import atomic", "room store", id="core: another room"),
        pytest.param("core", "from overwinter import physics", "room physics", id="core: by the front door"),
        pytest.param("core", "import structlog", "package structlog", id="core: a package"),
        pytest.param("core", "text = open('x').read()", "call of open", id="core: a file"),
        pytest.param("core", "m = __import__('time')", "call of __import__", id="core: by the back door"),
        pytest.param(
            "core", "from .nouns import Flag", "a relative import of .nouns", id="a relative import"
        ),
        pytest.param("settings", "from pathlib import Path", "library pathlib", id="settings: a file"),
        pytest.param("physics", "from overwinter.settings import x", "room settings", id="physics: settings"),
        pytest.param("store", "import socket", "library socket", id="store: a socket"),
        pytest.param("devices", "import subprocess", "library subprocess", id="devices: a child process"),
        pytest.param("devices", "import importlib", "library importlib", id="devices: all of importlib"),
        pytest.param("twin", "import time", "library time", id="twin: the real clock"),
        pytest.param("wire", "from overwinter.devices.relay import Relay", "room devices", id="wire: relay"),
        pytest.param("show", "import os", "library os", id="show: the system"),
        pytest.param("guard", "from overwinter.twin.play import Play", "room twin", id="guard: twin at once"),
        pytest.param("guard", "def f():\n    import overwinter.cli", "room cli", id="guard: the command"),
        pytest.param("guard", "import subprocess", "library subprocess", id="guard: a child process"),
    ],
)
def test_a_hole_in_a_wall_is_found(room: str, source: str, breach: str) -> None:
    assert breaches(source, room, WALLS[room]) == [breach]


@pytest.mark.parametrize(
    ("room", "source"),
    [
        pytest.param("core", "import math\nfrom overwinter.core.nouns import Flag", id="core"),
        pytest.param("guard", "def f():\n    from overwinter.twin.play import Play", id="guard, lazily"),
        pytest.param("guard", "from overwinter import __version__", id="the version"),
        pytest.param("devices", "import importlib.metadata", id="a part of importlib"),
        pytest.param("cli", "text = open('x').read()", id="the command may open files"),
    ],
)
def test_a_door_in_a_wall_is_open(room: str, source: str) -> None:
    assert breaches(source, room, WALLS[room]) == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        pytest.param("import random\nx = random.random()", ["random"], id="the module's own"),
        pytest.param("from random import gauss", ["gauss"], id="imported by name"),
        pytest.param("import random\nx = random.Random()", ["Random()"], id="no seed"),
        pytest.param("import random\nx = random.Random(7).gauss(0, 1)", [], id="with a seed"),
    ],
)
def test_chance_without_a_seed_is_found(source: str, found: list[str]) -> None:
    assert chance_without_seed(source) == found

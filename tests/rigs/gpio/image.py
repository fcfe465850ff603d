"""The image that a machine boots from, in two layers, kept in a cache folder.

The lower one, the system with all that the project depends on, takes minutes and is kept until its recipe or
the list of dependencies changes. The upper one is the project's own wheel, installed without a network, and
laid anew whenever the wheel is another one.
"""

import hashlib
import importlib.metadata
import os
import re
import shutil
import sys
import tempfile
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.rigs.gpio import recipe
from tests.rigs.gpio.recipe import CannotBuild, pip_in, run

PROJECT = Path(__file__).resolve().parents[3]

IMAGE_SIZE = "1200M"  # sparse; half of it is used


@dataclass(frozen=True, slots=True, kw_only=True)
class Image:
    """What a machine boots from; nothing of it is ever written to by a machine."""

    kernel: Path
    initrd: Path
    root: Path


def default_cache() -> Path:
    """OVERWINTER_RIG_CACHE, or a folder where the system keeps temporary things."""
    named = os.environ.get("OVERWINTER_RIG_CACHE")
    return Path(named) if named else Path(tempfile.gettempdir()) / f"overwinter-gpio-rig-{os.getuid()}"


def requirements(pyproject: Path = PROJECT / "pyproject.toml") -> list[str]:
    """What the project depends on; the machine (x86_64, Python 3.11) meets every marker."""
    project = tomllib.loads(pyproject.read_text(encoding="utf-8"))["project"]
    return sorted(text.split(";")[0].strip() for text in project["dependencies"])


def builders(pyproject: Path = PROJECT / "pyproject.toml") -> list[str]:
    """The distributions that build the project's wheel."""
    required = tomllib.loads(pyproject.read_text(encoding="utf-8"))["build-system"]["requires"]
    return [re.split(r"[^\w.-]", text.strip(), maxsplit=1)[0] for text in required]


def recipe_hash(wanted: Sequence[str]) -> str:
    """Changes with the recipe and with the dependencies, so that an old system is not taken for a new one."""
    text = Path(recipe.__file__).read_bytes() + "\n".join(wanted).encode()
    return hashlib.sha256(text).hexdigest()[:16]


def image(cache: Path, say: Callable[[str], None]) -> Image:
    """The image in `cache`, of this recipe and this tree; built where it is missing.

    Raises
    ------
    CannotBuild
        Something for it is missing here, or a step of it failed.
    """
    wanted = requirements()
    folder = cache / recipe_hash(wanted)
    made = Image(kernel=folder / "vmlinuz", initrd=folder / "initrd", root=folder / "root.img")
    if not (folder / "system").exists():
        if reason := recipe.why_not():
            raise CannotBuild(reason)
        _forget_others(cache, folder)
        say(f"building the machine's system in {folder}: some minutes, once")
        recipe.build(folder, wanted)
        (folder / "system").touch()
    with tempfile.TemporaryDirectory(prefix="ow-wheel-") as place:
        wheel = _wheel(Path(place))
        digest = hashlib.sha256(wheel.read_bytes()).hexdigest()
        seal = folder / "project"
        if not seal.exists() or seal.read_text() != digest:
            say(f"installing {wheel.name} into it")
            seal.unlink(missing_ok=True)
            _install(folder, wheel)
            seal.write_text(digest)
    return made


def _forget_others(cache: Path, keep: Path) -> None:
    # Each takes a gigabyte, and a recipe that has changed does not come back.
    for other in cache.glob("*") if cache.is_dir() else ():
        if other == keep or (other / "wheels").is_dir():
            if f" {other.resolve()}/" in Path("/proc/self/mounts").read_text():
                raise CannotBuild(f"something is mounted below {other}: umount it first")
            shutil.rmtree(other)


def _wheel(place: Path) -> Path:
    """The tree as it is, as a wheel."""
    # Where its builders are installed already, no network is needed.
    alone = ("--no-build-isolation",) if all(map(_is_installed, builders())) else ()
    run([sys.executable, "-m", "pip", "--quiet", "wheel", "--no-deps", *alone, "--wheel-dir", place, PROJECT])
    (wheel,) = place.glob("overwinter-*.whl")
    return wheel


def _is_installed(distribution: str) -> bool:
    try:
        importlib.metadata.version(distribution)
    except importlib.metadata.PackageNotFoundError:
        return False
    return True


def _install(folder: Path, wheel: Path) -> None:
    root = folder / "root"
    shutil.copy(wheel, root / wheel.name)
    pip_in(root, ["--no-deps", "--force-reinstall", f"/{wheel.name}"])
    (root / wheel.name).unlink()
    draft = folder / "draft.img"
    draft.unlink(missing_ok=True)
    run(["mkfs.ext4", "-q", "-F", "-E", "lazy_itable_init=0", "-d", root, draft, IMAGE_SIZE])
    draft.replace(folder / "root.img")

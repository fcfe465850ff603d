"""The wheel: the same source gives the same bytes, wherever and whenever it is built."""

import hashlib
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NEEDED = ("src", "pyproject.toml", "hatch_build.py", "README.md", "LICENSE")


def built(folder: Path) -> tuple[str, str]:
    """Name and digest of a wheel built from a copy in `folder`."""
    folder.mkdir()
    for name in NEEDED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copyfile(source, folder / name)
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation"]
    subprocess.run([*command, "--wheel-dir", "out", "."], cwd=folder, check=True, capture_output=True)
    (wheel,) = (folder / "out").iterdir()
    return wheel.name, hashlib.sha256(wheel.read_bytes()).hexdigest()


def test_two_builds_are_the_same_to_the_byte(tmp_path: Path) -> None:
    pytest.importorskip("hatchling", reason="builds wheels")

    assert built(tmp_path / "one") == built(tmp_path / "another")

"""Disks that can be mounted, and a keeper on a disk that does as a test wants."""

import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from overwinter.store import keeper as keeper_module
from tests.store.keeping import PATIENCE_S, Disk, Rig

Mount = Callable[..., Path]


@pytest.fixture
def mount(tmp_path: Path) -> Iterator[Mount]:
    """Mount a small tmpfs for one test; only root may."""
    if os.geteuid() != 0:
        pytest.skip("mounting a file system needs root")
    mounted: list[Path] = []

    def mount_tmpfs(*, kib: int = 256) -> Path:
        folder = tmp_path / f"disk{len(mounted)}"
        folder.mkdir()
        command = ["mount", "-t", "tmpfs", "-o", f"size={kib}k", "overwinter-test", str(folder)]
        try:
            done = subprocess.run(command, capture_output=True, text=True, check=False)
        except FileNotFoundError:
            pytest.skip("there is no mount command")
        if done.returncode != 0:
            pytest.skip(f"mounting is not allowed here: {done.stderr.strip()}")
        mounted.append(folder)
        return folder

    yield mount_tmpfs
    for folder in mounted:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


@pytest.fixture
def remount() -> Callable[[Path, str], None]:
    """Remount a disk of `mount` as `ro` or `rw`."""

    def remount_as(folder: Path, how: str) -> None:
        subprocess.run(["mount", "-o", f"remount,{how}", str(folder)], check=True)

    return remount_as


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    return Disk(monkeypatch)


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, disk: Disk) -> Iterator[Rig]:
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.05)
    rig = Rig(tmp_path)
    yield rig
    disk.errors.clear()
    disk.may_pass.set()
    rig.keeper.stop(PATIENCE_S)

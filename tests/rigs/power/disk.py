"""Mounting: the recorded disk on which a guard lives, and one that becomes one crash state after the other.

Both mount loop devices that the kernel lets go with the mount. The rig itself runs in mount and process
namespaces of its own, so that whatever ends it, the kernel takes the mounts and the processes away.
"""

import contextlib
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

SIZE = 16 * 1024 * 1024
READY_S = 10.0

RISKY = "noauto_da_alloc"
"""ext4 by default forgives a missing fsync before a rename. Others do not, and nor shall the rig."""


def run(*words: str | Path) -> None:
    """A command that must succeed; what it said otherwise."""
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode:
        raise OSError(None, f"{' '.join(map(str, words))}: {done.stderr.strip() or done.returncode}")


@contextlib.contextmanager
def recorded_disk(work: Path, record: Path) -> Iterator[tuple[Path, Path]]:
    """A mounted ext4 of which everything is recorded; its folder, and the file that takes marks."""
    below, folder = work / "recorder", work / "disk"
    below.mkdir()
    folder.mkdir()
    recorder = subprocess.Popen(
        [sys.executable, "-m", "tests.rigs.power.recorder", below, str(SIZE), record],
        stdin=subprocess.DEVNULL,
    )
    try:
        ends = time.monotonic() + READY_S
        while not (below / "disk").exists():
            if recorder.poll() is not None or time.monotonic() > ends:
                raise OSError(None, f"{below}: the recorder did not start")
            time.sleep(0.02)
        usual = "nodiscard,lazy_itable_init=0,lazy_journal_init=0"
        run("mkfs.ext4", "-q", "-F", "-b", "4096", "-E", usual, "-J", "size=4", below / "disk")
        run("mount", "-t", "ext4", "-o", f"loop,{RISKY}", below / "disk", folder)
        try:
            yield folder, below / "mark"
        finally:
            run("umount", folder)
    finally:
        with contextlib.suppress(OSError):
            run("umount", below)  # ends the recorder as well
        try:
            recorder.wait(READY_S)
        except subprocess.TimeoutExpired:
            recorder.kill()
            recorder.wait(READY_S)


class CrashDisk:
    """A disk in memory that becomes one state after the other."""

    def __init__(self, work: Path) -> None:
        memory = work / "memory"
        memory.mkdir()
        run("mount", "-t", "tmpfs", "tmpfs", memory)
        self._memory = memory
        self._image = memory / "image"
        self._folder = work / "crashed"
        self._folder.mkdir()

    @contextlib.contextmanager
    def holding(self, image: bytearray) -> Iterator[Path]:
        """Mount this state, which replays its journal; the folder."""
        descriptor = os.open(self._image, os.O_WRONLY | os.O_CREAT, 0o600)
        try:
            os.pwrite(descriptor, image, 0)
        finally:
            os.close(descriptor)
        run("mount", "-t", "ext4", "-o", f"loop,{RISKY}", self._image, self._folder)
        try:
            yield self._folder
        finally:
            run("umount", self._folder)

    def close(self) -> None:
        """Give the memory back."""
        run("umount", self._memory)

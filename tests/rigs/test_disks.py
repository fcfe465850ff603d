"""Disks that are really full, out of inodes, read-only, gone or not ours any more: heat goes on all the same.

Each disk has a house of its own, and all houses live at the same time: most of it is waiting for the guard to
find out by itself that its disk works again.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from overwinter.store.keeper import PROBE_S
from tests.guard.house import House
from tests.rigs.bench import (
    AGILE,
    AT_ONCE,
    NOT_STORED,
    WARM_C,
    agile,
    agree,
    code_of,
    follows,
    in_file,
    is_raised,
    lines_of,
    longest_gap_s,
)

CLEARED_WITHIN_S = PROBE_S + 2.0
NOBODY = 65534
REMARKS = ("one", "two", "three")
"""Written into the logbook while there is no disk for it."""


def run(*words: str) -> None:
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=30)
    if done.returncode != 0:
        pytest.skip(f"{' '.join(words)}: {done.stderr.strip() or done.returncode}")


@dataclass
class Disk:
    """A disk for one house. `breaks` and `mends` are done while the guard runs."""

    folder: Path
    house: House = field(init=False)

    def arrange(self) -> None:
        self.house = House(self.folder, disk=self.folder)

    def start(self) -> None:
        agile(self.house)

    def breaks(self) -> None:
        raise NotImplementedError

    def mends(self) -> None:
        raise NotImplementedError

    takes_lines = False
    """Whether the logbook can still be written while it is broken."""

    def close(self) -> None:
        self.house.close()


class Mounted(Disk):
    """Something that is mounted, which only root may."""

    kind = "tmpfs"
    options = "size=1m"

    def arrange(self) -> None:
        if os.geteuid() != 0:
            pytest.skip("mounting a disk needs root")
        self.disk = self.folder / "disk"
        self.disk.mkdir()
        run("mount", "-t", self.kind, "-o", self.options, "overwinter-test", str(self.disk))
        self.house = House(self.folder, disk=self.disk)

    def close(self) -> None:
        super().close()
        subprocess.run(["umount", "--lazy", str(self.disk)], check=False)


class Full(Mounted):
    """Not a byte is left."""

    def breaks(self) -> None:
        with (self.disk / "filler").open("wb", buffering=0) as filler:
            for size in (65536, 4096, 512, 1):
                try:
                    while filler.write(b"x" * size) == size:
                        pass
                except OSError:
                    continue
        for _ in range(6):  # the page at the logbook's end has room for a few lines still
            self.house.call("note", {"text": "-" * 900})

    def mends(self) -> None:
        (self.disk / "filler").unlink()


class NoInodes(Mounted):
    """There is room, but no file can be made. What is open can still grow."""

    options = "size=1m,nr_inodes=40"
    takes_lines = True

    def breaks(self) -> None:
        for number in range(1000):
            try:
                (self.disk / f"filler-{number}").touch()
            except OSError:
                return
        raise AssertionError("there seems to be no end of inodes")

    def mends(self) -> None:
        for path in self.disk.glob("filler-*"):
            path.unlink()


class ReadOnlyAtStart(Mounted):
    """Mounted read-only when the guard starts, as after a file system check that failed."""

    def start(self) -> None:
        super().start()
        self.house.stop()
        run("mount", "-o", "remount,ro", str(self.disk))
        self.house.start()
        self.house.until(lambda: self.house.status()["temperature_c"] == WARM_C, "the sensor is heard")

    def breaks(self) -> None:
        return

    def mends(self) -> None:
        run("mount", "-o", "remount,rw", str(self.disk))


class ReadOnlyAfterAnError(Mounted):
    """A true file system that the kernel remounts read-only when it finds an error; then a mended one."""

    def arrange(self) -> None:
        if os.geteuid() != 0:
            pytest.skip("mounting a disk needs root")
        self.disk, self.image = self.folder / "disk", self.folder / "image"
        self.disk.mkdir()
        with self.image.open("wb") as file:
            file.truncate(8 * 1024 * 1024)
        if shutil.which("mkfs.ext4") is None:
            pytest.skip("mkfs.ext4 is not installed (apt-get install e2fsprogs)")
        run("mkfs.ext4", "-q", "-F", str(self.image))
        self.mount()
        self.house = House(self.folder, disk=self.disk)

    def mount(self) -> None:
        run("mount", "-o", "loop,errors=remount-ro", str(self.image), str(self.disk))

    def breaks(self) -> None:
        source = subprocess.run(
            ["findmnt", "-n", "-o", "SOURCE", str(self.disk)], capture_output=True, text=True, check=True
        )
        trigger = Path("/sys/fs/ext4") / Path(source.stdout.strip()).name / "trigger_fs_error"
        if not trigger.exists():
            pytest.skip(f"no {trigger}: this kernel cannot be told to find an error")
        trigger.write_text("a test of what happens then\n")

    def mends(self) -> None:
        """The owner puts in another card with what could be saved from the old one."""
        spare = self.folder / "spare"
        shutil.copytree(self.disk, spare, ignore=shutil.ignore_patterns("lost+found"))
        run("umount", "--lazy", str(self.disk))
        self.image = self.folder / "another image"
        with self.image.open("wb") as file:
            file.truncate(8 * 1024 * 1024)
        run("mkfs.ext4", "-q", "-F", "-d", str(spare), str(self.image))
        self.mount()


class Removed(Disk):
    """The folders are deleted, with all that was in them. New ones may be made at once."""

    takes_lines = True

    def breaks(self) -> None:
        for folder in (self.house.logs, self.house.state):
            # Out of the way first, in one step: the guard may be writing into it.
            shutil.rmtree(folder.rename(folder.with_name(f"{folder.name} of before")))

    def mends(self) -> None:
        return


class Forbidden(Disk):
    """The folders belong to somebody else now; the guard is an ordinary user's."""

    takes_lines = True  # what is open may be written still

    def arrange(self) -> None:
        # pytest's own folders are closed to others.
        self.outside = Path(tempfile.mkdtemp(prefix="ow-disk-"))
        self.outside.chmod(0o755)
        self.house = House(self.outside)
        if os.geteuid() == 0:
            os.chown(self.outside, NOBODY, NOBODY)
            os.chown(self.house.socket.parent, NOBODY, NOBODY)

    def start(self) -> None:
        house = self.house
        house.reads(WARM_C)
        as_nobody: tuple[str, ...] = ()
        if os.geteuid() == 0:
            if shutil.which("setpriv") is None:
                pytest.skip("setpriv is not installed (apt-get install util-linux)")
            as_nobody = ("setpriv", f"--reuid={NOBODY}", f"--regid={NOBODY}", "--clear-groups")
            words = [*as_nobody, sys.executable, "-c", "import overwinter"]
            if subprocess.run(words, capture_output=True, check=False).returncode != 0:
                pytest.skip(f"an ordinary user may not run {sys.executable}")
        house.start(before=as_nobody)
        house.set(*AGILE, *AT_ONCE)
        house.until(lambda: house.status()["temperature_c"] == WARM_C, "the sensor is heard")
        house.until(lambda: len(house.events("sample")) >= 1, "samples are written")

    def breaks(self) -> None:
        for folder in (self.house.state, self.house.logs):
            folder.chmod(0o555)

    def mends(self) -> None:
        for folder in (self.house.state, self.house.logs):
            folder.chmod(0o755)

    def close(self) -> None:
        super().close()
        shutil.rmtree(self.outside)


def live_through(disk: Disk) -> None:
    """From a sound disk to a broken one and back."""
    disk.arrange()
    house = disk.house
    try:
        disk.start()
        before = house.call("settings")
        disk.breaks()
        broken_s = time.monotonic()

        answer = house.call("set", {"changes": {"exercise.for_s": 700, "band.low": 35.0}})

        assert code_of(answer) == NOT_STORED, answer
        assert str(house.state) in answer["message"]
        assert house.call("settings") == before
        if house.settings.exists():
            assert in_file(house) == before
        house.until(lambda: is_raised(house, "disk"), "the alarm is raised at once", within_s=2.0)
        assert house.status()["disk"]["settings"] != "ok"
        if not disk.takes_lines:
            house.until(
                lambda: house.status()["disk"]["logbook"] != "ok", "the logbook's part of it", within_s=3.0
            )
        for remark in REMARKS:
            assert house.call("note", {"text": remark}) == {}
        follows(house)
        again = house.call("set", {"changes": {"exercise.for_s": 800}})
        # Where the folders may be made anew the guard does that by itself, and this one may come after it.
        assert code_of(again) == NOT_STORED or (isinstance(disk, Removed) and again["saved"]), again
        follows(house)

        disk.mends()
        waited_s = house.until(
            lambda: not is_raised(house, "disk"), "cleared by itself", within_s=CLEARED_WITHIN_S
        )
        print(f"{type(disk).__name__}: cleared {waited_s:.1f} s after it was mended")
        assert house.status()["disk"] == {"settings": "ok", "logbook": "ok"}
        house.until(house.settings.exists, "settings lie on the disk again", within_s=2.0)
        agree(house)
        for table in ("mode", "band", "sampling", "filter", "relay"):
            assert house.call("settings")[table] == before[table], "what the owner had set stays"
        follows(house)
        outage_s = time.monotonic() - broken_s
        assert house.call("set", {"changes": {"exercise.for_s": 900}})["saved"]
        agree(house)
        assert house.stop() == 0
        nothing_is_missing(house, outage_s=outage_s)
        house.start()
        agree(house)
    finally:
        disk.close()


def nothing_is_missing(house: House, *, outage_s: float) -> None:
    """Samples taken without a disk were written afterwards, in order, and all that happened is told."""
    lines = lines_of(house.logs)
    ups = [line["up"] for line in lines]
    assert ups == sorted(ups)
    first, last = (next(line for line in way if line["event"] == "sample") for way in (lines, lines[::-1]))
    assert last["up"] - first["up"] > outage_s - 2.0
    assert longest_gap_s(lines) < 2.5, "one a second, also from while there was no disk"
    count = sum(line["event"] == "sample" for line in lines)
    assert count >= last["up"] - first["up"] - 2.0, "a turn may come late, a line may not go missing"
    remarks = [line["text"] for line in lines if line["event"] == "note" and line["text"] in REMARKS]
    assert remarks == list(REMARKS), "each once, in order"
    heats = [line["heat"] for line in lines if line["event"] == "heat" and line["up"] > last["up"] - outage_s]
    assert heats[-4:] == [True, False, True, False]
    told = [line["state"] for line in lines if line["event"] == "alarm" and line["code"] == "disk"]
    assert told == ["raised", "cleared"]
    assert [line["method"] for line in lines if line["event"] == "refused"][:1] == ["set"]


DISKS: tuple[type[Disk], ...] = (Full, NoInodes, ReadOnlyAtStart, ReadOnlyAfterAnError, Removed, Forbidden)


@pytest.fixture(scope="module")
def lives(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[type[Disk]], "Future[None]"]]:
    with ThreadPoolExecutor(len(DISKS)) as houses:
        futures = {
            kind: houses.submit(live_through, kind(tmp_path_factory.mktemp(kind.__name__))) for kind in DISKS
        }
        yield lambda kind: futures[kind]


@pytest.mark.parametrize("kind", DISKS, ids=lambda kind: kind.__name__)
def test_heat_follows_the_temperature_and_nothing_is_lost_or_claimed(
    lives: Callable[[type[Disk]], "Future[None]"], kind: type[Disk]
) -> None:
    lives(kind).result(timeout=120)

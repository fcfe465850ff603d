"""The one door to the machine: files below a root, commands with a time limit, GPIO lines, the socket.

A folder of fake kernel files and a stand-in for the few methods that ask the kernel itself test everything
that lies behind this door. Nothing here says what an answer means, and nothing here changes anything.
"""

import contextlib
import fcntl
import os
import shutil
import stat
import struct
import subprocess
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from overwinter.devices.sysfs import below
from overwinter.store.atomic import read_copy
from overwinter.store.small import load_state
from overwinter.wire.client import RpcError, Unreachable, call

FILE_BYTES_MAX = 1_048_576
"""No file that is looked at here has more than a few pages; a mistake must not fill the memory."""

RUN_S = 5.0
"""How long a command may take; `systemctl show` takes milliseconds."""

ASK_S = 5.0
"""How long the guard may take to answer, as for every client."""

NAMES_MAX = 256
"""How many files one pattern may find."""

_LINE_INFO = struct.Struct("=32s32sIIQ160x16x")
# struct gpio_v2_line_info of <linux/gpio.h>: name, consumer, offset, num_attrs, flags, ten attributes of
# 16 bytes, four words of padding. GPIO_V2_GET_LINEINFO_IOCTL is _IOWR(0xB4, 0x05, of that).
_LINE_INFO_IOCTL = 3 << 30 | _LINE_INFO.size << 16 | 0xB4 << 8 | 0x05
_LINE_USED = 1 << 0  # GPIO_V2_LINE_FLAG_USED


class CannotLook(Exception):
    """It may be there, but it cannot be looked at; the text says what and why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One GPIO line as the kernel tells everybody."""

    used: bool
    consumer: str  # empty: nobody, or the kernel for another function of the pin


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """Who may open a file."""

    uid: int
    gid: int
    mode: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """What is left of a file system for an ordinary user."""

    free_bytes: int
    total_bytes: int
    free_files: int
    total_files: int  # 0: this file system does not count them


class Machine:
    """The machine that is looked at."""

    def __init__(self, root: Path = Path("/")) -> None:
        """`root`: where /sys, /proc, /etc and the rest lie."""
        self.root = root

    def content(self, path: str) -> bytes | None:
        """The content of a file; None when there is none.

        Raises
        ------
        CannotLook
            It cannot be read.
        """
        try:
            with below(self.root, Path(path)).open("rb") as file:
                return file.read(FILE_BYTES_MAX)
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            raise _cannot(path, error) from None

    def text(self, path: str) -> str | None:
        """The same as text; bytes that are none become question marks."""
        content = self.content(path)
        return None if content is None else content.decode("utf-8", "replace")

    def copy(self, path: str) -> bytes | None:
        """What a checked copy of ours holds; None when it is missing, torn or flipped anywhere.

        Raises
        ------
        CannotLook
            It cannot be read.
        """
        if (
            self.content(path) is None
        ):  # tells a missing right from a missing file, which the next line does not
            return None
        return read_copy(below(self.root, Path(path)))

    def state(self, path: str) -> dict[str, Any] | None:
        """What a state file of ours holds; None when it is missing, torn or flipped anywhere.

        Raises
        ------
        CannotLook
            It cannot be read.
        """
        return load_state(below(self.root, Path(path))) if self.content(path) is not None else None

    def names(self, pattern: str) -> list[str]:
        """The paths that a pattern such as `/dev/gpiochip*` finds, in order."""
        found = sorted(below(self.root, Path(path)) for path in self._glob(pattern))
        return [f"/{path.relative_to(self.root)}" for path in found[:NAMES_MAX]]

    def exists(self, path: str) -> bool:
        """Whether there is such a file, folder, device or socket."""
        return below(self.root, Path(path)).exists()

    def size(self, path: str) -> int | None:
        """A file's size in bytes; None when it cannot be told."""
        try:
            return below(self.root, Path(path)).stat().st_size
        except OSError:
            return None

    def real(self, path: str) -> str:
        """The path without symbolic links; of what is missing, its nearest folder that is there."""
        at = below(self.root, Path(path))
        while not at.exists() and at != self.root:
            at = at.parent
        resolved, root = at.resolve(), self.root.resolve()
        return str(Path("/") / resolved.relative_to(root)) if resolved.is_relative_to(root) else str(resolved)

    def node(self, path: str) -> Node:
        """Owner, group and mode.

        Raises
        ------
        CannotLook
            It is not there, or its folder cannot be searched.
        """
        try:
            found = below(self.root, Path(path)).stat()
        except OSError as error:
            raise _cannot(path, error) from None
        return Node(uid=found.st_uid, gid=found.st_gid, mode=stat.S_IMODE(found.st_mode))

    def space(self, path: str) -> Space:
        """What is left of the file system that a path lies on.

        Raises
        ------
        CannotLook
            It cannot be asked.
        """
        try:
            found = os.statvfs(below(self.root, Path(path)))
        except OSError as error:
            raise _cannot(path, error) from None
        return Space(
            free_bytes=found.f_bavail * found.f_frsize,
            total_bytes=found.f_blocks * found.f_frsize,
            free_files=found.f_favail,
            total_files=found.f_files,
        )

    def run(self, *argv: str) -> str | None:
        """What a command prints; None when there is no such command or it fails.

        Raises
        ------
        CannotLook
            It did not end in time.
        """
        program = shutil.which(argv[0])
        if program is None:
            return None
        # Its words are read here, so they must be the same in every language.
        surroundings = {**os.environ, "LC_ALL": "C.UTF-8", "SYSTEMD_PAGER": "", "SYSTEMD_COLORS": "0"}
        try:
            done = subprocess.run(
                [program, *argv[1:]],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                timeout=RUN_S,
                env=surroundings,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise CannotLook(f"`{' '.join(argv)}` did not end within {RUN_S:g} s") from None
        except OSError as error:
            raise _cannot(program, error) from None
        return done.stdout.decode("utf-8", "replace") if done.returncode == 0 else None

    def line(self, chip: str, pin: int) -> Line:
        """What the kernel tells of a GPIO line. Reading it claims nothing.

        Raises
        ------
        CannotLook
            The chip cannot be opened, or has no such line.
        """
        try:
            descriptor = os.open(below(self.root, Path(chip)), os.O_RDONLY | os.O_CLOEXEC)
            try:
                asked = bytearray(_LINE_INFO.pack(b"", b"", pin, 0, 0))
                fcntl.ioctl(descriptor, _LINE_INFO_IOCTL, asked)
            finally:
                os.close(descriptor)
        except OSError as error:
            raise _cannot(chip, error) from None
        return line_of(bytes(asked))

    def ask(self, socket: str, method: str) -> dict[str, Any]:
        """What the guard answers.

        Raises
        ------
        CannotLook
            Nobody answers, or what answers makes no sense.
        """
        try:
            answer = call(socket, method, timeout_s=ASK_S)
        except (Unreachable, RpcError) as error:
            # Without its hint at systemctl: what to do is told with the finding.
            raise CannotLook(str(error).partition("; is the guard running")[0]) from None
        if not isinstance(answer, dict):
            raise CannotLook(f"the guard's answer to {method} is not understood")
        return answer

    def caller(self) -> tuple[int, frozenset[int]]:
        """The user who looks, and his groups as of now."""
        return os.geteuid(), frozenset((os.getegid(), *os.getgroups()))

    def variable(self, name: str) -> str | None:
        """A variable of the caller's own environment."""
        return os.environ.get(name)

    def now(self) -> datetime:
        """The wall clock, which may be wrong."""
        return datetime.now(UTC)

    def _glob(self, pattern: str) -> "list[str]":
        with contextlib.suppress(OSError):
            return [f"/{path.relative_to(self.root)}" for path in self.root.glob(pattern.lstrip("/"))]
        return []


def line_of(info: bytes) -> Line:
    """What a filled-in struct gpio_v2_line_info says."""
    _, consumer, _, _, flags = _LINE_INFO.unpack(info)
    return Line(used=bool(flags & _LINE_USED), consumer=consumer.split(b"\0")[0].decode("utf-8", "replace"))


def _cannot(path: str, error: OSError) -> CannotLook:
    return CannotLook(f"{path}: {error.strerror or error}")

"""The socket in the file system: never wrong for a moment, and removed only while it is ours."""

import contextlib
import os
import socket
import stat
from dataclasses import dataclass
from pathlib import Path

from overwinter.core.nouns import OverwinterError

MODE = 0o666
"""Anyone may connect; who may change is decided per caller."""
BACKLOG = 128
"""Connections the kernel keeps waiting; twice what is ever served."""
MAX_PATH_BYTES = 107
"""sun_path of unix(7) without its final zero."""
PROBE_S = 1.0
"""How long a socket that is already there gets to take a connection; the kernel does that by itself."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A listening socket and the file that leads to it."""

    listening: socket.socket
    path: Path
    device: int
    inode: int

    def remove(self) -> None:
        """Remove the file, unless someone else's stands in its place by now."""
        with contextlib.suppress(OSError):
            found = self.path.lstat()
            if (found.st_dev, found.st_ino) == (self.device, self.inode):
                self.path.unlink()


def bind(path: Path) -> Bound:
    """Listen at `path`, replacing what a dead guard left there.

    Raises
    ------
    OverwinterError
        Someone answers there, something else than a socket stands there, or the system does not let us.
    """
    # Bound, opened to all and listening under a name that nobody knows, then renamed: at `path` there
    # is never a socket with other rights or one that refuses, and the process's umask stays alone.
    draft = path.with_name(f".{os.getpid()}")
    for name in (path, draft):
        if len(os.fsencode(name)) > MAX_PATH_BYTES:
            raise OverwinterError(f"socket {name}: the path is too long; at most {MAX_PATH_BYTES} bytes")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _expect_nobody(path)
        draft.unlink(missing_ok=True)
        listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            listening.bind(os.fspath(draft))
            draft.chmod(MODE)
            listening.listen(BACKLOG)
            made = draft.lstat()
            draft.rename(path)
        except BaseException:
            listening.close()
            draft.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise OverwinterError(f"socket {path}: {error.strerror or error}") from error
    return Bound(listening, path, made.st_dev, made.st_ino)


def _expect_nobody(path: Path) -> None:
    try:
        found = path.lstat()
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(found.st_mode):
        raise OverwinterError(f"socket {path}: something else than a socket stands there; remove it")
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(PROBE_S)
        try:
            probe.connect(os.fspath(path))
        except (ConnectionRefusedError, FileNotFoundError):
            return  # left by one that is gone
        except (BlockingIOError, TimeoutError):
            pass  # its queue is full: it lives
    raise OverwinterError(f"socket {path}: another guard answers there")

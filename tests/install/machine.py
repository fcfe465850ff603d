"""A machine to install on: this one's own files under a layer in memory, entered by chroot and thrown away.

No network is there, and no running systemd: the packages come from a folder that was filled once. All that an
installation changes anywhere lies in the layer, so that "changes nothing" can be looked at file by file.
"""

import hashlib
import os
import shutil
import stat
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCE = (
    *("Makefile", "pyproject.toml", "hatch_build.py", "README.md", "LICENSE"),
    *("src", "systemd", "man", "completion", "etc", "tools"),
)
"""What `make install` needs of the repository."""

PYTHON = "/usr/bin/python3"
TREE, WHEELS = "/srv/tree", "/srv/wheels"
OURS = ("opt/overwinter", "etc/overwinter", "var/lib/overwinter", "var/log/overwinter", "run/overwinter")
ENTER = 'mount -t proc proc "$0/proc" && mount --rbind /dev "$0/dev" && exec chroot "$0" "$@"'
ENVIRONMENT = {
    "PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin",
    "LC_ALL": "C.UTF-8",
    "HOME": "/root",
}

Listing = dict[str, tuple[object, ...]]


def refuse_to_run() -> None:
    """Skip where no such machine can be had, and say why."""
    if os.geteuid() != 0:
        pytest.skip("installing needs root: sudo make install does")
    needed = ("mount", "unshare", "chroot", "setpriv", "make", "systemd-sysusers", "systemctl")
    missing = [name for name in needed if shutil.which(name) is None]
    if missing:
        pytest.skip(f"not installed: {', '.join(missing)}")
    asked = [PYTHON, "-c", "import ensurepip, sys, venv; assert sys.version_info >= (3, 11)"]
    if not Path(PYTHON).exists() or subprocess.run(asked, capture_output=True, check=False).returncode != 0:
        pytest.skip(f"{PYTHON} with its venv module is needed, 3.11 or newer (apt-get install python3-venv)")


def copy_source(to: Path) -> None:
    """The tree as it would be fetched, without what was made in it."""
    unwanted = shutil.ignore_patterns("__pycache__", "*.pyc", "assets")
    for name in SOURCE:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, to / name, ignore=unwanted)
        else:
            to.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, to / name)


class Machine:
    """The layered root, and what can be done in it."""

    def __init__(self, layer: Path) -> None:
        self.layer = layer
        self.root = layer / "root"
        self.upper = layer / "upper"

    def path(self, absolute: str) -> Path:
        """A path of the machine, seen from outside."""
        return self.root / absolute.lstrip("/")

    def run(self, *words: str, check: bool = True, **variables: str) -> str:
        """One command on the machine; both its outputs together."""
        done = subprocess.run(
            [*self._entering(), *words],
            env={**ENVIRONMENT, **variables},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
            timeout=300,
        )
        assert not check or done.returncode == 0, f"{' '.join(words)} ended {done.returncode}:\n{done.stdout}"
        return done.stdout

    def start(self, *words: str, **variables: str) -> "subprocess.Popen[str]":
        """A command that goes on, in a process group of its own."""
        return subprocess.Popen(
            [*self._entering(), *words],
            env={**ENVIRONMENT, **variables},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )

    def make(self, target: str, *variables: str, check: bool = True) -> str:
        """`make` in the source tree, packages from the folder."""
        return self.run("make", "--silent", "-C", TREE, target, f"WHEELS={WHEELS}", *variables, check=check)

    def changed(self) -> Listing:
        """Everything that differs from the machine below: what it is, whose, when written, what is in it."""
        found: Listing = {}
        for path in sorted(self.upper.rglob("*")):
            name = str(path.relative_to(self.upper))
            if name.startswith(("srv", "tmp")):
                continue
            facts = path.lstat()
            content = str(path.readlink()) if path.is_symlink() else ""
            if stat.S_ISREG(facts.st_mode):
                content = hashlib.sha256(path.read_bytes()).hexdigest()
            owner = (facts.st_uid, facts.st_gid)
            found[name] = (stat.filemode(facts.st_mode), *owner, facts.st_mtime_ns, content)
        return found

    def _entering(self) -> list[str]:
        unshare = ("unshare", "--mount", "--net", "--propagation", "private")
        return [*unshare, "--", "sh", "-c", ENTER, str(self.root)]


def gone(row: tuple[object, ...]) -> bool:
    """Whether a line of `changed` says that something of the machine below was taken away."""
    return str(row[0]).startswith("c")


@contextmanager
def machine(folder: Path) -> Iterator[Machine]:
    """A clean one, on which overwinter never was."""
    layer = folder / "layer"
    layer.mkdir()
    _mount("-t", "tmpfs", "-o", "size=1g,mode=755", "overwinter-install", str(layer))
    try:
        for name in ("upper", "work", "root"):
            (layer / name).mkdir()
        options = f"lowerdir=/,upperdir={layer}/upper,workdir={layer}/work"
        _mount("-t", "overlay", "-o", options, "overwinter-install", str(layer / "root"))
        made = Machine(layer)
        for name in OURS:
            shutil.rmtree(made.path(name), ignore_errors=True)
        shutil.rmtree(made.path("/run/systemd/system"), ignore_errors=True)  # none runs in here
        yield made
    finally:
        for place in (layer / "root", layer):
            for _ in range(50):
                if subprocess.run(["umount", str(place)], check=False, capture_output=True).returncode == 0:
                    break
                time.sleep(0.1)
            else:
                subprocess.run(["umount", "--lazy", str(place)], check=False, capture_output=True)


def _mount(*words: str) -> None:
    done = subprocess.run(["mount", *words], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip(f"mount {' '.join(words)}: {done.stderr.strip()}")

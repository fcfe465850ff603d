"""A machine to try the units on: this one's own files under a layer that is thrown away, booted by nspawn.

Nothing is installed and no image is built: the program under test, its packages and its Python are bound in
under /opt/rig, where `ProtectHome=` does not hide them. What is asked of the machine happens in `inside.py`;
it leaves its findings in one JSON file.
"""

import json
import os
import shutil
import subprocess
import sys
import sysconfig
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import overwinter

UNITS = Path(__file__).parents[3] / "systemd"
BOOT_WITHIN_S = 240.0
"""For everything that happens inside; it takes about a minute and a half."""

RUN = f"""#!/bin/sh
export LD_LIBRARY_PATH=/opt/rig/python/lib PYTHONSAFEPATH=1 PYTHONDONTWRITEBYTECODE=1
export PYTHONPATH=$RIG_FIRST/opt/rig/program:/opt/rig/packages:/opt/rig/more
exec /opt/rig/python/bin/python{sys.version_info[0]}.{sys.version_info[1]} "$@"
"""
COMMAND = """#!/bin/sh
exec /opt/rig/run -m overwinter "$@"
"""
JOB = """
[Unit]
Description=what is to be found out
Wants=basic.target
After=basic.target
SuccessAction=poweroff
FailureAction=poweroff

[Service]
Type=oneshot
# Before the packages: some bring tests of their own under the same name.
Environment=RIG_FIRST=/opt/rig/job:
ExecStart=/opt/rig/run -m tests.rigs.systemd.inside
StandardOutput=append:/opt/rig/findings/said.txt
StandardError=append:/opt/rig/findings/said.txt
"""
ENTER = """
while [ "$1" != -- ]; do echo $$ >"$1/cgroup.procs" || exit; shift; done; shift; exec "$@"
"""
UNWANTED = (
    "console-getty.service",
    "systemd-networkd.service",
    "systemd-resolved.service",
    "systemd-udev-trigger.service",
    "systemd-udevd.service",
)
OURS = ("etc/overwinter", "var/lib/overwinter", "var/log/overwinter", "run/overwinter")


def findings(folder: Path) -> dict[str, Any]:
    """Boot, let `inside.py` find out, switch off. Skips where a machine like this cannot be had."""
    if os.geteuid() != 0:
        pytest.skip("booting a systemd of its own needs root")
    if shutil.which("systemd-nspawn") is None:
        pytest.skip("systemd-nspawn is not installed (apt-get install systemd-container)")
    found = folder / "findings"
    found.mkdir()
    log = folder / "boot.txt"
    with _layered(folder) as root, _own_cgroups() as cgroups, log.open("wb") as output:
        _furnish(root)
        command = [*_nspawn(root), f"--bind={found}:/opt/rig/findings", "--boot", "systemd.unit=rig.service"]
        machine = subprocess.Popen(
            ["sh", "-c", ENTER, "sh", *cgroups, "--", *command, "systemd.show_status=0"],
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=output,
        )
        try:
            machine.wait(BOOT_WITHIN_S)
        except subprocess.TimeoutExpired:
            machine.terminate()  # asks the machine to halt
            try:
                machine.wait(10)
            except subprocess.TimeoutExpired:
                machine.kill()
                machine.wait()
    said = found / "said.txt"
    if not said.exists():
        pytest.skip(f"no machine can be booted here: {log.read_text(errors='replace')[-1500:]}")
    told = f"{said.read_text(errors='replace')[-3000:]}\n{log.read_text(errors='replace')[-1500:]}"
    answer = found / "findings.json"
    assert answer.exists(), f"the machine found nothing out:\n{told}"
    facts: dict[str, Any] = json.loads(answer.read_text())
    return facts


@contextmanager
def _layered(folder: Path) -> Iterator[Path]:
    """This machine's files, and a layer in memory that takes every change."""
    layer, root = folder / "layer", folder / "layer" / "root"
    layer.mkdir()
    _mount("-t", "tmpfs", "-o", "size=512m,mode=755", "overwinter-rig", str(layer))
    try:
        for name in ("upper", "work", "root"):
            (layer / name).mkdir()
        _mount(
            *("-t", "overlay", "-o", f"lowerdir=/,upperdir={layer}/upper,workdir={layer}/work"),
            *("overwinter-rig", str(root)),
        )
        yield root
    finally:
        for place in (root, layer):
            subprocess.run(["umount", "--lazy", str(place)], check=False, capture_output=True)


@contextmanager
def _own_cgroups() -> Iterator[list[str]]:
    """Folders of control groups that no other machine on this one shares, removed afterwards."""
    mounts = {"name=systemd": Path("/sys/fs/cgroup/systemd"), "": Path("/sys/fs/cgroup/unified")}
    if not mounts[""].is_dir():
        mounts[""] = Path("/sys/fs/cgroup")
    made = []
    for line in Path("/proc/self/cgroup").read_text().splitlines():
        _, name, path = line.split(":", 2)
        if name in mounts:
            made.append(mounts[name] / path.lstrip("/") / f"overwinter-rig-{os.getpid()}")
    try:
        for folder in made:
            folder.mkdir()
    except OSError as error:
        pytest.skip(f"no control group can be made: {error}")
    try:
        yield [str(folder) for folder in made]
    finally:
        for folder in made:
            for below in sorted(folder.rglob("*/"), reverse=True):
                below.rmdir()
            folder.rmdir()


def _mount(*words: str) -> None:
    done = subprocess.run(["mount", *words], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip(f"mount {' '.join(words)}: {done.stderr.strip()}")


def _furnish(root: Path) -> None:
    for name in OURS:  # should the program be installed on this machine
        shutil.rmtree(root / name, ignore_errors=True)
    units = root / "etc/systemd/system"
    for left in units.glob("overwinter*"):
        shutil.rmtree(left) if left.is_dir() and not left.is_symlink() else left.unlink()
    for unit in UNITS.iterdir():
        shutil.copy(unit, units / unit.name)
    (units / "rig.service").write_text(JOB)
    for name in UNWANTED:
        (units / name).unlink(missing_ok=True)
        (units / name).symlink_to("/dev/null")
    for name, text in (("opt/rig/run", RUN), ("usr/local/bin/overwinter", COMMAND)):
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        path.write_text(text)
        path.chmod(0o755)
    # Volatile, so that it is the journal of this boot alone.
    shutil.rmtree(root / "var/log/journal", ignore_errors=True)


def _nspawn(root: Path) -> list[str]:
    paths = sysconfig.get_paths()
    bound = {
        "python": Path(sys.base_prefix),
        "program": Path(overwinter.__file__).parents[1],
        "packages": Path(paths["purelib"]),
        "more": Path(paths["platlib"]),
        "job/tests": Path(__file__).parents[2],
    }
    return [
        *("systemd-nspawn", "--quiet", "--directory", str(root), f"--machine=overwinter-rig-{os.getpid()}"),
        *("--private-network", "--register=no", "--keep-unit", "--link-journal=no"),
        "--capability=CAP_SYS_RESOURCE",  # for OOMScoreAdjust=; a real machine's systemd has it
        *(f"--bind-ro={source}:/opt/rig/{name}" for name, source in bound.items()),
    ]

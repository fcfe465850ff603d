"""The machine: QEMU without help from the processor, since that works everywhere; slow, but a true kernel.

It has a disk with the system (never written to), a disk with its job, no network, and two serial lines: the
first is its console, kept for whoever looks for a fault; the second carries the job's report, line by line.
"""

import os
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path

from tests.rigs.gpio.image import PROJECT, Image
from tests.rigs.gpio.recipe import VENV

QEMU = "qemu-system-x86_64"
MEMORY_MB = 768
GUEST = Path("tests/rigs/gpio/guest")
RUN = f"cd /job && exec {VENV}/bin/python -B -m {'.'.join(GUEST.parts)} >/dev/ttyS1 2>/dev/ttyS0\n"

KERNEL = "root=/dev/vda rw quiet mitigations=off nokaslr tsc=reliable console=ttyS0 systemd.show_status=0"


def why_not() -> str | None:
    """Why no machine can be started here; None where it can."""
    missing = [tool for tool in (QEMU, "mkfs.ext4", "setpriv") if shutil.which(tool, path=_path()) is None]
    return f"not installed: {', '.join(missing)}" if missing else None


def job_folder(place: Path) -> Path:
    """What the machine is to do: the guest's part of this package, and the units as they stand here."""
    job = place / "job"
    for folder in (GUEST, *list(GUEST.parents)[:-1]):
        (job / folder).mkdir(parents=True, exist_ok=True)
        (job / folder / "__init__.py").write_text("")
    for path in (PROJECT / GUEST).glob("*.py"):
        shutil.copy(path, job / GUEST)
    shutil.copytree(PROJECT / "systemd", job / "systemd")
    (job / "run").write_text(RUN)
    return job


def report(image: Image, *, console: Path, within_s: float) -> Iterator[str]:
    """Boot, and what the job says, line by line, until the machine is off or the time is over."""
    with tempfile.TemporaryDirectory(prefix="ow-gpio-") as place:
        disk = Path(place) / "job.img"
        job = job_folder(Path(place))
        words = ["mkfs.ext4", "-q", "-F", "-d", str(job), str(disk), "32M"]
        subprocess.run(words, check=True, capture_output=True, env={**os.environ, "PATH": _path()})
        machine = subprocess.Popen(
            _command(image, disk, console),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            text=True,
            errors="replace",
        )
        limit = threading.Timer(within_s, machine.kill)
        limit.start()
        try:
            assert machine.stdout is not None
            for line in machine.stdout:
                yield line.strip()
        finally:
            limit.cancel()
            machine.kill()
            machine.wait()


def _command(image: Image, job: Path, console: Path) -> list[str]:
    accelerator = ["-accel", "tcg,thread=multi", "-cpu", "max", "-smp", "2", "-m", str(MEMORY_MB)]
    quiet = ["-nodefaults", "-display", "none", "-no-reboot"]
    boot = ["-kernel", str(image.kernel), "-initrd", str(image.initrd), "-append", KERNEL]
    # snapshot: what the machine writes is forgotten with it.
    system = ["-drive", f"file={image.root},format=raw,if=virtio,snapshot=on"]
    task = ["-drive", f"file={job},format=raw,if=virtio,readonly=on"]
    lines = ["-serial", f"file:{console}", "-serial", "stdio"]
    # Whoever started it may be killed; it shall not run on alone.
    alone = ["setpriv", "--pdeathsig", "KILL", "nice"]
    return [*alone, QEMU, *accelerator, *quiet, *boot, *system, *task, *lines]


def _path() -> str:
    return f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin"

"""How the system in the machine is made: a bootable Debian 12 with systemd, Python and a GPIO chip.

Debian's kernels come without the simulated GPIO chip (gpio-sim), so it is built from the same kernel's
source, out of tree, with the interrupt simulator that it needs (irq_sim): one module, unsigned. Dependencies
of the project come as wheels into a venv; the project itself does not. A change of this file builds all anew.
"""

import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

SUITE = "bookworm"
SOURCE = "linux-source-6.1"  # Debian 12's kernel

PACKAGES = (
    "systemd",
    "systemd-sysv",
    "dbus",
    "udev",
    "kmod",
    # Not linux-image-cloud-amd64: it has no GPIO at all.
    "linux-image-amd64",
    "initramfs-tools",
    "python3",
    "python3-venv",
    "e2fsprogs",
)

NOT_NEEDED = (
    "/usr/share/doc/*",
    "/usr/share/locale/*",
    "/usr/share/man/*",
    "/lib/modules/*/kernel/drivers/net/*",
    "/lib/modules/*/kernel/drivers/gpu/*",
    "/lib/modules/*/kernel/drivers/media/*",
    "/lib/modules/*/kernel/sound/*",
)

MASKED = (
    "apt-daily.timer",
    "apt-daily-upgrade.timer",
    "dpkg-db-backup.timer",
    "e2scrub_all.timer",
    "e2scrub_reap.service",
    "serial-getty@ttyS0.service",
)

VENV = "/opt/overwinter"

WHEELS_FOR = tuple(f"manylinux_2_{minor}_x86_64" for minor in (34, 28, 17))

JOB_UNIT = """\
[Unit]
Description=what the rig does in here
After=multi-user.target
[Service]
Type=oneshot
ExecStartPre=/bin/mount -o ro /dev/vdb /job
ExecStart=/bin/sh /job/run
ExecStopPost=/usr/bin/systemctl poweroff --no-block
"""

MODULE_MAKEFILE = """\
obj-m := gpio-sim-oot.o
gpio-sim-oot-y := gpio-sim.o irq_sim.o
ccflags-y := -DCONFIG_IRQ_SIM=1
"""


# What is mounted in the new root while it is made is mounted nowhere else, and is gone with whoever made it:
# otherwise a build that was killed would leave the true /dev and /sys under a folder that is to be removed.
APART = ("unshare", "--mount", "--propagation", "private", "--pid", "--fork", "--kill-child", "--")


class CannotBuild(Exception):
    """The image cannot be made here; the text says why."""


def why_not() -> str | None:
    """Why no image can be built here; None where it can."""
    if platform.system() != "Linux" or platform.machine() != "x86_64":
        return f"{platform.system()} on {platform.machine()}: the rig is built for Linux on x86_64"
    if os.getuid() != 0:
        return "building the machine's root needs root (mmdebstrap, chroot)"
    release = platform.freedesktop_os_release()
    if (release.get("ID"), release.get("VERSION_CODENAME")) != ("debian", SUITE):
        return f"{release.get('PRETTY_NAME')}: headers and source of the kernel come from Debian 12 ({SUITE})"
    missing = [
        tool for tool in ("mmdebstrap", "mkfs.ext4", "unshare", "gcc", "make", "xz") if not _found(tool)
    ]
    return f"not installed: {', '.join(missing)}" if missing else None


def build(folder: Path, wanted: Sequence[str]) -> None:
    """Kernel, initrd and a folder `root`, made in `folder`."""
    root = folder / "root"
    wheels = folder / "wheels"
    wheels.mkdir(parents=True)
    _fetch_wheels(wheels, wanted)
    _debian(root)
    _settle(root)
    shutil.copytree(wheels, root / "wheels")
    run(["chroot", root, "python3", "-m", "venv", VENV])
    pip_in(root, ["--find-links", "/wheels", *wanted])
    shutil.rmtree(root / "wheels")
    (version,) = [path.name for path in (root / "lib/modules").iterdir()]
    _module(folder / "module", version)
    shutil.copy(folder / "module/gpio-sim-oot.ko", root / "usr/local/lib/")
    shutil.copy(root / f"boot/vmlinuz-{version}", folder / "vmlinuz")
    shutil.copy(root / f"boot/initrd.img-{version}", folder / "initrd")


def _fetch_wheels(wheels: Path, wanted: Sequence[str]) -> None:
    pip = [sys.executable, "-m", "pip", "--quiet"]
    # The one dependency that comes as source only; it is pure, so it may be built by any Python.
    run([*pip, "wheel", "--no-deps", "--wheel-dir", wheels, *(text for text in wanted if "sdnotify" in text)])
    platforms = [word for name in WHEELS_FOR for word in ("--platform", name)]
    only = ["--only-binary=:all:", "--python-version", "3.11", "--implementation", "cp", *platforms]
    run([*pip, "download", "--dest", wheels, "--find-links", wheels, *only, *wanted])


def _debian(root: Path) -> None:
    initramfs = "$1/etc/initramfs-tools"
    run(
        [
            *APART,
            "mmdebstrap",
            "--quiet",
            "--variant=minbase",
            "--mode=root",
            f"--include={','.join(PACKAGES)}",
            *(f"--dpkgopt=path-exclude={path}" for path in NOT_NEEDED),
            # No hardware but the machine's own disks: a small initrd is a fast start.
            f'--essential-hook=mkdir -p "{initramfs}/conf.d" && echo MODULES=list >"{initramfs}/conf.d/rig"',
            f'--essential-hook=printf "virtio_pci\\nvirtio_blk\\next4\\n" >"{initramfs}/modules"',
            SUITE,
            root,
        ]
    )


def _settle(root: Path) -> None:
    (root / "etc/hostname").write_text("pumphouse\n")
    (root / "etc/fstab").write_text("/dev/vda / ext4 defaults 0 1\n")
    (root / "job").mkdir()
    system = root / "etc/systemd/system"
    for unit in MASKED:
        (system / unit).unlink(missing_ok=True)
        (system / unit).symlink_to("/dev/null")
    (system / "rig.service").write_text(JOB_UNIT)
    wants = system / "default.target.wants"
    wants.mkdir(exist_ok=True)
    (wants / "rig.service").symlink_to("../rig.service")
    shutil.rmtree(root / "var/lib/apt/lists")
    shutil.rmtree(root / "var/cache/apt")


def _module(work: Path, version: str) -> None:
    """gpio-sim for the machine's kernel."""
    waiting = "-oDPkg::Lock::Timeout=300"  # somebody else may be installing too
    words = ["apt-get", "install", waiting, "-y", "-qq", "--no-install-recommends"]
    run([*words, f"linux-headers-{version}", SOURCE])
    work.mkdir(parents=True)
    files = ("drivers/gpio/gpio-sim.c", "drivers/gpio/gpiolib.h", "kernel/irq/irq_sim.c")
    members = [f"{SOURCE}/{file}" for file in files]
    run(["tar", "-C", work, "-xf", f"/usr/src/{SOURCE}.tar.xz", *members])
    for member in members:
        shutil.move(work / member, work)
    source = work / "irq_sim.c"
    # What it calls is not exported to modules; this is the same thing by way of what is.
    source.write_text(
        source.read_text().replace("irq_to_desc(irqnum)", "irq_data_to_desc(irq_get_irq_data(irqnum))")
    )
    (work / "Makefile").write_text(MODULE_MAKEFILE)
    run(["make", "-s", "-C", f"/usr/src/linux-headers-{version}", f"M={work}", "modules"])


def pip_in(root: Path, words: Sequence[str]) -> None:
    """Install into the venv of the system, from what lies in it."""
    # --isolated: what pip is told on this machine (indexes, folders) means nothing in there.
    pip = [f"{VENV}/bin/python", "-m", "pip", "--quiet", "--isolated", "--disable-pip-version-check"]
    run(["chroot", root, *pip, "install", "--no-index", *words])


def _found(tool: str) -> bool:
    return shutil.which(tool, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin") is not None


def run(words: Sequence[str | Path]) -> None:
    """A command, quietly and politely.

    Raises
    ------
    CannotBuild
        It failed; the text has the end of what it said.
    """
    environment = {
        **os.environ,
        "PATH": f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin",
        "DEBIAN_FRONTEND": "noninteractive",
        "LC_ALL": "C",
    }
    done = subprocess.run(
        ["nice", *words],
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        said = (done.stderr or done.stdout)[-3000:]
        raise CannotBuild(f"{' '.join(map(str, words))[:200]}: exit code {done.returncode}\n{said}")

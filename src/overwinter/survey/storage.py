"""Will what is written still be there: kind of file system, space, read-only, errors, wear, journal, swap."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from overwinter.core.nouns import Site
from overwinter.store.lines import NAME
from overwinter.survey.finding import Finding, fault, hint, not_seen, sound
from overwinter.survey.machine import CannotLook, Machine, Space
from overwinter.survey.scene import Scene

VOLATILE = frozenset({"tmpfs", "ramfs", "overlay", "overlayfs", "devtmpfs"})
"""File systems whose content is gone with the power. An overlay's changes usually lie in memory, as on an SD
card that is kept read-only."""

RESERVE_BYTES = 32 * 1024 * 1024
"""What must be free beyond the logbook's own bound: drafts, last-good copies, and everybody else's log."""

FREE_SHARE = 0.1
FREE_FILES = 1000

LIFE_WORN = 10
LIFE_WEARING = 8
"""life_time counts in steps of 10 %: 0x0a is 90 to 100 % of the life, 0x0b beyond it (e.MMC 5.0, EXT_CSD; the
kernel prints `0x%02x 0x%02x`, drivers/mmc/core/mmc.c)."""

PRE_EOL_WARNING = 2
PRE_EOL_URGENT = 3
"""pre_eol_info: 1 normal, 2 80 % of the spare blocks are used, 3 90 % (the same source)."""

_ESCAPES = {"\\040": " ", "\\011": "\t", "\\012": "\n", "\\134": "\\"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mount:
    """One line of /proc/self/mountinfo, as proc(5) describes it."""

    point: str
    kind: str
    source: str
    read_only: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """What an eMMC or a card says of its own wear."""

    name: str
    life: int | None = None
    pre_eol: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Storage:
    """What the disks say."""

    folders: Mapping[str, Mount] = field(default_factory=dict)  # state and logs: where they lie
    spaces: Mapping[str, Space] = field(default_factory=dict)  # by mount point
    logbook_bytes: int | None = 0  # what the logbook has already; None: not known
    ext4_errors: Mapping[str, int] = field(default_factory=dict)  # by device
    cards: tuple[Card, ...] = ()
    journal: str = ""  # volatile, persistent, none; empty: no journald
    swaps: tuple[str, ...] = ()
    unseen: tuple[tuple[str, str], ...] = ()  # what, why


def look(machine: Machine, scene: Scene) -> Storage:
    """Mounts, space, error counters, wear, journal, swap."""
    unseen: list[tuple[str, str]] = []
    folders: dict[str, Mount] = {}
    spaces: dict[str, Space] = {}
    try:
        mounts = mounts_of(machine.text("/proc/self/mountinfo") or "")
        for folder in dict.fromkeys((scene.at.state, scene.at.logs)):
            real = machine.real(folder)
            mount = mount_of(real, mounts)
            if mount is None:
                unseen.append((folder, "its file system is not among those mounted"))
                continue
            folders[folder] = mount
            spaces[mount.point] = machine.space(real)
    except CannotLook as error:
        unseen.append(("where settings and logbook lie", str(error)))
    return Storage(
        folders=folders,
        spaces=spaces,
        logbook_bytes=_logbook_bytes(machine, scene),
        ext4_errors=_ext4_errors(machine, unseen),
        cards=_cards(machine),
        journal=_journal(machine, scene),
        swaps=_swaps(machine),
        unseen=tuple(unseen),
    )


def findings(seen: Storage, scene: Scene) -> Iterator[Finding]:
    """What is to be said of the disks."""
    for what, why_not in seen.unseen:
        yield not_seen("storage", what, why_not, why="What is written there may not last.")
    for folder, mount in seen.folders.items():
        yield from _folder(folder, mount, seen, scene)
    for mount in {mount.point: mount for mount in seen.folders.values()}.values():
        space = seen.spaces.get(mount.point)
        if space is not None and mount.kind not in VOLATILE:
            yield from _space(mount, space, seen.logbook_bytes, scene.site)
    yield from _errors(seen)
    for card in seen.cards:
        yield from _wear(card)
    yield from _journal_findings(seen)
    yield from _swap(seen)


def _folder(folder: str, mount: Mount, seen: Storage, scene: Scene) -> Iterator[Finding]:
    what = "logbook" if folder == scene.at.logs else "settings"
    if mount.kind in VOLATILE:
        alone = (
            "nothing else remembers" if seen.journal in {"volatile", "none"} else "only the journal remembers"
        )
        yield fault(
            f"{what}-volatile",
            folder,
            f"lies on {mount.kind} ({mount.point}), whose content is gone with the power",
            why=f"A power cut forgets what happened in the house, and {alone}."
            if what == "logbook"
            else "A power cut forgets band and mode: the house is kept as on the first day.",
            fix="Put it on the card: switch the overlay file system off (`sudo raspi-config`), or name "
            "another folder in the unit. Where it lies now:",
            command=f"findmnt --target {folder}",
        )
    elif mount.read_only:
        yield fault(
            f"{what}-read-only",
            folder,
            f"lies on {mount.point}, which is mounted read-only",
            why="No setting can be changed, nothing is recorded; a disk with errors turns so by itself.",
            fix="Look for errors with `journalctl -k`; if there are none:",
            command=f"sudo mount -o remount,rw {mount.point}",
        )
    else:
        yield sound(f"{what}-place", folder, f"lies on {mount.kind}, and can be written")


def _space(mount: Mount, space: Space, logbook_bytes: int | None, site: Site | None) -> Iterator[Finding]:
    most = site.max_bytes if site is not None else Site().max_bytes
    needed = RESERVE_BYTES + max(0, most - (logbook_bytes or 0))
    value = f"{_mega(space.free_bytes)} free of {_mega(space.total_bytes)}"
    grade: Callable[..., Finding] = fault
    if space.free_bytes < needed:
        value += f"; the logbook may yet need {_mega(needed)}"
    elif space.total_files and space.free_files < FREE_FILES:
        value = f"only {space.free_files} more files (inodes)"
    elif space.free_bytes < FREE_SHARE * space.total_bytes:
        grade = hint
    else:
        yield sound("disk-space", mount.point, value)
        return
    yield grade(
        "disk-full",
        mount.point,
        value,
        why="On a full disk no setting can be changed and nothing is recorded; heat goes on.",
        fix="Make room; the largest things are told by:",
        command=f"sudo du -xh --max-depth=3 {mount.point} | sort -h | tail",
    )


def _errors(seen: Storage) -> Iterator[Finding]:
    for device, count in seen.ext4_errors.items():
        if not count:
            yield sound("disk-errors", f"ext4 on {device}", "has counted no error")
            continue
        yield fault(
            "disk-errors",
            f"ext4 on {device}",
            f"has counted {count} error{'s' if count > 1 else ''} since it was last checked",
            why="A card that begins to fail loses the system some night, and the guard with it.",
            fix="Copy the logbook, put a new card in, or have it checked: add these words to the one line of "
            "cmdline.txt, reboot, take them out.",
            command="fsck.mode=force fsck.repair=yes",
        )


def _wear(card: Card) -> Iterator[Finding]:
    life, pre_eol = card.life or 0, card.pre_eol or 0
    said = []
    if card.life is not None:
        said.append("past its life" if life > LIFE_WORN else f"{max(life - 1, 0) * 10} to {life * 10} % used")
    if card.pre_eol is not None and pre_eol >= PRE_EOL_WARNING:
        said.append(f"{90 if pre_eol >= PRE_EOL_URGENT else 80} % of its spare blocks used")
    if life < LIFE_WEARING and pre_eol < PRE_EOL_WARNING:
        yield sound("disk-wear", card.name, ", ".join(said) or "not worn")
        return
    is_worn = life >= LIFE_WORN or pre_eol >= PRE_EOL_URGENT
    yield (fault if is_worn else hint)(
        "disk-worn",
        card.name,
        ", ".join(said),
        why="Worn flash turns read-only or loses files, in the coldest night as in any other.",
        fix="Copy the system to a new card or module at the next visit.",
    )


def _journal_findings(seen: Storage) -> Iterator[Finding]:
    if seen.journal in {"volatile", "none"}:
        yield hint(
            "journal-volatile",
            "the system journal",
            "is kept in memory" if seen.journal == "volatile" else "keeps nothing",
            why="After a power cut it cannot be asked what the kernel and the guard said before.",
            fix="The logbook has what matters. To keep the journal too, put these lines into "
            "/etc/systemd/journald.conf.d/99-keep.conf and restart systemd-journald:",
            command="[Journal]\nStorage=persistent\nSystemMaxUse=64M",
        )
    elif seen.journal:
        yield sound("journal", "the system journal", "is kept on disk")


def _swap(seen: Storage) -> Iterator[Finding]:
    if seen.swaps:
        yield hint(
            "swap",
            ", ".join(seen.swaps),
            "is swap on a disk or card",
            why="Swapping wears a card out, and makes everything wait while the memory is short.",
            fix="Switch it off, for good in /etc/fstab or by disabling dphys-swapfile; zram is fine.",
            command="sudo swapoff -a",
        )
    else:
        yield sound("swap", "swap", "is not on a disk or card")


def mounts_of(text: str) -> list[Mount]:
    """/proc/self/mountinfo (proc(5)): id parent major:minor root POINT OPTIONS fields - KIND SOURCE SUPER."""
    mounts = []
    for line in text.splitlines():
        head, dash, tail = line.partition(" - ")
        first, last = head.split(), tail.split()
        if not dash or len(first) < 6 or len(last) < 3:
            continue
        read_only = "ro" in first[5].split(",") or "ro" in last[2].split(",")
        mounts.append(
            Mount(point=_plain(first[4]), kind=last[0], source=_plain(last[1]), read_only=read_only)
        )
    return mounts


def mount_of(path: str, mounts: list[Mount]) -> Mount | None:
    """The file system that a path lies on: the longest mount point above it, the last mounted of equals."""
    at = PurePosixPath(path)
    above = [mount for mount in mounts if at.is_relative_to(mount.point)]
    return max(reversed(above), key=lambda mount: len(PurePosixPath(mount.point).parts), default=None)


def _plain(text: str) -> str:
    for escape, letter in _ESCAPES.items():
        text = text.replace(escape, letter)
    return text


def _logbook_bytes(machine: Machine, scene: Scene) -> int | None:
    """What its files hold by now."""
    sizes = [machine.size(name) for name in machine.names(f"{scene.at.logs}/{NAME}*")]
    return None if None in sizes else sum(size for size in sizes if size is not None)


def _ext4_errors(machine: Machine, unseen: list[tuple[str, str]]) -> dict[str, int]:
    """/sys/fs/ext4/DEVICE/errors_count: errors that ext4 met since the last check (fs/ext4/sysfs.c)."""
    errors = {}
    for path in machine.names("/sys/fs/ext4/*/errors_count"):
        device = path.split("/")[4]
        try:
            said = (machine.text(path) or "").strip()
        except CannotLook as error:
            unseen.append((f"ext4 on {device}", str(error)))
            continue
        if said.isdigit():
            errors[device] = int(said)
    return errors


def _cards(machine: Machine) -> tuple[Card, ...]:
    cards = []
    for folder in machine.names("/sys/bus/mmc/devices/*"):
        try:
            life = _hexes(machine.text(f"{folder}/life_time"))
            pre_eol = _hexes(machine.text(f"{folder}/pre_eol_info"))
        except CannotLook:
            continue
        if life or pre_eol:  # SD cards tell neither
            name = f"flash {folder.rsplit('/', 1)[-1]}"
            cards.append(Card(name=name, life=max(life, default=None), pre_eol=max(pre_eol, default=None)))
    return tuple(cards)


def _hexes(text: str | None) -> list[int]:
    try:
        return [int(word, 16) for word in (text or "").split()]
    except ValueError:
        return []


def _journal(machine: Machine, scene: Scene) -> str:
    """Storage= of journald.conf(5): the last file that says it counts; auto means: if the folder is there."""
    if not scene.has_systemd:
        return ""
    said = "auto"
    files = {name.rsplit("/", 1)[-1]: name for name in _drop_ins(machine)}
    for path in ("/etc/systemd/journald.conf", *(files[name] for name in sorted(files))):
        try:
            text = machine.text(path) or ""
        except CannotLook:
            continue
        for line in text.splitlines():
            key, equals, value = line.partition("=")
            if equals and key.strip() == "Storage":
                said = value.strip().lower() or "auto"
    if said == "auto":
        return "persistent" if machine.exists("/var/log/journal") else "volatile"
    return said


def _drop_ins(machine: Machine) -> Iterator[str]:
    # A file of the same name in a later folder replaces the earlier one.
    for folder in ("/usr/lib", "/usr/local/lib", "/run", "/etc"):
        yield from machine.names(f"{folder}/systemd/journald.conf.d/*.conf")


def _swaps(machine: Machine) -> tuple[str, ...]:
    """/proc/swaps (proc(5)): after a head line, the name comes first; zram is memory."""
    try:
        lines = (machine.text("/proc/swaps") or "").splitlines()[1:]
    except CannotLook:
        return ()
    names = [line.split()[0] for line in lines if line.split()]
    return tuple(name for name in names if not name.startswith("/dev/zram"))


def _mega(size_bytes: int) -> str:
    return f"{size_bytes / 1e6:.0f} MB" if size_bytes < 1e9 else f"{size_bytes / 1e9:.1f} GB"

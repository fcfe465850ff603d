"""The door to the machine, on this one: real files, real commands, a real kernel where it has the device."""

import os
import re
import struct
from pathlib import Path

import pytest

from overwinter.store.atomic import write_copy
from overwinter.survey import machine as door
from overwinter.survey.machine import CannotLook, Line, Machine, line_of
from overwinter.survey.service import span_s
from overwinter.survey.storage import mount_of, mounts_of


def test_files_are_looked_for_below_the_root(tmp_path: Path) -> None:
    (tmp_path / "sys").mkdir()
    (tmp_path / "sys" / "name").write_bytes(b"rpi\xff\n")
    there = Machine(tmp_path)

    assert there.text("/sys/name") == "rpi\ufffd\n"
    assert there.exists("/sys/name")
    assert there.names("/sys/*") == ["/sys/name"]
    assert there.size("/sys/name") == 5
    assert there.text("/sys/none") is None
    assert there.text("/sys/name/none") is None
    assert not there.exists("/proc")
    assert there.size("/proc") is None
    assert there.names("/proc/*") == []


def test_what_cannot_be_read_is_not_what_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(CannotLook, match="Is a directory"):
        Machine(tmp_path.parent).text(f"/{tmp_path.name}")
    with pytest.raises(CannotLook, match="/none: No such file"):
        Machine(tmp_path).node("/none")
    with pytest.raises(CannotLook, match="No such file"):
        Machine(tmp_path).space("/none")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_rights_cannot_be_looked_at(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("x")
    (tmp_path / "secret").chmod(0)

    with pytest.raises(CannotLook, match="Permission denied"):
        Machine(tmp_path).text("/secret")


def test_a_huge_file_is_not_read_to_its_end(tmp_path: Path) -> None:
    (tmp_path / "huge").write_bytes(b"x" * (door.FILE_BYTES_MAX + 10))

    assert len(Machine(tmp_path).content("/huge") or b"") == door.FILE_BYTES_MAX


def test_a_torn_copy_is_none(tmp_path: Path) -> None:
    write_copy(tmp_path / "copy", b"whole")
    assert Machine(tmp_path).copy("/copy") == b"whole"

    (tmp_path / "copy").write_bytes((tmp_path / "copy").read_bytes()[:-1])

    assert Machine(tmp_path).copy("/copy") is None
    assert Machine(tmp_path).copy("/none") is None
    assert Machine(tmp_path).state("/none") is None


def test_a_path_is_followed_through_links_and_to_what_is_there(tmp_path: Path) -> None:
    (tmp_path / "var" / "lib").mkdir(parents=True)
    (tmp_path / "state").symlink_to("var/lib")
    there = Machine(tmp_path)

    assert there.real("/state") == "/var/lib"
    assert there.real("/state/none/yet") == "/var/lib"
    assert there.real("/none") == "/"


def test_a_command_is_run_and_failure_is_none() -> None:
    here = Machine()

    assert here.run("echo", "a b") == "a b\n"
    assert here.run("false") is None
    assert here.run("no-such-program-anywhere") is None


def test_a_command_that_hangs_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "RUN_S", 0.2)

    with pytest.raises(CannotLook, match=r"did not end within 0\.2 s"):
        Machine().run("sleep", "60")


def test_a_line_is_asked_for_as_the_kernel_s_header_says() -> None:
    """<linux/gpio.h>: 32 + 32 + 4 + 4 + 8 + 10 attributes of 16 + 4 words of padding, number 5 of 0xB4."""
    assert door._LINE_INFO.size == 256
    assert door._LINE_INFO_IOCTL == 0xC100B405

    header = Path("/usr/include/linux/gpio.h")
    if not header.exists():
        pytest.skip("this machine has no <linux/gpio.h> to compare with")
    text = header.read_text()
    assert re.search(r"GPIO_V2_GET_LINEINFO_IOCTL _IOWR\(0xB4, 0x05, struct gpio_v2_line_info\)", text)
    assert re.search(r"GPIO_V2_LINE_FLAG_USED\s*= _BITULL\(0\)", text)
    assert re.search(r"GPIO_MAX_NAME_SIZE 32", text)
    assert re.search(r"GPIO_V2_LINE_NUM_ATTRS_MAX 10", text)


def test_what_the_kernel_fills_in_is_read() -> None:
    info = struct.pack("=32s32sIIQ", b"GPIO17", b"lg", 17, 0, 1 << 3 | 1) + bytes(176)
    free = struct.pack("=32s32sIIQ", b"GPIO17", b"", 17, 0, 1 << 2) + bytes(176)

    assert line_of(info) == Line(used=True, consumer="lg")
    assert line_of(free) == Line(used=False, consumer="")


def test_a_file_that_is_no_gpio_chip_cannot_be_asked(tmp_path: Path) -> None:
    (tmp_path / "chip").write_text("")

    with pytest.raises(CannotLook, match="/chip: "):
        Machine(tmp_path).line("/chip", 17)


@pytest.mark.skipif(not os.access("/dev/gpiochip0", os.R_OK), reason="no /dev/gpiochip0 to read here")
def test_a_real_line_is_asked() -> None:
    assert isinstance(Machine().line("/dev/gpiochip0", 0).used, bool)


def test_a_guard_that_is_not_there_cannot_be_asked(tmp_path: Path) -> None:
    with pytest.raises(CannotLook, match="no socket") as caught:
        Machine().ask(str(tmp_path / "none"), "status")

    assert "systemctl" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("30s", 30.0),
        ("1min 30s", 90.0),
        ("2min", 120.0),
        ("500ms", 0.5),
        ("1h 5min", 3900.0),
        ("0", 0.0),
        ("off", 0.0),
        ("infinity", float("inf")),
        ("", None),
        ("?", None),
    ],
)
def test_a_time_as_systemd_prints_it(text: str, seconds: float | None) -> None:
    assert span_s(text) == seconds


def test_this_machine_s_own_mounts_are_understood() -> None:
    mounts = mounts_of(Path("/proc/self/mountinfo").read_text())

    assert len(mounts) == len(Path("/proc/self/mountinfo").read_text().splitlines())
    proc = mount_of("/proc/self", mounts)
    assert proc is not None
    assert proc.kind == "proc"


def test_a_path_lies_on_the_nearest_mount_and_on_the_last_of_two() -> None:
    mounts = mounts_of(
        "26 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw\n"
        "41 26 0:30 / /var/log rw - tmpfs tmpfs rw\n"
        "42 26 8:1 / /var/log ro,nosuid - ext4 /dev/sda1 rw\n"
        "43 26 0:31 / /mnt/my\\040disk rw - vfat /dev/sdb1 ro\n"
        "torn line\n"
    )

    def on(path: str) -> str | None:
        mount = mount_of(path, mounts)
        return None if mount is None else f"{mount.point} {mount.kind} {mount.read_only}"

    assert on("/var/log/overwinter") == "/var/log ext4 True"
    assert on("/var/logs") == "/ ext4 False"
    assert on("/mnt/my disk/x") == "/mnt/my disk vfat True"
    assert mount_of("/x", []) is None

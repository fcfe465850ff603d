"""Each fault is put into a machine that is otherwise in good order, and is found with its fix, and alone."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import check
from overwinter.survey.finding import Finding, Grade
from overwinter.survey.machine import Line, Node, Space
from tests.guard.house import House
from tests.survey.conftest import beside, start
from tests.survey.machine import PASSED, SYS_SENSORS, Fake

CONFIG = "/boot/firmware/config.txt"
MMC = "/sys/bus/mmc/devices/mmc0:0001"
MOUNTS = "/proc/self/mountinfo"
ROOT_MOUNT = "26 1 179:2 / / rw,noatime shared:1 - ext4 /dev/mmcblk0p2 rw"


def faults(machine: Fake) -> dict[str, Finding]:
    return {one.code: one for one in machine.survey().of(Grade.FAULT)}


def exit_code(machine: Fake, monkeypatch: pytest.MonkeyPatch, *argv: str) -> int:
    at = machine.at
    monkeypatch.setattr(check, "MACHINE", lambda: machine)
    places = ["--site", at.site, "--state", at.state, "--logs", at.logs, "--socket", at.socket]
    return check.run([*places, *argv])


def no_gpio_group(machine: Fake) -> None:
    machine.unit(".service", SupplementaryGroups="")
    machine.edit("/etc/group", "gpio:x:986:ada,overwinter", "gpio:x:986:ada")


def unreadable_gpio(machine: Fake) -> None:
    machine.nodes["/dev/gpiochip0"] = Node(uid=0, gid=0, mode=0o600)


def lines(**taken: Line) -> Callable[[Fake], None]:
    return lambda machine: machine.lines.update({17: taken["relay"]})


def config(text: str) -> Callable[[Fake], None]:
    return lambda machine: machine.add(CONFIG, text)


def site(old: str, new: str) -> Callable[[Fake], None]:
    return lambda machine: machine.edit_site(old, new)


def unit(name: str, **properties: str) -> Callable[[Fake], None]:
    return lambda machine: machine.unit(name, **properties)


def without_unit(name: str) -> Callable[[Fake], None]:
    return lambda machine: machine.units.pop(f"overwinter{name}") and None


def put(path: str, text: str) -> Callable[[Fake], None]:
    return lambda machine: machine.put(path, text)


def drop(path: str) -> Callable[[Fake], None]:
    return lambda machine: machine.drop(path)


def edit(path: str, old: str, new: str) -> Callable[[Fake], None]:
    return lambda machine: machine.edit(path, old, new)


def both(*steps: Callable[[Fake], None]) -> Callable[[Fake], None]:
    def spoil(machine: Fake) -> None:
        for step in steps:
            step(machine)

    return spoil


def space(**amounts: int) -> Callable[[Fake], None]:
    usual = {"free_bytes": 20 * 10**9, "total_bytes": 30 * 10**9, "free_files": 10**6, "total_files": 10**7}

    def spoil(machine: Fake) -> None:
        for folder in (machine.at.state, machine.at.logs):
            machine.spaces[folder] = Space(**{**usual, **amounts})

    return spoil


SETTINGS_FILE = "/var/lib/overwinter/settings.toml"
SITE_FILE = "/etc/overwinter/site.toml"
SPOILT: list[Any] = [
    # How to spoil it; its code; what must stand in what was found; what in the fix.
    pytest.param(no_gpio_group, "gpio-group", "overwinter", "usermod -aG gpio overwinter", id="wrong group"),
    pytest.param(unreadable_gpio, "gpio-access", "mode 0600", "60-gpio.rules", id="no access to gpio"),
    pytest.param(
        drop("/dev/gpiochip0"), "gpio-missing", "/dev/gpiochip0", "ls -l /dev/gpiochip", id="no gpio"
    ),
    pytest.param(
        lines(relay=Line(used=True, consumer="fan-control")),
        "pin-busy",
        'GPIO 17 is used by "fan-control"',
        "gpioinfo",
        id="another program has the relay's pin",
    ),
    pytest.param(
        lines(relay=Line(used=True, consumer="")),
        "pin-busy",
        "the kernel, for another function",
        "config.txt",
        id="the kernel has the relay's pin",
    ),
    pytest.param(
        lines(relay=Line(used=False, consumer="")),
        "relay-not-held",
        "GPIO 17",
        "GPIOZERO_PIN_FACTORY",
        id="the guard drives nothing",
    ),
    pytest.param(
        config("dtoverlay=w1-gpio,gpiopin=17\n"),
        "pin-kernel",
        f"`dtoverlay=w1-gpio,gpiopin=17` ({CONFIG}, line 6)",
        "reboot",
        id="1-wire on the relay's pin",
    ),
    pytest.param(
        both(
            site("pin = 17", "pin = 10"),
            lambda machine: machine.lines.update({10: Line(used=True, consumer="lg")}),
            config("dtparam=spi=on\n"),
        ),
        "pin-kernel",
        "GPIO 10 is taken by `dtparam=spi=on`",
        "Take the line out",
        id="spi on the relay's pin",
    ),
    pytest.param(
        site("pin = 17", "pin = 17\nactive_high = false"),
        "relay-boot",
        "is low while the board boots",
        "gpio=17=op,dh",
        id="an active-low relay pulls in at boot",
    ),
    pytest.param(
        config("gpio=17=op,dh\n"),
        "relay-boot",
        "is high while the board boots",
        "gpio=17=op,dl",
        id="config.txt pulls the relay in",
    ),
    pytest.param(
        site("iio:device1", "iio:device0/"),
        "sensor-twice",
        "by the riser",
        "ls -d /sys/bus/iio/devices",
        id="two sensors on one path",
    ),
    pytest.param(
        site('kind = "gpio"\npin = 17', 'kind = "simulated"'),
        "simulated",
        "the relay",
        "really wired",
        id="a simulated relay",
    ),
    pytest.param(
        without_unit(".service"),
        "service-missing",
        "not installed",
        "enable --now overwinter.service",
        id="no unit",
    ),
    pytest.param(
        unit(".service", UnitFileState="disabled"),
        "service-disabled",
        "is disabled",
        "sudo systemctl enable overwinter.service",
        id="unit not enabled",
    ),
    pytest.param(
        unit(".service", UnitFileState="masked"), "service-disabled", "is masked", "unmask", id="unit masked"
    ),
    pytest.param(
        both(unit(".service", ActiveState="failed"), unit(".socket", ActiveState="inactive")),
        "service-inactive",
        "is failed",
        "sudo systemctl restart overwinter.service",
        id="unit failed",
    ),
    pytest.param(
        without_unit(".socket"),
        "socket-missing",
        "not installed",
        "enable --now overwinter.socket",
        id="no socket",
    ),
    pytest.param(
        unit(".socket", UnitFileState="disabled"),
        "socket-disabled",
        "overwinter.socket is disabled",
        "systemctl enable overwinter.socket",
        id="socket not enabled",
    ),
    pytest.param(
        unit(".socket", ActiveState="failed"),
        "socket-inactive",
        "is failed",
        "systemctl start overwinter.socket",
        id="socket not active",
    ),
    pytest.param(
        unit(".service", WatchdogUSec="0"), "watchdog", "no watchdog", "WatchdogSec=30", id="watchdog off"
    ),
    pytest.param(
        unit(".service", WatchdogUSec="infinity"),
        "watchdog",
        "watchdog",
        "WatchdogSec=30",
        id="watchdog never",
    ),
    pytest.param(
        lambda machine: machine.manager.update(RuntimeWatchdogUSec="0"),
        "board-watchdog",
        "not used by systemd",
        "RuntimeWatchdogSec=15",
        id="the board's watchdog is not used",
    ),
    pytest.param(
        drop("/dev/watchdog"),
        "board-watchdog",
        "/dev/watchdog",
        "dtparam=watchdog=on",
        id="no board watchdog",
    ),
    pytest.param(
        unit(".service", Environment="GPIOZERO_PIN_FACTORY=pigpio"),
        "pin-factory",
        "is pigpio",
        "restart overwinter.service",
        id="another pin factory",
    ),
    pytest.param(
        put("/proc/417/environ", "PATH=/bin\0GPIOZERO_PIN_FACTORY=mock\0"),
        "pin-factory",
        "is mock",
        "lgpio",
        id="a pin factory from the guard's own environment",
    ),
    pytest.param(
        site("[notices]", '[web]\nbind = "0.0.0.0"\nchange = true\n[notices]'),
        "page-unencrypted",
        "takes changes at 0.0.0.0 over plain HTTP",
        "ssh -L",
        id="a password over plain HTTP",
    ),
    pytest.param(
        unit("-notifier.service", ActiveState="inactive"),
        "notifier-inactive",
        "overwinter-notifier.service does not run",
        "enable --now overwinter-notifier.service",
        id="nobody tells",
    ),
    pytest.param(
        put(MOUNTS, ROOT_MOUNT + "\n41 26 0:30 / /var/log rw,nosuid - tmpfs tmpfs rw,size=65536k\n"),
        "logbook-volatile",
        "/var/log/overwinter lies on tmpfs",
        "findmnt --target /var/log/overwinter",
        id="the logbook lies in memory",
    ),
    pytest.param(
        put(MOUNTS, ROOT_MOUNT + "\n41 26 0:30 / /var/lib/overwinter rw - ramfs ramfs rw\n"),
        "settings-volatile",
        "lies on ramfs",
        "raspi-config",
        id="the settings lie in memory",
    ),
    pytest.param(space(free_bytes=80 * 10**6), "disk-full", "80 MB free", "du -xh", id="disk nearly full"),
    pytest.param(space(free_files=12), "disk-full", "only 12 more files", "du -xh", id="no inodes left"),
    pytest.param(put(f"{MMC}/life_time", "0x03 0x0a\n"), "disk-worn", "90 to 100 %", "new card", id="worn"),
    pytest.param(
        put(f"{MMC}/life_time", "0x0b 0x01\n"), "disk-worn", "past its life", "new card", id="worn out"
    ),
    pytest.param(
        put(f"{MMC}/pre_eol_info", "0x03\n"), "disk-worn", "90 %", "new card", id="spare blocks used"
    ),
    pytest.param(
        put("/sys/fs/ext4/mmcblk0p2/errors_count", "7\n"),
        "disk-errors",
        "7 errors",
        "fsck.mode=force",
        id="ext4",
    ),
    pytest.param(
        drop("/run/systemd/timesync"), "clock", "no battery clock", "timedatectl", id="the clock is not set"
    ),
    pytest.param(
        put("/sys/devices/platform/soc/soc:firmware/get_throttled", "50005\n"),
        "under-voltage",
        "too low now",
        "supply",
        id="undervoltage now",
    ),
    pytest.param(
        put("/sys/devices/platform/soc/soc:firmware/get_throttled", "50000\n"),
        "under-voltage",
        "was too low",
        "supply",
        id="undervoltage before",
    ),
    pytest.param(
        both(
            drop("/sys/devices"),
            put("/sys/class/hwmon/hwmon0/name", "cpu_thermal\n"),
            put("/sys/class/hwmon/hwmon1/name", "rpi_volt\n"),
            put("/sys/class/hwmon/hwmon1/in0_lcrit_alarm", "1\n"),
        ),
        "under-voltage",
        "was too low",
        "supply",
        id="undervoltage as hwmon tells it",
    ),
    pytest.param(
        site("limiter = true", "limiter = false"), "limiter", "high limit", "manual reset", id="no limiter"
    ),
    pytest.param(
        site("relay_resistive_a = 30.0", "relay_resistive_a = 10.0"),
        "relay-rating",
        "rated 10 A; needed is more than 20.8 A",
        "contactor",
        id="a lamp's inrush welds the relay",
    ),
    pytest.param(
        site("breaker_a = 15.0", "breaker_a = 15.0\ncord_length_m = 9.0\ncord_awg = 12"),
        "cord",
        "9.0 m",
        "straight into an outlet",
        id="extension cord",
    ),
    pytest.param(
        site("breaker_a = 15.0", "breaker_a = 2.5"),
        "breaker",
        "at most 2.0 A, 80 % of the breaker",
        "smaller heater",
        id="breaker",
    ),
    pytest.param(
        site('watts = 250.0\nkind = "lamp"', 'watts = 1000.0\nkind = "air"'),
        "blind-heat",
        "above the ceiling",
        "failsafe.duty=0.",
        id="blind heat passes the ceiling",
    ),
    pytest.param(drop(SITE_FILE), "site-missing", SITE_FILE, "etc/site.toml", id="no site.toml"),
    pytest.param(
        edit(SITE_FILE, "watts = 250.0", "watts = 250,0"),
        "site-problem",
        "line 29, column",
        "restart overwinter.service",
        id="a slip of syntax in site.toml",
    ),
    pytest.param(
        edit(SITE_FILE, "[relay]", '[[contact]]\nname = "door"\nkind = "door"\npin = 17\n[relay]'),
        "site-problem",
        "the pin is taken by relay",
        SITE_FILE,
        id="relay pin used by another entry",
    ),
    pytest.param(
        edit(SITE_FILE, "pin = 17", "pin = 18"),
        "site-not-taken",
        "relay pin",
        "restart overwinter.service",
        id="site.toml edited but not taken",
    ),
    pytest.param(
        edit(SETTINGS_FILE, "high = 5.0", "high = 6.0"),
        "settings-not-taken",
        "band.high",
        "reload overwinter.service",
        id="settings.toml edited but not taken",
    ),
]


@pytest.mark.parametrize(("spoil", "code", "value", "fix"), SPOILT)
def test_a_fault_is_found_with_its_fix_and_alone(
    machine: Fake,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    spoil: Callable[[Fake], None],
    code: str,
    value: str,
    fix: str,
) -> None:
    spoil(machine)

    found = faults(machine)

    assert list(found) == [code]
    one = found[code]
    assert value in f"{one.thing} {one.value}", one
    assert fix in f"{one.fix} {one.command}", one
    assert one.why.endswith(".")
    assert exit_code(machine, monkeypatch) == 1
    assert f"[{code}]" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("changes", "code", "value", "fix"),
    [
        pytest.param({"version": "0.0.9"}, "version", "version 0.0.9", "restart", id="another version runs"),
        pytest.param(
            {"mode": "observe"}, "observe", "3.1 C inside", "mode freeze", id="observe while it is cold"
        ),
        pytest.param(
            {"mode": "observe", "temperature_c": 20.0, "outdoor_c": -4.0},
            "observe",
            "-4.0 C outdoors",
            "overwinter mode freeze",
            id="observe while it freezes outdoors",
        ),
        pytest.param(
            {"alarms": [{"code": "cold", "acknowledged": False}, {"code": "damp", "acknowledged": True}]},
            "alarms",
            "cold",
            "overwinter status",
            id="an alarm that nobody has acknowledged",
        ),
        pytest.param({"health": "failure"}, "health", "failure", "overwinter status", id="health"),
        pytest.param(
            {"disk": {"settings": "ok", "logbook": "full"}}, "guard-disk", "logbook", "df -h", id="disk"
        ),
        pytest.param(
            {"watchdog_s": None}, "watchdog", "does not feed", "WatchdogSec", id="an unfed watchdog"
        ),
        pytest.param(
            {"proof": {**PASSED, "verdict": "failed"}},
            "proof",
            "failed on 2026-10-20",
            "prove",
            id="proof failed",
        ),
        pytest.param(
            {"sensors": [{"name": "north wall", "flag": 9, "age_s": None, "error": "no such device"}]},
            "sensor-silent",
            '"north wall" has not been believed ever: no such device',
            "/sys/bus/iio/devices",
            id="a sensor that never answered",
        ),
    ],
)
def test_what_the_guard_says_of_itself_is_found(
    says: Callable[..., Fake],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    changes: dict[str, object],
    code: str,
    value: str,
    fix: str,
) -> None:
    machine = says(uptime_s=9000.0, **changes)

    found = faults(machine)

    assert list(found) == [code]
    assert value in f"{found[code].thing} {found[code].value}", found[code]
    assert fix in f"{found[code].fix} {found[code].command}", found[code]
    assert exit_code(machine, monkeypatch) == 1


def test_a_sensor_that_goes_is_found_through_the_running_guard(tmp_path: Path) -> None:
    quick = "[sampling]\nsense_s = 1.0\nrecord_s = 60.0\n[failsafe]\nlost_after_s = 3.0\n"
    house = start(tmp_path / "house", settings=f'unit = "C"\n[band]\nlow = 2.0\nhigh = 5.0\n{quick}')
    try:
        machine = beside(house, tmp_path / "root")
        assert "sensor-silent" not in faults(machine)
        (tmp_path / "house" / "sensors" / "iio:device1" / "in_temp_input").unlink()
        house.until(lambda: house.status()["sensors"][1]["age_s"] > 3.0, "the sensor is old")

        found = [one for one in machine.survey().of(Grade.FAULT) if one.code == "sensor-silent"]
    finally:
        house.close()

    assert [one.thing for one in found] == ['sensor "by the riser"']
    assert "No such file" in found[0].value


def test_a_guard_that_is_up_and_silent_is_a_fault(machine: Fake, tmp_path: Path) -> None:
    machine.at = replace(machine.at, socket=str(tmp_path / "none"))

    found = faults(machine)

    assert list(found) == ["guard-silent"]
    assert found["guard-silent"].value.startswith("runs but does not answer")
    assert "restart overwinter.service" in found["guard-silent"].command


def test_a_guard_that_starts_again_and_again_is_not_said_to_run(machine: Fake, tmp_path: Path) -> None:
    machine.at = replace(machine.at, socket=str(tmp_path / "none"))
    machine.unit(".service", ActiveState="activating")

    found = faults(machine)

    assert list(found) == ["guard-silent"]
    assert found["guard-silent"].value.startswith("does not get through its start")
    assert "journalctl -u overwinter -n 20" in found["guard-silent"].fix


def test_a_sensor_that_does_not_answer_is_found_without_a_guard(dark: Fake) -> None:
    dark.drop(f"{SYS_SENSORS}/iio:device0/in_temp_input")

    found = faults(dark)

    assert list(found) == ["service-inactive", "sensor-silent"]
    assert found["sensor-silent"].thing == 'sensor "by the pump"'
    assert "No such file" in found["sensor-silent"].value


def test_two_paths_that_lead_to_one_sensor_are_seen_through(dark: Fake) -> None:
    dark.drop(f"{SYS_SENSORS}/iio:device1")
    (dark.root / SYS_SENSORS.lstrip("/") / "iio:device1").symlink_to("iio:device0")

    assert "sensor-twice" in faults(dark)


@pytest.mark.parametrize("contact", ["NC", "NO"])
def test_contact_nc_without_a_guard_says_that_heat_is_on(dark: Fake, contact: str) -> None:
    dark.edit_site("pin = 17", f'pin = 17\ncontact = "{contact}"')

    found = faults(dark)

    assert ("contact-nc" in found) == (contact == "NC")
    if contact == "NC":
        assert "HEAT IS ON" in found["contact-nc"].value
        assert next(iter(found)) == "contact-nc", "the worst comes first"


def test_contact_nc_with_mode_observe_is_a_fault(says: Callable[..., Fake]) -> None:
    machine = says(mode="observe", temperature_c=20.0, outdoor_c=18.0)
    machine.edit_site("pin = 17", 'pin = 17\ncontact = "NC"')

    assert list(faults(machine)) == ["contact-nc"]


def test_a_low_end_near_freezing_is_a_fault_that_names_its_line(dark: Fake) -> None:
    dark.edit(dark.at.settings, "low = 2.0", "low = 0.5")

    found = faults(dark)["low-end"]

    assert "0.5 C, below 1 C" in found.value
    assert found.command == "overwinter band 36F 40F"


def test_every_wrong_value_of_both_files_is_told_with_its_line(dark: Fake) -> None:
    dark.edit(dark.at.settings, "high = 5.0", "high = 500.0\nhihg = 5.0")
    dark.edit(dark.at.site, 'kind = "lamp"', 'kind = "candle"')
    dark.edit(dark.at.site, "pin = 17", "pin = 99")

    found = [one for one in dark.survey().of(Grade.FAULT) if one.code.endswith("-problem")]

    said = {one.thing: one.value for one in found}
    assert set(said) == {
        "/etc/overwinter/site.toml, line 26",
        "/etc/overwinter/site.toml, line 30",
        "/var/lib/overwinter/settings.toml, line 5",
        "/var/lib/overwinter/settings.toml, line 6",
    }
    assert "candle" in said["/etc/overwinter/site.toml, line 30"]
    assert "did you mean" in said["/var/lib/overwinter/settings.toml, line 6"]


def test_a_lone_dht11_is_refused_because_it_cannot_report_freezing(dark: Fake) -> None:
    for name in ("by the pump", "by the riser"):
        dark.edit(dark.at.site, f'name = "{name}"\nrole = "control"', f'name = "{name}"\nrole = "extra"')
    dark.add(dark.at.site, '[[sensor]]\nname = "cheap"\nrole = "control"\nkind = "dht11"\npin = 4\n')

    (found,) = [one for one in dark.survey().of(Grade.FAULT) if one.code == "site-problem"]

    assert "cannot report below 0" in found.value


def test_a_root_file_system_in_memory_costs_logbook_and_settings(machine: Fake) -> None:
    machine.put(MOUNTS, "26 1 0:30 / / rw,noatime - overlay overlay rw,lowerdir=/lower,upperdir=/upper\n")
    machine.put("/usr/lib/systemd/journald.conf.d/40-volatile.conf", "[Journal]\nStorage=volatile\n")

    found = faults(machine)

    assert list(found) == ["settings-volatile", "logbook-volatile"]
    assert "nothing else remembers" in found["logbook-volatile"].why


def test_a_read_only_disk_is_told_of_for_both_folders(machine: Fake) -> None:
    machine.put(MOUNTS, ROOT_MOUNT.replace("rw,noatime", "ro,noatime") + "\n")

    found = faults(machine)

    assert list(found) == ["settings-read-only", "logbook-read-only"]
    assert found["logbook-read-only"].command == "sudo mount -o remount,rw /"


def test_an_i2c_bus_on_a_contact_and_a_relay_on_a_high_pin_are_two_faults(machine: Fake) -> None:
    machine.edit_site("pin = 17", "pin = 3")
    machine.lines = {3: Line(used=True, consumer="lg")}
    machine.add(CONFIG, "dtparam=i2c_arm=on\n")

    assert list(faults(machine)) == ["pin-kernel", "relay-boot"]


def test_many_faults_at_once_are_all_told(machine: Fake) -> None:
    for spoil in (no_gpio_group, unit(".service", WatchdogUSec="0"), site("limiter = true", "")):
        spoil(machine)

    assert set(faults(machine)) == {"gpio-group", "watchdog", "limiter"}


def test_the_guarded_house_is_left_as_it_was(guarded_house: House) -> None:
    """All the spoiling above was done to copies."""
    assert guarded_house.status()["alarms"] == []

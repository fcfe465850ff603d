"""Each fault is put into a machine that is otherwise in good order, and is found with its fix, and alone."""

from collections.abc import Callable
from typing import Any

import pytest

from overwinter.survey.machine import Line
from tests.survey.machine import Fake
from tests.survey.spoiling import (
    CONFIG,
    MOUNTS,
    ROOT_MOUNT,
    both,
    config,
    drop,
    edit,
    exit_code,
    faults,
    lines,
    no_gpio_group,
    put,
    site,
    space,
    unit,
    unreadable_gpio,
    without_unit,
)

MMC = "/sys/bus/mmc/devices/mmc0:0001"
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

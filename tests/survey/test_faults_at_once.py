"""Faults that come at once, of one cause or of several: all of them are told."""

from overwinter.survey.machine import Line
from tests.survey.machine import Fake
from tests.survey.spoiling import CONFIG, MOUNTS, ROOT_MOUNT, faults, no_gpio_group, site, unit


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

from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory

from overwinter.core.nouns import ContactSpec, RelaySpec
from overwinter.devices.contact import open_contacts
from overwinter.devices.pins import PinUnavailable
from overwinter.devices.relay import open_relay
from tests.devices.conftest import RecordingLgpio

PUMP = ContactSpec(name="pump", kind="pump", pin=22)
DOOR = ContactSpec(name="door", kind="door", pin=23, active_high=False)


def test_contacts_come_in_their_order_and_a_wire_that_came_off_reads_as_no(pins: MockFactory) -> None:
    contacts = open_contacts([PUMP, DOOR])

    assert [(contact.name, contact.active()) for contact in contacts] == [("pump", False), ("door", False)]
    assert [pins.pin(22).pull, pins.pin(23).pull] == ["down", "up"]
    for contact in contacts:
        contact.close()


@pytest.mark.parametrize("spec", [PUMP, DOOR], ids=["active high", "active low"])
def test_a_contact_follows_its_pin(pins: MockFactory, spec: ContactSpec) -> None:
    (contact,) = open_contacts([spec])
    pin = pins.pin(spec.pin)

    (pin.drive_high if spec.active_high else pin.drive_low)()
    assert contact.active() is True

    (pin.drive_low if spec.active_high else pin.drive_high)()
    assert contact.active() is False
    contact.close()


def test_no_contacts_open_no_pin_factory(no_factory: None) -> None:
    assert open_contacts([]) == []


def test_all_that_cannot_be_had_are_named_and_none_stays_claimed(pins: MockFactory, tmp_path: Path) -> None:
    relay = open_relay(RelaySpec(pin=17), runtime_dir=tmp_path)
    taken = ContactSpec(name="leak", kind="wet", pin=17)
    absent = ContactSpec(name="gate", kind="door", pin=99)

    with pytest.raises(
        PinUnavailable, match=r"contact 'leak' on GPIO 17: .*; contact 'gate' on GPIO 99: "
    ) as refusal:
        open_contacts([PUMP, taken, absent])

    # While the refusal, and so what it was raised from, is still held.
    (pump,) = open_contacts([PUMP])
    pump.close()
    assert "'pump'" not in str(refusal.value)
    relay.close()


def test_a_contact_that_cannot_be_read_says_so(lgpio: RecordingLgpio, tmp_path: Path) -> None:
    (contact,) = open_contacts([PUMP], runtime_dir=tmp_path)
    lgpio.fails["read"] = "bad read"

    with pytest.raises(PinUnavailable, match=r"^contact 'pump': bad read$"):
        contact.active()
    lgpio.fails.clear()
    contact.close()


def test_a_closed_contact_says_so_and_closes_twice(pins: MockFactory) -> None:
    (contact,) = open_contacts([PUMP])
    contact.close()
    contact.close()

    with pytest.raises(PinUnavailable, match=r"contact 'pump': .*closed"):
        contact.active()


def test_on_the_real_backend_a_contact_is_pulled_and_never_driven(
    lgpio: RecordingLgpio, tmp_path: Path
) -> None:
    (contact,) = open_contacts([PUMP], runtime_dir=tmp_path)
    contact.close()

    assert ("input", lgpio.SET_PULL_DOWN) in lgpio.of(22)
    assert lgpio.outputs(22) == []

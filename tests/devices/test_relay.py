"""On gpiozero's mock board, and on its real lgpio backend over a recorder."""

from pathlib import Path

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory

from overwinter.core.nouns import OverwinterError, RelaySpec
from overwinter.devices import pins as pins_module
from overwinter.devices.pins import PinUnavailable
from overwinter.devices.relay import RelayUnavailable, open_relay
from tests.devices.conftest import RecordingLgpio

WIRINGS = [
    pytest.param(active_high, contact, id=f"active {'high' if active_high else 'low'}, {contact}")
    for active_high in (True, False)
    for contact in ("NO", "NC")
]


def spec(active_high: bool = True, contact: str = "NO", *, feedback_pin: int | None = None) -> RelaySpec:
    return RelaySpec(pin=17, active_high=active_high, contact=contact, feedback_pin=feedback_pin)


def states(factory: MockFactory) -> list[bool]:
    # The whole list: the mock's own assertion passes for lists of different length.
    return [bool(state.state) for state in factory.pin(17).states]


def heat_level(active_high: bool, contact: str) -> int:
    """The level at which current flows through the heater."""
    return int(active_high == (contact == "NO"))


@pytest.mark.parametrize(("active_high", "contact"), WIRINGS)
def test_the_mock_pin_shows_every_switching_and_nothing_else(
    pins: MockFactory, tmp_path: Path, active_high: bool, contact: str
) -> None:
    relay = open_relay(spec(active_high, contact), runtime_dir=tmp_path)
    for heat in (True, True, False, False, True):
        relay.drive(heat)
        assert relay.heat is heat
    relay.close()

    on = bool(heat_level(active_high, contact))
    expected = [False]  # a mock pin is low before it is touched
    for level in (not active_high, on, not on, on, not active_high):
        if level != expected[-1]:
            expected.append(level)
    assert states(pins) == expected


@pytest.mark.parametrize(("contact", "released_heats"), [("NO", False), ("NC", True)])
def test_released_is_what_the_contact_makes_of_it(
    pins: MockFactory, tmp_path: Path, contact: str, released_heats: bool
) -> None:
    relay = open_relay(spec(contact=contact), runtime_dir=tmp_path)
    assert relay.heat is released_heats, "at the start"

    relay.drive(not released_heats)
    relay.close()

    assert relay.heat is released_heats, "after close"
    assert relay.kind == "gpio"


@pytest.mark.parametrize(("active_high", "contact"), WIRINGS)
def test_the_real_backend_claims_drives_and_closes_without_a_blink(
    lgpio: RecordingLgpio, tmp_path: Path, active_high: bool, contact: str
) -> None:
    relay = open_relay(spec(active_high, contact), runtime_dir=tmp_path)
    heat, released = heat_level(active_high, contact), int(not active_high)

    assert lgpio.of(17) == [("input", lgpio.SET_PULL_NONE), ("output", released)]

    lgpio.calls.clear()
    for wanted in (True, True, False, False):
        relay.drive(wanted)
    switched = [heat, 1 - heat] if heat != released else [1 - heat]
    assert lgpio.of(17) == [("write", level) for level in switched]

    relay.drive(True)
    lgpio.calls.clear()
    relay.close()
    pull = lgpio.SET_PULL_UP if released else lgpio.SET_PULL_DOWN
    assert lgpio.of(17) == [("write", released), ("free",), ("input", pull)]


@pytest.mark.parametrize("active_high", [True, False])
def test_a_relay_that_never_heats_never_gets_the_level_that_heats(
    lgpio: RecordingLgpio, tmp_path: Path, active_high: bool
) -> None:
    relay = open_relay(spec(active_high, "NO"), runtime_dir=tmp_path)
    relay.drive(False)
    relay.close()

    assert set(lgpio.outputs(17)) == {1 - heat_level(active_high, "NO")}


def test_the_recorder_would_show_a_blink(lgpio: RecordingLgpio, tmp_path: Path) -> None:
    """With the backend's own pin an active-low relay is on before it is off: the check above can fail."""
    first = open_relay(spec(), runtime_dir=tmp_path)
    first.close()
    from gpiozero.pins.lgpio import LGPIOPin

    Device.pin_factory.pin_class = LGPIOPin
    Device.pin_factory.pins.clear()
    lgpio.calls.clear()
    relay = open_relay(spec(active_high=False), runtime_dir=tmp_path)

    assert lgpio.outputs(17) == [0, 1]
    relay.close()


def test_an_old_kernel_without_pulls_still_closes(lgpio: RecordingLgpio, tmp_path: Path) -> None:
    relay = open_relay(spec(), runtime_dir=tmp_path)
    lgpio.fails["free"] = "bad flags"
    lgpio.calls.clear()

    relay.close()

    assert lgpio.of(17) == [("write", 0), ("input", lgpio.SET_PULL_NONE)]


def test_a_write_that_failed_is_tried_again_whatever_is_wanted_next(
    lgpio: RecordingLgpio, tmp_path: Path
) -> None:
    relay = open_relay(spec(), runtime_dir=tmp_path)
    lgpio.fails["write"] = "bad write"
    with pytest.raises(RelayUnavailable, match=r"^relay on GPIO 17: bad write$"):
        relay.drive(True)
    assert relay.heat is False, "nobody knows, and the last that is known stands"

    lgpio.fails.clear()
    lgpio.calls.clear()
    relay.drive(False)

    assert lgpio.of(17) == [("write", 0)]
    relay.close()


def test_a_relay_that_cannot_be_released_says_so_and_gives_its_pin_back(
    lgpio: RecordingLgpio, tmp_path: Path
) -> None:
    relay = open_relay(spec(), runtime_dir=tmp_path)
    relay.drive(True)
    lgpio.fails["write"] = "bad write"

    with pytest.raises(RelayUnavailable, match=r"bad write"):
        relay.close()

    lgpio.fails.clear()
    again = open_relay(spec(), runtime_dir=tmp_path)
    again.close()


def test_a_closed_relay_drives_nothing_and_closes_twice(pins: MockFactory, tmp_path: Path) -> None:
    relay = open_relay(spec(), runtime_dir=tmp_path)
    relay.close()
    relay.close()

    with pytest.raises(RelayUnavailable, match=r"relay on GPIO 17: .*closed"):
        relay.drive(True)
    assert states(pins) == [False]


def test_feedback_is_the_input_and_without_one_it_is_unknown(pins: MockFactory, tmp_path: Path) -> None:
    bare = open_relay(spec(), runtime_dir=tmp_path)
    assert bare.feedback() is None
    bare.close()

    relay = open_relay(spec(feedback_pin=27), runtime_dir=tmp_path)
    assert relay.feedback() is False, "pulled down: a wire that came off is no current"
    pins.pin(27).drive_high()
    assert relay.feedback() is True

    relay.close()
    assert relay.feedback() is None


def test_a_feedback_that_cannot_be_read_is_unknown(lgpio: RecordingLgpio, tmp_path: Path) -> None:
    relay = open_relay(spec(feedback_pin=27), runtime_dir=tmp_path)
    lgpio.fails["read"] = "bad read"

    assert relay.feedback() is None
    lgpio.fails.clear()
    relay.close()


def test_a_feedback_that_cannot_be_had_leaves_the_relay_released_and_free(
    pins: MockFactory, tmp_path: Path
) -> None:
    # GPIO 2 has a fixed pull-up on the board, so that a wire that came off would read as current.
    with pytest.raises(RelayUnavailable, match=r"fixed pull resistor") as refusal:
        open_relay(spec(feedback_pin=2), runtime_dir=tmp_path)

    open_relay(spec(), runtime_dir=tmp_path).close()
    assert str(refusal.value).startswith("relay feedback on GPIO 2: ")


def test_a_pin_in_use_names_the_pin_and_what_to_look_at(pins: MockFactory, tmp_path: Path) -> None:
    first = open_relay(spec(), runtime_dir=tmp_path)

    with pytest.raises(
        RelayUnavailable, match=r"relay on GPIO 17: .*in use.*; two entries of site.toml name the same pin"
    ):
        open_relay(spec(), runtime_dir=tmp_path)
    first.close()


def test_a_pin_held_by_another_program_says_that(lgpio: RecordingLgpio, tmp_path: Path) -> None:
    lgpio.fails["output"] = "GPIO busy"

    with pytest.raises(
        RelayUnavailable, match=r"^relay on GPIO 17: GPIO busy; another program holds this pin$"
    ):
        open_relay(spec(), runtime_dir=tmp_path)


def test_a_pin_factory_that_fails_gives_its_reason_once(
    lgpio: RecordingLgpio, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(pins_module, "DEVICE_NODES", tmp_path)
    lgpio.fails["open"] = "can not open gpiochip"

    with pytest.raises(RelayUnavailable) as refusal:
        open_relay(spec(), runtime_dir=tmp_path)

    assert str(refusal.value) == (
        "relay on GPIO 17: pin factory lgpio: can not open gpiochip; "
        "there is no /dev/gpiochip: the kernel has no GPIO here"
    )


def test_a_pin_that_is_not_on_the_header_says_which_are(pins: MockFactory, tmp_path: Path) -> None:
    with pytest.raises(RelayUnavailable, match=r"relay on GPIO 99: .*BCM numbers"):
        open_relay(RelaySpec(pin=99), runtime_dir=tmp_path)


def test_without_a_pin_nothing_is_opened(tmp_path: Path) -> None:
    with pytest.raises(RelayUnavailable, match=r"relay.pin: missing"):
        open_relay(RelaySpec(), runtime_dir=tmp_path)


def test_the_simulated_relay_is_somebody_elses(tmp_path: Path) -> None:
    with pytest.raises(OverwinterError, match=r"relay.kind = 'simulated': only gpio") as refusal:
        open_relay(RelaySpec(kind="simulated"), runtime_dir=tmp_path)
    assert not isinstance(refusal.value, PinUnavailable)

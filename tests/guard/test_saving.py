"""Changes of settings while a file of the state folder cannot be written: all of it, or nothing, and told."""

import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from overwinter.guard.files import SETTINGS_COPY
from overwinter.guard.wheel import COME_BACK_EVERY_S
from overwinter.store.keeper import STATE_NAME
from overwinter.store.small import load_state
from tests.guard.house import House

NOT_STORED = -32002


def block(path: Path) -> None:
    """Nothing can take the place of a folder that is not empty."""
    path.unlink(missing_ok=True)
    (path / "in the way").mkdir(parents=True)


def unblock(path: Path) -> None:
    (path / "in the way").rmdir()
    path.rmdir()


def test_a_copy_that_cannot_be_written_leaves_the_settings_as_they_were(house: House) -> None:
    house.start()
    house.set("sampling.record_s=61")
    block(house.state / SETTINGS_COPY)
    before = house.settings.read_bytes()

    answer = house.call("set", {"changes": {"sampling.record_s": 77}})

    assert answer["code"] == NOT_STORED
    assert house.settings.read_bytes() == before
    assert house.call("settings")["sampling"]["record_s"] == 61


def test_a_file_that_cannot_be_written_leaves_its_copy_as_it_was(house: House) -> None:
    house.start()
    house.set("sampling.record_s=61")
    before = (house.state / SETTINGS_COPY).read_bytes()
    # Its draft is refused, though the file can be read.
    (house.state / ".settings.toml.draft" / "in the way").mkdir(parents=True)

    answer = house.call("set", {"changes": {"sampling.record_s": 77}})

    assert answer["code"] == NOT_STORED
    assert (house.state / SETTINGS_COPY).read_bytes() == before
    assert house.call("settings")["sampling"]["record_s"] == 61


def test_a_state_file_that_cannot_be_written_does_not_undo_a_change_of_mode(house: House) -> None:
    house.start()
    block(house.state / STATE_NAME)

    answer = house.call("set", {"changes": {"mode": "warm"}})

    assert answer["saved"] is True
    assert house.status()["mode"] == house.call("settings")["mode"] == "warm"


def observe_until(house: House, moment: datetime) -> None:
    params = {"changes": {"mode": "observe"}, "until": moment.isoformat()}
    assert house.call("set", params)["saved"] is True


def test_leaving_observe_by_hand_forgets_the_way_back_on_the_disk_as_well(house: House) -> None:
    house.start()
    observe_until(house, datetime.now(UTC) + timedelta(days=1))
    kept = load_state(house.state / STATE_NAME)
    assert kept is not None
    assert kept["way_back"]["mode"] == "freeze"

    house.set("mode=freeze")

    kept = load_state(house.state / STATE_NAME)
    assert kept is not None
    assert kept["way_back"] is None
    assert house.status()["warnings"] == []


def test_the_way_back_from_observe_is_tried_until_the_disk_takes_it(house: House) -> None:
    house.start()
    observe_until(house, datetime.now(UTC) + timedelta(seconds=1.5))
    block(house.state / SETTINGS_COPY)
    house.until(lambda: bool(house.events("refused")), "the disk refused the way back")
    time.sleep(0.1)
    assert house.status()["mode"] == "observe"

    unblock(house.state / SETTINGS_COPY)

    house.until(
        lambda: house.status()["mode"] == "freeze", "back in freeze", within_s=COME_BACK_EVERY_S + 5.0
    )

"""`settings --export` and `--import` on a real guard and on folders without one."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from overwinter.guard.memory import lock
from overwinter.settings.carry import carried_text
from tests.guard.house import House

COMMENT = "# this one is ours\n"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path / "first")
    house.reads(3.0)
    yield house
    house.close()


@pytest.fixture
def spare(tmp_path: Path) -> Iterator[House]:
    spare = House(tmp_path / "spare")
    spare.reads(3.0)
    yield spare
    spare.close()


@pytest.fixture
def carried(house: House, tmp_path: Path) -> Path:
    """What a house with a band of its own exports."""
    house.start()
    house.set("band.low=38F", "band.high=42F", "relay.min_on_s=90")
    path = tmp_path / "carried.toml"
    done = house.run("settings", "--export", str(path))
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    return path


def before(folder: Path, name: str) -> list[Path]:
    return sorted(folder.glob(f"{name}.before-*"))


def test_an_export_to_stdout_is_the_same_text_and_nothing_else(house: House, carried: Path) -> None:
    done = house.run("settings", "--export", "-")

    assert (done.returncode, done.stdout, done.stderr) == (0, carried.read_text(), "")
    assert house.settings.read_text() in done.stdout
    assert house.site.read_text() in done.stdout


def test_a_running_guard_takes_the_settings_over_itself(spare: House, carried: Path) -> None:
    spare.start()
    site = spare.site.read_text()
    done = spare.run("settings", "--import", str(carried))

    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "band.low: 36 F -> 38 F",
        "band.high: 40 F -> 42 F",
        "relay.min_on_s: 120 s -> 90 s",
        "saved",
    ]
    assert "site.toml was checked but not written" in done.stderr
    assert spare.status()["band"] == {
        "low_c": pytest.approx(3.333, abs=0.01),
        "high_c": pytest.approx(5.556, abs=0.01),
    }
    assert "low = 38.0" in spare.settings.read_text()
    assert spare.events("settings")[-1]["how"] == "command"
    assert spare.site.read_text() == site


def test_without_a_guard_the_file_is_as_it_was_carried_and_the_old_one_is_kept(
    spare: House, carried: Path, house: House
) -> None:
    spare.state.mkdir()
    spare.settings.write_text(COMMENT)
    done = spare.run("settings", "--import", str(carried), "--json")

    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["changes"]["band.low"] == [36.0, 38.0]
    assert spare.settings.read_bytes() == house.settings.read_bytes()
    assert [path.read_text() for path in before(spare.state, "settings.toml")] == [COMMENT]
    assert "next start" in done.stderr
    spare.start()
    assert spare.status()["band"]["low_c"] == pytest.approx(3.333, abs=0.01)
    assert spare.status()["alarms"] == []


def test_what_one_house_exports_another_takes_through_a_pipe(
    house: House, spare: House, carried: Path
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "overwinter", "settings", "--import", "-"],
        env=spare.environment,
        input=carried.read_bytes(),
        capture_output=True,
        timeout=30,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert spare.settings.read_bytes() == house.settings.read_bytes()


def test_a_card_in_a_reader_is_written_while_the_guard_here_goes_on_as_before(
    house: House, carried: Path, tmp_path: Path
) -> None:
    card, wanted = tmp_path / "card", house.settings.read_bytes()
    house.set("band.low=37F")
    done = house.run("settings", "--import", str(carried), "--state", str(card))

    assert done.returncode == 0, done.stderr
    assert (card / "settings.toml").read_bytes() == wanted
    assert house.status()["band"]["low_c"] == pytest.approx(2.778, abs=0.01)


def test_site_toml_is_written_only_where_asked_the_old_one_kept_and_the_restart_said(
    spare: House, carried: Path, house: House
) -> None:
    old = COMMENT + spare.site.read_text().replace("pin = 17", "pin = 18")
    spare.site.write_text(old)
    spare.start()
    done = spare.run("settings", "--import", str(carried), "--site", str(spare.site))

    assert done.returncode == 0, done.stderr
    assert spare.site.read_bytes() == house.site.read_bytes()
    (kept,) = before(spare.folder, "site.toml")
    assert kept.read_text() == old
    assert str(kept) in done.stderr
    assert "needs a restart" in done.stderr
    assert "relay pin" in done.stderr
    again = spare.run("settings", "--import", str(carried), "--site", str(spare.site))
    assert "says the same already" in again.stderr
    assert before(spare.folder, "site.toml") == [kept]


def test_settings_that_the_guard_refuses_leave_site_toml_as_it_was(spare: House, tmp_path: Path) -> None:
    """Near freezing needs --anyway, also by this door."""
    spare.start_and_save()
    site, settings = spare.site.read_bytes(), spare.settings.read_bytes()
    path = tmp_path / "cold.toml"
    text = "[band]\nlow = 32.5\nhigh = 36.0\n[limits]\nalarm_low = 31.0\n"
    path.write_text(carried_text("0", text, COMMENT + spare.site.read_text()))
    words = ("settings", "--import", str(path), "--site", str(spare.site))
    done = spare.run(*words)

    assert done.returncode == 1
    assert "--anyway" in done.stderr
    assert (spare.site.read_bytes(), spare.settings.read_bytes()) == (site, settings)
    assert before(spare.folder, "site.toml") == []

    assert spare.run(*words, "--anyway").returncode == 0
    assert spare.site.read_text().startswith(COMMENT)
    assert spare.status()["band"]["low_c"] == pytest.approx(0.278, abs=0.01)


def test_near_freezing_needs_anyway_without_a_guard_too(spare: House, tmp_path: Path) -> None:
    path = tmp_path / "cold.toml"
    text = "[band]\nlow = 32.5\nhigh = 36.0\n[limits]\nalarm_low = 31.0\n"
    path.write_text(carried_text("0", text, spare.site.read_text()))

    refused = spare.run("settings", "--import", str(path))
    assert refused.returncode == 1
    assert "--anyway" in refused.stderr
    assert not spare.settings.exists()

    assert spare.run("settings", "--import", str(path), "--anyway").returncode == 0
    assert spare.settings.read_text() == text


def test_nothing_is_touched_where_anything_is_wrong_and_all_of_it_is_said(
    spare: House, tmp_path: Path
) -> None:
    spare.start_and_save()
    site, settings = spare.site.read_bytes(), spare.settings.read_bytes()
    path = tmp_path / "bad.toml"
    path.write_text(carried_text("0", "[relay]\nmin_on_s = -1.0\n", "[relay]\npin = 99\n[oven]\n"))
    done = spare.run("settings", "--import", str(path), "--site", str(spare.site))

    assert done.returncode == 1
    assert done.stdout == ""
    for word in (
        "relay.min_on_s = -1.0",
        "relay.pin = 99",
        "oven",
        "sensor is missing",
        "nothing was changed",
    ):
        assert word in done.stderr
    assert (spare.site.read_bytes(), spare.settings.read_bytes()) == (site, settings)


def test_a_folder_whose_guard_does_not_answer_here_is_left_alone(spare: House, carried: Path) -> None:
    spare.state.mkdir()
    held = lock(spare.state)
    assert held is not None
    try:
        done = spare.run("settings", "--import", str(carried))
    finally:
        os.close(held)

    assert done.returncode == 3
    assert "nothing was changed" in done.stderr
    assert not spare.settings.exists()


def test_a_guard_that_hangs_is_given_up_and_nothing_is_changed(spare: House, carried: Path) -> None:
    spare.start_and_save()
    settings = spare.settings.read_bytes()
    assert spare.process is not None
    spare.process.send_signal(signal.SIGSTOP)
    began = time.monotonic()
    try:
        done = spare.run("settings", "--import", str(carried))
    finally:
        spare.process.send_signal(signal.SIGCONT)

    assert done.returncode == 3
    assert time.monotonic() - began < 5.0 + 3.0  # five seconds, and the start of a program on a busy machine
    assert spare.settings.read_bytes() == settings


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_site_folder_that_may_not_be_written_stops_all_of_it(spare: House, carried: Path) -> None:
    spare.start_and_save()
    settings = spare.settings.read_bytes()
    locked = spare.folder / "locked"
    locked.mkdir(mode=0o500)
    done = spare.run("settings", "--import", str(carried), "--site", str(locked / "site.toml"))

    assert done.returncode == 1
    assert "nothing was changed" in done.stderr
    assert spare.settings.read_bytes() == settings


def test_a_site_that_is_no_place_to_write_stops_all_of_it(spare: House, carried: Path) -> None:
    spare.start_and_save()
    settings = spare.settings.read_bytes()
    done = spare.run("settings", "--import", str(carried), "--site", "/proc/overwinter/site.toml")

    assert done.returncode == 1
    assert "nothing was changed" in done.stderr
    assert spare.settings.read_bytes() == settings


def test_files_that_no_import_would_take_are_not_exported(house: House, tmp_path: Path) -> None:
    house.state.mkdir()
    house.settings.write_text("[band]\nlow = 99.0\nhigh = 98.0\n")
    done = house.run("settings", "--export", str(tmp_path / "no.toml"))

    assert done.returncode == 1
    assert "band." in done.stderr
    assert not (tmp_path / "no.toml").exists()


def test_what_does_not_go_together_is_wrong_usage(house: House) -> None:
    for words in (
        ("--export", "-", "--import", "x"),
        ("--anyway",),
        ("--export", "-", "--json"),
        ("--export",),
    ):
        assert house.run("settings", *words).returncode == 2

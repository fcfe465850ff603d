"""`replay` and `forecast --logs` over a logbook that the program did not write."""

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import main
from tests.cli import foreign
from tests.schemas.test_program import check

DEAD = (10.2, 10.6)


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("elsewhere")
    (folder / "site.toml").write_text(foreign.SITE)
    foreign.write(folder / "logs", days=14.0, dead=DEAD)
    foreign.write(folder / "blind", days=14.0, outdoor=False)
    foreign.write(folder / "short", days=3.0)
    return folder


@pytest.fixture
def answered(capsys: pytest.CaptureFixture[str]) -> Callable[..., Any]:
    def answer(*words: object) -> Any:
        code = main([str(word) for word in words])
        told = capsys.readouterr()
        assert (code, told.err) == (0, "")
        return json.loads(told.out) if "--json" in words else told.out

    return answer


def test_a_replay_finds_the_dead_heater_and_says_when(elsewhere: Path, answered: Callable[..., Any]) -> None:
    replay = answered("replay", "--logs", elsewhere / "logs", "--site", elsewhere / "site.toml", "--json")
    check("replay", replay)
    check("forecast", replay["forecast"])
    dead = [alarm for alarm in replay["alarms"] if alarm["code"] == "heater-dead"]

    assert len(dead) == 1
    since, cleared = (_days(dead[0][key]) for key in ("since", "cleared"))
    assert DEAD[0] <= since < DEAD[1]
    # Said while the heat was on: at the first switch-on or minute after, never after the band was left.
    assert DEAD[1] <= cleared < DEAD[1] + 1 / 24
    assert {alarm["code"] for alarm in replay["alarms"]} <= {
        *("heater-dead", "cold", "cooling-fast", "heater-too-small")
    }


def test_a_forecast_from_a_logbook_is_near_the_arithmetic_of_that_house(
    elsewhere: Path, answered: Callable[..., Any]
) -> None:
    where = ("--logs", elsewhere / "logs", "--site", elsewhere / "site.toml")
    forecast = answered("forecast", *where, "--outdoor", "-10C", "--json")
    check("forecast", forecast)
    limit_c = 2.22 - foreign.FULL_RISE_K
    found = forecast["outdoor_limit_c"]
    duty = (3.33 - 0.3 + 10.0) / foreign.FULL_RISE_K

    assert forecast["known"] is True
    assert found["best"] == pytest.approx(limit_c, abs=2.0)
    assert found["low"] <= limit_c <= found["high"]
    assert forecast["tomorrow"]["duty"] == pytest.approx(duty, abs=0.06)
    assert forecast["tomorrow"]["kwh"] == pytest.approx(24 * 0.75 * forecast["tomorrow"]["duty"], rel=1e-6)
    assert forecast["tomorrow"]["cost"] == pytest.approx(0.2 * forecast["tomorrow"]["kwh"], rel=1e-6)
    hours = forecast["hours_to"]["freezing"]
    assert 0.0 < hours["low"] <= hours["best"] <= hours["high"]
    assert forecast["hours_to"]["alarm_low"]["best"] <= hours["best"]
    assert [pipe["name"] for pipe in forecast["hours_to"]["pipes"]] == ["riser"]
    assert "if heat fails now, at -10.0 C (14.0 F) outside" in answered(
        "forecast", *where, "--outdoor", "-10C"
    ).replace("If", "if")


def test_without_an_outdoor_temperature_neither_limit_nor_loss_is_said(
    elsewhere: Path, answered: Callable[..., Any]
) -> None:
    forecast = answered(
        "forecast", "--logs", elsewhere / "blind", "--site", elsewhere / "site.toml", "--json"
    )

    assert forecast["outdoor_limit_c"] is None
    assert forecast["tomorrow"]["duty"] is None
    assert any("outdoor" in sentence or "outside" in sentence for sentence in forecast["missing"])


def test_three_days_are_not_enough_for_a_limit(elsewhere: Path, answered: Callable[..., Any]) -> None:
    forecast = answered(
        "forecast", "--logs", elsewhere / "short", "--site", elsewhere / "site.toml", "--json"
    )

    assert forecast["outdoor_limit_c"] is None
    assert forecast["missing"]


def test_a_replay_for_people_names_alarm_span_and_what_was_learned(
    elsewhere: Path, answered: Callable[..., Any]
) -> None:
    told = answered("replay", "--logs", elsewhere / "logs", "--site", elsewhere / "site.toml")

    assert told.startswith("From 2026-01-0")
    assert "heater-dead" in told
    assert "holds the band down to" in told


@pytest.mark.parametrize("verb", ["replay", "forecast"])
def test_a_folder_without_a_logbook_is_refused(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([verb, "--logs", str(tmp_path)]) == 1
    assert f"no logbook can be read in {tmp_path}" in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["replay", "forecast"])
def test_a_site_that_is_named_and_not_there_is_refused(
    verb: str, elsewhere: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = elsewhere / "none.toml"

    assert main([verb, "--logs", str(elsewhere / "short"), "--site", str(site)]) == 1
    assert f"{site} could not be read: No such file or directory" in capsys.readouterr().err


def _days(stamp: str) -> float:
    return (
        datetime.fromisoformat(stamp) - datetime.fromisoformat("2026-01-05T00:00:00Z")
    ).total_seconds() / 86400

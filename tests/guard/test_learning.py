"""What the wheel does with what is learned: it tells, it keeps, and it never hangs the heat on it."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from overwinter.core.nouns import Code, HeaterSpec, Role, SensorSpec, Settings, Site
from overwinter.core.state import State
from overwinter.guard import wheel
from overwinter.guard.learning import Learning, cooling_before
from overwinter.know.knowledge import Knowledge
from overwinter.know.learned import Learned
from overwinter.know.nouns import Finding, Span
from overwinter.store.keeper import STATE_NAME
from overwinter.store.small import load_state
from tests.guard.house import House
from tests.know.test_forecast import HEATER, told
from tests.rehearse.lived import events, fault, live, scenario
from tests.schemas.test_program import check

HOUR_S = 3600.0
WITH_OUTDOOR = (
    SensorSpec(name="by the pump", role=Role.CONTROL, kind="simulated"),
    SensorSpec(name="in the yard", role=Role.OUTDOOR, kind="simulated"),
)


def test_a_finding_becomes_an_alarm_and_is_over_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spans: list[Span] = []

    def take(_self: Knowledge, span: Span) -> tuple[Finding, ...]:
        spans.append(span)
        if not 60 <= len(spans) < 120:
            return ()
        return (Finding(code=Code.HEATER_DEAD, text=f"no rise in {len(spans)} minutes", subject="bulb"),)

    monkeypatch.setattr(Knowledge, "take", take)
    live(scenario(hours=4.0), tmp_path)
    told = [event for event in events(tmp_path, "alarm") if event["code"] == "heater-dead"]

    assert [event["state"] for event in told] == ["raised", "cleared"]
    assert [event["subject"] for event in told] == ["bulb", "bulb"]
    assert told[0]["text"] == "no rise in 60 minutes"
    assert told[1]["up"] - told[0]["up"] == pytest.approx(HOUR_S, abs=60.0)


def test_learning_that_fails_ends_itself_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = []

    def take(_self: Knowledge, span: Span) -> tuple[Finding, ...]:
        calls.append(span)
        raise ZeroDivisionError("a mistake of ours")

    monkeypatch.setattr(Knowledge, "take", take)
    outcome = live(scenario(hours=12.0), tmp_path)

    assert len(calls) == 1
    assert outcome.starts == 1
    assert not outcome.froze
    assert outcome.cycles > 0


def test_a_site_that_is_read_anew_is_learned_on_with(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[tuple[Site, object]] = []
    begin = Knowledge.__init__

    def init(self: Knowledge, site: Site, facts: object = None, **more: Any) -> None:
        made.append((site, facts))
        begin(self, site, facts, **more)

    monkeypatch.setattr(Knowledge, "__init__", init)
    state = State(Site(sensors=WITH_OUTDOOR), Settings(), 0.0)
    learning = Learning(None, state, 0.0, gap_s=0.0, post=lambda _: None, log=None)
    learning.turned(60.0, flows=None, utc_s=lambda _: None)
    state.take_site(replace(state.site, per_kwh=0.3))
    learning.turned(120.0, flows=None, utc_s=lambda _: None)
    learning.turned(180.0, flows=None, utc_s=lambda _: None)

    assert [site.per_kwh for site, _ in made] == [None, 0.3]
    assert made[1][1] != {}, "what was learned is kept"


def test_what_was_learned_outlives_a_power_cut_but_for_an_hour(tmp_path: Path) -> None:
    live(scenario(fault("power-cut", 10.5, 0.5), hours=12.0, sensors=WITH_OUTDOOR), tmp_path)
    kept = load_state(tmp_path / "state" / STATE_NAME)

    assert kept is not None
    knowledge = Knowledge(Site(), kept["learned"])
    assert 9.0 <= knowledge.learned.based_on_h <= 11.6


def test_the_guard_forecasts_and_says_what_it_does_not_know_yet(house: House) -> None:
    house.start()
    answer = house.call("forecast")
    check("forecast", answer)
    told = house.run("forecast", "--outdoor", "-15C", "--json")

    assert answer["known"] is False
    assert answer["outdoor_limit_c"] is None
    assert (told.returncode, told.stderr) == (0, "")
    check("forecast", json.loads(told.stdout))
    assert json.loads(told.stdout)["outdoor_c"] == -15.0
    assert "not known yet" in house.run("forecast").stdout
    assert house.run("status").stdout.rstrip().splitlines()[-1].endswith("is not known yet.")


def test_a_forecast_for_no_weather_on_earth_is_refused(house: House) -> None:
    house.start()
    told = house.run("forecast", "--outdoor", "-200C")

    assert told.returncode == 1
    assert "--outdoor = -200C: must be" in told.stderr
    assert "outdoor_c" in house.call("forecast", {"outdoor_c": "cold"})["message"]


@pytest.mark.parametrize("kept", [None, "learned", {}, {"house": 3}])
def test_before_anything_is_learned_no_cooling_is_known(kept: object) -> None:
    assert cooling_before(kept, HeaterSpec(), 3.0) is None


@pytest.mark.parametrize("house", [{}, {"version": 2}, {"version": "two", "cooling": []}])
def test_from_what_is_damaged_the_house_may_have_been_as_cold_as_outdoors(house: dict[str, object]) -> None:
    cooling = cooling_before({"house": house}, HeaterSpec(), 3.0)

    assert cooling is not None
    assert cooling(0.5, -10.0).low == -10.0


def test_whatever_learning_stumbles_over_ends_no_guard(monkeypatch: pytest.MonkeyPatch) -> None:
    def stumble(_self: Learned, _outdoor_c: float) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(Learned, "course", stumble)
    cooling = cooling_before({"house": {}}, HeaterSpec(), 3.0)

    assert cooling is not None
    assert cooling(0.5, -10.0).low == -10.0


def test_without_a_temperature_before_the_silence_no_cooling_is_known() -> None:
    learned, _, _ = told()
    assert cooling_before({"house": learned.facts()}, HEATER, None) is None


def test_what_was_learned_before_a_silence_tells_how_far_the_house_cooled_in_it() -> None:
    learned, _, winter = told()
    cooling = cooling_before({"house": json.loads(json.dumps(learned.facts()))}, HEATER, winter.air_c)

    assert cooling is not None
    assert -10.0 < cooling(8.0, -10.0).low < cooling(2.0, -10.0).low < winter.air_c


def test_a_silence_is_judged_by_what_was_learned_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[Any, float | None]] = []

    def cooling(learned: object, _heater: HeaterSpec, air_c: float | None) -> None:
        asked.append((learned, air_c))

    monkeypatch.setattr(wheel, "cooling_before", cooling)
    live(scenario(fault("power-cut", 3.0, 2.0), hours=6.0), tmp_path)

    gap = events(tmp_path, "gap")[-1]
    learned, air_c = asked[-1]
    assert learned.keys() == {"house", "faults"}
    assert air_c == gap["before_c"]

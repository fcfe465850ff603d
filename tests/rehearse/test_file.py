"""Scenario files: what they may say, and that all that is wrong with one is said at once."""

import inspect
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overwinter.core.nouns import Refused, Role
from overwinter.rehearse import file
from overwinter.rehearse.campaign import schedule
from overwinter.rehearse.file import parse_scenario, shipped, text_of
from overwinter.rehearse.nouns import FAULTS, Fault, Scenario
from overwinter.twin.pump import Pump


def problems(text: str) -> list[str]:
    with pytest.raises(Refused) as refused:
        parse_scenario(text, "own")
    return [problem.text for problem in refused.value.problems]


def test_an_empty_file_is_three_days_of_cold_snap_with_one_sensor() -> None:
    assert parse_scenario("", "own") == Scenario(name="own")


def test_the_file_that_documents_the_format_is_one() -> None:
    indented = [line[4:] for line in (inspect.getdoc(file) or "").splitlines() if line.startswith("    ")]
    scenario = parse_scenario("\n".join(indented), "own")

    assert scenario.faults == (
        Fault(kind="sensor-wrong", at_s=172_800.0, for_s=21_600.0, sensor="by the pump", by=6.0),
    )
    assert scenario.must.told_within_s == 900.0
    assert scenario.settings == {}
    assert scenario.start_c == pytest.approx(4.444, abs=0.001)


def test_everything_that_may_be_said_is_understood() -> None:
    scenario = parse_scenario(
        """
        about = "all of it"
        days = 2
        begins = 2026-01-05
        house = "insulated box"
        weather = "design-day"
        start = "5C"
        max_bytes = 70000
        sun = 350
        weather_options.design_c = -20
        settings."band.low" = "37F"
        settings.relay.min_on_s = 60
        [pump]
        runs_a_day = 4
        run = "3m"
        well = "9C"
        motor_w = 0
        [[sensor]]
        name = "one"
        [[sensor]]
        name = "two"
        role = "outdoor"
        [[fault]]
        kind = "sensor-wrong"
        sensor = "two"
        at = "1h"
        for = 90
        by = -3
        [must]
        froze = true
        alarms = ["cold"]
        no_alarms = ["disk"]
        coldest_water = "-1C"
        hottest_air = "90F"
        """,
        "own",
    )

    assert scenario.begins == datetime(2026, 1, 5, tzinfo=UTC)
    assert scenario.weather_options == {"design_c": -20.0}
    assert scenario.sun_w_m2 == 350.0
    assert scenario.pump == Pump(runs_a_day=4, run_s=180.0, well_c=9.0, motor_w=0.0)
    assert scenario.settings == {"band.low": "37F", "relay.min_on_s": 60}
    assert [(spec.name, spec.role) for spec in scenario.sensors] == [
        ("one", Role.CONTROL),
        ("two", Role.OUTDOOR),
    ]
    assert scenario.faults == (Fault(kind="sensor-wrong", at_s=3600.0, for_s=90.0, sensor="two", by=-3.0),)
    assert (scenario.must.froze, scenario.must.alarms, scenario.must.coldest_water_c) == (
        True,
        ("cold",),
        -1.0,
    )


def test_everything_wrong_is_said_at_once_with_what_is_allowed() -> None:
    said = problems(
        """
        days = 0
        house = "castle"
        weather = "rain"
        start = 40
        colour = "red"
        begins = "soon"
        [[sensor]]
        name = "outside"
        role = "outdoor"
        [[fault]]
        kind = "sensor-lost"
        sensor = "nobody"
        at = "9d"
        [[fault]]
        kind = "meteor"
        [[fault]]
        kind = "heater-dead"
        sensor = "outside"
        [must]
        alarms = ["coldish"]
        froze = "maybe"
        """
    )
    keys = {text.split(" = ")[0] for text in said}

    assert keys == {
        *("days", "house", "weather", "start", "colour", "begins", "sensor", "fault[1].sensor"),
        *("fault[1].at", "fault[2].kind", "fault[3].sensor", "must.alarms", "must.froze"),
    }
    assert all("must be" in text for text in said)
    assert "temperature with its unit" in next(text for text in said if text.startswith("start"))


@pytest.mark.parametrize(
    ("text", "key"),
    [
        pytest.param("days = true", "days", id="a truth is no number"),
        pytest.param("days = nan", "days", id="not a number"),
        pytest.param('about = ""', "about", id="an empty text"),
        pytest.param("settings = 3", "settings", id="no table"),
        pytest.param("fault = 3", "fault", id="no list of tables"),
        pytest.param("fault = [3]", "fault[1]", id="no table in the list"),
        pytest.param('start = "200F"', "start", id="hotter than any pump house"),
        pytest.param('[[fault]]\nkind = "door-open"\nby = 400', "fault[1].by", id="a storm"),
        pytest.param('[[fault]]\nat = "1h"', "fault[1].kind", id="no kind"),
        pytest.param('[[fault]]\nkind = "door-open"\nfor = "for ever"', "fault[1].for", id="no duration"),
        pytest.param(
            "[weather_options]\ncold_c = -100", "weather_options.cold_c", id="colder than the earth"
        ),
        pytest.param("[weather_options]\ndesign_c = 1", "weather_options.design_c", id="of another weather"),
        pytest.param('[[sensor]]\nname="a"\n[[sensor]]\nname="a"', "sensor", id="two of one name"),
        pytest.param("sun = 9000", "sun", id="a star too near"),
        pytest.param("pump = 3", "pump", id="a pump that is no table"),
        pytest.param('[pump]\nwell = "0C"', "pump.well", id="a well of ice"),
        pytest.param('[pump]\nrun = "9d"', "pump.run", id="a run of days"),
        pytest.param("[pump]\nflow = 1", "pump.flow", id="no key of a pump"),
        pytest.param("max_bytes = 1", "max_bytes", id="too small a logbook"),
    ],
)
def test_a_wrong_value_is_named_by_its_key(text: str, key: str) -> None:
    assert key in {one.split(" = ")[0] for one in problems(text)}


def test_what_is_no_toml_is_refused_with_its_line() -> None:
    assert "line 1" in problems("days = = 3")[0]


@pytest.mark.parametrize("name", shipped())
def test_a_shipped_scenario_written_out_is_the_same_again(name: str) -> None:
    scenario = parse_scenario(shipped()[name], name)
    again = parse_scenario(text_of(scenario), name)

    assert replace(again, must=scenario.must) == scenario


@settings(max_examples=50, deadline=None)
@given(st.integers(min_value=0, max_value=10**9))
def test_what_a_campaign_writes_can_be_read(seed: int) -> None:
    scenario = schedule(seed)

    assert parse_scenario(text_of(scenario), scenario.name) == scenario


@settings(max_examples=200, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from((*file.KEYS, "other")),
        st.one_of(st.text(max_size=5), st.integers(), st.floats(), st.booleans(), st.lists(st.integers())),
    )
)
def test_any_file_is_taken_or_refused(tree: dict[str, object]) -> None:
    """Nothing else may come of it, whatever stands in a file."""
    tomlkit = pytest.importorskip("tomlkit")
    try:
        text = tomlkit.dumps(tree)
    except (ValueError, UnicodeEncodeError):
        return
    try:
        days, said = parse_scenario(text, "own").days, 0
    except Refused as refused:
        days, said = 0.0, len(refused.problems)

    assert (days > 0.0) is not (said > 0)


def test_every_kind_of_fault_says_what_it_is() -> None:
    assert all(kind.about for kind in FAULTS.values())
    assert all(kind.least <= kind.by <= kind.most for kind in FAULTS.values())


@pytest.mark.parametrize("kind", ['kind = "meteor"', ""])
def test_a_fault_of_no_known_kind_is_refused_once(kind: str) -> None:
    with pytest.raises(Refused) as refused:
        parse_scenario(f'days = 1\n[[fault]]\nat = "1h"\n{kind}\n', "own")

    assert [problem.key for problem in refused.value.problems] == ["fault[1].kind"]

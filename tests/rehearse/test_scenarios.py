"""Every scenario that is shipped does what it promises, and is what it says."""

from dataclasses import replace
from pathlib import Path

import pytest

from overwinter.rehearse.file import parse_scenario, shipped
from overwinter.rehearse.nouns import Fault
from tests.rehearse.lived import live

DAYS_HERE = 6.0
"""The quiet winter is 120 days, half a minute; the depth of it is what a test can wait for."""

NAMES = (
    "cold-snap",
    "dead-bulb-on-the-coldest-night",
    "everything-at-once",
    "full-card",
    "lost-sensor-for-a-week",
    "lost-sensor-in-July",
    "one-wrong-high-of-two",
    "quiet-winter",
    "twenty-power-cuts",
    "welded-contact-in-spring",
    "worn-card",
)


def test_these_are_shipped() -> None:
    assert tuple(shipped()) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_scenario_holds_what_it_promises(name: str, tmp_path: Path) -> None:
    scenario = parse_scenario(shipped()[name], name)
    if scenario.days > 10.0:
        # The middle of the winter by its formula: mean_c - season_k, -6 °C.
        options = {**scenario.weather_options, "mean_c": -6.0, "season_k": 0.0}
        scenario = replace(scenario, days=DAYS_HERE, weather_options=options)

    outcome = live(scenario, tmp_path)

    assert outcome.failed == ()
    assert scenario.about
    assert scenario.must.froze is not None


def test_a_promise_of_a_scenario_can_be_broken(tmp_path: Path) -> None:
    """The checks above can fail: without heat the cold snap does not hold its promises."""
    scenario = parse_scenario(shipped()["cold-snap"], "cold-snap")
    dead = replace(scenario, faults=(Fault(kind="heater-dead", at_s=0.0),))

    assert live(dead, tmp_path).failed[0] == "ice in the pipe"


def test_another_seed_holds_the_promises_of_everything_at_once(tmp_path: Path) -> None:
    scenario = parse_scenario(shipped()["everything-at-once"], "everything-at-once")

    assert live(scenario, tmp_path, seed=7).failed == ()

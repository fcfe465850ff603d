"""`rehearse`: the list, the verdict, side by side, what is kept, and its refusals."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from overwinter.rehearse import campaign as campaigning
from overwinter.rehearse.nouns import Scenario
from overwinter.twin.houses import HOUSES, steady_rise_k
from tests.cli.conftest import Ran

Run = Callable[..., Ran]

SHORT = """
about = "Half a cold day."
days = 0.5
weather = "cold-night"
[must]
froze = false
"""


@pytest.fixture(autouse=True)
def nobody_s_house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No site.toml or settings.toml of whoever runs the tests."""
    for name in ("CONFIG", "STATE", "CACHE", "DATA"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / "nobody"))
    monkeypatch.setattr("overwinter.cli.places.SYSTEM_ROOT", str(tmp_path / "nobody"))


@pytest.fixture
def short(tmp_path: Path) -> str:
    path = tmp_path / "short.toml"
    path.write_text(SHORT)
    return str(path)


def test_without_a_scenario_they_are_listed(run: Run) -> None:
    ran = run("rehearse")

    assert (ran.code, ran.err) == (0, "")
    assert [line.split()[0] for line in ran.out.splitlines()][:2] == [
        "cold-snap",
        "dead-bulb-on-the-coldest-night",
    ]
    assert {row["name"] for row in json.loads(run("rehearse", "--json").out)} == {
        line.split()[0] for line in ran.out.splitlines()
    }


def test_the_verdict_comes_first_then_what_it_took(run: Run, short: str) -> None:
    ran = run("rehearse", short)

    assert (ran.code, ran.err) == (0, "")
    lines = ran.out.splitlines()
    assert lines[0] == "No ice. There was nothing to tell."
    assert lines[1] == "Half a cold day."
    assert any(line.startswith("coldest water") and " F (" in line for line in lines)
    assert "Simulated: a ready-made house: timber shed, 750 W." in ran.out


def test_as_json_it_has_what_is_promised_and_is_the_same_each_time(run: Run, short: str) -> None:
    ran = run("rehearse", short, "--json", "--seed", "4")
    facts = json.loads(ran.out)

    assert {
        *("froze", "coldest_water_c", "coldest_air_c", "hours_below_0c", "told_after_s", "duty", "kwh"),
        *("cost", "cycles", "alarms", "seed"),
    } <= facts.keys()
    assert facts["seed"] == 4
    assert facts["froze"] is False
    assert facts["cost"] is None
    assert run("rehearse", short, "--json", "--seed", "4") == ran
    assert run("rehearse", short, "--json", "--seed", "5").out != ran.out


def test_two_settings_stand_side_by_side_on_the_same_weather(run: Run, short: str) -> None:
    words = ("rehearse", short, "--against", "band.low=45F,band.high=50F")
    facts = json.loads(run(*words, "--json").out)
    shown = run(*words).out

    assert facts["against"]["settings"] == {"band.low": "45F", "band.high": "50F"}
    assert facts["against"]["kwh"] > facts["kwh"]
    assert facts["against"]["coldest_water_c"] > facts["coldest_water_c"] or facts["coldest_water_c"] < 4.1
    assert "as set" in shown
    assert "band.low=45F, band.high=50F" in shown


def test_the_kept_logbook_is_read_by_the_other_verbs(run: Run, short: str, tmp_path: Path) -> None:
    keep = tmp_path / "kept"
    ran = run("rehearse", short, "--keep", str(keep))
    assert ran.code == 0
    assert f"--logs {keep}/logs" in ran.err
    span = (
        "--logs",
        str(keep / "logs"),
        "--since",
        "2025-12-01T00:00:00Z",
        "--until",
        "2025-12-02T00:00:00Z",
    )

    samples = run("samples", *span, "--json")
    events = run("events", *span, "--json")

    assert len(samples.out.splitlines()) == 720
    assert json.loads(events.out.splitlines()[0])["event"] == "start"
    assert "Heat was on for" in run("chart", *span).out
    assert (keep / "state" / "settings.toml").exists()


def test_a_folder_that_is_not_empty_is_left_alone(run: Run, short: str, tmp_path: Path) -> None:
    ran = run("rehearse", short, "--keep", str(tmp_path))

    assert ran.code == 1
    assert "left alone" in ran.err


def test_the_exit_code_is_1_when_a_promise_does_not_hold(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "dead.toml"
    path.write_text(SHORT + '[[fault]]\nkind = "heater-dead"\n')
    ran = run("rehearse", str(path))

    assert ran.code == 1
    assert ran.out.startswith("FROZEN: up to")
    assert "Not as it must be:\n  ice in the pipe" in ran.out


def test_recorded_weather_is_lived_through(run: Run, short: str, tmp_path: Path) -> None:
    warm = tmp_path / "warm.csv"
    rows = [f"2025-01-{1 + hour // 24:02d}T{hour % 24:02d}:00:00,15.0" for hour in range(96)]
    warm.write_text("time,outdoor_c\n" + "\n".join(rows) + "\n")

    facts = json.loads(run("rehearse", short, "--weather", str(warm), "--json").out)

    assert facts["kwh"] == 0.0


def test_the_owner_s_site_and_settings_are_used(run: Run, short: str, tmp_path: Path) -> None:
    site, state = tmp_path / "site.toml", tmp_path / "state"
    site.write_text(
        '[site]\nname = "mill"\nunit = "C"\n'
        '[[sensor]]\nname = "s"\nrole = "control"\nkind = "dht22"\npin = 4\n'
        '[relay]\npin = 17\n[heater]\nwatts = 1500\nkind = "air"\n[tariff]\nper_kwh = 0.3\ncurrency = "EUR"\n'
        "[building]\nvolume_m3 = 12\nair_changes_h = 1\n"
        '[[building.part]]\nname = "all"\narea_m2 = 30\nu_w_m2k = 1.0\n'
    )
    state.mkdir()
    (state / "settings.toml").write_text("[band]\nlow = 45.0\nhigh = 50.0\n")
    ran = run("rehearse", short, "--site", str(site), "--state", str(state), "--json")
    facts = json.loads(ran.out)

    assert facts["cost"] == pytest.approx(facts["kwh"] * 0.3, abs=0.01)
    assert facts["coldest_air_c"] > 2.0
    shown = run("rehearse", short, "--site", str(site), "--state", str(state)).out
    assert "your building of site.toml" in shown
    assert "EUR" in shown


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        pytest.param(("cold-snip",), 1, "did you mean cold-snap?", id="a typo"),
        pytest.param(("none.toml",), 1, "none.toml: No such file", id="no such file"),
        pytest.param(("cold-snap", "--seed", "x"), 2, "a whole number", id="no seed"),
        pytest.param(("cold-snap", "--seed", "-1"), 2, "a whole number", id="a seed below 0"),
        pytest.param(("cold-snap", "--weather", "none.epw"), 1, "none.epw: No such file", id="no weather"),
        pytest.param(("cold-snap", "--against", "band.low"), 2, "is no KEY=VALUE", id="no value"),
        pytest.param(("--campaign", "0"), 2, "1 to 100000", id="no campaign"),
        pytest.param(("cold-snap", "--campaign", "5"), 2, "do not go together", id="both"),
        pytest.param(("--seed", "5"), 2, "needs a scenario", id="a seed of nothing"),
        pytest.param(("cold-snap", "--site", "none.toml"), 1, "there is no none.toml", id="no site"),
        pytest.param(("a", "b"), 2, "one word too many", id="two scenarios"),
    ],
)
def test_what_it_cannot_do_is_said(run: Run, words: tuple[str, ...], code: int, said: str) -> None:
    ran = run("rehearse", *words)

    assert (ran.code, ran.out) == (code, "")
    assert said in ran.err


def test_all_that_is_wrong_with_a_file_is_told_at_once(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text('days = -1\nhouse = "castle"\n')
    ran = run("rehearse", str(path))

    assert ran.code == 1
    assert "days = -1" in ran.err
    assert "house = 'castle'" in ran.err


def test_settings_that_are_not_allowed_are_refused(run: Run, short: str) -> None:
    ran = run("rehearse", short, "--against", "band.low=99F,filter.window=0")

    assert ran.code == 1
    assert "band.low" in ran.err
    assert "filter.window" in ran.err


def test_a_campaign_says_what_it_found(run: Run) -> None:
    ran = run("rehearse", "--campaign", "1", "--seed", "2", "--json")

    assert (ran.code, ran.err) == (0, "")
    facts = json.loads(ran.out)
    assert facts.pop("froze_unavoidably") in {0, 1}
    assert facts == {"schedules": 1, "seed": 2, "failed": []}


def test_a_failure_leaves_a_small_scenario_that_can_be_rehearsed(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(scenario: Scenario, seed: int) -> tuple[str | None, bool]:
        del seed
        return ("too long" if scenario.days > 0.9 else None), False

    monkeypatch.setattr(campaigning, "judge", failing)
    ran = run("rehearse", "--campaign", "1", "--seed", "2", "--keep", str(tmp_path / "found"))
    (file,) = (tmp_path / "found").iterdir()

    assert ran.code == 1
    assert "1 of 1 schedules ended otherwise than they must (seed 2)." in ran.out
    assert f"overwinter rehearse {file} --seed 2000000" in ran.out
    assert "[[fault]]" not in file.read_text()
    assert run("rehearse", str(file), "--seed", "2000000").code in {0, 1}


LESSON = """
about = "Twelve cold days with a sensor outdoors."
days = 12
weather = "cold-winter"
house = "timber shed"
[weather_options]
mean_c = -6
[[sensor]]
name = "by the pump"
role = "control"
[[sensor]]
name = "north wall"
role = "outdoor"
"""


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """State and logbook of a guard that has learned a timber shed."""
    from overwinter.rehearse.file import parse_scenario
    from overwinter.rehearse.run import rehearse
    from overwinter.rehearse.weather import weather_of

    folder = tmp_path_factory.mktemp("lived")
    lesson = parse_scenario(LESSON, "lesson")
    rehearse(lesson, seed=3, folder=folder, weather=weather_of(lesson, seed=3))
    return folder


@pytest.mark.parametrize(("option", "below"), [("--state", "state"), ("--logs", "logs")])
def test_the_house_may_be_the_one_that_was_learned(
    run: Run, short: str, lived: Path, option: str, below: str
) -> None:
    ran = run("rehearse", short, "--learned", option, str(lived / below))

    assert (ran.code, ran.err) == (0, "")
    said = re.search(r"heat that lifts the air by ([0-9.]+) F in the end, as learned", ran.out)
    assert said is not None, ran.out
    true_k = steady_rise_k(HOUSES["timber shed"])
    assert float(said[1]) / 1.8 == pytest.approx(true_k, rel=0.2)
    assert ran.out != run("rehearse", short, option, str(lived / below)).out


def test_a_house_that_is_not_known_yet_is_refused_with_what_it_takes(
    run: Run, short: str, tmp_path: Path
) -> None:
    ran = run("rehearse", short, "--learned", "--state", str(tmp_path / "new"))

    assert (ran.code, ran.out) == (1, "")
    assert "not known yet, after 0 h of usable records" in ran.err
    assert "outdoor sensor" in ran.err


def test_learned_needs_a_scenario_and_no_campaign(run: Run) -> None:
    assert "--learned needs a scenario" in run("rehearse", "--learned").err
    assert (
        "--learned and --campaign do not go together" in run("rehearse", "--learned", "--campaign", "2").err
    )

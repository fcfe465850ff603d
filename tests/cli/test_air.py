"""`air`: its facts, its words and its refusals."""

import json
from collections.abc import Callable

import pytest

from tests.cli.conftest import Ran

Run = Callable[..., Ran]

KEYS = {
    *("temperature_c", "humidity_pct", "over", "dew_point_c", "frost_point_c"),
    *("saturation_pressure_pa", "humidity_ratio"),
}


def test_frosty_air_over_water_has_a_dew_point_and_a_higher_frost_point(run: Run) -> None:
    """-10 °C and 80 % over water: -12.80 and -11.4 °C (reckoned outside this project by the same formula)."""
    ran = run("air", "-10C", "80", "--json")
    facts = json.loads(ran.out)

    assert ran.code == 0
    assert facts.keys() >= KEYS
    assert (facts["temperature_c"], facts["humidity_pct"], facts["over"]) == (-10.0, 80.0, "water")
    assert facts["dew_point_c"] == pytest.approx(-12.80, abs=0.01)
    assert facts["frost_point_c"] == pytest.approx(-11.39, abs=0.01)


def test_over_ice_the_frost_point_is_the_libraries_own(run: Run) -> None:
    """psychrolib and CoolProp: -12.490 °C; ASHRAE's table: 259.87 Pa."""
    facts = json.loads(run("air", "-10C", "80", "--over", "ice", "--json").out)

    assert facts["over"] == "ice"
    assert facts["frost_point_c"] == pytest.approx(-12.490, abs=0.01)
    assert facts["saturation_pressure_pa"] == pytest.approx(259.87, rel=0.001)


def test_warm_air_has_no_frost_point(run: Run) -> None:
    facts = json.loads(run("air", "20C", "50", "--json").out)

    assert facts["frost_point_c"] is None
    assert facts["dew_point_c"] == pytest.approx(9.27, abs=0.04)
    assert facts["humidity_ratio"] == pytest.approx(0.00726, rel=0.004)


def test_higher_up_there_is_more_water_in_each_kilogram(run: Run) -> None:
    low = json.loads(run("air", "20C", "50", "--json").out)
    high = json.loads(run("air", "20C", "50", "--altitude-m", "1500", "--json").out)

    assert high["humidity_ratio"] > 1.15 * low["humidity_ratio"]
    assert high["dew_point_c"] == low["dew_point_c"]


@pytest.mark.parametrize("words", [("36F", "80"), ("36", "80%"), ("36 °F", "80")], ids=" ".join)
def test_a_bare_number_is_in_f_and_a_percent_sign_may_stand(run: Run, words: tuple[str, str]) -> None:
    facts = json.loads(run("air", *words, "--json").out)

    assert facts["temperature_c"] == pytest.approx(2.2222, abs=1e-4)
    assert facts["humidity_pct"] == 80.0


def test_the_words_are_in_both_units_and_say_what_it_means(run: Run) -> None:
    ran = run("air", "36F", "80")

    assert ran.code == 0
    assert "36.0 F (2.2 C) at 80 % over water" in ran.out
    assert "frost point    30.6 F (-0.8 C)" in ran.out
    assert "Pipes and walls colder than 30.6 F (-0.8 C) collect frost." in ran.out
    assert "A sensor good to 0.5 K and 2 % may be" in ran.out
    assert "Magnus" in ran.out


def test_warm_air_makes_pipes_sweat(run: Run) -> None:
    out = run("air", "20C", "70").out

    assert "frost point    none" in out
    assert "sweat." in out


def test_a_dew_point_beyond_the_formula_says_so(run: Run) -> None:
    assert "beyond the formula" in run("air", "-30C", "1").out


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        pytest.param(
            (), 2, ["TEMPERATURE is missing", "HUMIDITY is missing", "usage: overwinter air"], id="nothing"
        ),
        pytest.param(("36F",), 2, ["HUMIDITY is missing"], id="no humidity"),
        pytest.param(("cold", "wet"), 2, ["'cold'", "HUMIDITY: 'wet' is no number"], id="words"),
        pytest.param(("36F", "nan"), 2, ["'nan' is no number; allowed is above 0 to 100 %"], id="nan"),
        pytest.param(("36F", "1_0"), 2, ["'1_0' is no number"], id="a Python number"),
        pytest.param(("36F", "80", "90"), 2, ["'90' is one word too many"], id="three words"),
        pytest.param(("36F", "80", "--over", "steam"), 2, ["'steam'", "water or ice"], id="over steam"),
        pytest.param(
            ("100C", "0", "--altitude-m", "99999"),
            1,
            [
                "TEMPERATURE = 100C: must be -49.0 F to 140.0 F (-45.0 C to 60.0 C)",
                "HUMIDITY = 0: must be above 0 to 100 %",
                "--altitude-m = 99999: must be -500 to 9000 m",
            ],
            id="all three out of range",
        ),
        pytest.param(("36F", "100.1"), 1, ["HUMIDITY = 100.1"], id="more than all"),
        pytest.param(
            ("10C", "80", "--over", "ice"), 1, ["at most 32 F (0 C) where humidity is over ice"], id="ice"
        ),
    ],
)
def test_what_cannot_be_reckoned_with_is_told_all_at_once(
    run: Run, words: tuple[str, ...], code: int, told: list[str]
) -> None:
    ran = run("air", *words)

    assert ran.code == code
    assert ran.out == ""
    for one in told:
        assert one in ran.err


def test_help_has_an_example(run: Run) -> None:
    assert "overwinter air 36F 80" in run("air", "--help").out

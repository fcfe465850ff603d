"""`pipe`: its facts, its words and its refusals."""

import json
from collections.abc import Callable

import pytest

from tests.cli.conftest import Ran

Run = Callable[..., Ran]

RISER = ("--bore-mm", "26", "--outside-mm", "28", "--insulation-mm", "25")
COLD = ("--water", "45F", "--air", "10F")
LINE = ("--bore-mm", "5", "--outside-mm", "6.35")


def facts(run: Run, *words: str) -> dict[str, dict[str, float]]:
    ran = run("pipe", *words, "--json")
    assert ran.code == 0, ran.err
    found: dict[str, dict[str, float]] = json.loads(ran.out)
    return found


def test_a_printed_entry_is_met(run: Run) -> None:
    """2021 ASHRAE Handbook - Fundamentals, ch. 23 table 6: a 50 mm pipe under 38 mm, 1.4 h."""
    found = facts(
        run,
        *("--bore-mm", "52.48", "--outside-mm", "60.3", "--insulation-mm", "40.35"),
        *("--insulation-w-mk", "0.0432", "--water", "5.5C", "--air", "-28C"),
    )

    assert found["start_h"]["best"] == pytest.approx(1.4, abs=0.06)


def test_both_times_are_ranges_and_solid_comes_later(run: Run) -> None:
    found = facts(run, *RISER, *COLD)

    for key in ("start_h", "solid_h"):
        assert found[key].keys() == {"best", "low", "high"}
        assert 0.0 < found[key]["low"] < found[key]["best"] < found[key]["high"]
    assert found["solid_h"]["low"] > found["start_h"]["high"]


def test_what_is_not_given_is_bare(run: Run) -> None:
    bare = facts(run, *LINE, *COLD)

    assert bare == facts(run, *LINE, "--insulation-mm", "0", *COLD)
    assert bare["start_h"]["high"] < facts(run, *RISER, *COLD)["start_h"]["low"]


def test_air_above_freezing_never_freezes_it(run: Run) -> None:
    never = {"best": None, "low": None, "high": None}
    found = facts(run, *RISER, "--water", "5C", "--air", "0C")

    assert found["start_h"] == found["solid_h"] == never
    assert "never freezes" in run("pipe", *RISER, "--water", "5C", "--air", "1C").out


def test_the_words_are_in_both_units_and_name_the_method(run: Run) -> None:
    out = run("pipe", *RISER, *COLD).out

    assert "45.0 F (7.2 C)" in out
    assert "10.0 F (-12.2 C)" in out
    assert "at freezing, 32 F (0 C), after  1 h" in out
    assert "long before it is solid" in out
    assert "ASHRAE" in out
    assert "draught" in run("pipe", *LINE, *COLD).out


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        pytest.param(
            (),
            2,
            ["--bore-mm is missing", "--outside-mm is missing", "--water is missing", "--air is missing"],
            id="nothing",
        ),
        pytest.param(("--bore-mm", "wide", *COLD), 2, ["'wide' is no number", "0.5 to 2000 mm"], id="a word"),
        pytest.param((*RISER, "--water", "warm", "--air", "-1C"), 2, ["--water: 'warm'"], id="warm"),
        pytest.param((*RISER, *COLD, "more"), 2, ["'more' is one word too many"], id="a word too many"),
        pytest.param(
            ("--bore-mm", "5", "--outside-mm", "4", "--water", "-1C", "--air", "-100C"),
            1,
            [
                "--outside-mm = 4: must be more than the bore of 5 mm",
                "--water = -1C: must be 32.0 F to 140.0 F (0.0 C to 60.0 C)",
                "--air = -100C: must be -130.0 F",
            ],
            id="all out of range",
        ),
        pytest.param(
            (*RISER, *COLD, "--insulation-w-mk", "0"), 1, ["0.005 to 5 W/(m K)"], id="perfect insulation"
        ),
        pytest.param(
            (*RISER[:4], *COLD, "--insulation-mm", "-1"), 1, ["--insulation-mm = -1"], id="below nothing"
        ),
    ],
)
def test_what_cannot_be_reckoned_with_is_told_all_at_once(
    run: Run, words: tuple[str, ...], code: int, told: list[str]
) -> None:
    ran = run("pipe", *words)

    assert ran.code == code
    assert ran.out == ""
    for one in told:
        assert one in ran.err


def test_help_has_an_example(run: Run) -> None:
    assert "overwinter pipe --bore-mm 26" in run("pipe", "--help").out

"""The small option parser."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.cli.options import JSON, PLACES, Stop, Verb, is_option

VERB = Verb(
    "band",
    "[LOW HIGH]",
    about="About it.",
    examples=("overwinter band 36F 40F",),
    options={"json": JSON, "until": ("DATE", "when it ends"), "o": ("FILE", "where to")},
)


@given(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from(["", "F", "C", "f", " C", "°C"]))
def test_a_negative_number_is_never_an_option(value: float, unit: str) -> None:
    word = f"{value:f}{unit}"

    assert not is_option(word)
    assert VERB.parse([word, "--json"], most=1).words == [word]


@pytest.mark.parametrize("word", ["-1C", "-.5", "-0", "-40F", "-", "-15.5", "−3", "-inf", "-1e3"])
def test_these_are_words(word: str) -> None:
    assert VERB.parse([word, "4"], most=2).words == [word, "4"]


def test_options_stand_anywhere_and_take_their_value_either_way() -> None:
    given_ = VERB.parse(["--socket=/s", "-1", "--until", "-2", "--json", "-o", "a b"], most=1)

    assert given_.words == ["-1"]
    assert given_.options == {"socket": "/s", "until": "-2", "json": "", "o": "a b"}
    assert given_.has("json")
    assert given_.value("until") == "-2"
    assert given_.value("site") is None


def test_after_two_dashes_all_is_words() -> None:
    assert VERB.parse(["--json", "--", "--until", "-h"], most=2).words == ["--until", "-h"]


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        pytest.param(["--jsn"], "no option --jsn; did you mean --json?", id="typo"),
        pytest.param(["-x"], "no option -x", id="short"),
        pytest.param(["--o", "f"], "no option --o", id="short with two dashes"),
        pytest.param(["-json"], "'-json' is one word too many", id="one dash"),
        pytest.param(["--json=yes"], "--json takes no value", id="flag with value"),
        pytest.param(["--until"], "--until needs a value: --until DATE", id="value missing at the end"),
        pytest.param(["--until", "--json"], "--until needs a value", id="value missing before an option"),
        pytest.param(["--until", "--", "x"], "--until needs a value", id="value missing before the dashes"),
        pytest.param(["--until="], "--until is empty", id="value empty"),
        pytest.param(["--socket", ""], "--socket is empty", id="variable not set in a script"),
        pytest.param(["1"], "'1' is one word too many", id="word"),
    ],
)
def test_wrong_usage_is_told_with_what_is_allowed(argv: list[str], told: str) -> None:
    with pytest.raises(Stop) as stop:
        VERB.parse(argv, most=0)

    assert stop.value.code == 2
    assert told in stop.value.lines[0]
    assert stop.value.lines[0].startswith("band: ")
    assert "overwinter band --help" in stop.value.lines[1]


@pytest.mark.parametrize("argv", [["--help"], ["-h"], ["36F", "40F", "5F", "--help"], ["--until", "x", "-h"]])
def test_help_shows_usage_options_and_an_example(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(Stop) as stop:
        VERB.parse(argv, most=2)

    out = capsys.readouterr().out
    assert (stop.value.code, stop.value.lines) == (0, ())
    assert out.startswith("usage: overwinter band [LOW HIGH] [--json] [--until DATE] [-o FILE]\n")
    for told in ("About it.", "overwinter band 36F 40F", "when it ends", *(f"--{name} " for name in PLACES)):
        assert told in out

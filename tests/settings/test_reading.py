"""What both files have in common: text or a clear problem, keys and values in a sentence."""

import pytest

from overwinter.core.nouns import Refused
from overwinter.settings import reading


@pytest.mark.parametrize(
    ("content", "said"),
    [
        pytest.param(b"x = 3,5", "line 1, column 6: .*3.5, not 3,5", id="decimal comma"),
        pytest.param(b"a = 1\r\nx = 36F\r\n", 'line 2, column 7: .*unit = "F" or "C"', id="unit behind"),
        pytest.param("x = 5 °C".encode(), "line 1, column 7: .*said once", id="degree sign"),
        pytest.param(b"x = 3.\n", "a digit on both sides", id="bare point behind"),
        pytest.param(b"x = .5", "a digit on both sides", id="bare point before"),
        pytest.param(b"x = 05", "superfluous 0", id="leading zero"),
        pytest.param(b"x = 20m", "without a unit behind it", id="duration"),
        pytest.param(b"mode = freeze", 'words stand in quotes: "freeze"', id="bare word"),
        pytest.param(b"a = 1\n\nx = [1\n\n\n", r"line 3, column 7 \(the end\)", id="never closed"),
        pytest.param(b"a = 1\na = 2\nb = 3", "line 2, column 6: Cannot overwrite", id="twice"),
        pytest.param(b"[a]\n[a]\n", "line 2, .*twice", id="table twice"),
        pytest.param(b"a = 1\nb = \xe9", "line 2: byte 0xe9 is not UTF-8 text", id="latin-1"),
        pytest.param("a = 1".encode("utf-16"), "saved as UTF-16", id="utf-16"),
        pytest.param(b"a = 1\nb\0 = 2", "line 2, column 2: a NUL byte", id="nul"),
        pytest.param("a = '\ud800'", "line 1, column 6: half a character", id="surrogate"),
        pytest.param(b"x = " + b"[" * 3000, "lists inside lists", id="deep"),
        pytest.param(b"x = " + b"9" * 3999, "line 1: 4003 characters; allowed are 4000", id="long line"),
        pytest.param(b"#\n" * 33_000, "66000 bytes; allowed are 65536", id="long file"),
        pytest.param("#\n" * 33_000, "66000 bytes; allowed are 65536", id="long text"),
    ],
)
def test_what_is_no_toml_is_one_problem_with_its_place(content: str | bytes, said: str) -> None:
    with pytest.raises(Refused, match=f"^some.toml: .*{said}") as refused:
        reading.toml_tree(content, "some.toml")

    assert len(refused.value.problems) == 1


def test_a_number_of_more_digits_than_python_reads_is_a_problem(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "LINE_CHARACTERS_MAX", 6000)

    with pytest.raises(Refused, match="a number with too many digits"):
        reading.toml_tree("x = " + "9" * 5000, "some.toml")


def test_a_file_of_exactly_the_limit_is_read() -> None:
    assert reading.toml_tree(b"#" + b"\n" * (reading.TEXT_BYTES_MAX - 1), "some.toml") == {}


@pytest.mark.parametrize("mark", ["\ufeff", ""], ids=["with mark", "without"])
def test_a_byte_order_mark_is_no_key(mark: str) -> None:
    assert reading.toml_tree((mark + "a = 1").encode(), "some.toml") == {"a": 1}


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("low", "band.low"),
        ("bnad.low", "band.low"),
        ("band.lo", "band.low"),
        ("BAND.HIGH", "band.high"),
        ("limits.hgih", "band.high"),
        ("xyzzy", None),
        ("", None),
    ],
)
def test_a_slip_finds_its_key(asked: str, meant: str | None) -> None:
    assert reading.nearest(asked, ["mode", "band.low", "band.high"]) == meant


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (True, "true"),
        pytest.param(16**5000, "a number of more than 20 digits", id="huge"),
        (1 / 3, "0.333333"),
        (36.0, "36.0"),
        (float("nan"), "nan"),
        ({}, "a table"),
        ([[[]]], "a list"),
        (None, "nothing"),
        ("a\nb", '"a\\nb"'),
        ("\ud800", '"\\ud800"'),
        ("x" * 61, '"' + "x" * 60 + '…"'),
    ],
)
def test_a_value_in_a_sentence_is_short_and_printable(value: object, shown: str) -> None:
    assert reading.quoted(value) == shown


def test_fifty_problems_are_told_and_the_rest_is_counted() -> None:
    problems = [
        reading.refusal("", str(number), number, "less") for number in range(reading.PROBLEMS_MAX + 3)
    ]

    told = reading.no_more_than(problems)

    assert len(told) == reading.PROBLEMS_MAX + 1
    assert told[-1].text == "and 3 more"
    assert reading.no_more_than(problems[:50]) == tuple(problems[:50])

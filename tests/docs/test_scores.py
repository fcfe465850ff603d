"""The page of scores adds up, and whatever it scores 2 names a proof that exists."""

import re
from collections import Counter

from tests.docs.pages import ROOT

PAGE = (ROOT / "docs" / "scores.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| ([UR]\d+) \| (.+?) \| ([012]) \| (.+) \|$", PAGE, re.MULTILINE)


def test_each_promise_stands_there_once_and_the_sums_are_right() -> None:
    names = [name for name, *_ in ROWS]

    assert names == [*(f"U{number}" for number in range(1, 55)), *(f"R{number}" for number in range(1, 43))]
    for letter, title in (("U", "use and surroundings"), ("R", "reliability and security")):
        count = Counter(score for name, _, score, _ in ROWS if name.startswith(letter))
        of = sum(count.values())
        assert f"| {title} | {count['0']} | {count['1']} | {count['2']} | {of} |" in PAGE


def test_what_is_scored_two_names_a_proof_that_exists() -> None:
    for name, _, score, proof in ROWS:
        paths = re.findall(r"`((?:tests|docs|src|systemd)/[^`]+)`", proof)
        assert all((ROOT / path).exists() for path in paths), name
        assert score != "2" or paths or "the unit denies it" in proof, name

"""scrypt against the test vectors of RFC 7914, and what our line of text makes of it."""

import hashlib
import time

import pytest

from overwinter.web.passwords import hashed, is_kept, is_right


@pytest.mark.parametrize(
    ("password", "salt", "cost", "block", "parallel", "begins"),
    [  # RFC 7914, section 12; the first eight bytes of each, from memory
        ("", "", 16, 1, 1, "77d6576238657b20"),
        ("password", "NaCl", 1024, 8, 16, "fdbabe1c9d347200"),
        ("pleaseletmein", "SodiumChloride", 16384, 8, 1, "7023bdcb3afd7348"),
    ],
)
def test_the_library_is_scrypt(
    password: str, salt: str, cost: int, block: int, parallel: int, begins: str
) -> None:
    found = hashlib.scrypt(
        password.encode(), salt=salt.encode(), n=cost, r=block, p=parallel, maxmem=2**26, dklen=64
    )

    assert found.hex().startswith(begins)


def test_the_right_password_is_right_and_no_other() -> None:
    kept = hashed("a lamp in the orchard")

    assert is_right("a lamp in the orchard", kept)
    assert not is_right("a lamp in the Orchard", kept)
    assert not is_right("", kept)
    assert "lamp" not in kept


def test_the_same_password_is_kept_differently_each_time() -> None:
    assert hashed("a lamp in the orchard") != hashed("a lamp in the orchard")


@pytest.mark.parametrize(
    "stored", ["", "scrypt", "plain a b c d e", "scrypt 3 8 1 AAAA AAAA", "scrypt 16384 8 1 ä ä"]
)
def test_a_kept_line_that_is_none_lets_nobody_in(stored: str) -> None:
    assert not is_right("a lamp in the orchard", stored)


@pytest.mark.parametrize("password", ["short", "x" * 201])
def test_a_bad_choice_is_refused(password: str) -> None:
    with pytest.raises(ValueError, match="allowed: 8 to 200"):
        hashed(password)


def test_an_absurd_guess_takes_no_less_time_than_a_wrong_one() -> None:
    kept = hashed("a lamp in the orchard")

    def took_s(guess: str) -> float:
        began = time.perf_counter()
        is_right(guess, kept)
        return time.perf_counter() - began

    wrong = min(took_s("a wrong guess") for _ in range(3))
    assert min(took_s("") for _ in range(3)) > wrong / 3
    assert min(took_s("x" * 10_000) for _ in range(3)) > wrong / 3


@pytest.mark.parametrize(
    "line",
    [
        "",
        "a long winter night",
        "scrypt 16384 8 1 c2FsdA==",
        "scrypt 16384 8 0 c2FsdA== " + "QUJD" * 11,
        "scrypt 16384 8 1 c2FsdA== c2hvcnQ=",
        "scrypt 16384 8 1 *** ***",
    ],
)
def test_a_line_that_was_not_made_here_is_told_from_one_that_was(line: str) -> None:
    assert is_kept(hashed("a long winter night"))
    assert not is_kept(line)

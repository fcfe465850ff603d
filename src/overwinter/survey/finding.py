"""One thing that was looked at: what it is, how bad, why it matters, and what to do about it."""

from dataclasses import dataclass
from enum import StrEnum

from overwinter.survey.machine import CannotLook


class Grade(StrEnum):
    """How bad a finding is; worst first."""

    FAULT = "fault"  # this makes the installation useless or dangerous, perhaps silently
    UNKNOWN = "cannot-tell"  # it was not possible to look, so nobody knows
    HINT = "hint"  # it works, and could be better
    SOUND = "sound"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was looked at."""

    code: str
    grade: Grade
    thing: str
    value: str
    why: str = ""  # one sentence
    fix: str = ""  # what to do, in words
    command: str = ""  # and as it can be typed or written


def fault(code: str, thing: str, value: str, *, why: str, fix: str = "", command: str = "") -> Finding:
    """Makes the installation useless or dangerous."""
    assert fix or command, f"{code}: a fault without its fix"
    return Finding(code=code, grade=Grade.FAULT, thing=thing, value=value, why=why, fix=fix, command=command)


def hint(code: str, thing: str, value: str, *, why: str, fix: str = "", command: str = "") -> Finding:
    """Works, and could be better."""
    assert fix or command, f"{code}: a hint without what to do"
    return Finding(code=code, grade=Grade.HINT, thing=thing, value=value, why=why, fix=fix, command=command)


def unknown(code: str, thing: str, value: str, *, why: str, fix: str = "", command: str = "") -> Finding:
    """Could not be looked at, or cannot be known from what is there."""
    assert fix or command, f"{code}: unknown, without how to know"
    return Finding(
        code=code, grade=Grade.UNKNOWN, thing=thing, value=value, why=why, fix=fix, command=command
    )


def sound(code: str, thing: str, value: str) -> Finding:
    """Was looked at and is right."""
    return Finding(code=code, grade=Grade.SOUND, thing=thing, value=value)


AS_ROOT = "sudo overwinter check"


def not_seen(code: str, thing: str, error: CannotLook | str, *, why: str) -> Finding:
    """The machine did not let us look."""
    return unknown(code, thing, str(error), why=why, fix="Look again as root.", command=AS_ROOT)

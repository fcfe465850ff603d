"""A report as a person reads it: worst first, a few lines each, the verdict last. Pure text."""

import textwrap
from collections.abc import Callable, Iterator

from overwinter.show.text import clean
from overwinter.survey.finding import Finding, Grade
from overwinter.survey.report import Report

WIDTH = 80

_TITLES = {
    Grade.FAULT: "FAULTS: each makes the installation useless or dangerous",
    Grade.UNKNOWN: "CANNOT TELL: this could not be looked at, or is not known",
    Grade.HINT: "HINTS: it works, and could be better",
    Grade.SOUND: "LOOKED AT AND SOUND",
}
_BADNESS = {Grade.FAULT: 2, Grade.UNKNOWN: 1}


def page(report: Report, *, paint: Callable[[str, int], str], with_sound: bool = False) -> str:
    """The whole report.

    Parameters
    ----------
    report : Report
        What was found.
    paint : callable
        Colours a text for a grade of badness (0 to 2), or leaves it as it is.
    with_sound : bool
        Show also what was looked at and found right.
    """
    lines: list[str] = []
    for grade, title in _TITLES.items():
        found = report.of(grade)
        if not found or (grade is Grade.SOUND and not with_sound):
            continue
        lines += [paint(title, _BADNESS.get(grade, 0)), ""]
        for one in found:
            lines += _line(one) if grade is Grade.SOUND else [*_finding(one), ""]
        lines += [""] if grade is Grade.SOUND else []
    return "\n".join([*lines, paint(verdict(report), 0 if report.is_clean else 2)])


def verdict(report: Report) -> str:
    """All of it in one line."""
    counts = {grade: len(report.of(grade)) for grade in Grade}
    parts = [_counted(counts[Grade.FAULT], "fault") if counts[Grade.FAULT] else "no fault"]
    if counts[Grade.UNKNOWN]:
        parts.append(f"{_counted(counts[Grade.UNKNOWN], 'thing')} not known")
    parts.append(_counted(counts[Grade.HINT], "hint"))
    sound = counts[Grade.SOUND]
    return f"{', '.join(parts)}; {_counted(sound, 'thing')} looked at {'is' if sound == 1 else 'are'} sound"


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _finding(one: Finding) -> Iterator[str]:
    yield from _wrapped(f"{one.thing}: {one.value}  [{one.code}]", "  ", "    ")
    yield from _wrapped(one.why, "    ", "    ")
    yield from _wrapped(f"fix: {one.fix}" if one.fix else "fix:", "    ", "    ")
    # A command is typed or copied as it stands, so it is never broken.
    yield from (f"      {clean(line)}" for line in one.command.splitlines())


def _line(one: Finding) -> Iterator[str]:
    yield from _wrapped(f"{one.thing}: {one.value}", "  ", "    ")


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        clean(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )

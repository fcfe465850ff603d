"""The report as a person reads it."""

from overwinter.survey.finding import Finding, Grade, fault, hint, sound, unknown
from overwinter.survey.page import page, verdict
from overwinter.survey.report import Report

FAULT = fault(
    "watchdog",
    "overwinter.service",
    "has no watchdog",
    why="A guard that hangs stays hanging.",
    fix="Add these lines and restart:",
    command="[Service]\nWatchdogSec=30",
)
UNKNOWN = unknown("pins-busy", "pins", "denied", why="Who knows.", command="sudo overwinter check")
HINT = hint("swap", "/var/swap", "is swap on a disk or card", why="It wears.", fix="Switch it off.")
SOUND = sound("cord", "extension cord", "there is none")


def plain(text: str, _: int) -> str:
    return text


def of(*findings: Finding) -> Report:
    return Report(findings=findings)


def test_the_whole_page() -> None:
    assert page(of(FAULT, UNKNOWN, HINT, SOUND), paint=plain, with_sound=True) == (
        "FAULTS: each makes the installation useless or dangerous\n"
        "\n"
        "  overwinter.service: has no watchdog  [watchdog]\n"
        "    A guard that hangs stays hanging.\n"
        "    fix: Add these lines and restart:\n"
        "      [Service]\n"
        "      WatchdogSec=30\n"
        "\n"
        "CANNOT TELL: this could not be looked at, or is not known\n"
        "\n"
        "  pins: denied  [pins-busy]\n"
        "    Who knows.\n"
        "    fix:\n"
        "      sudo overwinter check\n"
        "\n"
        "HINTS: it works, and could be better\n"
        "\n"
        "  /var/swap: is swap on a disk or card  [swap]\n"
        "    It wears.\n"
        "    fix: Switch it off.\n"
        "\n"
        "LOOKED AT AND SOUND\n"
        "\n"
        "  extension cord: there is none\n"
        "\n"
        "1 fault, 1 thing not known, 1 hint; 1 thing looked at is sound"
    )


def test_what_is_sound_is_shown_only_when_asked_for() -> None:
    assert page(of(SOUND, SOUND), paint=plain) == "no fault, 0 hints; 2 things looked at are sound"


def test_the_verdict_never_leaves_out_what_is_not_known() -> None:
    assert verdict(of(UNKNOWN, UNKNOWN, SOUND)) == (
        "no fault, 2 things not known, 0 hints; 1 thing looked at is sound"
    )


def test_long_words_are_wrapped_at_eighty_and_commands_are_left_whole() -> None:
    long = fault(
        "x",
        "thing " * 10,
        "value " * 30,
        why="because " * 40,
        fix="do " * 60,
        command="sudo " + "word " * 30 + "end",
    )

    lines = page(of(long), paint=plain).splitlines()

    command = [line for line in lines if line.startswith("      sudo")]
    assert command == ["      sudo " + "word " * 30 + "end"]
    assert max(len(line) for line in lines if line not in command) <= 80


def test_nothing_from_outside_reaches_the_terminal_as_it_is() -> None:
    nasty = fault("x", "sensor \x1b[31m", "\x07bell", why="w\x00", fix="f\x1b", command="c\x1b[2J")

    assert all(letter.isprintable() or letter == "\n" for letter in page(of(nasty), paint=plain))


def test_only_faults_are_painted_as_bad() -> None:
    painted: list[tuple[str, int]] = []

    def paint(text: str, badness: int) -> str:
        painted.append((text.split(":", maxsplit=1)[0], badness))
        return text

    page(of(FAULT, UNKNOWN, HINT), paint=paint)
    page(of(HINT), paint=paint)

    assert [badness for _, badness in painted] == [2, 1, 0, 2, 0, 0]


def test_for_programs_everything_is_counted_and_listed() -> None:
    facts = of(FAULT, UNKNOWN, HINT, SOUND).facts()

    assert {key: facts[key] for key in ("faults", "cannot_tell", "hints", "sound")} == {
        "faults": 1,
        "cannot_tell": 1,
        "hints": 1,
        "sound": 1,
    }
    found = facts["findings"]
    assert isinstance(found, list)
    assert found[0] == {
        "code": "watchdog",
        "grade": "fault",
        "thing": "overwinter.service",
        "value": "has no watchdog",
        "why": "A guard that hangs stays hanging.",
        "fix": "Add these lines and restart:",
        "command": "[Service]\nWatchdogSec=30",
    }
    assert [one["grade"] for one in found] == [grade.value for grade in Grade]

"""The command as a whole: finding verbs, help, exit codes."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import pytest

from overwinter import __version__
from overwinter.cli import GROUPS, VERBS
from tests.cli.conftest import COLD_ALARM, STATUS, FakeGuard, Ran, Refusal

Run = Callable[..., Ran]
MINE = sorted(set(VERBS) - {"guard", "demo"})


def process(*argv: str, stdin: str = "", **variables: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "overwinter", *argv],
        input=stdin,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={**os.environ, **variables},
    )


@pytest.mark.parametrize("argv", [[], ["help"], ["--help"], ["-h"]])
def test_without_a_verb_it_tells_what_there_is(run: Run, argv: list[str]) -> None:
    ran = run(*argv)

    assert (ran.code, ran.err) == (0, "")
    assert ran.out.index("examples:") < ran.out.index(f"{GROUPS[0][0]}:"), "examples come first"
    for verb in VERBS:
        (line,) = [line for line in ran.out.splitlines() if line.startswith(f"  {verb} ")]
        assert not line.endswith("(not built yet)")


def test_every_promised_verb_is_known() -> None:
    assert set(VERBS) == {
        *("guard", "status", "band", "mode", "set", "settings", "heat", "samples", "events", "drop-samples"),
        *("quiet", "note", "chart", "report", "forecast", "plan", "air", "pipe", "prove", "replay"),
        *("rehearse", "check", "rounds", "notifier", "web", "demo"),
    }


def test_the_version(run: Run) -> None:
    assert run("--version") == Ran(0, f"overwinter {__version__}\n", "")


@pytest.mark.parametrize("verb", MINE)
def test_every_verb_has_help_with_an_example_of_its_own(run: Run, verb: str) -> None:
    ran = run(verb, "--help")

    assert (ran.code, ran.err) == (0, "")
    examples = ran.out.split("examples:\n")[1].split("\n\n")[0].splitlines()
    assert examples
    assert all(example.startswith(f"  overwinter {verb}") for example in examples)
    assert run("help", verb) == ran
    assert all(len(line) <= 110 for line in ran.out.splitlines())


@pytest.mark.parametrize("verb", MINE)
def test_a_verbs_examples_are_understood_by_its_own_table(verb: str) -> None:
    import shlex

    table = import_module(f"overwinter.cli.{verb.replace('-', '_')}").VERB

    for example in table.examples:
        words = shlex.split(example.split(" > ")[0])[2:]
        table.parse(words, most=None)


TYPOS = {
    "staus": "status",
    "statsu": "status",
    "stat": "status",
    "Status": "status",
    "bnad": "band",
    "bands": "band",
    "mod": "mode",
    "mdoe": "mode",
    "setings": "settings",
    "setting": "settings",
    "heta": "heat",
    "heating": "heat",
    "event": "events",
    "evnets": "events",
    "sample": "samples",
    "smaples": "samples",
    "drop_samples": "drop-samples",
    "quite": "quiet",
    "notes": "note",
    "gaurd": "guard",
    "forcast": "forecast",
    "reharse": "rehearse",
}


def test_nearly_every_typo_is_understood(run: Run) -> None:
    suggested = {typo: f"did you mean {verb}?" in run(typo).err for typo, verb in TYPOS.items()}

    assert sum(suggested.values()) >= 0.9 * len(TYPOS), suggested


def test_an_unknown_verb_is_wrong_usage(run: Run) -> None:
    ran = run("xyzzy")

    assert (ran.code, ran.out) == (2, "")
    assert ran.err == "overwinter: there is no verb 'xyzzy'\nall verbs: overwinter help\n"
    assert run("help", "xyzzy").code == 2
    assert run("--json", "status").code == 2
    assert run("--socket").code == 2


@pytest.mark.parametrize("argv", [["--socket", "PATH", "status"], ["status", "--socket=PATH"]])
def test_places_stand_before_or_behind_the_verb(run: Run, guard: FakeGuard, argv: list[str]) -> None:
    ran = run(*(word.replace("PATH", str(guard.path)) for word in argv))

    assert ran.code == 0
    assert [method for method, _ in guard.asked] == ["status", "forecast"]


@pytest.mark.parametrize(
    "argv",
    [
        ["status"],
        ["band"],
        ["band", "36F", "40F"],
        ["mode"],
        ["mode", "warm"],
        ["set", "unit=C"],
        ["settings"],
        ["heat", "on", "--for", "20m"],
        ["heat", "release"],
        ["samples"],
        ["events"],
        ["drop-samples", "--yes"],
        ["quiet"],
        ["note", "x"],
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("json_", [True, False])
def test_without_a_guard_the_exit_code_is_3(run: Run, tmp_path: Path, argv: list[str], json_: bool) -> None:
    takes_json = argv[0] not in {"drop-samples", "quiet", "note"}
    ran = run(*argv, *(["--json"] if json_ and takes_json else []), "--socket", str(tmp_path / "none"))

    assert (ran.code, ran.out) == (3, "")
    assert ran.err.startswith("overwinter: the guard cannot be reached: ")
    assert str(tmp_path / "none") in ran.err


def test_a_refusal_comes_line_by_line_with_what_is_allowed(ask: Run, guard: FakeGuard) -> None:
    guard.answers["set"] = Refusal(
        -32003,
        "refused",
        [
            {
                "key": "band.low",
                "value": 99.0,
                "allowed": "below band.high, 40.0 F",
                "text": "band.low: 99 F is no",
            },
            {"key": "band.high", "value": 1, "allowed": "2 to 3", "text": "band.high: 1 is not 2 to 3"},
        ],
    )

    assert ask("band", "99", "1") == Ran(
        1,
        "",
        "overwinter: refused\n"
        "  band.low: 99 F is no; allowed: below band.high, 40.0 F\n"
        "  band.high: 1 is not 2 to 3\n",
    )


def test_a_message_that_repeats_its_problems_is_told_once(ask: Run, guard: FakeGuard) -> None:
    problem = {"key": "text", "value": "", "allowed": "1 to 9", "text": "text: must be 1 to 9"}
    guard.answers["note"] = Refusal(-32602, "Invalid params: text: must be 1 to 9", [problem])

    assert ask("note", "x").err == "overwinter: Invalid params\n  text: must be 1 to 9\n"


def test_who_may_not_is_told_who_may(ask: Run, guard: FakeGuard) -> None:
    guard.answers["quiet"] = Refusal(-32001, "not permitted")

    ran = ask("quiet")

    assert ran.code == 1
    assert "members of the group overwinter" in ran.err


def test_what_a_terminal_would_obey_is_never_passed_on(ask: Run, guard: FakeGuard) -> None:
    evil = "\x1b]0;x\x07\n\x9b2J"
    guard.answers["note"] = Refusal(
        -32003, evil, [{"key": evil, "value": evil, "allowed": evil, "text": evil}]
    )
    refused = ask("note", "x")
    guard.answers["status"] = {
        **STATUS,
        "site": evil,
        "warnings": [evil],
        "contacts": {evil: True},
        "alarms": [{**COLD_ALARM, "text": evil, "code": evil, "since": evil}],
        "sensors": [{**STATUS["sensors"][0], "name": evil, "error": evil, "role": evil}],
    }
    shown = ask("status")

    for text in (refused.err, shown.out):
        assert "]0;x" in text
        assert not {"\x1b", "\x07", "\x9b"} & set(text)


def test_as_a_process_it_answers_on_stdout_and_ends_with_its_code(guard: FakeGuard, tmp_path: Path) -> None:
    shown = process("status", "--json", OVERWINTER_SOCKET=str(guard.path))
    lost = process("status", "--socket", str(tmp_path / "none"))

    assert (shown.returncode, json.loads(shown.stdout), shown.stderr) == (0, STATUS, "")
    assert (lost.returncode, lost.stdout) == (3, "")
    assert process("no-such-verb").returncode == 2
    assert process().returncode == 0


def test_a_reader_that_leaves_is_no_error(guard: FakeGuard) -> None:
    guard.answers["events"] = [
        {"t": "2026-01-09T04:12:33.000Z", "event": "note", "text": "x" * 100} for _ in range(3000)
    ]
    command = [sys.executable, "-m", "overwinter", "events", "--socket", str(guard.path)]

    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as started:
        assert started.stdout is not None
        assert started.stderr is not None
        started.stdout.readline()
        started.stdout.close()
        assert started.stderr.read() == b""
        assert started.wait(30) == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_an_answer_that_cannot_be_written_is_told(unbuffered: str) -> None:
    with Path("/dev/full").open("w") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "overwinter", "help"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            env={**os.environ, "PYTHONUNBUFFERED": unbuffered},
        )

    assert ran.returncode == 1
    assert ran.stderr.startswith("overwinter: ")
    assert ran.stderr.endswith("No space left on device\n")
    assert ran.stderr.count("\n") == 1


def test_closed_streams_do_no_harm(guard: FakeGuard, tmp_path: Path) -> None:
    shell = '"$0" -m overwinter status --socket "$1"'
    answered = subprocess.run(
        ["sh", "-c", f"{shell} >&-", sys.executable, guard.path], check=False, timeout=60
    )
    lost = subprocess.run(
        ["sh", "-c", f"{shell} 2>&-", sys.executable, tmp_path / "none"],
        stdout=subprocess.PIPE,
        check=False,
        timeout=60,
    )

    assert answered.returncode == 0
    assert (lost.returncode, lost.stdout) == (3, b""), "a complaint never lands on stdout"


def test_a_name_that_the_terminal_cannot_spell_does_not_end_the_command(guard: FakeGuard) -> None:
    guard.answers["status"] = {**STATUS, "site": "Mühle 水"}

    ran = process("status", "--socket", str(guard.path), PYTHONIOENCODING="ascii")

    assert ran.returncode == 0
    assert "M\\xfchle" in ran.stdout

"""`status`, as a person reads it and as a monitoring system does."""

import json
import pty
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import COLD_ALARM, STATUS, FakeGuard, Ran, Refusal

Run = Callable[..., Ran]


def test_the_first_line_answers_and_the_rest_explains(ask: Run) -> None:
    ran = ask("status")

    assert (ran.code, ran.err) == (0, "")
    assert ran.out == (
        "35.8 F (2.1 C); heat is on for 2 min, because it is at or below the low end of the band.\n"
        "Nothing is wrong.\n"
        "\n"
        "house     mill house\n"
        "band      36 to 40 F (2.2 to 4.4 C)\n"
        "mode      freeze: guards the pipes; when blind, heat is on\n"
        "heat      41 times on, 1 d 1 h in all\n"
        "humidity  71 %, dew point 27.3 F (-2.6 C)\n"
        "inputs    pump on\n"
        "health    normal\n"
        "guard     0.1.0, running for 13 min\n"
        "\n"
        "sensor       role          now             humidity  age  says\n"
        "by the pump  control, air  35.8 F (2.1 C)  71 %      3 s  good\n"
        "yard         outdoor, air  -               -         -    nothing came: no such device\n"
        "\n"
        "36 F, heat on, holds to 4 F outside, 6 hours if heat fails.\n"
    )


def test_an_alarm_says_since_when_and_what_to_do(ask: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = {
        **STATUS,
        "alarms": [
            COLD_ALARM,
            {**COLD_ALARM, "code": "damp", "acknowledged": True, "text": "90 % for a day"},
        ],
        "disk": {"settings": "ok", "logbook": "full"},
        "clock": "unsynchronised",
        "warnings": ["the band's low end is low"],
        "health": "out-of-specification",
    }

    out = ask("status").out

    assert out.splitlines()[1] == "2 alarms: cold, damp (see below)."
    assert "ALARM cold since 2026-01-09 05:12 (" in out, "local time, an hour ahead of UTC"
    assert "ago)\n  34.0 F (1.1 C): at or below alarm_low\n  what to do: go and see" in out
    assert "ALARM damp since 2026-01-09 05:12 (" in out
    assert ", acknowledged\n  90 % for a day\n" in out
    assert "disk      logbook: full\n" in out
    assert "settings: ok" not in out
    assert "clock     unsynchronised: dates may be wrong" in out
    assert "warning   the band's low end is low\n" in out


def test_blind_is_said_first(ask: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = {
        **STATUS,
        "blind": True,
        "temperature_c": None,
        "dew_point_c": None,
        "humidity_pct": None,
        "age_s": 700.0,
        "heat": {**STATUS["heat"], "reason": "sensor-lost"},
    }

    out = ask("status").out

    assert out.startswith(
        "No believable temperature for 11 min; heat is on for 2 min, because no sensor can be believed.\n"
    )


def test_by_hand_says_until_when(ask: Run, guard: FakeGuard) -> None:
    heat = {**STATUS["heat"], "on": False, "reason": "by-hand", "hand_until": "2031-01-09T05:00:00Z"}
    guard.answers["status"] = {**STATUS, "heat": heat, "unit": "C"}

    first = ask("status").out.splitlines()[0]

    assert first.startswith(
        "2.1 C (35.8 F); heat is off for 2 min, because it was set by hand, until 2031-01-09 06:00"
    )


GRADED: list[Any] = [
    pytest.param({}, 0, "fine", id="fine"),
    pytest.param({"health": "function-check"}, 0, "fine", id="by hand is no fault"),
    pytest.param({"alarms": [{**COLD_ALARM, "code": "damp"}]}, 1, "warning", id="an alarm"),
    pytest.param(
        {"alarms": [{**COLD_ALARM, "code": "from-a-newer-guard"}]}, 1, "warning", id="unknown alarm"
    ),
    pytest.param({"health": "maintenance-required"}, 1, "warning", id="maintenance"),
    pytest.param({"alarms": [{**COLD_ALARM, "acknowledged": True}]}, 2, "critical", id="known, still cold"),
    pytest.param({"health": "failure"}, 2, "critical", id="failure"),
    pytest.param({"blind": True, "temperature_c": None}, 2, "critical", id="blind"),
    *(
        pytest.param({"alarms": [{**COLD_ALARM, "code": code}]}, 2, "critical", id=code)
        for code in ("cold", "too-hot", "sensor-lost", "heater-dead", "heat-stuck-on", "may-have-frozen")
    ),
]


@pytest.mark.parametrize(("facts", "code", "grade"), GRADED)
def test_the_exit_code_tells_how_bad_it_is_when_asked(
    ask: Run, guard: FakeGuard, facts: dict[str, Any], code: int, grade: str
) -> None:
    guard.answers["status"] = {**STATUS, **facts}

    graded = ask("status", "--exit-code")

    assert graded.code == code
    assert graded.out.startswith(f"{grade}: ")
    assert ask("status", "--exit-code", "--json").code == code
    assert ask("status").code == 0


def test_an_unreachable_guard_is_unknown(run: Run, tmp_path: Path) -> None:
    socket = str(tmp_path / "none")

    graded = run("status", "--exit-code", "--socket", socket)

    assert graded.code == 3
    assert graded.out.startswith("unknown: the guard cannot be reached")
    assert graded.err.startswith("overwinter: the guard cannot be reached")
    assert run("status", "--exit-code", "--json", "--socket", socket).out == ""
    assert run("status", "--socket", socket).code == 3


def test_a_guard_that_refuses_is_unknown_too(ask: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = Refusal(-32603, "internal error")

    assert ask("status", "--exit-code").code == 3
    assert ask("status").code == 1
    guard.answers["status"] = [1, 2]
    assert ask("status").code == 1


def test_json_is_the_answer_itself(ask: Run, guard: FakeGuard) -> None:
    guard.answers["status"] = {**STATUS, "alarms": [COLD_ALARM], "warnings": ["w"], "site": "Mühle\x1b"}

    ran = ask("status", "--json", "--exit-code")

    assert json.loads(ran.out) == guard.answers["status"]
    assert ran.err == ""


@pytest.mark.parametrize(
    "facts", [{}, {"mode": "x", "heat": {}, "alarms": [{}], "sensors": [{}], "disk": {}}]
)
def test_an_answer_of_another_version_is_still_shown(
    ask: Run, guard: FakeGuard, facts: dict[str, Any]
) -> None:
    guard.answers["status"] = facts

    ran = ask("status")

    assert ran.code == 0
    assert ran.out.startswith("No believable temperature yet; heat is off, because unknown.")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "Nothing is wrong."),
        ({"blind": True}, "No alarm yet, but nothing is measured: see the sensors below."),
        (
            {"health": "maintenance-required"},
            "No alarm, but maintenance required: it works, but something should be seen to soon.",
        ),
        ({"warnings": ["band.low is near freezing"]}, "No alarm, but a warning (see below)."),
    ],
)
def test_the_second_line_says_what_is_not_well(
    ask: Run, guard: FakeGuard, more: dict[str, object], said: str
) -> None:
    guard.answers["status"] = {**STATUS, "alarms": [], "health": "normal", "warnings": [], **more}

    assert ask("status").out.splitlines()[1] == said


@pytest.mark.parametrize(
    ("variables", "options", "coloured"),
    [
        ({"TERM": "xterm"}, (), True),
        ({"TERM": "xterm"}, ("--no-color",), False),
        ({"TERM": "xterm", "NO_COLOR": "1"}, (), False),
        ({"TERM": "dumb"}, (), False),
        ({"TERM": ""}, (), False),
    ],
)
def test_colour_only_on_a_terminal_that_wants_it(
    guard: FakeGuard, variables: dict[str, str], options: tuple[str, ...], coloured: bool
) -> None:
    import os
    import subprocess
    import sys

    guard.answers["status"] = {**STATUS, "alarms": [COLD_ALARM]}
    command = [sys.executable, "-m", "overwinter", "status", "--socket", str(guard.path), *options]
    surroundings = {key: value for key, value in os.environ.items() if key not in {"NO_COLOR", "TERM"}}
    leader, follower = pty.openpty()
    subprocess.run(command, stdout=follower, env={**surroundings, **variables}, check=True, timeout=60)
    os.close(follower)
    shown = os.read(leader, 65_536).decode()
    os.close(leader)

    assert ("\x1b[" in shown) == coloured
    assert "ALARM cold" in shown, "colour never says it alone"


def test_no_colour_through_a_pipe(ask: Run, guard: FakeGuard, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    guard.answers["status"] = {**STATUS, "alarms": [COLD_ALARM]}

    assert "\x1b" not in ask("status").out

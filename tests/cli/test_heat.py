"""`heat`, `quiet`, `note` and `drop-samples`: commands that are not settings."""

import io
import json
from collections.abc import Callable

import pytest

from tests.cli.conftest import COLD_ALARM, STATUS, FakeGuard, Ran, Refusal

Run = Callable[..., Ran]


@pytest.mark.parametrize(
    ("length", "for_s"), [("20m", 1200.0), ("1.5h", 5400.0), ("12h", 43200.0), ("90", 90.0), ("1s", 1.0)]
)
def test_heat_by_hand_has_an_end(ask: Run, guard: FakeGuard, length: str, for_s: float) -> None:
    ran = ask("heat", "on", "--for", length)

    assert guard.params("hand") == {"heat": True, "for_s": for_s}
    assert ran.code == 0
    assert ran.out.startswith("heat on by hand until 2031-01-09 06:00 (in ")
    assert ran.err == ""


@pytest.mark.parametrize("json_", [True, False])
def test_heat_off_is_told_not_to_be_isolated(ask: Run, guard: FakeGuard, json_: bool) -> None:
    ran = ask("heat", "off", "--for=20m", *(["--json"] if json_ else []))

    assert guard.params("hand") == {"heat": False, "for_s": 1200.0}
    assert ran.err.startswith(
        "overwinter: NOT ISOLATED: heat may start without warning; unplug or open the breaker"
    )
    if json_:
        assert json.loads(ran.out) == {"hand_until": "2031-01-09T05:00:00Z"}


def test_a_refused_off_cautions_of_nothing(ask: Run, guard: FakeGuard) -> None:
    guard.answers["hand"] = Refusal(
        -32003, "refused", [{"text": "heat off by hand is refused: it is too cold"}]
    )

    assert ask("heat", "off", "--for", "20m") == Ran(
        1, "", "overwinter: refused\n  heat off by hand is refused: it is too cold\n"
    )


@pytest.mark.parametrize(
    ("argv", "code", "told"),
    [
        pytest.param(["on"], 2, "never without an end: say how long, 12 h at most", id="no end"),
        pytest.param(["off"], 2, "heat off --for 20m", id="no end off"),
        pytest.param(["on", "--for"], 2, "--for needs a value: --for TIME", id="no value"),
        pytest.param(["on", "--for", "13h"], 1, "more than 0 s and at most 12 h", id="too long"),
        pytest.param(["on", "--for", "43201"], 1, "at most 12 h", id="a second too long"),
        pytest.param(["on", "--for", "0m"], 1, "more than 0 s", id="nothing"),
        pytest.param(["on", "--for", "-5m"], 2, "'-5m': a duration such as", id="negative"),
        pytest.param(["on", "--for", "ever"], 2, "'ever': a duration such as 90s, 20m", id="for ever"),
        pytest.param(["on", "--for", "nan"], 2, "'nan': a duration", id="nan"),
        pytest.param(["release", "--for", "3m"], 2, "release happens at once", id="release"),
        pytest.param(["up"], 2, "'up' is not on, off or release", id="up"),
        pytest.param([], 2, "say on, off or release", id="nothing said"),
    ],
)
def test_heat_without_a_good_end_is_never_sent(
    ask: Run, guard: FakeGuard, argv: list[str], code: int, told: str
) -> None:
    ran = ask("heat", *argv)

    assert (ran.code, ran.out, guard.asked) == (code, "", [])
    assert told in ran.err


def test_heat_is_given_back(ask: Run, guard: FakeGuard) -> None:
    assert ask("heat", "release") == Ran(0, "heat is back under the usual control\n", "")
    assert guard.asked == [("release", None)]
    assert json.loads(ask("heat", "release", "--json").out) == {}


def test_quiet_says_what_was_acknowledged(ask: Run, guard: FakeGuard) -> None:
    assert ask("quiet") == Ran(0, "there is no alarm\n", "")
    guard.answers["status"] = {**STATUS, "alarms": [COLD_ALARM, {**COLD_ALARM, "code": "damp"}]}
    assert ask("quiet") == Ran(0, "acknowledged: cold, damp\n", "")
    guard.answers["status"] = Refusal(-32603, "internal error")
    assert ask("quiet") == Ran(0, "acknowledged\n", "")
    assert [method for method, _ in guard.asked].count("quiet") == 3


def test_a_remark_needs_no_quotes(ask: Run, guard: FakeGuard) -> None:
    assert ask("note", "new", "lamp,", "-40C", "outside") == Ran(0, "noted\n", "")
    assert guard.params("note") == {"text": "new lamp, -40C outside"}
    assert ask("note").code == 2
    assert ask("note", "  ").code == 2


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("answer", "dropped"), [("yes\n", True), ("Y\n", True), ("no\n", False), ("", False)]
)
def test_samples_are_dropped_only_when_somebody_is_sure(
    ask: Run, guard: FakeGuard, monkeypatch: pytest.MonkeyPatch, answer: str, dropped: bool
) -> None:
    monkeypatch.setattr("sys.stdin", Terminal(answer))

    ran = ask("drop-samples")

    assert ran.code == (0 if dropped else 1)
    assert guard.asked == ([("drop_samples", None)] if dropped else [])
    assert "for good?" in ran.err
    assert ran.out == ("the samples are dropped; events are kept\n" if dropped else "")


def test_without_a_terminal_only_yes_drops(
    ask: Run, guard: FakeGuard, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))

    refused = ask("drop-samples")

    assert (refused.code, refused.out, guard.asked) == (1, "", [])
    assert "--yes" in refused.err
    assert ask("drop-samples", "--yes").code == 0
    assert guard.asked == [("drop_samples", None)]

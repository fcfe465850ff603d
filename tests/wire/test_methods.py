"""What each method takes and refuses, and that a refused one never reaches the port."""

import math
from concurrent.futures import Future
from typing import Any

import pytest

from overwinter.core.nouns import Caller, Refused
from overwinter.wire import methods
from overwinter.wire.rpc import INVALID_PARAMS, Fault
from tests.wire.conftest import FakePort

OWNER = Caller(uid=1000, user="owner", pid=4711)
PROVED = {"step": "relay", "verdict": "passed", "by": None, "text": "on: current; off: no current"}
PROOF = {"verdict": "passed", "steps": [PROVED]}
EVERY = {**methods.READS, **methods.CHANGES}


def test_the_tables_hold_every_method_once_and_only_changes_in_one() -> None:
    assert set(methods.READS) == {"status", "settings", "samples", "events", "watch", "forecast"}
    assert set(methods.CHANGES) == {"set", "hand", "release", "quiet", "note", "drop_samples", "prove"}


@pytest.mark.parametrize(
    ("method", "params", "call"),
    [
        pytest.param("status", None, ("status", {}), id="status"),
        pytest.param("status", {}, ("status", {}), id="status with an empty object"),
        pytest.param("settings", [], ("settings", {}), id="settings with an empty list"),
        pytest.param(
            "samples",
            {"since": "24h", "limit": 10},
            ("records", {"events": False, "since": "24h", "until": None, "limit": 10}),
            id="samples",
        ),
        pytest.param(
            "samples",
            None,
            (
                "records",
                {"events": False, "since": None, "until": None, "limit": methods.MAX_RECORDS + 1},
            ),
            id="samples without a limit ask for one more than may be answered",
        ),
        pytest.param(
            "events",
            ["24h", None, methods.MAX_RECORDS],
            ("records", {"events": True, "since": "24h", "until": None, "limit": methods.MAX_RECORDS}),
            id="events by position",
        ),
        pytest.param("forecast", None, ("forecast", {"outdoor_c": None}), id="forecast"),
        pytest.param("forecast", [-15], ("forecast", {"outdoor_c": -15.0}), id="forecast by position"),
        pytest.param(
            "set",
            {"changes": {"band.low": 36.0, "band.high": "4.5C"}},
            (
                "set",
                {
                    "changes": {"band.low": 36.0, "band.high": "4.5C"},
                    "anyway": False,
                    "until": None,
                    "caller": OWNER,
                },
            ),
            id="set",
        ),
        pytest.param(
            "set",
            [{"mode": "observe"}, True, "2026-03-01"],
            (
                "set",
                {"changes": {"mode": "observe"}, "anyway": True, "until": "2026-03-01", "caller": OWNER},
            ),
            id="set by position",
        ),
        pytest.param(
            "hand",
            {"heat": True, "for_s": 1},
            ("hand", {"heat": True, "for_s": 1.0, "caller": OWNER}),
            id="hand, shortest",
        ),
        pytest.param(
            "hand",
            [False, 43_200],
            ("hand", {"heat": False, "for_s": 43_200.0, "caller": OWNER}),
            id="hand by position, longest",
        ),
        pytest.param("release", None, ("release", {"caller": OWNER}), id="release"),
        pytest.param("quiet", {}, ("quiet", {"caller": OWNER}), id="quiet"),
        pytest.param(
            "note", {"text": "  new lamp\n"}, ("note", {"text": "new lamp", "caller": OWNER}), id="note"
        ),
        pytest.param(
            "note", ["°" * 1_000], ("note", {"text": "°" * 1_000, "caller": OWNER}), id="longest note"
        ),
        pytest.param("drop_samples", None, ("drop_samples", {"caller": OWNER}), id="drop_samples"),
        pytest.param(
            "prove",
            {"step": "sensors-away", "for_s": 300},
            ("take_away", {"for_s": 300.0, "caller": OWNER}),
            id="sensors away",
        ),
        pytest.param(
            "prove",
            ["sensors-away", 1e9],
            ("take_away", {"for_s": 1e9, "caller": OWNER}),
            id="sensors away by position; how long is a rule's to judge",
        ),
        pytest.param("prove", {"step": "sensors-back"}, ("give_back", {"caller": OWNER}), id="sensors back"),
        pytest.param("prove", ["sensors-back"], ("give_back", {"caller": OWNER}), id="back by position"),
        pytest.param(
            "prove",
            {"step": "record", "result": PROOF},
            ("prove", {**PROOF, "caller": OWNER}),
            id="a proof's record",
        ),
    ],
)
def test_good_params_reach_the_port(
    port: FakePort, method: str, params: Any, call: tuple[str, dict[str, object]]
) -> None:
    port.answers[call[0]] = {"done": 1}

    answer = EVERY[method](port, params, OWNER)

    assert port.calls == [call]
    assert (answer.result() if isinstance(answer, Future) else answer) == {"done": 1}


def test_watch_is_answered_without_the_port(port: FakePort) -> None:
    assert methods.READS["watch"](port, None, OWNER) == {}
    assert port.calls == []


SET = "an object of 1 to 100 settings and their new values"
SECONDS = "a number of seconds, 1 to 43200"
COUNT = "a whole number, 1 to 10000"
OUTDOOR = "a temperature in °C, -90 to 60"
TEXT = "1 to 1000 characters without control characters"
INSTANT = "a time or a span, as text such as 24h"
FLAG = "true or false"
STEP = "sensors-away or sensors-back or record"
AWAY = "a number of seconds, at most 600"
RESULT = "the worst verdict of 1 to 12 steps, and these, each with step, verdict, by and text"


@pytest.mark.parametrize(
    ("method", "params", "problems"),
    [
        pytest.param("status", {"verbose": True}, {"verbose": "no params"}, id="status takes none"),
        pytest.param("status", [1], {"params": "none"}, id="status takes none by position"),
        pytest.param("watch", {"since": "1h"}, {"since": "no params"}, id="watch takes none"),
        pytest.param("release", [1, 2], {"params": "none"}, id="release takes none"),
        pytest.param("hand", None, {"heat": FLAG, "for_s": SECONDS}, id="hand without"),
        pytest.param(
            "hand",
            {"heat": 1, "for_s": True, "why": "cold"},
            {"why": "heat, for_s", "heat": FLAG, "for_s": SECONDS},
            id="all problems at once",
        ),
        pytest.param("hand", {"heat": None, "for_s": 20}, {"heat": FLAG}, id="null for a required one"),
        pytest.param("hand", {"heat": True, "for_s": "20m"}, {"for_s": SECONDS}, id="text for a number"),
        pytest.param("hand", {"heat": True, "for_s": math.nan}, {"for_s": SECONDS}, id="NaN"),
        pytest.param("hand", {"heat": True, "for_s": math.inf}, {"for_s": SECONDS}, id="infinity"),
        pytest.param("hand", [True, 20, 1], {"params": "at most 2: heat, for_s"}, id="one too many"),
        pytest.param("set", {"changes": {}}, {"changes": SET}, id="nothing to change"),
        pytest.param("set", {"changes": [["band.low", 36]]}, {"changes": SET}, id="changes as a list"),
        pytest.param("set", {"changes": {str(n): n for n in range(101)}}, {"changes": SET}, id="too many"),
        pytest.param("set", {"changes": {"a": 1}, "anyway": "yes"}, {"anyway": FLAG}, id="anyway as text"),
        pytest.param("set", {"changes": {"a": 1}, "until": 5}, {"until": INSTANT}, id="until a number"),
        pytest.param(
            "set",
            {"changes": {"band.low": True, "band.high": None, "mode": ["warm"], "x": math.inf, "ok": 1}},
            dict.fromkeys(("band.low", "band.high", "mode", "x"), "a number, or text such as 36F"),
            id="values that no setting has",
        ),
        pytest.param("set", {"changes": {"": 1}}, {"": "a number, or text such as 36F"}, id="no key"),
        pytest.param("forecast", {"outdoor_c": -90.1}, {"outdoor_c": OUTDOOR}, id="colder than anywhere"),
        pytest.param("forecast", {"outdoor_c": "5F"}, {"outdoor_c": OUTDOOR}, id="outdoor as text"),
        pytest.param("forecast", {"outdoor": 1.0}, {"outdoor": "outdoor_c"}, id="outdoor without unit"),
        pytest.param("samples", {"limit": 0}, {"limit": COUNT}, id="limit 0"),
        pytest.param("samples", {"limit": 10_001}, {"limit": COUNT}, id="limit above all bounds"),
        pytest.param("samples", {"limit": 1.0}, {"limit": COUNT}, id="limit not whole"),
        pytest.param("samples", {"limit": True}, {"limit": COUNT}, id="limit a flag"),
        pytest.param("events", {"since": 24}, {"since": INSTANT}, id="since a number"),
        pytest.param("events", {"since": "x" * 65}, {"since": INSTANT}, id="since too long"),
        pytest.param("events", {"until": " "}, {"until": INSTANT}, id="until blank"),
        pytest.param("note", {"text": ""}, {"text": TEXT}, id="empty note"),
        pytest.param("note", {"text": " \n\t"}, {"text": TEXT}, id="blank note"),
        pytest.param("note", {"text": "x" * 1_001}, {"text": TEXT}, id="long note"),
        pytest.param("note", {"text": "a\x1b[2Jb"}, {"text": TEXT}, id="terminal escape"),
        pytest.param("note", {"text": "a\nb"}, {"text": TEXT}, id="two lines"),
        pytest.param("note", {"text": "a\x9bb"}, {"text": TEXT}, id="C1 control"),
        pytest.param("note", {"text": "a\u2028b"}, {"text": TEXT}, id="line separator"),
        pytest.param("note", {"text": 5}, {"text": TEXT}, id="note a number"),
        pytest.param("prove", None, {"step": STEP}, id="prove nothing"),
        pytest.param("prove", {"step": "all"}, {"step": STEP}, id="an unknown step"),
        pytest.param("prove", {"step": ["record"]}, {"step": STEP}, id="a step that is a list"),
        pytest.param("prove", [], {"step": STEP}, id="prove by no position"),
        pytest.param(
            "prove", {"step": "sensors-back", "for_s": 3}, {"for_s": "step"}, id="back takes no time"
        ),
        pytest.param("prove", {"step": "sensors-away"}, {"for_s": AWAY}, id="away without an end"),
        pytest.param(
            "prove", {"step": "sensors-away", "for_s": math.nan}, {"for_s": AWAY}, id="away for NaN"
        ),
        pytest.param(
            "prove",
            {"step": "sensors-away", "for_s": "5m", "result": PROOF},
            {"for_s": AWAY, "result": "step, for_s"},
            id="away takes no result",
        ),
        pytest.param("prove", {"step": "record"}, {"result": RESULT}, id="record nothing"),
        *(
            pytest.param("prove", {"step": "record", "result": result}, {"result": RESULT}, id=name)
            for name, result in {
                "a result that is none": [PROVED],
                "a result without steps": {"verdict": "passed"},
                "a result with more": {**PROOF, "t": "2026-01-09T04:12:33Z"},
                "passed though a step failed": {
                    "verdict": "passed",
                    "steps": [{**PROVED, "verdict": "failed"}],
                },
                "a step with an escape": {"verdict": "passed", "steps": [{**PROVED, "text": "a\x1b[2J"}]},
                "too many steps": {"verdict": "passed", "steps": [PROVED] * 13},
            }.items()
        ),
    ],
)
def test_bad_params_are_refused_with_what_is_allowed_and_never_reach_the_port(
    port: FakePort, method: str, params: Any, problems: dict[str, str]
) -> None:
    with pytest.raises(Fault) as caught:
        EVERY[method](port, params, OWNER)

    assert caught.value.code == INVALID_PARAMS
    assert {problem.key: problem.allowed for problem in caught.value.problems} == problems
    assert len(caught.value.problems) == len(problems)
    assert all(problem.allowed in problem.text for problem in caught.value.problems)
    assert caught.value.message.startswith("Invalid params: ")
    assert port.calls == []


@pytest.mark.parametrize("for_s", [0, 0.99, -20, 43_200.1, 1e12])
def test_a_hand_that_is_too_long_or_too_short_is_refused_by_a_rule(port: FakePort, for_s: float) -> None:
    with pytest.raises(Refused, match="1 to 43200 seconds") as caught:
        methods.CHANGES["hand"](port, {"heat": True, "for_s": for_s}, OWNER)

    assert [(problem.key, problem.value) for problem in caught.value.problems] == [("for_s", for_s)]
    assert port.calls == []

"""`band`, `mode`, `set` and `settings`."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.cli.conftest import SETTINGS, FakeGuard, Ran, Refusal

Run = Callable[..., Ran]


def test_the_band_is_shown_in_both_units(ask: Run, guard: FakeGuard) -> None:
    assert ask("band") == Ran(0, "band 36 to 40 F (2.2 to 4.4 C)\n", "")
    guard.answers["settings"] = {**SETTINGS, "unit": "C", "band": {"low_c": -1.0, "high_c": 3.0}}
    assert ask("band").out == "band -1 to 3 C (30.2 to 37.4 F)\n"
    assert json.loads(ask("band", "--json").out) == {"low_c": -1.0, "high_c": 3.0}


def test_a_guard_that_tells_no_band_is_not_understood(ask: Run, guard: FakeGuard) -> None:
    guard.answers["settings"] = {"mode": "freeze"}

    ran = ask("band")

    assert (ran.code, ran.out) == (1, "")
    assert "tells no band" in ran.err
    assert ask("settings").code == 0


@pytest.mark.parametrize(
    ("words", "changes"),
    [
        pytest.param(["36F", "40F"], {"band.low": "36F", "band.high": "40F"}, id="with unit"),
        pytest.param(["36", "40.5"], {"band.low": 36.0, "band.high": 40.5}, id="bare"),
        pytest.param(["-1C", "3C"], {"band.low": "-1C", "band.high": "3C"}, id="below zero"),
        pytest.param(["-1", "−0.5 °C"], {"band.low": -1.0, "band.high": "−0.5 °C"}, id="minus sign"),
    ],
)
@pytest.mark.parametrize("anyway", [True, False])
def test_a_band_is_sent_as_written(
    ask: Run, guard: FakeGuard, words: list[str], changes: dict[str, object], anyway: bool
) -> None:
    ran = ask("band", *words, *(["--anyway"] if anyway else []))

    assert ran.code == 0
    assert guard.params("set") == {"changes": changes, "anyway": anyway}


def test_a_change_ends_with_saved_and_says_old_and_new(ask: Run, guard: FakeGuard) -> None:
    guard.answers["set"] = {
        "saved": True,
        "changes": {"band.low": [36.0, 34.0], "relay.min_on_s": [120.0, 90.0]},
    }
    guard.answers["settings"] = {**SETTINGS, "band": {"low_c": 1.1111, "high_c": 4.4444}}

    assert ask("band", "34F", "40F", "--anyway").out.splitlines() == [
        "band.low: 36 F -> 34 F",
        "relay.min_on_s: 120 s -> 90 s",
        "band 34 to 40 F (1.1 to 4.4 C)",
        "saved",
    ]
    assert json.loads(ask("band", "34F", "40F", "--json").out) == guard.answers["set"]


def test_what_is_saved_is_said_even_if_it_cannot_be_shown(ask: Run, guard: FakeGuard) -> None:
    guard.answers["set"] = {"saved": True, "changes": {"band.low": [36.0, 34.0]}}
    guard.answers["settings"] = Refusal(-32603, "internal error")

    assert ask("band", "34", "40") == Ran(0, "band.low: 36 -> 34\nsaved\n", "")


def test_nothing_is_called_saved_that_the_guard_did_not_save(ask: Run, guard: FakeGuard) -> None:
    guard.answers["set"] = Refusal(-32002, "could not be stored: No space left on device")
    assert ask("band", "34", "40") == Ran(1, "", "overwinter: could not be stored: No space left on device\n")
    guard.answers["set"] = {"changes": {}}
    ran = ask("set", "unit=C")
    assert (ran.code, ran.out) == (1, "")
    assert "did not say that it saved" in ran.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["36F"], "LOW and HIGH go together"),
        (["1", "2", "3"], "'3' is one word too many"),
        (["--anyway"], "--anyway goes with LOW and HIGH"),
        (["x", "nan"], "band.low: 'x': a number, with or without F or C behind it, such as 36F or 2.2C"),
        (["x", "nan"], "band.high: 'nan': a number"),
        (["-inf", "3"], "band.low: '-inf': a number"),
        (["1e999", "3"], "band.low: '1e999': a number"),
        (["9" * 400, "3"], "band.low: '999"),
    ],
)
def test_what_is_no_band_is_never_sent(ask: Run, guard: FakeGuard, words: list[str], told: str) -> None:
    ran = ask("band", *words)

    assert (ran.code, ran.out, guard.asked) == (2, "", [])
    assert told in ran.err


def test_the_mode_is_shown_and_changed(ask: Run, guard: FakeGuard) -> None:
    assert ask("mode") == Ran(0, "mode freeze: guards the pipes; when blind, heat is on\n", "")
    assert json.loads(ask("mode", "--json").out) == {"mode": "freeze"}
    guard.answers["set"] = {"saved": True, "changes": {"mode": ["freeze", "warm"]}}
    ran = ask("mode", "warm")
    assert ran.out.splitlines() == [
        "mode: freeze -> warm",
        "mode warm: keeps the band; when blind, heat is off",
        "saved",
    ]
    assert ran.err == ""
    assert guard.params("set") == {"changes": {"mode": "warm"}, "anyway": False}


@pytest.mark.parametrize(
    "argv", [["mode", "observe"], ["set", "mode=observe"], ["mode", "observe", "--json"]]
)
def test_to_observe_is_told_not_to_be_isolated(ask: Run, argv: list[str]) -> None:
    ran = ask(*argv)

    assert ran.code == 0
    assert ran.err == (
        "overwinter: NOT ISOLATED: heat may start without warning; "
        "unplug or open the breaker before touching (with contact NC, stopping even starts it)\n"
    )


def until(guard: FakeGuard) -> datetime:
    sent = guard.params("set")["until"]
    assert sent.endswith("Z")
    return datetime.fromisoformat(sent)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2099-12-01", datetime(2099, 11, 30, 23, tzinfo=UTC)),
        ("2099-12-01 18:00", datetime(2099, 12, 1, 17, tzinfo=UTC)),
        ("2099-12-01T18:00:00Z", datetime(2099, 12, 1, 18, tzinfo=UTC)),
        ("2099-12-01T18:00:00-05:00", datetime(2099, 12, 1, 23, tzinfo=UTC)),
    ],
)
def test_until_is_local_time_unless_it_says_its_zone(
    ask: Run, guard: FakeGuard, text: str, expected: datetime
) -> None:
    ran = ask("mode", "observe", "--until", text)

    assert ran.code == 0
    assert until(guard) == expected
    assert "then the mode before" in ran.out
    assert ran.out.endswith("saved\n")


def test_until_may_be_a_span(ask: Run, guard: FakeGuard) -> None:
    before = datetime.now(UTC)
    ask("mode", "observe", "--until", "3d")

    assert abs(until(guard) - before - timedelta(days=3)) < timedelta(minutes=1)


@pytest.mark.parametrize(
    ("argv", "code", "told"),
    [
        (["observe", "--until", "2020-01-01"], 1, "is over already"),
        (["observe", "--until", "0d"], 1, "is over already"),
        (["observe", "--until", "soon"], 2, "'soon' is no time"),
        (["observe", "--until", "2026"], 2, "'2026' is no time"),
        (["observe", "--until", "9999999999d"], 2, "is no time"),
        (["warm", "--until", "3d"], 2, "--until goes with observe"),
        (["--until", "3d"], 2, "--until goes with observe"),
        (["freze"], 2, "'freze' is no mode; did you mean freeze?"),
        (["freeze", "warm"], 2, "one word too many"),
    ],
)
def test_what_is_no_mode_is_never_sent(
    ask: Run, guard: FakeGuard, argv: list[str], code: int, told: str
) -> None:
    ran = ask("mode", *argv)

    assert (ran.code, ran.out, guard.asked) == (code, "", [])
    assert told in ran.err


@pytest.mark.parametrize(
    ("words", "changes"),
    [
        (["band.low=34"], {"band.low": 34}),
        (["band.low=-1.5", "band.high=3C"], {"band.low": -1.5, "band.high": "3C"}),
        (["filter.window=7", "mode=warm"], {"filter.window": 7, "mode": "warm"}),
        (["failsafe.duty=1e-1"], {"failsafe.duty": 0.1}),
        (["a=nan", "b=inf", "c=true", "d=", "e=1_0", "f=" + "9" * 400], None),
        (["note=a=b"], {"note": "a=b"}),
    ],
)
def test_settings_are_sent_as_numbers_where_they_are_finite_ones(
    ask: Run, guard: FakeGuard, words: list[str], changes: dict[str, Any] | None
) -> None:
    assert ask("set", *words).code == 0

    sent = guard.params("set")["changes"]
    if changes is None:  # the guard is to refuse these, so they go as they stand
        changes = dict(word.split("=", 1) for word in words)
    assert sent == changes
    assert [type(value) for value in sent.values()] == [type(value) for value in changes.values()]


def test_a_change_of_unit_says_old_values_in_the_old_unit(ask: Run, guard: FakeGuard) -> None:
    guard.answers["set"] = {
        "saved": True,
        "changes": {"unit": ["F", "C"], "band.low": [36.0, 2.22], "relay.min_on_s": [120, 90]},
    }
    guard.answers["settings"] = {**SETTINGS, "unit": "C"}

    assert ask("set", "unit=C").out.splitlines() == [
        "unit: F -> C",
        "band.low: 36 F -> 2.22 C",
        "relay.min_on_s: 120 s -> 90 s",
        "saved",
    ]


def test_a_change_that_changes_nothing_says_so(ask: Run) -> None:
    assert ask("set", "mode=freeze").out == "nothing is different: it was set so already\nsaved\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "say what to change: KEY=VALUE"),
        (["band.low", "=", "36"], "'band.low' is not KEY=VALUE"),
        (["=36"], "'=36' is not KEY=VALUE"),
        (["band.low =36"], "is not KEY=VALUE, without spaces"),
        (["unit=F", "unit=C"], "unit stands there twice"),
    ],
)
def test_what_is_no_setting_is_never_sent(ask: Run, guard: FakeGuard, words: list[str], told: str) -> None:
    ran = ask("set", *words)

    assert (ran.code, ran.out, guard.asked) == (2, "", [])
    assert told in ran.err


def test_settings_are_listed_by_the_keys_that_set_takes(ask: Run) -> None:
    ran = ask("settings")

    shown = {line.split()[0]: line for line in ran.out.splitlines()}
    assert (ran.code, ran.err) == (0, "")
    assert "36 F (2.2 C)" in shown["band.low"]
    assert "heat goes on at or below" in shown["band.low"]
    assert "5 K/min" in shown["filter.max_rate_per_min"]
    assert "7200 s (2 h)" in shown["filter.flat_after_s"]
    assert "50 F (10 C)" in shown["failsafe.warm_above"]
    assert "7 d" in shown["exercise.every_days"]
    assert set(shown) == {
        *("key", "mode", "unit", "band.low", "band.high", "sampling.sense_s", "sampling.record_s"),
        *("filter.window", "filter.max_rate_per_min", "filter.flat_after_s"),
        *(
            "failsafe.lost_after_s",
            "failsafe.duty",
            "failsafe.warm_above",
            "relay.min_on_s",
            "relay.min_off_s",
        ),
        *("limits.ceiling", "limits.alarm_low", "exercise.every_days", "exercise.for_s"),
    }
    assert json.loads(ask("settings", "--json").out) == SETTINGS

"""The campaign: that what must hold does, and that a guard which breaks it is found and made small."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from overwinter.core import turn as core_turn
from overwinter.core.nouns import Decision, Reason
from overwinter.rehearse import campaign as campaigning
from overwinter.rehearse.campaign import Failure, best_water_c, campaign, judge, schedule, shrunk
from overwinter.rehearse.file import parse_scenario, text_of
from tests.rehearse.lived import fault, scenario

FOUND = Path(__file__).parent / "found"


def test_fifty_random_schedules_hold_what_must_hold() -> None:
    found = campaign(50, seed=11)

    assert found.failures == ()
    assert found.smallest is None


def test_a_schedule_follows_from_its_seed() -> None:
    assert schedule(5) == schedule(5)
    assert len({text_of(schedule(seed)) for seed in range(40)}) == 40


def test_the_schedules_of_a_campaign_have_every_kind_of_fault() -> None:
    kinds = {one.kind for seed in range(300) for one in schedule(seed).faults}

    assert kinds == set(campaigning.FAULTS)


def test_a_dead_heater_is_no_failure_of_the_guard() -> None:
    dead = scenario(fault("heater-dead", 2.0, 20.0))

    assert best_water_c(dead, 1) < 0.0
    assert judge(dead, 1) == (None, True)


def test_perfect_heat_keeps_the_pipe_of_a_sound_house_liquid() -> None:
    assert best_water_c(scenario(), 1) > 1.5


def _never_heats(look: Any, settings: Any, before: Any) -> Decision:
    del look, settings, before
    return Decision(False, Reason.ABOVE_BAND)


def _always_heats(look: Any, settings: Any, before: Any) -> Decision:
    del look, settings, before
    return Decision(True, Reason.BELOW_BAND)


def test_a_guard_that_never_heats_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(core_turn, "decide", _never_heats)

    why, _ = judge(scenario(), 1)

    assert why is not None
    assert "believed below the band" in why


def test_a_guard_that_heats_beyond_the_ceiling_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(core_turn, "decide", _always_heats)

    why, _ = judge(scenario(start_c=20.0, weather_options={"evening_c": 12.0, "dawn_c": 10.0}), 1)

    assert why is not None
    assert "the ceiling" in why


def test_a_change_that_is_lost_after_its_answer_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A port that answers without storing."""
    from overwinter.guard import port

    for name in ("replace_durably", "write_copy"):
        monkeypatch.setattr(port, name, lambda *_: None)
    kills = [fault("guard-killed", 2.0 + hour, 0.003) for hour in range(10)]

    why, _ = judge(scenario(fault("owner-nonsense", 0.0, 12.0), *kills, hours=12.0), 1)

    assert why == "a change that was answered as stored is gone after a restart"


def test_a_failure_is_made_small_and_its_file_reproduces_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """A guard that turns heat off as soon as the wall clock was set: only that fault is needed."""
    true = core_turn.decide

    def faulty(look: Any, settings: Any, before: Any) -> Decision:
        return _never_heats(look, settings, before) if _has_jumped else true(look, settings, before)

    _has_jumped: list[bool] = []
    from overwinter.rehearse.clock import CountedClock

    step = CountedClock.step

    def jump(self: CountedClock, step_s: float) -> None:
        _has_jumped.append(True)
        step(self, step_s)

    def judged(one: Any, seed: int) -> tuple[str | None, bool]:
        _has_jumped.clear()
        return judge(one, seed)

    monkeypatch.setattr(core_turn, "decide", faulty)
    monkeypatch.setattr(CountedClock, "step", jump)
    monkeypatch.setattr(campaigning, "judge", judged)
    full = scenario(
        fault("door-open", 1.0, 0.2, by=5.0),
        fault("clock-jump", 2.0, 1.0, by=3600.0),
        fault("guard-killed", 5.0, 0.003),
        fault("sensor-lost", 6.0, 1.0),
    )
    why, _ = judged(full, 1)
    assert why is not None

    small = shrunk(Failure(seed=1, why=why, scenario=full))

    assert [one.kind for one in small.scenario.faults] == ["clock-jump"]
    again = parse_scenario(text_of(small.scenario), "again")
    assert judged(again, 1)[0] is not None
    assert again.must.froze is False


@pytest.mark.parametrize("path", sorted(FOUND.glob("*.toml")), ids=lambda path: path.stem)
def test_what_a_campaign_once_found_is_mended(path: Path) -> None:
    """One file a failure; the seed is in its name."""
    one = parse_scenario(path.read_text("utf-8"), path.stem)

    assert judge(replace(one, name=path.stem), int(path.stem.rpartition("-")[2]))[0] is None

"""A wall clock that is stepped changes no decision, is recorded, and its samples find their place again.

The machine's clock is left alone: the guard's wheel, keeper and logbook are the real ones, on another.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from overwinter.core.nouns import Caller, Event, Reading, RelaySpec, Role, SensorSpec, SetHand, Settings, Site
from overwinter.core.state import State
from overwinter.daemon.service import Service
from overwinter.guard.board import Board
from overwinter.guard.clock import Clock, rfc3339
from overwinter.guard.memory import BlindClock
from overwinter.guard.port import GuardPort
from overwinter.guard.wheel import Inbox, Wheel
from overwinter.store.keeper import Keeper
from overwinter.store.timeline import read_placed
from tests.rigs.bench import SEED

SENSOR = "by the pump"
SITE = Site(sensors=(SensorSpec(name=SENSOR, role=Role.CONTROL, kind="simulated"),), relay=RelaySpec(pin=17))
OWNER = Caller(uid=0, user="root", pid=1)

HOURS = 8
TURN_S = 5.0
BEGAN_S = 1000.0  # seconds since boot
TRUE_OFFSET_S = datetime.fromisoformat("2026-01-09T18:00:00+00:00").timestamp() - BEGAN_S
DAY_S, YEAR_S = 86400.0, 365.25 * 86400.0
TO_1970_S = -(TRUE_OFFSET_S + BEGAN_S)

STEPS = {  # at which second of the run the wall clock is off by how much from then on
    1800.0: 1.0,
    3600.0: 3601.0,
    7200.0: 3601.0 + DAY_S,
    10_800.0: 3601.0 + DAY_S + 50 * YEAR_S,
    14_400.0: TO_1970_S,
    14_405.0: TO_1970_S - 2.0,  # and again in the very next turn
    21_600.0: 0.0,
}
SMALL = {100.0: 0.4, 200.0: 0.9, 300.0: 0.0}
"""Less than a second is drift."""


@dataclass
class TwoClocks(Clock):
    """Seconds since boot as the run wants them, and a wall clock that is wrong as its steps say."""

    steps: dict[float, float]
    run_s: float = 0.0
    boot_id: str = "0b5dd1a4-3f0c-4f0e-9a68-7d6a6f2c9e11"
    speed: float = 1.0

    def now_s(self) -> float:
        return BEGAN_S + self.run_s

    def utc_s(self) -> float:
        wrong_s = 0.0
        for at_s, then_s in self.steps.items():
            if self.run_s >= at_s:
                wrong_s = then_s
        return TRUE_OFFSET_S + self.now_s() + wrong_s

    def is_synchronised(self) -> bool:  # type: ignore[override]
        return self.run_s >= max(self.steps, default=0.0)


@dataclass
class HeldUp(TwoClocks):
    """The process stands still for two seconds now and then, just after it looked at the wall clock."""

    chance: random.Random = field(default_factory=lambda: random.Random(SEED))

    def utc_s(self) -> float:
        utc_s = super().utc_s()
        if self.chance.random() < 0.01:
            self.run_s += 2.0
        return utc_s


class Switch:
    """A relay that remembers."""

    heat = False

    def drive(self, heat: bool) -> None:
        self.heat = heat

    def feedback(self) -> bool | None:
        return None

    def close(self) -> None:
        return


class Silence:
    """A journal that nobody reads."""

    def __getattr__(self, name: str) -> Any:
        return lambda *words, **fields: None


@dataclass
class Run:
    """A night with a guard."""

    decisions: list[tuple[float, bool, str]] = field(default_factory=list)  # each turn's
    said: list[dict[str, Any]] = field(default_factory=list)  # each turn's status, without its dates
    recorded: list[dict[str, Any]] = field(default_factory=list)  # as in the file
    placed: list[dict[str, Any]] = field(default_factory=list)  # as readers get them
    answered: list[dict[str, Any]] = field(default_factory=list)  # as the socket gives samples


def readings() -> Iterator[tuple[float, Reading]]:
    """Cold and warm in turn, with a sensor's noise, spikes, and a loss of a quarter of an hour."""
    chance = random.Random(SEED)
    second = 0.0
    while second < HOURS * 3600.0:
        phase = second % 2400.0 / 2400.0
        value_c = 0.5 + 12.0 * abs(phase - 0.5) + chance.gauss(0.0, 0.15)
        if chance.random() < 0.01:
            value_c = -40.0
        is_lost = 9000.0 <= second < 9900.0 or 14_000.0 <= second < 14_900.0
        yield (
            second,
            Reading(sensor=SENSOR, taken_s=BEGAN_S + second, temperature_c=None if is_lost else value_c),
        )
        second += 10.0


def live(folder: Path, clock: TwoClocks) -> Run:
    relay, inbox, run = Switch(), Inbox(), Run()
    keeper = Keeper(
        state_dir=folder / "state",
        logs_dir=folder / "logs",
        max_bytes=SITE.max_bytes,
        tell=lambda code, present, text: None,
        clock=clock.now_s,
    )
    state = State(SITE, Settings(), clock.now_s())
    port = GuardPort(
        clock=clock,
        post=inbox.post,
        keeper=keeper,
        state_dir=folder / "state",
        logs_dir=folder / "logs",
        settings=Settings(),
        sense_s_min=1.0,
        stored=lambda settings, back: None,
        keep_proof=lambda proof: None,
        wake=inbox.wake,
    )
    wheel = Wheel(
        state=state,
        inbox=inbox,
        clock=clock,
        relay=relay,
        contacts=(),
        sensors=(),
        keeper=keeper,
        port=port,
        service=Service(lambda text: None),
        board=Board(),
        blind_clock=BlindClock(folder, clock.boot_id),
        way_back=None,
        proof=None,
        log=Silence(),
        reload=lambda: None,
        on_ready=lambda: None,
        gap=None,
        learned=None,
        fear=None,
    )
    keeper.start()
    wheel.record(Event("start", clock.now_s(), {"version": "0", "synchronised": clock.is_synchronised()}))
    arriving = dict(readings())
    while clock.run_s < HOURS * 3600.0:
        if clock.run_s in (10_000.0, 14_400.0):
            inbox.post(SetHand(ticket=0, caller=OWNER, heat=True, for_s=900.0))
        if clock.run_s in arriving:
            inbox.post(arriving[clock.run_s])
        wheel.turn_once(inbox.take(0.0))
        run.decisions.append((clock.run_s, relay.heat, state.decision.reason.value))
        run.said.append(without_dates(port.status()))
        clock.run_s += TURN_S
    assert keeper.ask(lambda: None).result(20) is None, "all that came before is written"
    run.answered = port.records(events=False, since=None, until=None, limit=None).result(20)
    port.close()
    assert keeper.stop(20.0)
    run.placed = list(read_placed(folder / "logs"))
    run.recorded = [{**line, "t": line.get("t_recorded", line["t"])} for line in run.placed]
    return run


def without_dates(status: dict[str, object]) -> dict[str, Any]:
    """What of a status is no label."""
    facts: dict[str, Any] = dict(status)
    heat, alarms = dict(facts["heat"]), [dict(alarm) for alarm in facts["alarms"]]
    heat["hand_until"] = heat["hand_until"] is not None
    for alarm in alarms:
        del alarm["since"]
    del facts["clock"]
    del facts["disk"]  # its thread lives by our clock, too, and looks slow where hours take a second
    return {**facts, "heat": heat, "alarms": alarms}


def without_labels(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What happened and when since boot, without what the wall clock said to it."""
    kept = [line for line in lines if line["event"] not in ("clock", "start")]
    return [{key: value for key, value in line.items() if key not in ("t", "t_recorded")} for line in kept]


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """The same night with a clock that is right."""
    print(f"replay with OVERWINTER_SEED={SEED}")
    return live(tmp_path_factory.mktemp("steady"), TwoClocks({}))


@pytest.fixture(scope="module")
def stepped(tmp_path_factory: pytest.TempPathFactory) -> Run:
    return live(tmp_path_factory.mktemp("stepped"), TwoClocks(STEPS))


def test_the_night_has_what_a_clock_could_spoil(steady: Run) -> None:
    """Else the comparison says nothing."""
    reasons = {reason for _, _, reason in steady.decisions}
    heats = [line for line in steady.recorded if line["event"] == "heat"]

    assert {"below-band", "above-band", "inside-band", "sensor-lost", "by-hand"} <= reasons
    assert len(heats) > 20
    assert [line["event"] for line in steady.recorded if line["event"] == "clock"] == []


def test_no_decision_hangs_on_the_wall_clock(steady: Run, stepped: Run) -> None:
    assert stepped.decisions == steady.decisions
    assert stepped.said == steady.said


def test_what_is_recorded_differs_in_its_dates_only(steady: Run, stepped: Run) -> None:
    assert without_labels(stepped.recorded) == without_labels(steady.recorded)


def test_each_step_is_recorded(stepped: Run) -> None:
    steps = [line for line in stepped.recorded if line["event"] == "clock"]
    wrong_s = [0.0, *STEPS.values()]

    assert [line["up"] for line in steps] == [BEGAN_S + at_s for at_s in STEPS]
    for line, (before_s, after_s) in zip(steps, pairwise(wrong_s), strict=True):
        assert line["step_s"] == pytest.approx(after_s - before_s, abs=0.001)
        assert line["was"] == rfc3339(TRUE_OFFSET_S + line["up"] + before_s)
        assert line["t"] == rfc3339(TRUE_OFFSET_S + line["up"] + after_s)
    assert [line["synchronised"] for line in steps] == [False] * (len(STEPS) - 1) + [True]


def test_samples_of_the_wrong_hours_end_up_in_the_right_place(stepped: Run) -> None:
    """The wrong dates stay in the file; who reads is given the true ones."""
    recorded = {line["t"][:4] for line in stepped.recorded}
    assert recorded == {"1970", "2026", "2076"}

    assert len(stepped.placed) > HOURS * 60
    for line in stepped.placed:
        assert line["t"] == rfc3339(TRUE_OFFSET_S + line["up"]), line
    moved = [line["up"] - BEGAN_S for line in stepped.placed if "t_recorded" in line]
    # A clock that was right until its first step, and after its last, is left as it was.
    assert min(moved) == min(STEPS)
    assert max(moved) < max(STEPS)


def test_the_socket_gives_samples_their_true_dates_too(stepped: Run) -> None:
    assert stepped.answered == [line for line in stepped.placed if line["event"] == "sample"]


def test_less_than_a_second_is_followed_and_not_told(steady: Run, tmp_path: Path) -> None:
    run = live(tmp_path, TwoClocks(SMALL))

    assert [line for line in run.recorded if line["event"] == "clock"] == []
    assert run.decisions == steady.decisions
    times = [line["t"] for line in run.placed]
    assert times == sorted(times)


def test_a_process_that_was_held_up_takes_that_for_no_step(tmp_path: Path) -> None:
    clock = HeldUp({})
    run = live(tmp_path, clock)

    assert clock.run_s > HOURS * 3600.0
    assert len(run.recorded) > HOURS * 30
    assert [line for line in run.recorded if line["event"] == "clock"] == []

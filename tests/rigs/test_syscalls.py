"""System calls on the state and logs folders that fail or take seconds, in the guard that ships.

strace makes them fail, at any step that is wanted, while the guard runs: the caller is told, memory and file
say the same, nothing crashes, and heat follows the temperature on time.
"""

import errno
import os
import random
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from overwinter.store.keeper import PROBE_S
from tests.guard.house import House
from tests.rigs import strace
from tests.rigs.bench import (
    COLD_C,
    FOLLOWS_WITHIN_S,
    IS_LONG,
    NOT_STORED,
    SEED,
    WARM_C,
    agile,
    agree,
    code_of,
    follows,
    in_file,
    is_raised,
    lines_of,
    longest_gap_s,
    took_s,
)

Scene = Callable[[House], None]

KINDS = ("openat", "write", "fsync", "rename", "unlink")
"""By which a change is stored."""

ERRORS = {
    "openat": ("ENOSPC", "EROFS", "EMFILE"),
    "write": ("ENOSPC", "EIO"),
    "fsync": ("EIO", "ENOSPC"),
    "rename": ("EIO", "ENOSPC"),
    "unlink": ("EROFS",),
}
STATUS_WITHIN_S = 1.0
"""Status comes from the last turn; a second is ample also for a machine that is busy."""


def exercise_s(house: House) -> float:
    found: float = house.call("settings")["exercise"]["for_s"]
    return found


def change(house: House, for_s: int) -> Any:
    return house.call("set", {"changes": {"exercise.for_s": for_s}})


def each_step_fails_once(house: House) -> None:
    """The n-th call of a kind fails while a change is stored: the answer, memory and file agree, at once."""
    with strace.attached(house) as trace:
        assert change(house, 100)["saved"]
        steps = trace.steps(KINDS)
    assert {"openat", "write", "fsync", "rename"} <= {kind for kind, _ in steps}, steps
    cases = [(kind, number, error) for kind, number in steps for error in ERRORS[kind]]
    if not IS_LONG:
        cases = sorted(random.Random(SEED).sample(cases, 12))
    told, hits = [], 0
    for number, (kind, step, error) in enumerate(cases):
        before, wanted = exercise_s(house), 200 + number
        with strace.attached(house, f"{kind}:error={error}:when={step}") as trace:
            answer = change(house, wanted)
            hits += bool(trace.injected())
        now = exercise_s(house)
        case = f"{kind} {step}: {error}: {answer}"
        if code_of(answer) is None:
            assert answer["saved"], case
            assert now == wanted, case
        else:
            assert code_of(answer) == NOT_STORED, case
            assert now == before, case
            told.append(f"{kind} {step}")
        assert in_file(house)["exercise"]["for_s"] == now, case  # type: ignore[index]
    print(
        f"a change has {len(steps)} steps; of {len(cases)} failures {hits} hit, {len(told)} refused: {told}"
    )
    assert hits * 2 >= len(cases)
    assert len(told) * 2 >= len(cases)
    house.until(lambda: not is_raised(house, "disk"), "cleared by itself", within_s=PROBE_S + 2.0)
    is_as_before(house)


def everything_fails(kind: str, error: str) -> Scene:
    """For as long as we hold on, each call of a kind fails."""

    def scene(house: House) -> None:
        before = house.call("settings")
        with strace.attached(house, f"{kind}:error={error}") as trace:
            answer = change(house, 300)
            assert code_of(answer) == NOT_STORED, answer
            words = answer["data"]["problems"][0]["text"]
            assert str(house.state) in words
            assert errno_words(error) in words
            assert house.call("settings") == before
            house.until(lambda: is_raised(house, "disk"), "the alarm is raised at once", within_s=2.0)
            follows(house)
            assert len(trace.injected()) >= 1
        assert in_file(house) == before
        waited_s = house.until(
            lambda: not is_raised(house, "disk"), "cleared by itself", within_s=PROBE_S + 2.0
        )
        print(f"each {kind}: {error}; cleared {waited_s:.1f} s later")
        is_as_before(house)

    return scene


def errno_words(name: str) -> str:
    return os.strerror(getattr(errno, name))


HANG_MS = 3500
"""Long enough to notice, and short of the four seconds after which a caller is told that it is not known."""


def a_call_takes_seconds(kind: str) -> Scene:
    """A card that hangs: heat and status come on time, and the change is answered when it is stored."""

    def scene(house: House) -> None:
        answers: list[Any] = []
        asking = threading.Thread(target=lambda: answers.append(change(house, 400)))
        with strace.attached(house, f"{kind}:delay_enter={HANG_MS}ms:when=1") as trace:
            house.reads(COLD_C)
            asking.start()
            heated_s = house.until(house.heat, "heat on in the cold", within_s=3.0)
            slowest_s = max(took_s(house.status) for _ in range(10))
            assert asking.is_alive(), "it is not answered before it is stored"
            assert exercise_s(house) != 400
            asking.join(10)
            assert trace.injected(), trace.path.read_text()
        house.reads(WARM_C)
        house.until(lambda: not house.heat(), "heat off in the warm", within_s=FOLLOWS_WITHIN_S)
        print(f"a {kind} of {HANG_MS} ms: heat after {heated_s:.1f} s, status in {slowest_s * 1000:.0f} ms")
        assert slowest_s < STATUS_WITHIN_S
        assert answers[0].get("saved"), answers
        assert not is_raised(house, "disk"), "slow is not broken"
        is_as_before(house)

    return scene


def a_caller_is_told_when_the_disk_hangs_for_too_long(house: House) -> None:
    """The command gives up, says that it does not know, and the change is found whole later."""
    with strace.attached(house, "fsync:delay_enter=7s:when=1"):
        done = house.run("set", "exercise.for_s=500")
        follows(house)
    assert done.returncode in (1, 3), done
    assert done.stdout == ""
    assert "not known" in done.stderr
    print(f"the caller was told: {done.stderr.strip()}")
    house.until(lambda: exercise_s(house) == 500, "it was on its way to the disk", within_s=10.0)
    is_as_before(house)


def is_as_before(house: House) -> None:
    """Nothing was lost, and all works."""
    assert house.process is not None
    assert house.process.poll() is None
    assert house.status()["disk"] == {"settings": "ok", "logbook": "ok"}
    agree(house)
    assert change(house, 999)["saved"]
    follows(house)
    agree(house)
    assert list(house.state.glob(".*.draft")) == []
    assert house.stop() == 0
    assert longest_gap_s(lines_of(house.logs)) < 2.5, "a sample each second, those of the failure too"
    assert "Traceback" not in house.said.read_text()
    house.start()
    assert exercise_s(house) == 999
    agree(house)


SCENES: dict[str, Scene] = {
    "each step of a change": each_step_fails_once,
    "every openat: EMFILE": everything_fails("openat", "EMFILE"),
    "every write: ENOSPC": everything_fails("write", "ENOSPC"),
    "every fsync: EIO": everything_fails("fsync", "EIO"),
    "every rename: EROFS": everything_fails("rename", "EROFS"),
    "an fsync of seconds": a_call_takes_seconds("fsync"),
    "a write of seconds": a_call_takes_seconds("write"),
    "an fsync for too long": a_caller_is_told_when_the_disk_hangs_for_too_long,
}


def play(folder: Path, scene: Scene) -> None:
    strace.command()
    house = House(folder)
    try:
        agile(house)
        scene(house)
    finally:
        house.close()


@pytest.fixture(scope="module")
def plays(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, "Future[None]"]]:
    """All at the same time, since most of each is waiting."""
    with ThreadPoolExecutor(4) as houses:
        yield {
            name: houses.submit(play, tmp_path_factory.mktemp("house"), scene)
            for name, scene in SCENES.items()
        }


@pytest.mark.parametrize("name", SCENES)
def test_a_system_call_that_fails_or_hangs_costs_no_heat(plays: dict[str, "Future[None]"], name: str) -> None:
    plays[name].result(timeout=300)

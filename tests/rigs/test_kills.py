"""kill -9 at any moment: what was answered "saved" is there; what was not is there whole or not at all."""

import contextlib
import random
import signal
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from overwinter.store.lines import NAME, encode, read_lines
from tests.guard.house import House
from tests.rigs import strace
from tests.rigs.bench import IS_LONG, SEED, Caller, agree, in_file, lines_of

ROUNDS = 200 if IS_LONG else 20
STREAM_S = 0.3
"""A change takes about a hundredth of that: kills come in the first, and in the thirtieth."""


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path)
    house.reads(3.0)
    yield house
    house.close()


def numbered(number: int) -> dict[str, object]:
    """A change of two keys, of which each tells its number."""
    return {"filter.flat_after_s": 100 + number, "exercise.for_s": 100 + number}


def number_in(facts: dict[str, Any]) -> int:
    flat_s, for_s = facts["filter"]["flat_after_s"], facts["exercise"]["for_s"]
    assert flat_s == for_s, "two keys of one change come together or not at all"
    number: int = round(flat_s) - 100
    return number


def stream(house: House, first: int, saved: list[int]) -> None:
    """Change after change until the guard is gone; `saved` is told of each that was answered."""
    caller = Caller(house)
    number = first
    while (answer := caller.ask("set", {"changes": numbered(number)})) is not None:
        assert answer.get("saved") is True, answer
        saved.append(number)
        number += 1
        if number > 1600:  # the longest exercise is 1800 s
            number = 1
    caller.close()


def test_what_was_answered_saved_outlives_a_kill_at_any_moment(house: House) -> None:
    chance = random.Random(SEED)
    print(f"replay with OVERWINTER_SEED={SEED}")
    house.start()
    assert house.call("set", {"changes": numbered(0)})["saved"]
    last, answered, pending = 0, 0, 0
    for number in range(ROUNDS):
        saved: list[int] = []
        following = last % 1600 + 1
        client = threading.Thread(target=stream, args=(house, following, saved))
        client.start()
        moment_s = chance.uniform(0.0, STREAM_S)
        time.sleep(moment_s)
        house.stop(signal.SIGKILL)
        client.join(20)
        assert not client.is_alive()
        told = f"round {number}, killed after {moment_s * 1000:.1f} ms, seed {SEED}"
        known = saved[-1] if saved else last
        on_disk = number_in(in_file(house))
        assert on_disk in (known, known % 1600 + 1), told

        house.start()

        assert number_in(house.call("settings")) == on_disk, told
        agree(house)
        answered, pending = answered + len(saved), pending + (on_disk != known)
        last = on_disk
    assert house.call("set", {"changes": numbered(last % 1600 + 1)})["saved"]
    assert list(house.state.glob(".*.draft")) == [], "what a kill left of a change goes with the next one"
    house.stop()
    assert not {line["code"] for line in house.events("alarm")} - {"gap"}
    lines_of(house.logs)
    print(f"{ROUNDS} kills under {answered} changes answered; {pending} unanswered ones were found done")
    assert answered > ROUNDS, "there was a stream to kill"


def spoil(house: House, *, text: bytes) -> None:
    """Leave a settings file that nobody understands, a torn logbook and a draft: all that a start mends."""
    house.settings.write_bytes(text)
    (house.state / ".settings.toml.draft").write_bytes(b"half a dra")
    with (house.logs / NAME).open("ab") as file:
        file.write(encode({"t": "2026-01-09T00:00:00.000Z", "up": 1, "boot": "b", "event": "note"}))
        file.write(b'{"t":"2026-01-09T00:01:00.000Z","up":61,"boot":"b","ev')


def is_mended(house: House, *, text: bytes, number: int, lines: list[dict[str, Any]]) -> None:
    """What the owner had set runs and is stored, what could not be read lies aside, and no line is lost."""
    assert number_in(house.call("settings")) == number
    # By the keeper, beside the answers: on a slow disk a moment later.
    house.until(lambda: house.settings.exists() and house.settings.read_bytes() != text, "it is mended")
    agree(house)
    aside = [path for path in house.state.iterdir() if path.is_file() and path.read_bytes() == text]
    assert len(aside) == 1, sorted(path.name for path in house.state.iterdir())
    assert "unreadable" in aside[0].name
    assert not list(house.state.glob("*suspect*")), "no kill is a bad start"
    assert not list(house.logs.glob("*suspect*"))
    assert not (house.socket.parent / "bad-starts.json").exists()
    skipped: Counter[str] = Counter()
    found = list(read_lines(house.logs, skipped=skipped))
    assert [line for line in lines if line not in found] == []
    assert not skipped, "the torn end was cut off"


@pytest.fixture
def settled(house: House) -> House:
    """A house that has run, whose owner has set something, and that stands still."""
    house.start()
    assert house.call("set", {"changes": numbered(7)})["saved"]
    house.stop()
    return house


def test_a_recovery_may_be_killed_as_often_as_it_likes(settled: House) -> None:
    house, chance = settled, random.Random(SEED)
    print(f"replay with OVERWINTER_SEED={SEED}")
    for number in range(10 if IS_LONG else 2):
        text = f"nonsense {number} = = \x00".encode()
        spoil(house, text=text)
        lines = list(read_lines(house.logs))
        for _ in range(6):
            house.start(wait=False)
            time.sleep(chance.uniform(0.15, 0.45))
            house.stop(signal.SIGKILL)
        house.start()
        house.until(house.settings.exists, "the file is written again")
        is_mended(house, text=text, number=7, lines=lines)
        house.stop()


KINDS = ("openat", "write", "fsync", "rename", "unlink", "ftruncate")


def chosen(steps: list[tuple[str, int]], at_most: int) -> list[tuple[str, int]]:
    """All steps, or by default a few of them."""
    few = min(len(steps), at_most)
    return steps if IS_LONG else sorted(random.Random(SEED).sample(steps, few))


def test_a_kill_at_each_step_of_a_recovery_leaves_one_that_can_be_mended(settled: House) -> None:
    """strace kills at the n-th call of a kind on the two folders; then the guard starts undisturbed."""
    house, output = settled, settled.folder / "strace.txt"
    spoil(house, text=b"nonsense 0 = =")
    house.start(wait=False, before=strace.launched(house, output))
    house.until(house.answers, "the guard answers under strace", within_s=30)
    house.until(house.settings.exists, "the file is written again")
    house.stop()
    steps = strace.Trace(output).steps(KINDS)
    if not steps:
        pytest.skip(f"strace sees nothing here: {house.said.read_text()[-300:]}")
    cases = chosen(steps, 8)
    print(f"a start that mends everything, and its end, have {len(steps)} steps; killed at {cases}")
    killed = 0
    for number, (kind, step) in enumerate(cases, 1):
        text = f"nonsense {number} = =".encode()
        spoil(house, text=text)
        lines = list(read_lines(house.logs))
        injection = f"{kind}:signal=KILL:when={step}"
        house.start(wait=False, before=strace.launched(house, output, injection))
        killed += ends_by_itself(house, within_s=3.0)  # a step may come after more than a second
        house.start()
        is_mended(house, text=text, number=7, lines=lines)
        house.stop()
    print(f"{killed} of them came, the others belong to the end")
    assert killed * 2 >= len(cases)


def test_a_kill_at_each_step_of_a_change_leaves_the_old_or_the_new(settled: House) -> None:
    house = settled
    house.start()
    with strace.attached(house) as trace:
        assert house.call("set", {"changes": numbered(7 + 1)})["saved"]
        house.until(lambda: trace.calls()[-1:] != [] and trace.calls()[-1].name == "write", "traced")
        steps = trace.steps(KINDS)
    cases = chosen(steps, 6)
    print(f"a change has {len(steps)} steps; killed at {cases}")
    last, killed, found_new = 8, 0, 0
    for kind, step in cases:
        with strace.attached(house, f"{kind}:signal=KILL:when={step}"):
            caller = Caller(house)
            answer = caller.ask("set", {"changes": numbered(last + 1)})
            caller.close()
            dies = ends_by_itself(house, within_s=0.5)
        on_disk = number_in(in_file(house))
        assert on_disk == last + 1 if answer else on_disk in (last, last + 1), (kind, step, answer)
        house.start()
        assert number_in(house.call("settings")) == on_disk, (kind, step)
        agree(house)
        killed, found_new, last = killed + dies, found_new + (on_disk != last), on_disk
    print(f"{killed} kills came; the new settings were found after {found_new}")
    assert killed * 2 >= len(cases)


def ends_by_itself(house: House, *, within_s: float) -> bool:
    """Whether the injected kill came; else it is ended here."""
    assert house.process is not None
    with contextlib.suppress(subprocess.TimeoutExpired):
        return house.process.wait(within_s) == -signal.SIGKILL
    house.stop(signal.SIGKILL)
    return False


def test_kills_before_ready_never_count_as_bad_starts(settled: House) -> None:
    house, chance = settled, random.Random(SEED)
    before = house.settings.read_bytes()
    for _ in range(8):
        house.start(wait=False)
        time.sleep(chance.uniform(0.0, 0.2))
        house.stop(signal.SIGKILL)
        assert not (house.socket.parent / "bad-starts.json").exists()
    house.start()

    assert house.settings.read_bytes() == before
    assert number_in(house.call("settings")) == 7
    assert [alarm["code"] for alarm in house.status()["alarms"]] == []
    assert not [path for path in (*house.state.iterdir(), *house.logs.iterdir()) if "suspect" in path.name]

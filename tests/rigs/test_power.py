"""Real power cuts, in short: no state that one may leave costs what was promised; a spoilt guard is seen."""

import contextlib
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.rigs.power.cut import APART, round_apart, why_not
from tests.rigs.power.recorder import FLUSH, HEAD, MARK, WRITE, Record, read_records
from tests.rigs.power.sabotage import SPOILERS
from tests.rigs.power.states import STATES_A_CUT, Crash, Known, choose, crashes, cuts, mark

ROUND_S = 100.0  # what a round may take before something hangs
SHORT_S = 4.0
MARKS_BEFORE_KILL = 8  # then the guard is in the midst of its changes
SPOILT_ROUNDS_MOST = 4  # an in-place writer is caught half way by luck

NUMBERS = st.integers(0, 3)


@pytest.fixture(scope="session")
def power() -> None:
    reason = why_not()
    if reason is not None:
        pytest.skip(reason)


def write(place: int, value: int) -> Record:
    return Record(what=WRITE, at_s=0.0, offset=place, data=bytes([value]))


def event(what: bytes, data: bytes = b"", at_s: float = 0.0) -> Record:
    return Record(what=what, at_s=at_s, offset=0, data=data)


START = event(MARK, mark("ask", "set", 0))


def all_crashes(records: list[Record], seed: int = 1) -> list[Crash]:
    found = crashes(records, size=8, is_chosen=lambda cut: True, chance=random.Random(seed))
    return list(found)


# The model


def test_what_was_flushed_is_there_and_of_the_rest_any_part_may_be() -> None:
    records = [START, write(0, 1), event(FLUSH), write(1, 2), write(2, 3), event(FLUSH)]

    left = {bytes(crash.image[:3]) for crash in all_crashes(records) if crash.name.startswith("cut 2")}

    assert left == {b"\1\0\0", b"\1\2\0", b"\1\0\3", b"\1\2\3"}


def test_before_the_first_mark_there_is_no_cut() -> None:
    assert all_crashes([write(0, 1), event(FLUSH), write(1, 1), event(FLUSH)]) == []


@given(
    steps=st.lists(st.one_of(st.builds(write, NUMBERS, st.integers(1, 255)), st.just(event(FLUSH)))),
    seed=st.integers(0, 99),
)
def test_no_state_lacks_a_flushed_write_or_holds_one_that_never_was(steps: list[Record], seed: int) -> None:
    steps = [START, *steps, event(FLUSH)]
    chance = random.Random(seed)
    flushed: dict[int, int] = {}
    since: list[tuple[int, int]] = []
    place = 0
    for step in steps:
        if step.what == WRITE:
            since.append((step.offset, step.data[0]))
            continue
        found = list(
            crashes(steps, size=8, is_chosen=lambda cut, place=place: cut == place, chance=chance)  # type: ignore[misc]
        )
        assert len({bytes(crash.image) for crash in found}) <= len(found) == cuts(steps)[place].states
        assert len(found) <= STATES_A_CUT
        for crash in found:
            for offset in range(8):
                possible = {value for at, value in since if at == offset} | {flushed.get(offset, 0)}
                assert crash.image[offset] in possible
        if step.what == FLUSH:
            flushed.update(since)
            since = []
        place += 1


def test_about_as_many_states_are_chosen_as_were_asked_for_half_of_them_mid_change() -> None:
    change = [event(MARK, mark("ask", "set", 1)), event(FLUSH), event(MARK, mark("answer", "set", 1))]
    possible = cuts([START, *[event(FLUSH)] * 500, *change])

    chosen = choose(possible, 100, random.Random(1))

    assert len(chosen) == 100
    assert {cut for cut, one in enumerate(possible) if one.is_mid_change} <= chosen
    assert choose(possible, None, random.Random(1)) == set(range(len(possible)))


def test_marks_say_what_must_be_durable_by_when() -> None:
    known = Known()
    for at_s, words in ((1.0, ("ask", "set", 1)), (1.2, ("answer", "set", 1)), (1.5, ("ask", "set", 2))):
        known = known.heard(mark(*words), at_s)

    assert (known.answered, known.asked) == (1, 2)
    assert known.recorded("set", 2.1) == 0
    assert known.recorded("set", 2.3) == 1
    assert known.recorded("note", 9.0) == 0


def test_a_half_record_at_the_end_is_none(tmp_path: Path) -> None:
    path = tmp_path / "record"
    whole = HEAD.pack(WRITE, 1.0, 512, 3) + b"abc"
    for size in range(len(whole)):
        path.write_bytes(whole + whole[:size])
        assert list(read_records(path)) == [Record(what=WRITE, at_s=1.0, offset=512, data=b"abc")]


# The cuts


OUR_DISKS = ("/disk", "/image")  # as the kernel names a file of a namespace that is not ours


def leftovers(folder: Path) -> list[str]:
    """Whatever of a rig that worked in this folder is still there: mounts, loop devices, processes."""
    mounts = [line for line in Path("/proc/self/mounts").read_text().splitlines() if str(folder) in line]
    backed = [path.read_text().strip() for path in Path("/sys/block").glob("loop*/loop/backing_file")]
    loops = [backing for backing in backed if str(folder) in backing or backing in OUR_DISKS]
    processes = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):  # it has just ended
            if str(folder).encode() in path.read_bytes():
                processes.append(str(path))
    return mounts + loops + processes


def wait_until(holds: Callable[[], bool], within_s: float = 20.0) -> None:
    ends = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends
        time.sleep(0.05)


@pytest.fixture
def work(power: None, tmp_path: Path) -> Iterator[Path]:
    """A folder for a rig, of which nothing may stay mounted or running."""
    yield tmp_path
    wait_until(lambda: not leftovers(tmp_path))


def test_no_power_cut_costs_an_answered_change_or_an_event_older_than_a_second(
    work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    outcome = round_apart(work, for_s=SHORT_S, states_most=450, starts_most=4, seed=1, within_s=ROUND_S)

    with capsys.disabled():
        print(
            f"\npower cuts: {outcome.changes} changes, {outcome.cuts} cuts of {outcome.possible}, "
            f"{outcome.states} states, {outcome.starts} starts, bad {outcome.bad} ({outcome.took_s} s)"
        )
    assert outcome.said == [], f"the record is {work / 'record'}"
    assert outcome.bad == 0
    assert outcome.states >= 400
    assert outcome.starts == 4
    assert outcome.changes >= 10


@pytest.mark.parametrize("spoilt", SPOILERS)
def test_a_guard_with_one_care_left_out_is_seen(spoilt: str, work: Path) -> None:
    states = 0
    for seed in range(1, SPOILT_ROUNDS_MOST + 1):
        (work / str(seed)).mkdir()
        outcome = round_apart(
            work / str(seed),
            guard=spoilt,
            for_s=SHORT_S,
            states_most=600,
            seed=seed,
            is_first_enough=True,
            within_s=ROUND_S,
        )
        if outcome.bad:
            return
        states += outcome.states
    pytest.fail(f"{spoilt}: not one of {states} states was seen to be bad")


def marks_in(record: Path) -> list[Record]:
    return [one for one in read_records(record) if one.what == MARK]


def test_a_rig_that_is_killed_leaves_no_mount_no_loop_and_no_process(work: Path) -> None:
    words = ["--for-s=30", "--starts=0", "--seed=1"]
    rig = subprocess.Popen(
        [*APART, sys.executable, "-m", "tests.rigs.power.cut", work, *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    record = work / "record"
    try:
        wait_until(lambda: record.exists() and len(marks_in(record)) > MARKS_BEFORE_KILL)
        assert leftovers(work)
    finally:
        rig.kill()
        rig.wait(10)

    wait_until(lambda: not leftovers(work))

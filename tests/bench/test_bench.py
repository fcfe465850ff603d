"""The bench must be able to say "missed": a table that cannot fail measures nothing."""

import json
import os
import random
import subprocess
import sys
import time

import pytest

from overwinter.core.nouns import Settings
from tests.bench import rig, spikes, year
from tests.bench.__main__ import PARTS
from tests.bench.spikes import Action, Liar
from tests.bench.table import Row, table

BAND = Settings(low_c=2.0, high_c=4.0)


def test_every_part_of_the_bench_can_be_imported_and_run() -> None:
    assert all(callable(rows) for rows in PARTS.values())


@pytest.mark.parametrize(
    ("row", "verdict"),
    [
        pytest.param(Row(what="", value="", ratio=1.5, goal=1.5), "met", id="at the goal"),
        pytest.param(Row(what="", value="", ratio=1.501, goal=1.5), "MISSED", id="a little beyond"),
        pytest.param(Row(what="", value="", ratio=0.3, goal=0.3, is_strict=True), "MISSED", id="strict"),
        pytest.param(Row(what="", value="", ratio=1.9, goal=3.0, stretch=2.0), "met, stretch too", id="more"),
        pytest.param(Row(what="", value="", ratio=9.0, judged=0.1, goal=0.3), "met", id="judged otherwise"),
        pytest.param(Row(what="", value="", judged=1.0, goal=0.0), "MISSED", id="one where none may be"),
        pytest.param(Row(what="", value="", ratio=9.0), "", id="no goal"),
    ],
)
def test_a_row_says_whether_its_goal_was_met(row: Row, verdict: str) -> None:
    assert row.verdict == verdict
    assert table([row]).splitlines()[-1].endswith(verdict)


@pytest.mark.parametrize(
    ("actions", "false", "why"),
    [
        pytest.param([Action(500, True)], 1, "in the middle of the band", id="far from the end"),
        pytest.param([Action(997, True)], 0, "the truth is near", id="a few readings early"),
        pytest.param([Action(500, False)], 1, "it is not warm", id="off"),
    ],
)
def test_an_action_that_nothing_true_asks_for_is_false(actions: list[Action], false: int, why: str) -> None:
    truth_c = [3.5 - 1.5 * index / 1000 for index in range(1100)]  # reaches low at reading 1000
    found = [spikes._is_false(action, [Action(1000, True)], truth_c, BAND) for action in actions]

    assert sum(found) == false, why


def test_what_the_honest_guard_does_too_is_not_false() -> None:
    truth_c = [3.0] * 100

    assert not spikes._is_false(Action(50, True), [Action(48, True)], truth_c, BAND)
    assert spikes._is_false(Action(50, True), [Action(40, True)], truth_c, BAND)


def test_a_crossing_that_is_slept_through_is_missed() -> None:
    due = [Action(100, True), Action(400, False)]

    assert spikes._missed(due, [Action(103, True), Action(402, False)]) == 0
    assert spikes._missed(due, [Action(103, True)]) == 1
    assert spikes._missed(due, []) == 1, "heat was never on, so off is as it should be"


def test_the_liar_lies_as_often_as_it_says() -> None:
    liar = Liar(random.Random("a seed"), apart=True)
    reads = 200_000
    said = [liar.spoil(3.0) for _ in range(reads)]
    came = [value for value in said if value is not None]
    wrong = [value != 3.0 for value in came]

    assert liar.failed / reads == pytest.approx(spikes.FAILED_SHARE, rel=0.02)  # 9 standard deviations
    assert sum(wrong) / len(came) == pytest.approx(spikes.SPIKE_SHARE, rel=0.12)  # 4, of clustered spikes
    lengths = {len(run) for run in "".join("x" if is_wrong else "." for is_wrong in wrong).split(".") if run}
    assert lengths == {1, 2, 3}


def test_delays_are_those_of_a_median_of_five() -> None:
    found = spikes.delays(crossings=200)

    assert found.crossings >= 198
    for heat in (True, False):
        assert 10.0 <= found.honest[heat].mean_s <= 25.0  # two readings behind, less what noise hurries
        assert found.lied_to[heat].mean_s > found.honest[heat].mean_s


def test_cpu_time_is_that_of_the_process_named() -> None:
    began_s = rig.cpu_s(os.getpid())
    until_s = time.process_time() + 0.1
    while time.process_time() < until_s:
        pass

    assert rig.cpu_s(os.getpid()) - began_s == pytest.approx(0.1, abs=0.05)
    assert rig.cpu_s(os.getpid()) == pytest.approx(rig.ticks_s(os.getpid()), abs=0.05)


def test_the_workplace_is_gone_afterwards() -> None:
    with rig.workplace() as folder:
        assert folder.is_dir()
        assert rig.file_system(folder) != "unknown"

    assert not folder.exists()


def test_a_fortnight_of_turns_leaves_memory_and_descriptors_as_they_were() -> None:
    """The year itself is a part of the bench."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.year", "14"],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        check=True,
        capture_output=True,
        text=True,
    )
    early, late = (json.loads(done.stdout)[month] for month in (1, -1))
    assert late["kib"] - early["kib"] <= 1024 * year.GROWS_MIB
    assert late["descriptors"] <= early["descriptors"]

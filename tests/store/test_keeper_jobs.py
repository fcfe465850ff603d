"""What others ask the keeper to do: it is done in its thread, in order, and answered."""

import errno
import threading

import pytest

from overwinter.core.nouns import NotStored, Problem, Refused
from overwinter.store import keeper as keeper_module
from overwinter.store.atomic import replace_durably
from overwinter.store.keeper import JOBS_MOST
from overwinter.store.logbook import SMALLEST_BYTES
from tests.store.keeping import PATIENCE_S, Disk, Rig


def test_a_job_runs_in_the_keepers_thread_after_what_was_recorded(rig: Rig) -> None:
    rig.record(3)
    assert rig.keeper.ask(rig.numbers).result(PATIENCE_S) == [0, 1, 2]
    assert rig.keeper.ask(lambda: threading.current_thread().name).result(PATIENCE_S) == "keeper"


def test_jobs_run_in_order(rig: Rig) -> None:
    done: list[int] = []
    futures = [rig.keeper.ask(lambda number=number: done.append(number)) for number in range(50)]
    for future in futures:
        future.result(PATIENCE_S)

    assert done == list(range(50))


def test_the_exception_of_a_job_is_the_askers(rig: Rig) -> None:
    def refuse() -> None:
        raise Refused([Problem("band.low", 99.0, "below 40", "band.low = 99: below 40")])

    with pytest.raises(Refused, match=r"band\.low"):
        rig.keeper.ask(refuse).result(PATIENCE_S)

    assert rig.told.all == []
    assert rig.keeper.ask(lambda: 1).result(PATIENCE_S) == 1


@pytest.mark.parametrize("wrapped", [True, False])
def test_a_job_that_could_not_store_is_a_failed_write(rig: Rig, disk: Disk, wrapped: bool) -> None:
    disk.errors["write"] = errno.ENOSPC

    def store() -> None:
        try:
            replace_durably(rig.state / "settings.toml", b"x")
        except OSError as error:
            if wrapped:
                raise NotStored("not stored") from error
            raise

    with pytest.raises(OSError, match="not stored" if wrapped else "No space"):
        rig.keeper.ask(store).result(PATIENCE_S)

    assert rig.told.wait_for(True) == f"{rig.state}: No space left on device"
    disk.errors.clear()
    rig.told.wait_for(False)
    assert rig.keeper.health()["settings"] == "ok"


def test_a_job_that_lost_its_peer_is_no_failed_write(rig: Rig) -> None:
    def lose() -> None:
        raise BrokenPipeError(errno.EPIPE, "gone")

    with pytest.raises(BrokenPipeError):
        rig.keeper.ask(lose).result(PATIENCE_S)

    assert rig.told.all == []


def test_too_many_jobs_are_refused(rig: Rig, disk: Disk) -> None:
    disk.may_pass.clear()
    rig.record()
    assert disk.is_waited_for.wait(PATIENCE_S)
    futures = [rig.keeper.ask(lambda: 1) for _ in range(JOBS_MOST + 1)]

    with pytest.raises(NotStored, match="does not keep up"):
        futures[-1].result(0.0)
    assert futures[0].cancel(), "who gave up waiting takes it back"
    disk.may_pass.set()
    assert [future.result(PATIENCE_S) for future in futures[1:-1]] == [1] * (JOBS_MOST - 1)


def test_samples_recorded_before_are_forgotten(rig: Rig) -> None:
    for number in range(10):
        rig.record(urgent=number % 5 == 0)
    rig.keeper.drop_samples().result(PATIENCE_S)
    rig.record()
    rig.settle()

    assert rig.numbers() == [0, 5, 10]


def test_samples_that_wait_are_forgotten_too(rig: Rig, disk: Disk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeper_module, "PROBE_S", 0.5)
    disk.errors["write"] = errno.ENOSPC
    for number in range(10):
        rig.record(urgent=number % 5 == 0)
    rig.told.wait_for(True)
    with pytest.raises(OSError, match="No space"):
        rig.keeper.drop_samples().result(PATIENCE_S)
    assert len(rig.keeper.ring()) == 10, "not done is said, not half done"
    disk.errors.clear()
    rig.keeper.drop_samples().result(PATIENCE_S)
    rig.told.wait_for(False)

    assert rig.numbers() == [0, 5]


def test_the_bound_can_be_lowered(rig: Rig) -> None:
    rig.record(3000)
    rig.keeper.resize(SMALLEST_BYTES).result(PATIENCE_S)

    assert sum(path.stat().st_size for path in rig.logs.iterdir()) <= SMALLEST_BYTES
    with pytest.raises(ValueError, match="at least 65536"):
        rig.keeper.resize(1).result(PATIENCE_S)
    assert rig.told.all == []

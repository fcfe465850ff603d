import time
from collections import Counter
from pathlib import Path

import pytest

from overwinter.store.atomic import set_aside
from overwinter.store.logbook import SMALLEST_BYTES, Logbook, last_lines, read_lines
from tests.store.books import Watch, fill, line, numbers, opened
from tests.store.disk import FailingDisk, between, logbook_bytes


def test_what_was_appended_is_read_back(tmp_path: Path) -> None:
    logbook = opened(tmp_path / "logs" / "deep")
    logbook.append([line(0), line(1)])
    logbook.append([])
    logbook.append([line(2)])

    assert numbers(tmp_path / "logs" / "deep") == [0, 1, 2]
    assert logbook.size() == 750


def test_the_bound_holds_at_every_call_and_the_oldest_go_first(tmp_path: Path) -> None:
    logbook = opened(tmp_path)
    watch = Watch(tmp_path, SMALLEST_BYTES)
    with between(watch):
        fill(logbook, 0, 2000)
    kept = numbers(tmp_path)

    assert kept == list(range(kept[0], 2000))
    assert watch.most >= SMALLEST_BYTES * 3 // 4, "and the bound is used"
    assert logbook.size() == logbook_bytes(tmp_path) >= SMALLEST_BYTES * 5 // 8
    assert watch.calls["rename"] > 100


def test_many_lines_at_once_turn_over_too(tmp_path: Path) -> None:
    logbook = opened(tmp_path)
    with between(Watch(tmp_path, SMALLEST_BYTES)):
        logbook.append([line(number) for number in range(2000)])
    kept = numbers(tmp_path)

    assert kept == list(range(kept[0], 2000))
    assert len(kept) > 150


@pytest.mark.parametrize(
    ("bad", "text"),
    [
        pytest.param(b"{}", "its newline", id="no newline"),
        pytest.param(b"", "its newline", id="empty"),
        pytest.param(b"{}\n{}\n", "one line", id="two"),
        pytest.param(b"x" * 2048 + b"\n", "2048 bytes at most", id="too long"),
    ],
)
def test_what_is_no_line_is_refused_and_nothing_appended(tmp_path: Path, bad: bytes, text: str) -> None:
    logbook = opened(tmp_path)
    with pytest.raises(ValueError, match=text):
        logbook.append([line(0), bad])

    assert numbers(tmp_path) == []


@pytest.mark.parametrize(("max_bytes", "longest"), [(65_536, 2048), (524_288, 16_384), (67_108_864, 65_536)])
def test_the_longest_line_is_a_quarter_of_a_segment(tmp_path: Path, max_bytes: int, longest: int) -> None:
    logbook = opened(tmp_path, max_bytes)
    logbook.append([line(0, size=longest)])

    assert logbook.line_bytes_most == longest
    with pytest.raises(ValueError, match=f"{longest + 1} bytes, must be one line .* {longest} bytes at most"):
        logbook.append([line(1, size=longest + 1)])


def test_too_low_a_bound_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="must be at least 65536"):
        Logbook(tmp_path, SMALLEST_BYTES - 1)
    with pytest.raises(ValueError, match="max_bytes = 0"):
        opened(tmp_path).resize(0)


def test_a_tail_torn_at_any_byte_is_cut_before_the_next_append(tmp_path: Path) -> None:
    whole = line(0) + line(1) + line(2)
    for size in range(len(whole)):
        (tmp_path / "logbook.jsonl").write_bytes(whole[:size])
        logbook = opened(tmp_path)
        logbook.append([line(9)])
        logbook.close()
        skipped: Counter[str] = Counter()

        found = [found["n"] for found in read_lines(tmp_path, skipped=skipped)]
        assert found == [*range(size // 250), 9]
        assert not skipped


@pytest.mark.parametrize(
    "tail", [b"\0" * 5000, b"x" * 200_000, b"\xff" * 70], ids=["zeros", "long", "no text"]
)
def test_a_tail_of_garbage_is_cut(tmp_path: Path, tail: bytes) -> None:
    (tmp_path / "logbook.jsonl").write_bytes(line(0) + tail)
    logbook = opened(tmp_path)
    logbook.append([line(1)])

    assert (tmp_path / "logbook.jsonl").read_bytes() == line(0) + line(1)


def test_garbage_in_the_middle_stays_and_hides_nothing(tmp_path: Path) -> None:
    (tmp_path / "logbook.jsonl").write_bytes(line(0) + b"\0" * 40 + b"\n" + line(1))
    fill(opened(tmp_path), 2, 1)

    assert numbers(tmp_path) == [0, 1, 2]


@pytest.mark.parametrize("restart", [True, False])
@pytest.mark.parametrize("higher", [2, 4, 16, 200])
def test_a_lowered_bound_holds_and_keeps_the_newest(tmp_path: Path, higher: int, restart: bool) -> None:
    logbook = opened(tmp_path, SMALLEST_BYTES * higher)
    logbook.append([line(number) for number in range(300 * higher)])
    with between(Watch(tmp_path, SMALLEST_BYTES * higher)):
        if restart:
            logbook.sync()
            logbook.close()
            logbook = opened(tmp_path)
        else:
            logbook.resize(SMALLEST_BYTES)

    assert logbook_bytes(tmp_path) <= SMALLEST_BYTES
    kept = numbers(tmp_path)
    assert kept == list(range(kept[0], 300 * higher))
    assert len(kept) >= 30, "about a segment at least"
    with between(Watch(tmp_path, SMALLEST_BYTES)):
        fill(logbook, 300 * higher, 600)
    kept = numbers(tmp_path)
    assert kept == list(range(kept[0], 300 * higher + 600))


def test_what_was_set_aside_counts_and_goes_first(tmp_path: Path) -> None:
    fill(opened(tmp_path), 0, 20)
    aside = set_aside(tmp_path / "logbook.jsonl", "suspect")
    logbook = opened(tmp_path)
    with between(Watch(tmp_path, SMALLEST_BYTES)):
        fill(logbook, 20, 180)
        assert aside is not None
        assert aside.exists()
        fill(logbook, 200, 60)

    assert not aside.exists()
    assert numbers(tmp_path)[0] <= 60


def test_another_file_in_the_folder_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "logbook.jsonl.bak").write_bytes(b"mine")
    (tmp_path / ".logbook.jsonl.2.draft").write_bytes(b"left by a crash")
    fill(opened(tmp_path), 0, 1000)

    assert (tmp_path / "logbook.jsonl.bak").read_bytes() == b"mine"
    assert not (tmp_path / ".logbook.jsonl.2.draft").exists()


def test_the_number_of_files_is_bounded(tmp_path: Path) -> None:
    """Events that outlive many droppings of samples sit in ever more files, of a few lines each."""
    for number in range(1, 100):
        (tmp_path / f"logbook.jsonl.{number}").write_bytes(line(99 - number))
    logbook = opened(tmp_path, 524_288)
    fill(logbook, 99, 300)

    assert len(list(tmp_path.iterdir())) == 100
    kept = numbers(tmp_path)
    assert kept == list(range(kept[0], 399))
    assert kept[0] == 1


# Forgetting samples


def test_samples_are_forgotten_and_events_stay_in_order(tmp_path: Path) -> None:
    logbook = opened(tmp_path)
    for number in range(200):
        fill(logbook, number, 1, event="sample" if number % 10 else "heat")
    with between(Watch(tmp_path, SMALLEST_BYTES)):
        logbook.drop_samples()

    assert numbers(tmp_path) == list(range(0, 200, 10))
    assert logbook.size() == 20 * 250
    assert not list(tmp_path.glob(".*"))
    fill(logbook, 200, 1)
    assert numbers(tmp_path)[-2:] == [190, 200]


def test_forgetting_samples_fits_even_into_a_full_logbook(tmp_path: Path) -> None:
    """Nearly all lines are events, so that the draft of each file is as large as the file."""
    logbook = opened(tmp_path)
    for number in range(1000):
        fill(logbook, number, 1, event="heat" if number % 30 else "sample")
    before = numbers(tmp_path)
    with between(Watch(tmp_path, SMALLEST_BYTES)):
        logbook.drop_samples()

    assert numbers(tmp_path) == [number for number in before if number % 30]


def test_forgetting_samples_fits_even_after_the_bound_was_lowered(tmp_path: Path) -> None:
    """The files are twice a segment long, and so are their drafts."""
    logbook = opened(tmp_path, 2 * SMALLEST_BYTES)
    for number in range(520):
        fill(logbook, number, 1, event="heat" if number % 30 else "sample")
    logbook.resize(SMALLEST_BYTES)
    fill(logbook, 520, 20)
    before = numbers(tmp_path)
    with between(Watch(tmp_path, SMALLEST_BYTES)):
        logbook.drop_samples()

    assert numbers(tmp_path) == [number for number in before if number % 30]
    assert len(before) > 64


def test_files_without_events_disappear(tmp_path: Path) -> None:
    logbook = opened(tmp_path)
    fill(logbook, 0, 200, event="sample")
    logbook.drop_samples()

    assert [path.name for path in tmp_path.iterdir()] == ["logbook.jsonl"]
    assert logbook.size() == 0


def test_an_error_while_forgetting_loses_no_event(tmp_path: Path) -> None:
    failed: Counter[str] = Counter()
    at = 0
    while True:
        folder = tmp_path / str(at)
        logbook = opened(folder)
        for number in range(80):
            fill(logbook, number, 1, event="heat" if number % 10 == 0 else "sample")
        disk = FailingDisk(at, short=True)
        with between(disk):
            try:
                logbook.drop_samples()
            except OSError:
                assert disk.failed

        events = [found["n"] for found in read_lines(folder, events={"heat"})]
        assert events == list(range(0, 80, 10)), disk.failed
        logbook.drop_samples()
        assert numbers(folder) == list(range(0, 80, 10))
        failed.update(disk.failed)
        if not disk.failed:
            break
        at += 1

    assert {"write", "fsync", "rename", "unlink", "open"} <= set(failed)


def test_the_last_lines_are_cheap_to_know(tmp_path: Path) -> None:
    fill(opened(tmp_path), 0, 150)

    assert [found["n"] for found in last_lines(tmp_path, 60)] == list(range(90, 150))


def test_the_wall_clock_is_never_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden() -> float:
        raise AssertionError("the logbook looked at a clock")

    monkeypatch.setattr(time, "time", forbidden)
    monkeypatch.setattr(time, "monotonic", forbidden)
    fill(opened(tmp_path), 0, 300)

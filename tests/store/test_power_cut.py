"""In every state that a power cut may leave, what was promised is there."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from overwinter.store.atomic import draft_of, read_copy, replace_durably, write_copy
from overwinter.store.logbook import SMALLEST_BYTES, Logbook, encode, read_lines
from tests.store.crash import Files, Mark, Recorder
from tests.store.disk import between, logbook_bytes

OLD = b"mode = 'freeze'\n" * 60
NEW = b"mode = 'warm'\n" * 90
LEFT_OUT = ["file", "folder"]
WRONG_ENOUGH = 3  # states, to see what is wrong


class Found:
    """A folder that becomes one state after the other, and what was wrong in them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        self.states = 0
        self.wrong: list[str] = []

    def become(self, files: Files) -> None:
        self.states += 1
        shutil.rmtree(self.folder)
        self.folder.mkdir()
        for name, content in files.items():
            (self.folder / name).write_bytes(content)

    def expect(self, truth: bool, text: str) -> None:
        if not truth:
            self.wrong.append(text)


def cut_during_replace(tmp_path: Path, *, existed: bool, deaf_to: str | None = None) -> Found:
    folder = tmp_path / "true"
    folder.mkdir()
    if existed:
        (folder / "settings.toml").write_bytes(OLD)
    (folder / ".settings.toml.draft").write_bytes(b"left by the cut before")
    recorder = Recorder(folder, deaf_to)
    with between(recorder):
        replace_durably(folder / "settings.toml", NEW)
    recorder.mark("saved")
    found = Found(tmp_path / "found")
    for done, files in recorder.states():
        found.become(files)
        is_saved = any(isinstance(step, Mark) for step in recorder.steps[:done])
        content = files.get("settings.toml")
        allowed = [NEW] if is_saved else [NEW, OLD if existed else None]
        found.expect(content in allowed, f"after {done} steps: {content!r}"[:80])
        replace_durably(found.folder / "settings.toml", OLD)
        found.expect(not draft_of(found.folder / "settings.toml").exists(), "a draft stays")
    return found


@pytest.mark.parametrize("existed", [True, False])
def test_a_file_is_the_old_one_or_the_new_one(tmp_path: Path, existed: bool) -> None:
    found = cut_during_replace(tmp_path, existed=existed)
    print(f"{found.states} states")

    assert not found.wrong, f"in {found.states} states"
    assert found.states > 25


@pytest.mark.parametrize("deaf_to", LEFT_OUT)
@pytest.mark.parametrize("existed", [True, False])
def test_leaving_out_an_fsync_of_a_file_or_its_folder_would_be_noticed(
    tmp_path: Path, deaf_to: str, existed: bool
) -> None:
    assert cut_during_replace(tmp_path, existed=existed, deaf_to=deaf_to).wrong


def test_a_copy_is_never_believed_when_it_is_not_whole(tmp_path: Path) -> None:
    """Even with the fsync left out: no state shows other bytes than the old or the new ones."""
    folder = tmp_path / "true"
    folder.mkdir()
    write_copy(folder / "copy", OLD)
    recorder = Recorder(folder, deaf_to="file")
    with between(recorder):
        write_copy(folder / "copy", NEW)
    found = Found(tmp_path / "found")
    unreadable = 0
    for _, files in recorder.states():
        found.become(files)
        data = read_copy(found.folder / "copy")
        unreadable += data is None
        found.expect(data in {OLD, NEW, None}, repr(data))

    assert not found.wrong
    assert unreadable > 5, "and torn ones were among them"


def line(number: int, event: str) -> bytes:
    return encode({"event": event, "n": number, "text": "x" * 950})


def kind(number: int) -> str:
    return "heat" if number % 3 == 0 else "sample"


def append(logbook: Logbook, numbers: range) -> None:
    for number in numbers:
        logbook.append([line(number, kind(number))])


def turn_over(logbook: Logbook, promise: Callable[[], None]) -> None:
    for first in range(100, 126, 3):
        append(logbook, range(first, first + 3))
        logbook.sync()
        promise()


def drop_samples(logbook: Logbook, promise: Callable[[], None]) -> None:
    logbook.drop_samples()
    promise()
    append(logbook, range(102, 104))
    logbook.sync()
    promise()


def lower(logbook: Logbook, promise: Callable[[], None]) -> None:
    logbook.resize(SMALLEST_BYTES)
    promise()
    append(logbook, range(100, 112))
    logbook.sync()
    promise()


def fail_to_sync(logbook: Logbook, promise: Callable[[], None]) -> None:
    append(logbook, range(100, 102))
    logbook.close()  # what a failed sync does
    append(logbook, range(102, 104))
    logbook.sync()
    promise()


def cut_during(
    act: Callable[[Logbook, Callable[[], None]], None],
    tmp_path: Path,
    *,
    max_bytes: int = SMALLEST_BYTES,
    deaf_to: str | None = None,
) -> Found:
    folder = tmp_path / "true"
    logbook = Logbook(folder, max_bytes)
    logbook.append([line(number, kind(number)) for number in range(100)])
    logbook.sync()
    recorder = Recorder(folder, deaf_to)

    def kept(folder: Path) -> list[int]:
        return [found["n"] for found in read_lines(folder)]

    def promise() -> None:
        recorder.mark((kept(folder), logbook._max_bytes))

    promise()
    with between(recorder):
        logbook.open()
        act(logbook, promise)
    logbook.close()
    promises = [(place, step.value) for place, step in enumerate(recorder.steps) if isinstance(step, Mark)]
    promises.append((len(recorder.steps), (kept(folder), logbook._max_bytes)))
    found = Found(tmp_path / "found")
    for done, files in recorder.states():
        if done == 0:
            continue  # nothing is promised before the first step
        made = [value for place, value in promises if place < done]
        following = [value for place, value in promises if place >= done]
        (promised, bound), (next_promised, _) = made[-1], following[0] if following else made[-1]
        due = set(promised) & set(next_promised)  # in between, the oldest may go
        after = f"after {done} steps of {len(recorder.steps)} ({recorder.steps[done - 1]!r:.70})"
        found.become(files)
        found.expect(logbook_bytes(found.folder) <= bound, f"{after}: above the bound")
        there = kept(found.folder)
        found.expect(due <= set(there), f"{after}: {sorted(due - set(there))} lost")
        found.expect(there == sorted(set(there)), f"{after}: out of order or doubled")
        logbook = Logbook(found.folder, bound)
        logbook.append([line(999, "start")])
        logbook.sync()
        logbook.close()
        found.expect(kept(found.folder)[-1:] == [999], f"{after}: can't go on")
        found.expect(due <= set(kept(found.folder)) | set(there[:16]), f"{after}: lost by opening")
        if len(found.wrong) >= (WRONG_ENOUGH if deaf_to is None else 1):
            break
    return found


MISFORTUNES = [
    pytest.param(turn_over, SMALLEST_BYTES, id="turning over"),
    pytest.param(drop_samples, SMALLEST_BYTES, id="dropping samples"),
    pytest.param(lower, 2 * SMALLEST_BYTES, id="lowering the bound"),
    pytest.param(lower, 8 * SMALLEST_BYTES, id="lowering it much"),
    pytest.param(fail_to_sync, SMALLEST_BYTES, id="failing to sync"),
]


@pytest.mark.parametrize(("act", "max_bytes"), MISFORTUNES)
def test_a_line_that_was_synced_is_there(
    tmp_path: Path, act: Callable[[Logbook, Callable[[], None]], None], max_bytes: int
) -> None:
    found = cut_during(act, tmp_path, max_bytes=max_bytes)
    print(f"{found.states} states")

    assert not found.wrong, f"in {found.states} states"
    assert found.states > 40


@pytest.mark.parametrize("deaf_to", LEFT_OUT)
@pytest.mark.parametrize(("act", "max_bytes"), MISFORTUNES[:4])
def test_leaving_out_an_fsync_of_the_logbook_would_be_noticed(
    tmp_path: Path, act: Callable[[Logbook, Callable[[], None]], None], max_bytes: int, deaf_to: str
) -> None:
    assert cut_during(act, tmp_path, max_bytes=max_bytes, deaf_to=deaf_to).wrong

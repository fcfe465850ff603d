"""Notices through real commands: good ones, and the ways in which an owner's script fails."""

import json
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from overwinter.notify.outbox import AT_MOST, GIVE_UP_AFTER_S, Outbox, Parcel

Said = list[tuple[str, str]]


class Post:
    """An outbox with its command, and what came of it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.got = folder / "got"
        self.said: Said = []
        self.now_s = 0.0
        self.boxes: list[Outbox] = []

    def box(self, code: str, *, timeout_s: float = 5.0, start: bool = True) -> Outbox:
        """An outbox whose command is this piece of Python; `got` is the file it may write to."""
        prelude = f"import os, sys, time, pathlib; got = pathlib.Path({str(self.got)!r})\n"
        box = Outbox(
            [sys.executable, "-c", prelude + code],
            timeout_s=timeout_s,
            tell=lambda kind, text: self.said.append((kind, text)),
            clock=lambda: self.now_s,
            first_pause_s=0.05,
        )
        self.boxes.append(box)
        if start:
            box.start()
        return box

    def lines(self) -> list[str]:
        return self.got.read_text().splitlines() if self.got.exists() else []

    def kinds(self) -> list[str]:
        return [kind for kind, _ in self.said]


@pytest.fixture
def post(tmp_path: Path) -> Iterator[Post]:
    post = Post(tmp_path)
    yield post
    for box in post.boxes:
        box.close(10.0)


def parcel(name: str) -> Parcel:
    return Parcel(name, json.dumps({"code": name}).encode(), {"NOTICE_CODE": name})


def until(holds: Callable[[], bool], what: str, within_s: float = 20.0) -> None:
    ends = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < ends, what
        time.sleep(0.01)


APPEND = "got.open('a').write(os.environ['NOTICE_CODE'] + ' ' + sys.stdin.read() + chr(10))"


def test_notices_arrive_in_order_on_stdin_and_in_the_environment(post: Post) -> None:
    box = post.box(APPEND)
    for name in ("cold", "damp", "disk"):
        box.post(parcel(name))

    until(lambda: box.waiting() == 0, "all through")
    assert post.lines() == ['cold {"code": "cold"}', 'damp {"code": "damp"}', 'disk {"code": "disk"}']
    assert post.kinds() == ["through"] * 3


def test_a_command_that_fails_is_tried_again_and_the_order_is_kept(post: Post) -> None:
    box = post.box(f"{APPEND}\nif len(got.read_text().splitlines()) < 4: sys.exit('no network')")
    box.post(parcel("cold"))
    box.post(parcel("damp"))

    until(lambda: box.waiting() == 0, "all through")
    assert [line.split()[0] for line in post.lines()] == ["cold"] * 4 + ["damp"]
    assert post.said[0] == ("failed", "cold: exit code 1: no network")
    assert post.kinds() == ["failed"] * 3 + ["through"] * 2


def test_a_command_that_hangs_is_ended_and_whoever_posts_never_waits(post: Post) -> None:
    box = post.box("time.sleep(60)", timeout_s=0.5)
    began = time.monotonic()
    for _ in range(10):
        box.post(parcel("cold"))
    assert time.monotonic() - began < 0.2

    until(lambda: bool(post.said), "told of the failure")
    assert post.said[0] == ("failed", "cold: not done after 0.5 s, so it was ended")


def test_a_missing_command_is_said_by_name(post: Post) -> None:
    box = Outbox(["/nowhere/tell"], timeout_s=1.0, tell=lambda *said: post.said.append(said))
    post.boxes.append(box)
    box.start()
    box.post(parcel("cold"))

    until(lambda: bool(post.said), "told")
    assert post.said[0] == ("failed", "cold: /nowhere/tell cannot be started: No such file or directory")


def test_a_full_box_drops_the_oldest_and_says_so(post: Post) -> None:
    box = post.box(APPEND, start=False)
    for number in range(AT_MOST + 3):
        box.post(parcel(str(number)))

    assert box.waiting() == AT_MOST
    assert post.kinds() == ["lost"] * 3
    assert post.said[0][1].startswith("0: 100 notices wait already")
    box.start()


def test_what_could_not_be_told_for_a_day_is_given_up(post: Post) -> None:
    box = post.box("sys.exit(1)", start=False)
    box.post(parcel("cold"))
    post.now_s = GIVE_UP_AFTER_S
    box.post(parcel("damp"))
    box.start()

    until(lambda: box.waiting() == 1, "the first given up")
    assert ("lost", "cold: could not be told for a day, given up") in post.said

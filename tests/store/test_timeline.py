"""Dates put right for readers: what the clock said, and when it really was."""

import json
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.store.lines import NAME, encode, stamp, telling_lines
from overwinter.store.timeline import _survey, placed, read_placed

NOON = datetime(2026, 1, 9, 12, tzinfo=UTC)
HOUR = 3600.0
Line = dict[str, Any]


def at(utc_s: float) -> str:
    return stamp(NOON + timedelta(seconds=utc_s))


@dataclass
class Boot:
    """Writes lines as a guard would whose wall clock is `wrong_s` ahead of the truth."""

    name: str
    began_s: float  # after noon, in truth
    wrong_s: float = 0.0
    lines: list[Line] = field(default_factory=list)

    def line(self, up: float, event: str = "sample", **fields: Any) -> "Boot":
        t = at(self.began_s + up + self.wrong_s)
        self.lines.append({"t": t, "up": up, "boot": self.name, "event": event, **fields})
        return self

    def step(self, up: float, *, wrong_s: float, synchronised: bool) -> "Boot":
        step_s, self.wrong_s = wrong_s - self.wrong_s, wrong_s
        return self.line(up, "clock", step_s=step_s, synchronised=synchronised)

    def truth(self) -> list[str]:
        return [at(self.began_s + line["up"]) for line in self.lines]


def times(lines: list[Line]) -> list[str]:
    return [line["t"] for line in placed(lines)]


def test_lines_of_a_clock_that_was_right_are_passed_on_untouched() -> None:
    lines = Boot("a", 0).line(5, "start", synchronised=True).line(65).line(125).lines

    assert [before is after for before, after in zip(lines, placed(lines), strict=True)] == [True] * 3


def test_samples_before_the_clock_was_set_are_dated_anew() -> None:
    boot = Boot("a", 0, wrong_s=-5 * HOUR).line(5, "start", synchronised=False).line(65).line(125)
    boot.step(150, wrong_s=0, synchronised=True).line(185)

    found = list(placed(boot.lines))

    assert [line["t"] for line in found] == boot.truth()
    assert found[1]["t_recorded"] == boot.lines[1]["t"]
    assert found[1] == {**boot.lines[1], "t": found[1]["t"], "t_recorded": boot.lines[1]["t"]}
    assert ["t_recorded" in line for line in found] == [True, True, True, False, False]


def test_the_synchronised_clock_is_believed_though_a_hand_moved_it_later() -> None:
    boot = Boot("a", 0, wrong_s=-HOUR).line(5)
    boot.step(50, wrong_s=0, synchronised=True).line(65).step(70, wrong_s=999, synchronised=False).line(125)

    assert times(boot.lines) == boot.truth()


def test_without_synchronisation_the_last_step_is_believed() -> None:
    boot = Boot("a", 0, wrong_s=-HOUR).line(5).step(50, wrong_s=-9, synchronised=False).line(65)
    boot.step(70, wrong_s=0, synchronised=False).line(125)

    assert times(boot.lines) == boot.truth()


def test_fifty_years_ahead_and_back_to_1970_leave_no_trace() -> None:
    boot = Boot("a", 0).line(5)
    for up, wrong_s in ((10, 50 * 365 * 86400.0), (20, -NOON.timestamp()), (30, 1.0), (40, 0.0)):
        boot.step(up, wrong_s=wrong_s, synchronised=True).line(up + 5)

    assert times(boot.lines) == boot.truth()


def test_a_clock_set_while_no_guard_ran_is_known_by_the_next_start() -> None:
    boot = Boot("a", 0, wrong_s=-HOUR).line(5, "start", synchronised=False).line(65).line(70, "stop")
    boot.wrong_s = 0.0
    boot.line(200, "start", synchronised=True).line(265)

    assert times(boot.lines) == boot.truth()


def test_slow_drift_is_no_step() -> None:
    boot = Boot("a", 0).line(5, "start", synchronised=True)
    for day in range(1, 40):
        boot.wrong_s = day * 0.4
        boot.line(day * 86400.0)
    boot.line(40 * 86400.0, "start", synchronised=True)
    boot.step(41 * 86400.0, wrong_s=boot.wrong_s + 1.0, synchronised=True)

    assert times(boot.lines)[-1] == boot.lines[-1]["t"]
    assert list(placed(boot.lines[:-1])) == boot.lines[:-1]


def test_a_boot_that_was_never_synchronised_follows_the_one_before_by_the_least() -> None:
    """The clock went on from an hour before the power cut: nobody knows better, but order is kept."""
    first = Boot("a", 0).line(5, "start", synchronised=True).line(7200)
    second = Boot("b", 9000, wrong_s=-9000 + 3600).line(5, "start").line(65).line(125)

    found = times(first.lines + second.lines)

    assert found[:2] == first.truth()
    assert found[2:] == [at(7200), at(7260), at(7320)]


def test_a_boot_that_was_never_synchronised_and_stands_later_stays() -> None:
    first = Boot("a", 0).line(5).line(65)
    second = Boot("b", 0, wrong_s=500).line(5, "start").line(65)

    assert list(placed(first.lines + second.lines)) == first.lines + second.lines


def test_a_date_far_ahead_does_not_drag_later_boots_with_it() -> None:
    """One boot's clock stood in 2076 and was never put right; the next one's was."""
    ahead = Boot("a", 0, wrong_s=50 * 365 * 86400.0).line(5, "start", synchronised=False).line(65)
    known = Boot("b", 7200).line(5, "start", synchronised=True).line(65)

    found = times(ahead.lines + known.lines)

    assert found == [at(7205 - 60), at(7205), *known.truth()]


def test_a_small_step_back_never_turns_the_order_round() -> None:
    boot = Boot("a", 0).line(5, "start", synchronised=True).line(65.0)
    boot.wrong_s = -0.9
    boot.line(65.2, "note").line(66.5)

    assert times(boot.lines) == [at(5), at(65), at(65), at(65.6)]


def test_lines_without_a_place_are_passed_on() -> None:
    lines: list[Line] = [
        {"x": 1},
        {"t": "never", "up": 1, "boot": "a", "event": "note"},
        {"t": at(0), "up": "x", "boot": "a", "event": "note"},
        {"t": at(0), "up": 1e400, "boot": "a", "event": "clock"},
        {"t": at(0), "up": 1, "boot": None, "event": "clock"},
    ]

    assert list(placed(lines)) == lines


def test_lines_that_can_be_read_only_once_are_refused() -> None:
    with pytest.raises(ValueError, match="gone through twice"):
        placed(iter([]))


# The same from files.


def write(folder: Path, *files: list[Line]) -> None:
    """Newest file first."""
    folder.mkdir(exist_ok=True)
    for number, lines in enumerate(files):
        name = f"{NAME}.{number}" if number else NAME
        (folder / name).write_bytes(b"".join(map(encode, lines)))


def test_a_span_means_the_true_time(tmp_path: Path) -> None:
    boot = Boot("a", 0, wrong_s=-NOON.timestamp()).line(5, "start", synchronised=False)
    for up in range(60, 3600, 60):
        boot.line(float(up))
    boot.step(3600, wrong_s=0, synchronised=True).line(3660)
    write(tmp_path, boot.lines[30:], boot.lines[:30])

    def span(since: float, until: float | None) -> list[float]:
        end = None if until is None else NOON + timedelta(seconds=until)
        return [
            line["up"] for line in read_placed(tmp_path, since=NOON + timedelta(seconds=since), until=end)
        ]

    assert span(120, 300) == [120, 180, 240]
    assert span(3540, None) == [3540, 3600, 3660]
    assert [line["event"] for line in read_placed(tmp_path, events={"clock"})] == ["clock"]


def test_an_unsynchronised_stretch_is_found_in_a_logbook_of_many_blocks(tmp_path: Path) -> None:
    """Starts and steps lie anywhere in blocks, at their edges too."""
    boots: list[Boot] = []
    files: list[list[Line]] = []
    for number in range(6):
        boot = Boot(f"boot {number}", number * 1e6, wrong_s=-HOUR * number)
        boot.line(5, "start", synchronised=False)
        for up in range(60, 60 * 400, 60):
            boot.line(float(up), pad="x" * (number * 37 + up % 211))
        boot.step(24_000, wrong_s=0, synchronised=True).line(24_060)
        boots.append(boot)
        files.insert(0, boot.lines)
    write(tmp_path, *files)
    with (tmp_path / NAME).open("ab") as file:
        file.write(b'{"t":"torn","event":"clock"')

    found = [line["t"] for line in read_placed(tmp_path)]

    assert found == [t for boot in boots for t in boot.truth()]
    assert len(list(telling_lines(tmp_path))) < 100, "samples are not parsed"


def test_garbage_longer_than_any_line_hides_no_boot(tmp_path: Path) -> None:
    boot = Boot("a", 0, wrong_s=-HOUR).line(5, "start").line(65)
    after = Boot("a", 0, wrong_s=-HOUR).line(125).step(150, wrong_s=0, synchronised=True).line(185)
    data = b"".join(map(encode, boot.lines)) + b"\0" * 700_000 + b"\n" + b"".join(map(encode, after.lines))
    (tmp_path / NAME).write_bytes(data)

    assert [line["t"] for line in read_placed(tmp_path)] == boot.truth() + after.truth()


def test_no_logbook_is_no_lines(tmp_path: Path) -> None:
    assert list(read_placed(tmp_path / "none", since=NOON)) == []


# What holds for any history.

wrong_by_s = st.one_of(
    st.floats(-86400, 86400), st.sampled_from([-NOON.timestamp(), 50 * 365 * 86400.0, 0.0, 0.5, -0.5, 1.0])
)
acts = st.lists(
    st.one_of(
        st.tuples(st.just("sample"), st.floats(0.001, 1e5)),
        st.tuples(st.just("restart"), st.floats(0.001, 1e5)),
        st.tuples(st.just("drift"), st.floats(-0.9, 0.9)),
        st.tuples(st.just("step"), wrong_by_s, st.booleans()),
        st.tuples(st.just("unseen step"), wrong_by_s),
    ),
    max_size=12,
)


@st.composite
def histories(draw: st.DrawFn) -> list[Boot]:
    """Boots one after another, of which some are set right, by hand or by the network, and some never."""
    boots, now_s = [], 0.0
    for number in range(draw(st.integers(1, 5))):
        boot = Boot(f"boot {number}", now_s, wrong_s=draw(wrong_by_s))
        up, is_synchronised = 5.0, draw(st.booleans())
        boot.line(up, "start", synchronised=is_synchronised)
        for act in draw(acts):
            if act[0] in ("sample", "restart"):
                up = round(up + act[1], 3)
                boot.line(up, *(["start"] if act[0] == "restart" else []), synchronised=is_synchronised)
            elif act[0] == "drift":
                boot.wrong_s += act[1]
            elif act[0] == "step":
                is_synchronised = is_synchronised or act[2]
                boot.step(up, wrong_s=act[1], synchronised=is_synchronised)
            else:
                boot.wrong_s = act[1]
        boots.append(boot)
        now_s += up + draw(st.floats(10, 1e5))
    return boots


def moments(lines: list[Line]) -> list[datetime]:
    return [datetime.fromisoformat(line["t"]) for line in lines]


@given(histories())
def test_no_line_is_lost_or_changed_but_for_its_date(boots: list[Boot]) -> None:
    lines = [line for boot in boots for line in boot.lines]

    found = list(placed(lines))

    for before, after in zip(lines, found, strict=True):
        recorded = after.get("t_recorded", after["t"])
        assert {key: value for key, value in after.items() if key != "t_recorded"} | {"t": recorded} == before
        assert ("t_recorded" in after) == (after["t"] != before["t"])


@given(histories())
def test_order_within_a_boot_never_breaks(boots: list[Boot]) -> None:
    found = list(placed([line for boot in boots for line in boot.lines]))

    for boot in boots:
        own = moments([line for line in found if line["boot"] == boot.name])
        assert own == sorted(own)


@given(histories())
def test_a_boot_of_unknown_date_never_begins_before_the_last_line_of_the_one_before(
    boots: list[Boot],
) -> None:
    found = list(placed([line for boot in boots for line in boot.lines]))

    for before, boot in pairwise(boots):
        if not any(line["event"] in ("start", "clock") and line["synchronised"] for line in boot.lines):
            last = [line for line in found if line["boot"] == before.name][-1]
            first = next(line for line in found if line["boot"] == boot.name)
            assert moments([first]) >= moments([last])


@given(
    wrong=st.lists(wrong_by_s, min_size=1, max_size=4),
    gaps=st.lists(st.floats(0.001, 1e5), min_size=1, max_size=5),
    others=st.lists(st.tuples(wrong_by_s, st.booleans()), max_size=3),
)
def test_a_boot_that_ends_synchronised_is_right_in_every_line(
    wrong: list[float], gaps: list[float], others: list[tuple[float, bool]]
) -> None:
    boots, now_s = [], 0.0
    for number, (begins_wrong_s, ends_right) in enumerate([*others, (wrong[0], True)]):
        boot, up = Boot(f"boot {number}", now_s, wrong_s=begins_wrong_s), 5.0
        boot.line(up, "start", synchronised=False)
        for wrong_s in wrong:
            for gap_s in gaps:
                up = round(up + gap_s, 3)
                boot.line(up)
            boot.step(up, wrong_s=wrong_s, synchronised=False)
        if ends_right:
            boot.step(up, wrong_s=0.0, synchronised=True).line(up + 1)
        boots.append((boot, ends_right))
        now_s += up + 10

    found = list(placed([line for boot, _ in boots for line in boot.lines]))

    for boot, is_right in boots:
        if not is_right:
            continue
        own = moments([line for line in found if line["boot"] == boot.name])
        for moment, truth in zip(own, map(datetime.fromisoformat, boot.truth()), strict=True):
            # A stretch whose clock was wrong by less than a step stays as it was recorded.
            assert abs(moment - truth) < timedelta(seconds=1.002)


@given(histories())
def test_the_telling_lines_are_enough(boots: list[Boot]) -> None:
    """Read from files, where most lines are only looked at by their bytes, all is as from memory."""
    import tempfile

    lines = [line for boot in boots for line in boot.lines]
    with tempfile.TemporaryDirectory() as name:
        middle = len(lines) // 2
        write(Path(name), lines[middle:], lines[:middle])

        assert [json.dumps(line) for line in read_placed(Path(name))] == [
            json.dumps(line) for line in placed(lines)
        ]


odd_lines: list[Line] = [
    {},
    {"t": "never", "up": 5.0, "boot": "boot 0", "event": "sample"},
    {"t": at(7), "up": None, "boot": "boot 0", "event": "sample"},
    {"t": at(7), "up": float("nan"), "boot": "boot 0", "event": "sample"},
    {"t": at(7), "up": 12, "boot": "boot 0", "event": "sample"},
    {"t": at(7)[:-1], "up": 12.0, "boot": "boot 0", "event": "sample"},
    {"t": at(7).replace("Z", "+01:00"), "up": 12.0, "boot": "boot 0", "event": "sample"},
    {"t": 5, "up": 12.0, "boot": "boot 0", "event": "sample"},
    {"t": at(7), "up": 12.0, "boot": ["boot 0"], "event": "sample"},
    {"t": at(7), "up": 12.0, "boot": "another", "event": "sample"},
]


@given(histories(), st.lists(st.tuples(st.integers(0, 40), st.sampled_from(odd_lines)), max_size=5))
def test_the_short_way_for_calm_boots_ends_where_the_long_one_does(
    boots: list[Boot], odd: list[tuple[int, Line]]
) -> None:
    lines = [line for boot in boots for line in boot.lines]
    for where, line in odd:
        lines.insert(where, line)
    timeline = _survey(lines)

    assert list(placed(lines)) == [timeline.place(line) for line in lines]


def test_the_short_way_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = Boot("a", 0).line(5, "start", synchronised=True).lines
    lines += [{**lines[0], "t": at(65 + 60 * minute), "up": 65 + 60 * minute} for minute in range(100)]
    timeline, taken = _survey(lines), []
    place = timeline.place
    monkeypatch.setattr(type(timeline), "place", lambda self, line: taken.append(line) or place(line))

    assert list(timeline.place_all(lines)) == lines
    assert taken == lines[:1]

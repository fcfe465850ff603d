import json
import math
import os
import types
from collections import Counter
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from overwinter.core.nouns import Flag, Mode
from overwinter.store import lines as lines_module
from overwinter.store.lines import decode, encode, is_event, is_plainly_sample, last_lines, read_lines, stamp
from overwinter.store.logbook import Logbook

BEGIN = datetime(2026, 1, 9, 4, 0, tzinfo=UTC)


def line(number: int, event: str = "sample") -> bytes:
    return encode({"t": stamp(BEGIN + timedelta(minutes=number)), "up": 1.0, "event": event, "n": number})


def numbers(folder: Path, **wanted: object) -> list[int]:
    return [found["n"] for found in read_lines(folder, **wanted)]  # type: ignore[arg-type]


def test_a_line_is_compact_json_with_its_newline() -> None:
    assert encode({"event": "note", "text": "neue Lampe, 3 °C\nhier"}) == (
        '{"event":"note","text":"neue Lampe, 3 °C\\nhier"}\n'.encode()
    )


def test_what_json_cannot_say_is_said_somehow() -> None:
    fields = {
        "mode": Mode.FREEZE,
        "flag": Flag.FAIL,
        "nan": [math.nan, {"deep": -math.inf}, (1.5,)],
        "path": Path("/sys"),
        "changes": types.MappingProxyType({"band.low": (36.0, 35.0)}),
        "undecodable": "\udce4",
    }

    assert json.loads(encode(fields)) == {
        "mode": "freeze",
        "flag": 4,
        "nan": [None, {"deep": None}, [1.5]],
        "path": "/sys",
        "changes": {"band.low": [36.0, 35.0]},
        "undecodable": "?",
    }


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@given(fields=st.dictionaries(st.text(max_size=5), json_values, max_size=5))
def test_every_line_is_one_line_of_strict_json(fields: dict[str, object]) -> None:
    encoded = encode(fields)

    def refuse(constant: str) -> None:
        raise AssertionError(constant)

    assert encoded.count(b"\n") == 1
    assert encoded.endswith(b"\n")
    assert decode(encoded) == json.loads(encoded, parse_constant=refuse)


@given(garbage=st.binary(max_size=60))
@example(garbage=b"[" * 100_000)
@example(garbage=b"1" * 10_000)
@example(garbage=b"{}x")
@example(garbage=b"\xff\xfe{\x00}\x00")
@example(garbage=b"\xef\xbb\xbf{}")
@example(garbage=b"\0" * 50)
def test_garbage_is_no_line(garbage: bytes) -> None:
    found = decode(garbage)

    assert found is None or json.loads(garbage) == found


@given(fields=st.dictionaries(st.sampled_from(["t", "event", "a"]), json_values, max_size=3))
@example(fields={"t": "x", "event": "note", "text": '"event":"sample"'})
@example(fields={"a": {"event": "sample"}, "event": "note"})
@example(fields={"t": "x", "event": "sample"})
def test_the_bytes_never_take_an_event_for_a_sample(fields: dict[str, object]) -> None:
    encoded = encode(fields)

    assert not is_plainly_sample(encoded) or fields["event"] == "sample"
    assert is_event(encoded) == (fields.get("event") != "sample")


def test_a_sample_spelt_otherwise_is_still_a_sample() -> None:
    assert not is_event(b'{"event" : "\\u0073ample"}\n')


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Nine lines in three files: samples, and each third an event."""
    for name, some in (
        ("logbook.jsonl.2", range(3)),
        ("logbook.jsonl.1", range(3, 6)),
        ("logbook.jsonl", range(6, 9)),
    ):
        content = b"".join(line(number, "sample" if number % 3 else "heat") for number in some)
        (tmp_path / name).write_bytes(content)
    return tmp_path


def test_lines_come_oldest_first(folder: Path) -> None:
    assert numbers(folder) == list(range(9))


def test_a_missing_folder_is_an_empty_logbook(tmp_path: Path) -> None:
    assert numbers(tmp_path / "nowhere") == []
    assert last_lines(tmp_path / "nowhere", 5) == []


@pytest.mark.parametrize(
    ("since", "until", "expected"),
    [
        pytest.param(BEGIN + timedelta(minutes=7), None, [7, 8], id="since includes"),
        pytest.param(None, BEGIN + timedelta(minutes=2), [0, 1], id="until excludes"),
        pytest.param(BEGIN + timedelta(minutes=2), BEGIN + timedelta(minutes=4), [2, 3], id="both"),
        pytest.param(BEGIN + timedelta(days=1), None, [], id="nothing"),
        pytest.param(
            datetime(2026, 1, 9, 6, 7, tzinfo=timezone(timedelta(hours=2))), None, [7, 8], id="other zone"
        ),
    ],
)
def test_a_span_is_half_open(
    folder: Path, since: datetime | None, until: datetime | None, expected: list[int]
) -> None:
    assert numbers(folder, since=since, until=until) == expected
    assert numbers(folder, since=since, until=until, events={"heat"}) == [n for n in expected if n % 3 == 0]


def test_an_instant_without_zone_is_refused(folder: Path) -> None:
    with pytest.raises(ValueError, match="must have a time zone"):
        read_lines(folder, since=BEGIN.replace(tzinfo=None))


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        pytest.param({"heat"}, [0, 3, 6], id="events"),
        pytest.param({"sample"}, [1, 2, 4, 5, 7, 8], id="samples"),
        pytest.param({"sample", "heat"}, list(range(9)), id="both"),
        pytest.param(set(), [], id="none"),
    ],
)
def test_kinds_are_chosen(folder: Path, kinds: set[str], expected: list[int]) -> None:
    assert numbers(folder, events=kinds) == expected


def test_a_stepped_clock_hides_nothing(tmp_path: Path) -> None:
    """A line of the right date after lines of a wrong one, in one file and across files."""
    (tmp_path / "logbook.jsonl.1").write_bytes(line(5) + line(1))
    (tmp_path / "logbook.jsonl").write_bytes(line(0) + line(6) + line(2))

    assert numbers(tmp_path, since=BEGIN + timedelta(minutes=5)) == [5, 6]


@pytest.mark.parametrize(
    "garbage",
    [
        pytest.param(b"\0" * 300, id="zeros"),
        pytest.param(b'{"t":"2026-01-09T04:', id="half a line"),
        pytest.param(b"\xff\xfe\x80", id="no text"),
        pytest.param(b"[1,2]", id="no object"),
        pytest.param(b"", id="empty"),
        pytest.param(b"[" * 50_000, id="deep"),
        pytest.param(b"x" * 200_000, id="long"),
        pytest.param(b'{"n":77}' + b" " * 200_000 + b"x", id="long with a whole beginning"),
    ],
)
def test_garbage_hides_no_neighbour(folder: Path, garbage: bytes) -> None:
    middle = folder / "logbook.jsonl.1"
    first, *rest = middle.read_bytes().splitlines(keepends=True)
    middle.write_bytes(first + garbage + b"\n" + b"".join(rest))
    skipped: Counter[str] = Counter()

    assert numbers(folder, skipped=skipped) == list(range(9))
    assert skipped == {"garbage": 1}
    assert [found["n"] for found in last_lines(folder, 20)] == list(range(9))


def test_a_tail_torn_at_any_byte_is_skipped_and_counted(folder: Path) -> None:
    newest = folder / "logbook.jsonl"
    whole = newest.read_bytes()
    for size in range(len(whole)):
        newest.write_bytes(whole[:size])
        lines = whole[:size].count(b"\n")
        skipped: Counter[str] = Counter()

        assert numbers(folder, skipped=skipped) == list(range(6 + lines))
        assert skipped["torn"] == (size > 0 and not whole[:size].endswith(b"\n"))
        assert [found["n"] for found in last_lines(folder, 2)] == [4 + lines, 5 + lines]


def test_a_turn_over_while_reading_loses_and_doubles_nothing(tmp_path: Path) -> None:
    """The files turn over between the opening of each two of them, and again between lines."""
    logbook = Logbook(tmp_path, 10 * 65_536)
    logbook.open()
    written = 0
    while not (tmp_path / "logbook.jsonl.3").exists():
        logbook.append([encode({"n": written, "event": "note", "text": "x" * 900})])
        written += 1
    logbook.sync()

    def turn_over() -> None:
        nonlocal written
        before = (tmp_path / "logbook.jsonl").stat().st_ino
        while (tmp_path / "logbook.jsonl").stat().st_ino == before:
            logbook.append([encode({"n": written, "event": "note", "text": "x" * 900})])
            written += 1

    true_open = lines_module._open_newest_first
    at_start = written

    def opening(folder: Path):  # type: ignore[no-untyped-def]
        for number, file in enumerate(true_open(folder)):
            yield file
            if number in {0, 2}:
                turn_over()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lines_module, "_open_newest_first", opening)
        reading = read_lines(tmp_path)
        found = [next(reading)["n"]]
        turn_over()
        found += [each["n"] for each in reading]

    assert found == list(range(found[-1] + 1))
    assert found[-1] >= at_start - 1
    assert written > at_start


def test_the_last_lines_are_read_from_the_end(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines_module, "BLOCK_BYTES", 16)  # so that lines span blocks
    for count in range(12):
        found = [each["n"] for each in last_lines(folder, count)]

        assert found == list(range(9))[9 - min(count, 9) :]


def test_the_last_lines_of_a_long_logbook_cost_one_block(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "logbook.jsonl").write_bytes(b"".join(line(number) for number in range(20_000)))
    read: list[int] = []
    true_pread = os.pread
    monkeypatch.setattr(os, "pread", lambda fd, size, at: read.append(size) or true_pread(fd, size, at))  # type: ignore[func-returns-value]

    assert [each["n"] for each in last_lines(tmp_path, 3)] == [19_997, 19_998, 19_999]
    assert sum(read) == lines_module.BLOCK_BYTES


def whole(value: object) -> bool:
    """Whether there is no whole number beyond 64 bits in it, which a fast decoder may give as a float."""
    if isinstance(value, dict):
        return all(map(whole, value.values()))
    if isinstance(value, list):
        return all(map(whole, value))
    return not isinstance(value, int) or -(2**63) <= value < 2**63


@given(
    contents=st.lists(
        st.one_of(
            st.binary(max_size=40),
            st.dictionaries(st.sampled_from(["t", "event", "a"]), json_values, max_size=3)
            .filter(whole)
            .map(lambda fields: encode(fields)[:-1]),
            st.sampled_from(
                [b'{"a":NaN}', b'{"a":"\\ud800"}', b'{"a":1e400}', b'{"a":1}x', b'{"a":1}{"a":2}', b"[]"]
            ),
        ),
        max_size=6,
    ),
    ends_whole=st.booleans(),
)
def test_what_is_a_line_does_not_depend_on_the_decoder(contents: list[bytes], ends_whole: bool) -> None:
    import tempfile

    loads = pytest.importorskip("orjson", reason="no fast decoder is installed here").loads

    def read(**more: Any) -> tuple[str, Counter[str]]:
        skipped: Counter[str] = Counter()
        return repr(list(read_lines(Path(name), skipped=skipped, **more))), skipped

    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "logbook.jsonl").write_bytes(b"\n".join(contents) + b"\n" * ends_whole)

        assert read(loads=loads) == read()


def test_a_decoder_that_refuses_everything_hides_nothing(folder: Path) -> None:
    def refuse(line: bytes) -> object:
        raise ValueError(line)

    assert numbers(folder, loads=refuse) == numbers(folder)

"""`chart`: from a logbook to the terminal and to files."""

import json
import os
import re
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import drawing
from overwinter.show.picture import Offset
from tests.cli.conftest import SETTINGS, FakeGuard, Ran, Refusal

Run = Callable[..., Ran]
SPAN = ("--since", "2026-01-09T12:00:00Z", "--until", "2026-01-10T12:00:00Z")


def sample(at: datetime, inside_c: float = 3.0, **more: Any) -> dict[str, Any]:
    t = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    line = {"t": t, "up": 5.0 + at.timestamp(), "boot": "b", "event": "sample", "temperature_c": inside_c}
    line |= {"humidity_pct": 71.0, "outdoor_c": -5.0, "flag": 1, "heat": 0.4, "mode": "freeze"}
    return line | {"low_c": 2.0, "high_c": 4.0} | more


def write(folder: Path, lines: list[dict[str, Any]]) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "logbook.jsonl").write_text(
        "".join(json.dumps(line, separators=(",", ":")) + "\n" for line in lines)
    )
    return folder


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    begins = datetime(2026, 1, 9, 12, tzinfo=UTC)
    return write(tmp_path / "logs", [sample(begins + timedelta(minutes=at)) for at in range(1440)])


def test_in_the_terminal(run: Run, logs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "72")
    monkeypatch.setenv("LINES", "25")
    monkeypatch.chdir(logs.parent)  # so that the title is short enough to be whole

    ran = run("chart", "--logs", logs.name, *SPAN, "--unit", "c")

    assert (ran.code, ran.err) == (0, "")
    lines = ran.out.splitlines()
    assert lines[0].startswith(f"logbook in {logs.name}")
    assert lines[0].endswith("°C")
    assert "13:00 MEZ to 10 Jan 2026 13:00 MEZ, local time MEZ (UTC+1)" in " ".join(lines[1:4])
    assert max(map(len, lines)) <= 72
    assert len(lines) <= 25


def test_in_a_terminal_without_dots(run: Run, logs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "linux")

    assert run("chart", "--logs", str(logs / "."), *SPAN).out.replace(str(logs), "").isascii()


def test_a_page(run: Run, logs: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.html"

    ran = run("chart", "--logs", str(logs), *SPAN, "-o", str(file))

    assert ran == Ran(0, "", f"overwinter: written: {file}\n")
    text = file.read_text()
    assert text.startswith("<!doctype html>")
    assert "Inside it was 37.4 °F, 37.4 °F on average." in text, "F unless something says otherwise"
    assert "var uPlot" in text
    assert "Leon Sorokin" in text, "whose work draws it"
    assert "Permission is hereby granted" in text
    assert file.stat().st_mode & 0o777 == 0o644


def test_a_drawing(run: Run, logs: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.SVG"

    assert run("chart", "--logs", str(logs), *SPAN, "-o", str(file)).code == 0
    assert file.read_text().startswith("<svg ")


def test_a_bitmap(run: Run, logs: Path, tmp_path: Path) -> None:
    pytest.importorskip("resvg_py", reason="the extra png is not installed here")
    file = tmp_path / "day.png"

    assert run("chart", "--logs", str(logs), *SPAN, "-o", str(file)).code == 0
    head = file.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(head[16:20], "big") == 1920


def test_a_bitmap_without_its_package_names_the_extra(
    run: Run, logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "resvg_py", None)

    ran = run("chart", "--logs", str(logs), *SPAN, "-o", str(tmp_path / "day.png"))

    assert ran.code == 1
    assert "pip install '.[png]'" in ran.err
    assert not (tmp_path / "day.png").exists()


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (["-o", "day.pdf"], "-o day.pdf: its name must end in .html, .svg or .png"),
        (["-o", "day"], "must end in .html, .svg or .png"),
        (["--unit", "K"], "--unit 'K' is none: F or C"),
        (["--since", "1h", "--until", "2h"], "--until 2h is not after --since"),
        (["--since", "2999-01-01"], "--until now is not after --since"),
        (["--since", "soonish"], "--since 'soonish' is no time"),
        (["picture"], "'picture' is one word too many"),
    ],
)
def test_wrong_usage(run: Run, logs: Path, argv: list[str], told: str) -> None:
    ran = run("chart", "--logs", str(logs), *argv)

    assert (ran.code, ran.out) == (2, "")
    assert told in ran.err


def test_an_empty_span_says_so_kindly(run: Run, logs: Path, tmp_path: Path) -> None:
    ran = run("chart", "--logs", str(logs), "-o", str(tmp_path / "day.html"))

    assert (ran.code, ran.out) == (0, "")
    assert "no samples in this span" in ran.err
    assert "the last one there is of 2026-01-10 12:59:00" in ran.err
    assert not (tmp_path / "day.html").exists()


def test_what_is_no_regular_file_is_left_alone(run: Run, logs: Path, tmp_path: Path) -> None:
    pipe, folder, link = tmp_path / "pipe.html", tmp_path / "folder.html", tmp_path / "link.html"
    os.mkfifo(pipe)
    folder.mkdir()
    link.symlink_to(tmp_path / "elsewhere")

    for path in (pipe, folder, link):
        ran = run("chart", "--logs", str(logs), *SPAN, "-o", str(path))
        assert ran.code == 1
        assert f"-o {path} is there and no regular file" in ran.err
    assert pipe.is_fifo()
    assert link.is_symlink()


def test_a_disk_that_fails_leaves_the_old_file(
    run: Run, logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "day.svg"
    file.write_text("old")

    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.write", full)
    ran = run("chart", "--logs", str(logs), *SPAN, "-o", str(file))
    monkeypatch.undo()

    assert (ran.code, ran.err) == (1, f"overwinter: No space left on device: {file}\n")
    assert file.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir() if "draft" in path.name] == []


def test_a_folder_that_is_not_there_is_named(run: Run, logs: Path, tmp_path: Path) -> None:
    ran = run("chart", "--logs", str(logs), *SPAN, "-o", str(tmp_path / "none" / "day.svg"))

    assert ran.code == 1
    assert "No such file or directory" in ran.err
    assert "none" in ran.err


def test_through_the_guard_where_its_socket_is_named(ask: Run, guard: FakeGuard, tmp_path: Path) -> None:
    begins = datetime.now(UTC) - timedelta(hours=2)
    guard.answers["samples"] = [sample(begins + timedelta(minutes=at)) for at in range(120)]
    guard.answers["events"] = [
        {"t": guard.answers["samples"][60]["t"], "up": 1.0, "boot": "b", "event": "note", "text": "new lamp"}
    ]
    guard.answers["settings"] = {**SETTINGS, "unit": "C"}

    ran = ask("chart", "--site", str(tmp_path / "none.toml"))

    assert ran.out.startswith("pump house, °C\n"), "its name is not known here"
    assert "note: new lamp" in ran.out
    assert [method for method, _ in guard.asked] == ["settings", "samples", "events"]


def test_a_span_too_long_for_the_guard_names_the_way(ask: Run, guard: FakeGuard) -> None:
    guard.answers["samples"] = Refusal(-32602, "more than 10000 lines: give a limit")

    ran = ask("chart", "--since", "120d")

    assert ran.code == 1
    assert "more than 10000 lines" in ran.err
    assert "--logs FOLDER" in ran.err


def test_the_house_is_named_by_its_site_file(run: Run, logs: Path, tmp_path: Path) -> None:
    site = tmp_path / "site.toml"
    example = Path(__file__).parents[2] / "etc" / "site.toml"
    site.write_text(re.sub(r'(?m)^name = ".*?"', 'name = "mill house"', example.read_text(), count=1))

    assert run("chart", "--site", str(site), "--logs", str(logs), *SPAN).out.startswith("mill house, ")


@pytest.mark.parametrize(
    ("begins", "changes"),
    [
        (datetime(2026, 3, 28, tzinfo=UTC), [(datetime(2026, 3, 29, 1, tzinfo=UTC), 7200, "CEST")]),
        (datetime(2026, 10, 24, tzinfo=UTC), [(datetime(2026, 10, 25, 1, tzinfo=UTC), 3600, "CET")]),
        (datetime(2026, 6, 1, tzinfo=UTC), []),
    ],
)
def test_the_clocks_are_changed_at_their_second(
    begins: datetime, changes: list[tuple[datetime, int, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rule of the European Union: at 01:00 UTC on the last Sunday of March and of October."""
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()

    first, *others = drawing.local_zone(begins.timestamp(), begins.timestamp() + 3 * 86_400)

    assert first.from_s == begins.timestamp()
    assert others == [Offset(at.timestamp(), ahead_s, name) for at, ahead_s, name in changes]


def test_the_axis_counts_on_through_the_night_of_the_change(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    begins = datetime(2026, 3, 28, 23, tzinfo=UTC)
    logs = write(tmp_path / "logs", [sample(begins + timedelta(minutes=at)) for at in range(360)])
    file = tmp_path / "night.svg"

    run("chart", "--logs", str(logs), "--since", "2026-03-29", "--until", "2026-03-29 06:00", "-o", str(file))

    text = file.read_text()
    assert "29 Mar 2026 00:00 CET to 29 Mar 2026 06:00 CEST" in text
    assert "local time CET (UTC+1), then CEST (UTC+2)" in text
    assert ">01:00<" in text
    assert ">02:00<" not in text, "that hour was left out"
    assert ">03:00<" in text


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct"), [(3.0, 0.0), (3.0, 101.0), (-60.0, 50.0), (70.0, 50.0)]
)
def test_where_there_is_no_dew_point_none_is_drawn(temperature_c: float, humidity_pct: float) -> None:
    assert drawing.dew_point()(temperature_c, humidity_pct) is None


def test_the_dew_point_is_that_of_the_air() -> None:
    """25 °C and 10 %: -8.77 °C, the example of the application note that `physics.air` names."""
    assert drawing.dew_point()(25.0, 10.0) == pytest.approx(-8.77, abs=0.005)


def test_broken_lines_are_counted(run: Run, logs: Path) -> None:
    with (logs / "logbook.jsonl").open("a") as file:
        file.write("garbage\n")

    assert "1 broken line in the logbook skipped" in run("chart", "--logs", str(logs), *SPAN).err

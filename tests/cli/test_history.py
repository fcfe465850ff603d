"""`samples` and `events`, from the files and through the guard."""

import csv
import io
import json
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from overwinter.cli import history
from tests.cli.conftest import SETTINGS, FakeGuard, Ran, Refusal

Run = Callable[..., Ran]


def stamp(hours_ago: float) -> str:
    at = datetime.now(UTC) - timedelta(hours=hours_ago)
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def sample(t: str, temperature_c: float | None = 2.1, **more: Any) -> dict[str, Any]:
    line = {"t": t, "up": 5.0, "boot": "b", "event": "sample", "temperature_c": temperature_c}
    line |= {"humidity_pct": 71.0, "flag": 1, "heat": 0.4, "mode": "freeze", "low_c": 2.222, "high_c": 4.444}
    return line | {"sensors": {"by the pump": [temperature_c, 71.0, 1]}, **more}


def event(t: str, name: str, **fields: Any) -> dict[str, Any]:
    return {"t": t, "up": 5.0, "boot": "b", "event": name, **fields}


def write(folder: Path, *lines: dict[str, Any] | str, name: str = "logbook.jsonl") -> Path:
    folder.mkdir(exist_ok=True)
    text = "".join(
        (line if isinstance(line, str) else json.dumps(line, separators=(",", ":"))) + "\n" for line in lines
    )
    (folder / name).write_text(text)
    return folder


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    """A logbook of three samples and three events, one of each too old for the usual span."""
    write(tmp_path / "logs", sample(stamp(1000), 1.0), event(stamp(999), "start"), name="logbook.jsonl.1")
    return write(
        tmp_path / "logs",
        sample(stamp(3), 2.1, outdoor_c=-5.0),
        event(stamp(2), "note", text="new lamp", uid=0, user="root", pid=7),
        '{"t":"half',
        sample(stamp(1), None, flag=9, contacts={"pump": 0.25}, sensors={"yard": [-5.0, None, 1]}),
        event(stamp(0.5), "alarm", code="cold", state="raised", text="34.0 F"),
    )


def test_samples_come_from_the_files(run: Run, logs: Path) -> None:
    ran = run("samples", "--logs", str(logs))

    head, *rows = ran.out.splitlines()
    assert ran.code == 0
    assert " ".join(head.split()) == "time inside F inside C humidity outside F outside C heat mode reading"
    assert len(rows) == 2, "the usual span is a day"
    assert rows[0].split()[2:] == ["35.8", "2.1", "71", "%", "23.0", "-5.0", "40", "%", "freeze", "good"]
    assert rows[1].split()[2:4] == ["-", "-"]
    assert rows[1].endswith("nothing came")
    assert ran.err == "overwinter: 1 broken line in the logbook skipped\n"


def test_local_time_is_shown(run: Run, tmp_path: Path) -> None:
    logs = write(tmp_path / "logs", sample("2026-01-09T04:12:33.123Z"))

    ran = run("samples", "--logs", str(logs), "--since", "2026-01-09T04:00:00Z")

    assert ran.out.splitlines()[1].startswith("2026-01-09 05:12:33  ")


def test_the_guards_unit_is_used_where_it_is_known(ask: Run, guard: FakeGuard, logs: Path) -> None:
    guard.answers["settings"] = {**SETTINGS, "unit": "C"}

    head = ask("samples", "--logs", str(logs)).out.splitlines()[0]

    assert "inside C" in head
    assert "inside F" not in head


def test_events_are_told_in_words(run: Run, logs: Path) -> None:
    ran = run("events", "--logs", str(logs))

    first, second = ran.out.splitlines()
    assert first.endswith("  note      new lamp (by root)")
    assert second.endswith("  alarm     cold raised: 34.0 F")


def test_a_longer_span_reaches_the_older_files(run: Run, logs: Path) -> None:
    assert len(run("samples", "--logs", str(logs), "--since", "60d").out.splitlines()) == 1 + 3
    assert len(run("events", "--logs", str(logs), "--since", "60d").out.splitlines()) == 3
    until = run("samples", "--logs", str(logs), "--since", "60d", "--until", "2h")
    assert len(until.out.splitlines()) == 1 + 2


def test_a_limit_keeps_the_newest(run: Run, logs: Path) -> None:
    ran = run("samples", "--logs", str(logs), "--since", "60d", "--limit", "2", "--json")

    assert [json.loads(line)["temperature_c"] for line in ran.out.splitlines()] == [2.1, None]


@pytest.mark.parametrize("verb", ["samples", "events"])
def test_json_is_one_object_a_line_as_recorded(run: Run, logs: Path, verb: str) -> None:
    recorded = [
        json.loads(line)
        for line in (logs / "logbook.jsonl").read_text().splitlines()
        if not line.endswith("half")
    ]

    ran = run(verb, "--logs", str(logs), "--json")

    wanted = [line for line in recorded if (line["event"] == "sample") == (verb == "samples")]
    assert [json.loads(line) for line in ran.out.splitlines()] == wanted
    assert "1 broken line" in ran.err


def test_samples_as_csv_give_each_sensor_its_columns(run: Run, logs: Path) -> None:
    ran = run("samples", "--logs", str(logs), "--csv")

    first, second = csv.DictReader(io.StringIO(ran.out))
    assert list(first) == [
        *("time_local", "time_utc", "temperature_c", "humidity_pct", "outdoor_c", "flag", "heat", "mode"),
        *("low_c", "high_c", "by the pump temperature_c", "by the pump humidity_pct", "by the pump flag"),
        *("yard temperature_c", "yard humidity_pct", "yard flag", "pump share"),
    ]
    local = datetime.fromisoformat(first["time_local"]).astimezone()
    assert local == datetime.fromisoformat(first["time_utc"] + "Z")
    assert (first["temperature_c"], first["outdoor_c"], first["by the pump temperature_c"]) == (
        "2.1",
        "-5.0",
        "2.1",
    )
    assert (first["yard temperature_c"], second["yard temperature_c"], second["pump share"]) == (
        "",
        "-5.0",
        "0.25",
    )
    assert second["temperature_c"] == ""
    assert ran.err == "overwinter: 1 broken line in the logbook skipped\n", "counted once, though read twice"


@pytest.mark.parametrize("verb", ["samples", "events"])
def test_csv_is_that_of_rfc_4180_with_dates_and_numbers_that_spreadsheets_know(
    run: Run, tmp_path: Path, verb: str
) -> None:
    """Lines end with CR LF, each has as many cells as the head, and a quote in a cell is doubled."""
    at = stamp(1)
    logs = write(
        tmp_path / "logs",
        sample(at, -2.5, sensors={'by "the" pump, left': [-2.5, 71.0, 1]}),
        event(at, "note", text='a "new" lamp, 250 W'),
    )

    out = run(verb, "--logs", str(logs), "--csv").out

    assert out.count("\r\n") == out.count("\n") == 2
    head, cells = csv.reader(io.StringIO(out))
    assert len(head) == len(cells)
    found = dict(zip(head, cells, strict=True))
    assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", found["time_local"])
    assert found["time_utc"] == at[:19].replace("T", " ")
    if verb == "samples":
        assert found["temperature_c"] == found['by "the" pump, left temperature_c'] == "-2.5"
        assert '"by ""the"" pump, left temperature_c"' in out
    else:
        assert '"a ""new"" lamp, 250 W"' in out


def test_no_text_is_run_by_a_spreadsheet(run: Run, tmp_path: Path) -> None:
    evil = '=HYPERLINK("http://x")'
    logs = write(
        tmp_path / "logs",
        sample(stamp(1), -2.6, sensors={evil: [-2.6, None, 1]}, mode="@x"),
        event(stamp(1), "note", text=evil, user="+x"),
    )

    samples = list(csv.reader(io.StringIO(run("samples", "--logs", str(logs), "--csv").out)))
    (told,) = csv.DictReader(io.StringIO(run("events", "--logs", str(logs), "--csv").out))

    cells = [*samples[0], *samples[1], *told.values()]
    assert [cell for cell in cells if cell.startswith(("=", "+", "@", "\t", "\r"))] == []
    assert [cell for cell in cells if cell.startswith("-")] == ["-2.6", "-2.6"], "numbers stay numbers"
    assert json.loads(told["fields"]) == {"text": evil, "user": "+x"}
    assert f"'{evil} temperature_c" in samples[0]


def test_through_the_guard_where_the_files_cannot_be_read(ask: Run, guard: FakeGuard) -> None:
    guard.answers["samples"] = [sample(stamp(1)), sample(stamp(0.5), 3.0)]

    ran = ask(
        "samples", "--since", "2026-01-09T04:00:00+01:00", "--until", "2026-01-10 00:00", "--limit", "7"
    )

    assert guard.params("samples") == {
        "since": "2026-01-09T03:00:00.000Z",
        "until": "2026-01-09T23:00:00.000Z",
        "limit": 7,
    }
    assert len(ran.out.splitlines()) == 3
    guard.answers["events"] = [event(stamp(1), "start")]
    assert json.loads(ask("events", "--json").out) == guard.answers["events"][0]
    assert list(guard.params("events")) == ["since"]
    assert len(ask("samples", "--csv").out.splitlines()) == 3


def test_who_names_a_guard_gets_that_guards_logbook(
    ask: Run, guard: FakeGuard, logs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LOGS_DIRECTORY", str(logs))

    ask("samples")
    assert [method for method, _ in guard.asked] == ["samples", "settings"]


def test_without_names_the_files_are_read_and_no_guard_is_needed(
    run: Run, logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LOGS_DIRECTORY", str(logs))
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path / "none"))

    ran = run("samples")

    assert ran.code == 0
    assert len(ran.out.splitlines()) == 3


def test_a_refusal_of_the_guard_is_passed_on(ask: Run, guard: FakeGuard) -> None:
    guard.answers["samples"] = Refusal(-32602, "more than 10000 lines: give a limit")

    assert ask("samples") == Ran(1, "", "overwinter: more than 10000 lines: give a limit\n")
    guard.answers["samples"] = {"not": "a list"}
    assert ask("samples").code == 1


def test_an_empty_span_says_so(run: Run, logs: Path) -> None:
    ran = run("events", "--logs", str(logs), "--since", "1s")

    assert (ran.code, ran.out) == (0, "")
    assert "overwinter: no events in this span" in ran.err


@pytest.mark.parametrize("folder", ["none", "."])
def test_a_named_folder_without_a_logbook_is_refused(run: Run, tmp_path: Path, folder: str) -> None:
    ran = run("samples", "--logs", str(tmp_path / folder))

    assert ran.code == 1
    assert f"no logbook can be read in {tmp_path}" in ran.err


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (["--since", "yesterdayish"], "--since 'yesterdayish' is no time"),
        (["--since", "24"], "--since '24' is no time"),
        (["--since", "1h", "--until", "2h"], "--until 2h is not after --since"),
        (["--csv", "--json"], "--csv or --json, not both"),
        (["--limit", "0"], "--limit '0' is none"),
        (["--limit", "-5"], "--limit '-5' is none"),
        (["--limit", "1.5"], "--limit '1.5' is none"),
        (["--limit", "9" * 5000], "is none: a whole number from 1 on"),
        (["today"], "'today' is one word too many"),
    ],
)
@pytest.mark.parametrize("verb", ["samples", "events"])
def test_wrong_usage(run: Run, logs: Path, verb: str, argv: list[str], told: str) -> None:
    ran = run(verb, "--logs", str(logs), *argv)

    assert (ran.code, ran.out) == (2, "")
    assert told in ran.err


def test_lines_of_another_program_do_no_harm(run: Run, tmp_path: Path) -> None:
    odd = {
        "t": stamp(1),
        "event": "sample",
        "sensors": None,
        "heat": None,
        "flag": "x",
        "temperature_c": None,
    }
    logs = write(tmp_path / "logs", {"x": 1}, {"t": 5, "event": "sample"}, [], odd, event("never", "note"))  # type: ignore[arg-type]

    for form in ([], ["--csv"], ["--json"]):
        ran = run("samples", "--logs", str(logs), *form)
        assert ran.code == 0
        assert len(ran.out.splitlines()) == (1 if form == ["--json"] else 2)


@pytest.mark.parametrize("form", [[], ["--csv"], ["--json"]], ids=str)
def test_dates_from_before_the_clock_was_set_are_put_right(run: Run, tmp_path: Path, form: list[str]) -> None:
    early = sample("1970-01-01T00:01:00.000Z") | {"up": 60.0}
    step = event("2026-01-09T04:12:33.000Z", "clock", step_s=1.7e9, synchronised=True) | {"up": 120.0}
    logs = write(tmp_path / "logs", early, step)

    ran = run("samples", "--logs", str(logs), "--since", "2026-01-09T04:00:00Z", *form)

    at = {"--json": "2026-01-09T04:11:33", "--csv": "2026-01-09 04:11:33"}
    assert (at[form[0]] if form else "2026-01-09 05:11:33") in ran.out
    assert ("1970" in ran.out) == (form == ["--json"])


def test_the_files_are_never_all_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows leave one by one: the first is printed before the second is read."""
    trace: list[str] = []

    def lines() -> Any:
        for number in range(3):
            trace.append(f"read {number}")
            yield sample(stamp(1))

    monkeypatch.setattr("builtins.print", lambda text: trace.append("print"))
    monkeypatch.setattr(history, "unit_of", lambda where: "C")
    history._print_rows(lines(), "samples", None)  # type: ignore[arg-type]

    assert trace == ["read 0", "print", "print", "read 1", "print", "read 2", "print"]

"""`report`: from a logbook to one page, to JSON and to a file."""

import json
import re
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from overwinter.cli.report import named_span
from overwinter.schemas import load
from tests.cli.conftest import Ran

Run = Callable[..., Ran]
Line = dict[str, Any]

BEGINS = datetime(2026, 1, 9, 12, tzinfo=UTC)
SITE = """
[site]
name = "ferry hut"
unit = "C"
[[sensor]]
name = "air"
role = "control"
kind = "simulated"
[relay]
kind = "simulated"
rated_cycles = 1000
[heater]
watts = 200.0
kind = "lamp"
limiter = true
[tariff]
per_kwh = 0.25
currency = "EUR"
[[pipe]]
name = "riser"
bore_mm = 13.6
outside_mm = 15.0
"""


def at(minute: float) -> str:
    when = BEGINS + timedelta(minutes=minute)
    return when.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def line(minute: float, event: str, *, boot: str = "b", **more: Any) -> Line:
    return {"t": at(minute), "up": 1000.0 + 60.0 * minute, "boot": boot, "event": event} | more


def sample(minute: float, inside_c: object = 3.0, *, boot: str = "b", **more: Any) -> Line:
    fields: Line = {"temperature_c": inside_c, "humidity_pct": 71.0, "flag": 1, "heat": 0.5}
    fields |= {"mode": "freeze", "low_c": 2.0, "high_c": 4.0}
    return line(minute, "sample", boot=boot, **(fields | more))


class House:
    """A folder with site.toml and a logbook, and the report on it."""

    def __init__(self, folder: Path, run: Run) -> None:
        self.folder, self.run = folder, run
        self.logs = folder / "logs"
        self.logs.mkdir()
        self.site = folder / "site.toml"
        self.site.write_text(SITE)

    def write(self, *lines: Line | str) -> None:
        told = [one if isinstance(one, str) else json.dumps(one, separators=(",", ":")) for one in lines]
        (self.logs / "logbook.jsonl").write_text("".join(f"{one}\n" for one in told))

    def report(self, *argv: str) -> Ran:
        return self.run("report", "--logs", str(self.logs), "--site", str(self.site), *argv)

    def facts(self, *argv: str) -> dict[str, Any]:
        ran = self.report(*argv, "--json")
        assert ran.code == 0, ran.err
        found: dict[str, Any] = json.loads(ran.out)
        assert list(Draft202012Validator(load("report")).iter_errors(found)) == []
        return found


SPAN = ("--since", at(0), "--until", at(600))


@pytest.fixture
def house(tmp_path: Path, run: Run) -> House:
    return House(tmp_path, run)


def test_a_quiet_span_is_one_page_that_ends_with_what_to_change(house: House) -> None:
    house.write(*(sample(minute) for minute in range(601)))

    ran = house.report(*SPAN)

    assert (ran.code, ran.err) == (0, "")
    lines = ran.out.splitlines()
    assert lines[0] == "FERRY HUT: REPORT"
    assert "Coldest: 3.0 C (37.4 F) at 2026-01-09 13:00." in ran.out, "an hour ahead of UTC"
    assert "1 kWh, 0.25 EUR." in " ".join(ran.out.split())
    assert lines[-2:] == ["WHAT TO CHANGE BEFORE NEXT WINTER", "Nothing in this record asks for a change."]
    assert max(map(len, lines)) <= 80


def test_the_figures_for_programs(house: House) -> None:
    cold = [sample(minute, 0.5 if 300 < minute <= 360 else 3.0) for minute in range(601)]
    house.write(*cold)

    found = house.facts(*SPAN)

    low_c = found["alarm_low_c"]
    assert low_c == pytest.approx((34.5 - 32.0) / 1.8)
    assert found["alarm_low_from"] == "default"
    assert (found["from"], found["to"], found["coverage"]) == (at(0), at(600), 1.0)
    assert (found["coldest_c"], found["coldest_at"]) == (0.5, at(301))
    assert found["hours_below_alarm_low"] == pytest.approx(1.0)
    assert found["degree_hours_below_alarm_low"] == pytest.approx(low_c - 0.5)
    assert (found["duty"], found["kwh"], found["cost"]) == pytest.approx((0.5, 1.0, 0.25))
    assert (found["gaps"], found["alarms"]) == ([], [])
    assert found["learned"]["rise_k"] is None  # an hour teaches nothing


def test_alarm_low_is_that_of_the_houses_own_settings(house: House) -> None:
    house.write(*(sample(minute, 2.5) for minute in range(601)))
    state = house.folder / "state"
    state.mkdir()
    (state / "settings.toml").write_text(
        'unit = "C"\n[band]\nlow = 4.0\nhigh = 6.0\n[limits]\nalarm_low = 3.0\n'
    )

    found = house.facts(*SPAN, "--state", str(state))

    assert (found["alarm_low_c"], found["alarm_low_from"]) == (3.0, "settings")
    assert found["hours_below_alarm_low"] == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("between", "boot", "cause"),
    [
        pytest.param(
            [line(299.9, "gap", since=at(200), cause="power")], "b", "power", id="told by the guard"
        ),
        pytest.param([line(300, "start", boot="c")], "c", "power", id="another boot"),
        pytest.param([line(200.5, "stop", cause="SIGTERM")], "c", "stopped", id="a stop, then another boot"),
        pytest.param([line(299.9, "start")], "b", "killed", id="a start without a stop"),
        pytest.param([], "b", "unknown", id="nothing says why"),
    ],
)
def test_the_cause_of_a_gap(house: House, between: list[Line], boot: str, cause: str) -> None:
    house.write(
        *(sample(minute) for minute in range(201)),
        *between,
        *(sample(minute, 2.0, boot=boot) for minute in range(300, 601)),
    )

    found = house.facts(*SPAN)

    assert found["gaps"] == [
        {"from": at(200), "to": at(300), "cause": cause, "before_c": 3.0, "after_c": 2.0, "frozen": None}
    ]
    assert found["coverage"] == pytest.approx(500 / 600)


@pytest.mark.parametrize(
    ("pipes", "frozen", "words"),
    [
        ([{"name": "riser", "verdict": "no"}], "no", "not frozen"),
        ([{"verdict": "no"}, {"verdict": "may have"}], "may have", "may have frozen"),
        ([{"verdict": "cannot be known"}, {"verdict": "no"}], "cannot be known", "cannot be known"),
        ([{"verdict": 3}, "riser", {"verdict": "thawed"}], None, "not judged"),
        ("riser", None, "not judged"),
        (None, None, "not judged"),
    ],
)
def test_a_gap_bears_what_the_guard_said_of_the_pipes_then(
    house: House, pipes: object, frozen: str | None, words: str
) -> None:
    house.write(
        *(sample(minute) for minute in range(201)),
        line(300.2, "gap", since=at(200), cause="power", pipes=pipes),
        *(sample(minute, 2.0, boot="c") for minute in range(300, 601)),
    )

    assert [gap["frozen"] for gap in house.facts(*SPAN)["gaps"]] == [frozen]
    (row,) = [row for row in house.report(*SPAN).out.splitlines() if "no power" in row]
    assert row.endswith(words)


def test_a_silence_before_the_first_record_is_no_gap_and_one_at_the_end_is(house: House) -> None:
    house.write(*(sample(minute) for minute in range(100, 501)))

    assert [(gap["from"], gap["to"]) for gap in house.facts(*SPAN)["gaps"]] == [(at(500), at(600))]


def test_a_silence_after_older_records_is_a_gap_at_the_beginning(house: House) -> None:
    house.write(sample(-700), *(sample(minute) for minute in range(100, 601)))

    assert [(gap["from"], gap["to"]) for gap in house.facts(*SPAN)["gaps"]] == [(at(0), at(100))]


def test_a_span_that_nobody_recorded_says_so(house: House) -> None:
    house.write(sample(-700))

    found = house.facts(*SPAN)

    assert (found["coldest_c"], found["duty"], found["kwh"], found["coverage"]) == (None, None, None, 0.0)
    assert found["pipes"] == [{"name": "riser", "ice_share": None}]
    assert "Nothing was recorded in this time" in house.report(*SPAN).out


def test_an_alarm_is_told_with_its_delay_and_its_end(house: House) -> None:
    raised = {"code": "cold", "text": "too cold"}
    house.write(
        *(sample(minute, 0.5 if minute >= 90 else 3.0) for minute in range(101)),
        line(100.5, "alarm", state="raised", **raised),
        *(sample(minute, 0.5) for minute in range(101, 131)),
        line(130.5, "alarm", state="acknowledged", **raised),
        *(sample(minute) for minute in range(131, 151)),
        line(150.5, "alarm", state="cleared", **raised),
        *(sample(minute) for minute in range(151, 601)),
    )

    (alarm,) = house.facts(*SPAN)["alarms"]

    assert (alarm["since"], alarm["cleared"]) == (at(100.5), at(150.5))
    assert alarm["acknowledged"] == at(130.5)
    assert alarm["delay_s"] == 10.5 * 60.0


def test_an_alarm_from_before_the_span_has_no_beginning(house: House) -> None:
    house.write(*(sample(minute) for minute in range(601)), line(600, "alarm", code="damp", state="cleared"))

    (alarm,) = house.facts("--since", at(0), "--until", at(601))["alarms"]

    assert (alarm["code"], alarm["since"], alarm["cleared"]) == ("damp", None, at(600))


def test_cycles_are_counted_from_the_heat_events(house: House) -> None:
    def heat(minute: float, *, on: bool, cycles: int) -> Line:
        return line(minute, "heat", heat=on, reason="below-band", cycles=cycles, on_s=9.0)

    house.write(
        *(sample(minute) for minute in range(101)),
        heat(100.1, on=True, cycles=900),
        heat(100.2, on=False, cycles=900),
        heat(100.3, on=True, cycles=901),
        *(sample(minute) for minute in range(101, 601)),
    )

    found = house.facts(*SPAN)

    assert found["cycles"] == 2
    assert "Replace the relay: it has switched 901 of its 1000 rated cycles." in found["advice"]


def test_cycles_are_seen_in_samples_where_there_is_nothing_else(house: House) -> None:
    house.write(*(sample(minute, heat=1.0 if minute % 60 < 20 else 0.0) for minute in range(601)))

    assert house.facts(*SPAN)["cycles"] == 10, "the first was on when the span began"
    assert "at least 10 times" in " ".join(house.report(*SPAN).out.split())


def test_odd_lines_of_another_program_end_nothing(house: House) -> None:
    odd = [
        "not json",
        '{"t":"2026-01-09T12:30:30.000Z","half',
        json.dumps({"event": "sample", "temperature_c": 1.0}),
        json.dumps(sample(60.1, "cold", heat="hot", flag="x")),
        json.dumps(sample(60.2, 1e9, heat=True)),
        json.dumps(sample(60.3, -273.0, heat=7.0, low_c=[])),
        json.dumps(sample(60.4, float("nan"), heat=-3)),
        json.dumps(line(60.5, "alarm", code=3, state=None)),
        json.dumps(line(60.6, "gap", since=[], cause={})),
        json.dumps(line(60.7, "note", text=None)),
        json.dumps(line(60.8, "heat", heat="yes", cycles="many")),
        "[]",
    ]
    house.write(*(sample(minute) for minute in range(61)), *odd, *(sample(m) for m in range(61, 601)))

    found = house.facts(*SPAN)

    assert found["coldest_c"] == 3.0
    assert found["coverage"] == pytest.approx(1.0, abs=0.01)
    assert found["duty"] == pytest.approx(0.5, abs=0.01), "a share beyond 0 to 1 counts as 0 or 1"


def test_advice_names_its_evidence(house: House) -> None:
    house.write(
        line(0, "note", text="New lamp, 250 W"),
        *(sample(minute, 0.5, heat=1.0, flag=4 if minute < 10 else 1) for minute in range(601)),
        *(sample(minute, 0.5, boot="c", heat=1.0) for minute in range(700, 1501)),
    )

    advice = house.facts("--since", at(0), "--until", at(1500))["advice"]

    assert len(advice) == 3
    assert advice[0].startswith("Insulate, close gaps or fit a stronger heater: it went down to 0.5 C")
    assert "The power failed 1 time, 1 h 40 min in all" in advice[1]
    assert advice[2].startswith("The lamp has burned 23 h since the note `new lamp`")


def test_the_last_night_of_a_logbook_that_is_pointed_at(house: House) -> None:
    """It counts from the last record there, which is long ago."""
    house.write(*(sample(minute) for minute in range(1301)))

    found = house.facts()

    assert (found["from"], found["to"]) == ("2026-01-09T17:00:00.000Z", "2026-01-10T08:00:00.000Z")
    assert found["coverage"] == 1.0


def test_a_season_begins_with_its_first_record(house: House) -> None:
    house.write(*(sample(minute) for minute in range(601)))

    found = house.facts("season")

    assert (found["from"], found["to"], found["coverage"]) == (at(0), at(600), 1.0)


BERLIN = "CET-1CEST,M3.5.0,M10.5.0/3"


@pytest.mark.parametrize(
    ("what", "now", "since", "until"),
    [
        pytest.param("night", "2026-01-10T12:00", "2026-01-09T18:00", "2026-01-10T09:00", id="noon"),
        pytest.param("night", "2026-01-10T03:00", "2026-01-09T18:00", "2026-01-10T03:00", id="in the night"),
        pytest.param("night", "2026-01-10T19:00", "2026-01-10T18:00", "2026-01-10T19:00", id="evening"),
        pytest.param("night", "2026-03-29T12:00", "2026-03-28T18:00", "2026-03-29T09:00", id="short night"),
        pytest.param("week", "2026-03-30T12:00", "2026-03-23T12:00", "2026-03-30T12:00", id="short week"),
        pytest.param("season", "2026-03-30T12:00", "2025-07-01T00:00", "2026-03-30T12:00", id="spring"),
        pytest.param("season", "2026-11-30T12:00", "2026-07-01T00:00", "2026-11-30T12:00", id="autumn"),
    ],
)
def test_spans_go_by_the_clock_on_the_wall(
    monkeypatch: pytest.MonkeyPatch, what: str, now: str, since: str, until: str
) -> None:
    monkeypatch.setenv("TZ", BERLIN)
    time.tzset()

    found = named_span(what, datetime.fromisoformat(now).astimezone(UTC))

    assert [f"{one.astimezone():%Y-%m-%dT%H:%M}" for one in found] == [since, until]


@pytest.mark.parametrize(("now", "hours"), [("2026-03-29T12:00", 14), ("2026-10-25T12:00", 16)])
def test_a_night_of_summer_time_has_the_hours_it_lasts(
    monkeypatch: pytest.MonkeyPatch, now: str, hours: int
) -> None:
    monkeypatch.setenv("TZ", BERLIN)
    time.tzset()

    since, until = named_span("night", datetime.fromisoformat(now).astimezone(UTC))

    assert until - since == timedelta(hours=hours)


def test_a_file_has_the_chart_in_it_and_asks_for_nothing(house: House) -> None:
    house.write(*(sample(minute) for minute in range(601)))
    file = house.folder / "report.html"

    ran = house.report(*SPAN, "-o", str(file))

    assert ran == Ran(0, "", f"overwinter: written: {file}\n")
    text = file.read_text()
    assert "default-src 'none'" in text
    assert 'id="picture"' in text
    assert re.search(r"""(src|href)=["']?http""", text) is None


def test_a_logbook_alone_is_reported_with_what_is_known(house: House, run: Run) -> None:
    house.write(*(sample(minute) for minute in range(601)))

    ran = run("report", "--logs", str(house.logs), *SPAN, "--json")

    assert ran.code == 0
    assert "no --site FILE: heater, tariff and pipes are not known" in ran.err
    assert json.loads(ran.out)["kwh"] is None


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (["month"], "'month' is none of night, week, season"),
        (["night", "--since", "2d"], "night is a span already"),
        (["--until", "2d"], "--until needs --since"),
        (["--json", "-o", "a.html"], "--json prints all of it"),
        (["-o", "a.pdf"], "its name must end in .html"),
        (["--since", at(10), "--until", at(5)], "is not after --since"),
        (["--since", "soonish"], "--since 'soonish' is no time"),
    ],
)
def test_wrong_usage(house: House, argv: list[str], told: str) -> None:
    house.write(sample(0))

    ran = house.report(*argv)

    assert (ran.code, ran.out) == (2, "")
    assert told in ran.err

"""Logbook lines as rows."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.show.history import Columns, event_cells, event_row, names_in, safe, sample_cells, sample_head


def line(event: str, **fields: Any) -> dict[str, Any]:
    return {"t": "T", "up": 1.0, "boot": "b", "event": event, **fields}


@pytest.mark.parametrize(
    ("event", "told"),
    [
        pytest.param(line("start"), "start", id="start"),
        pytest.param(
            line("heat", heat=True, reason="below-band", temperature_c=2.1, cycles=42, on_s=90210.0),
            "heat      on, because it is at or below the low end of the band "
            "(temperature 35.8 F (2.1 C), cycles 42, on 1 d 1 h)",
            id="heat",
        ),
        pytest.param(line("heat", heat=False, reason="x"), "heat      off, because x", id="new reason"),
        pytest.param(
            line("alarm", code="cold", state="cleared", text="warm again", subject="by the pump"),
            "alarm     cold cleared: warm again (subject by the pump)",
            id="alarm",
        ),
        pytest.param(
            line("alarm", code="cold", state="raised"), "alarm     cold raised", id="alarm without text"
        ),
        pytest.param(
            line("settings", changes={"band.low": [36.0, 34.0]}, how="command", uid=0, user="root", pid=4),
            "settings  changes band.low 36 -> 34, how command, by root",
            id="settings",
        ),
        pytest.param(
            line("hand", state="set", heat=True, left_s=1200.0),
            "hand      state set, heat yes, left 20 min",
            id="hand",
        ),
        pytest.param(line("note", text="a\x1bb\nc"), "note      a?b?c", id="note"),
        pytest.param(
            line("from-a-newer-guard", x=[1, 2, 3], y=None), "from-a-newer-guard x [1, 2, 3]", id="new"
        ),
    ],
)
def test_an_event_is_told(event: dict[str, Any], told: str) -> None:
    assert event_row(event, local=str, unit="F") == f"T  {told}"


def test_rows_stand_under_their_heads() -> None:
    columns = Columns("F")
    full = line(
        "sample", temperature_c=2.1, humidity_pct=71.0, outdoor_c=-20.0, heat=1.0, mode="freeze", flag=1
    )

    row = columns.row(full, local=lambda _: "2026-01-09 05:12:33")

    assert columns.head == "time                 inside F  humidity  outside F  heat    mode    reading"
    assert row == "2026-01-09 05:12:33  35.8      71 %      -4.0       100 %   freeze  good"
    assert columns.row(line("sample"), local=str).split() == ["T", "-", "-", "-", "-", "-", "flag", "None"]


def test_csv_has_a_cell_for_every_head() -> None:
    lines = [
        line("sample", sensors={"a": [1.0, 50.0, 1]}),
        line("sample", sensors={"b": [1.0], "a": None}, contacts={"door": 0.5}),
        line("sample"),
    ]
    sensors, contacts = names_in(lines)
    head = sample_head(sensors=sensors, contacts=contacts)

    assert (sensors, contacts) == (["a", "b"], ["door"])
    for one in lines:
        assert len(sample_cells(one, sensors=sensors, contacts=contacts, local=str)) == len(head)
    assert sample_cells(lines[1], sensors=sensors, contacts=contacts, local=str)[-4:] == [
        1.0,
        None,
        None,
        0.5,
    ]


@given(st.text() | st.floats() | st.none())
def test_a_safe_cell_is_no_formula_and_loses_nothing(cell: object) -> None:
    found = safe(cell)

    if isinstance(cell, str):
        assert isinstance(found, str)
        assert not found.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
        assert found.endswith(cell)
    else:
        assert found is cell


def test_an_events_csv_cells_keep_its_fields() -> None:
    cells = event_cells(line("note", text="-x", n=1), local=str, dumps=repr)

    assert cells == ["T", "T", 1.0, "b", "note", "'-x (n 1)", "{'text': '-x', 'n': 1}"]

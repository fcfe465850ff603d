"""The drawing in a terminal."""

import pytest

from overwinter.show.picture_text import chart
from tests.show.pictures import a_day, drawn, event, sample


@pytest.mark.parametrize("width", [40, 80, 132])
@pytest.mark.parametrize("is_plain", [False, True])
def test_no_line_is_wider_than_the_window(width: int, is_plain: bool) -> None:
    shown = chart(drawn(a_day()), width=width, height=30, is_plain=is_plain)

    assert max(map(len, shown.splitlines())) <= width


@pytest.mark.parametrize("height", [24, 40])
def test_it_fits_into_the_window(height: int) -> None:
    assert len(chart(drawn(a_day()), width=100, height=height, is_plain=False).splitlines()) <= height


def test_plain_is_ascii_and_shows_the_same_rows() -> None:
    fine = chart(drawn(a_day()), width=80, height=30, is_plain=False)
    plain = chart(drawn(a_day()), width=80, height=30, is_plain=True)

    assert plain.isascii()
    assert len(plain.splitlines()) == len(fine.splitlines())


def test_a_spike_of_a_minute_is_seen() -> None:
    def top(spike_c: float) -> str:
        lines = [sample(60.0 * minute, spike_c if minute == 700 else 3.0) for minute in range(1440)]
        # The same scale with and without the spike: it is outdoors as well.
        lines[0]["outdoor_c"] = 12.0
        shown = chart(drawn(lines), width=80, height=30, is_plain=True).splitlines()
        first = next(index for index, line in enumerate(shown) if "|" in line)
        return "".join(line[40:60] for line in shown[first : first + 3])

    assert top(3.0).strip() == ""
    assert top(12.0).strip() != ""


def test_marks_doubt_and_heat_are_told_without_colour() -> None:
    shown = chart(drawn(a_day(), unit="F"), width=80, height=30, is_plain=False)

    rows = {line.split()[0]: line for line in shown.splitlines() if line.strip()}
    assert "\x1b" not in shown
    letters = next(line for line in shown.splitlines() if line.strip().startswith("A"))
    assert [letter for letter in letters if letter.isalpha()] == ["A", "G", "C", "N"]
    assert "/" in letters
    assert rows["doubtful"].count("x") == 4, "two by themselves, twenty minutes in two cells"
    assert "█" in rows["heat"]
    assert rows["A1"].endswith("alarm: sensor-lost: no reading")


def test_too_many_marks_are_counted() -> None:
    lines = [sample(0), *(event(60.0 * at, "note", text=f"note {at}") for at in range(20)), sample(1200)]

    shown = chart(drawn(lines, hours=1200 / 3600), width=80, height=60, is_plain=False)

    assert "and 8 before: see `overwinter events`" in shown
    assert "note 19" in shown
    assert "note 7\n" not in shown


def test_no_name_reaches_the_terminal_as_an_order() -> None:
    assert "\x1b" not in chart(drawn(a_day(), house="mill\x1b[2J"), width=80, height=30, is_plain=False)

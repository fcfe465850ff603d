"""The page: everything in it, nothing from outside, nothing unescaped."""

import json
import math
import re
from base64 import b64decode
from html.parser import HTMLParser
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from overwinter.show.picture_html import Parts, packed, page
from tests.show.pictures import NOON, a_day, drawn, sample

PARTS = Parts(
    script="draw('</script>')", style="p{}", plot_script="plot", plot_style="q{}", plot_licence="MIT -- so"
)


def unpacked(data: bytes) -> list[int | None]:
    """As chart.js does it."""
    found: list[int | None] = []
    value = at = 0
    while at < len(data):
        step = data[at]
        at += 1
        if step == 129:
            found.append(None)
            continue
        if step == 128:
            value += int.from_bytes(data[at : at + 4], "little", signed=True)
            at += 4
        else:
            value += step if step < 128 else step - 256
        found.append(value)
    return found


def data_of(text: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="picture">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    data: dict[str, Any] = json.loads(found[1])
    return data


def column(text: str, name: str) -> list[int | None]:
    return unpacked(b64decode(data_of(text)["columns"][name]))


@given(st.lists(st.one_of(st.none(), st.integers(-(2**30), 2**30), st.integers(-300, 300)), max_size=100))
def test_what_is_packed_is_unpacked_again(values: list[int | None]) -> None:
    assert unpacked(packed(values)) == values


def test_every_sample_is_in_the_page_to_a_hundredth() -> None:
    lines = a_day()
    text = page(drawn(lines), PARTS, made_by="x")

    flags = column(text, "flags")
    inside = [value for value, flag in zip(column(text, "inside"), flags, strict=True) if flag]
    samples = [line for line in lines if line["event"] == "sample"]
    assert inside == [
        None if line["temperature_c"] is None else round(line["temperature_c"] * 100) for line in samples
    ]
    at = [value for value, flag in zip(column(text, "at"), flags, strict=True) if flag]
    assert at == [line["up"] for line in samples]
    assert [flag for flag in flags if flag] == [line["flag"] for line in samples]
    assert column(text, "heat")[:40] == [1000] * 30 + [0] * 10


def test_lines_are_broken_where_nothing_was_recorded() -> None:
    text = page(drawn(a_day()), PARTS, made_by="x")

    at, flags, inside = column(text, "at"), column(text, "flags"), column(text, "inside")
    breaks = [index for index, flag in enumerate(flags) if flag == 0]
    assert [(at[index], inside[index]) for index in breaks] == [(599 * 60 + 1, None)]


def test_a_winter_with_a_spike_every_day_keeps_each_of_them_and_stays_below_three_megabytes() -> None:
    minutes = 120 * 1440

    def inside_c(minute: int) -> float:
        return 12.0 + minute / 1e5 if minute % 1440 == 777 else round(3.0 + math.sin(minute / 50), 2)

    lines = (sample(60.0 * minute, inside_c(minute)) for minute in range(minutes))
    text = page(drawn(lines, hours=120 * 24), PARTS, made_by="x")

    spikes = [value for value in column(text, "inside") if value is not None and value > 1000]
    assert spikes == [round(inside_c(minute) * 100) for minute in range(777, minutes, 1440)]
    assert len(text.encode()) < 2_800_000, "less uPlot's 120 kB"


class Seen(HTMLParser):
    """Every tag with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_nothing_is_fetched() -> None:
    text = page(drawn(a_day()), PARTS, made_by="x")

    seen = Seen(text)
    assert [tag for tag, _ in seen.tags if tag in ("link", "img", "iframe", "object", "base")] == []
    assert [
        name for _, attributes in seen.tags for name in attributes if name in ("src", "href", "action")
    ] == []
    assert "url(" not in text
    assert "@import" not in text
    assert set(re.findall(r"[a-z]+://[^\s\"'<]+", text)) == {"http://www.w3.org/2000/svg"}, (
        "a name, no address"
    )
    policy = next(at["content"] for tag, at in seen.tags if at.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert policy.startswith("default-src 'none';")


def test_no_name_becomes_markup() -> None:
    evil = '</script><script>alert(1)</script><b onclick="x">'
    lines = [*a_day(), *({**line, "text": evil} for line in a_day() if line["event"] == "note")]
    text = page(drawn(lines, house=evil), PARTS, made_by=evil)

    assert "alert(1)</script>" not in text
    assert "b" not in [tag for tag, _ in Seen(text).tags]
    scripts = [attributes for tag, attributes in Seen(text).tags if tag == "script"]
    assert len(scripts) == 3
    assert text.count("</script>") == 3


def test_the_licence_of_what_draws_is_in_the_file() -> None:
    assert "MIT - - so" in page(drawn(a_day()), PARTS, made_by="x")


def test_what_is_drawn_is_told_as_well() -> None:
    text = page(drawn(a_day(), unit="F"), PARTS, made_by="Made by a test")

    assert "Inside it was 35.6 to 46.0 °F" in text
    assert "1 alarm, 1 gap (3 h 1 min in all), 1 step of the clock, 22 doubtful samples of 1260." in text
    assert "nothing recorded for 3 h 1 min; no power; 36.5 °F before; 33.8 °F after" in text
    assert "set back by 2 h" in text
    assert "new &lt;b&gt;lamp&lt;/b&gt; (by root)" in text
    assert "9 Jan 2026 13:00 CET to 10 Jan 2026 13:00 CET, local time CET (UTC+1), °F" in text
    assert "Made by a test" in text


def test_the_table_has_a_row_an_hour_and_the_same_data() -> None:
    text = page(drawn(a_day()), PARTS, made_by="x")
    body = text.partition("<caption>")[2]

    cells = [re.sub(r"<[^>]+>", "|", row) for row in re.findall(r"<tr>(.*?)</tr>", body, re.DOTALL)]
    rows = [[cell for cell in row.split("|") if cell] for row in cells]
    assert rows[0] == [
        *("hour", "inside lowest", "mean", "highest", "band", "outdoors lowest", "highest"),
        *("humidity", "dew point", "heat", "samples", "doubtful"),
    ]
    assert len(rows) == 1 + 24
    spike = next(row for row in rows if row[0] == f"{NOON:%-d %b %Y} 04:00 CET".replace("9 Jan", "10 Jan"))
    assert (spike[3], spike[10]) == ("7.8", "60")
    empty = next(row for row in rows if row[0] == "10 Jan 2026 00:00 CET")
    assert (empty[1], empty[4], empty[-2]) == ("-", "-", "0")


def test_without_humidity_or_outdoors_neither_has_a_panel_nor_a_column() -> None:
    text = page(
        drawn([sample(0, humidity_pct=None, outdoor_c=None), sample(60, humidity_pct=None, outdoor_c=None)]),
        PARTS,
        made_by="x",
    )

    assert 'id="panel-humidity"' not in text
    assert "dew point" not in text
    assert "outdoors" not in text

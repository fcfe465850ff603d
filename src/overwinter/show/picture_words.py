"""A picture in words: title, summary, marks and the rows of its table. Every renderer speaks alike."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from overwinter.show import text
from overwinter.show.columns import columns_between
from overwinter.show.history import told as told_in_words
from overwinter.show.picture import (
    DOUBTFUL,
    Mark,
    Picture,
    highest,
    lowest,
    mean,
    rows,
)

KINDS = {"alarm": "alarm", "gap": "gap", "clock": "clock set", "note": "note"}
LETTERS = {"alarm": "A", "gap": "G", "clock": "C", "note": "N"}
CAUSES = {
    "power": "no power",
    "stopped": "the guard was stopped",
    "killed": "the guard was killed",
    "unknown": "cause unknown",
}


def degrees(value_c: float | None, unit: str) -> str:
    """`35.8 °F`."""
    return text.NOTHING if value_c is None else f"{text.degrees(value_c, unit)} °{unit}"


def between(low_c: float, high_c: float, unit: str) -> str:
    """`34.2 to 36.1 °F`, or one of them where they are the same."""
    low, high = text.degrees(low_c, unit), text.degrees(high_c, unit)
    return f"{low} °{unit}" if low == high else f"{low} to {high} °{unit}"


def share(value: float | None) -> str:
    """`32 %` of a share from 0 to 1."""
    return text.NOTHING if value is None else text.percent(value * 100)


def moment(picture: Picture, at_s: float, *, zone: bool = False) -> str:
    """`9 Jan 2026 04:12`, with the zone's name where that is wanted."""
    when = picture.local(at_s)
    name = f" {picture.offset(at_s).name}" if zone else ""
    return f"{when.day} {when:%b %Y %H:%M}{name}"


def span(picture: Picture) -> str:
    """From when to when, with the zone at either end where they differ."""
    return f"{moment(picture, picture.from_s, zone=True)} to {moment(picture, picture.to_s, zone=True)}"


def zones(picture: Picture) -> str:
    """`local time CET (UTC+1)`; both where the clocks were changed in between."""
    names = dict.fromkeys(f"{one.name} ({_ahead(one.ahead_s)})" for one in picture.zone)
    return "local time " + ", then ".join(names)


def _ahead(ahead_s: int) -> str:
    hours, minutes = divmod(abs(ahead_s) // 60, 60)
    sign = "-" if ahead_s < 0 else "+"
    return f"UTC{sign}{hours}" + (f":{minutes:02}" if minutes else "")


def summary(picture: Picture) -> str:
    """What the picture says, in a few sentences, for those who do not see it."""
    unit = picture.unit
    low_c, high_c, mean_c = (how(picture.inside_c) for how in (lowest, highest, mean))
    if low_c is None or high_c is None:
        told = ["No believable temperature was recorded inside."]
    else:
        told = [f"Inside it was {between(low_c, high_c, unit)}, {degrees(mean_c, unit)} on average."]
    if picture.band:
        last = picture.band[-1]
        changes = len({(one.low_c, one.high_c) for one in picture.band}) > 1
        told.append(
            f"The band {'was last' if changes else 'was'} {between(last.low_c, last.high_c, unit)}"
            f"{', after changes' if changes else ''}."
        )
    low_c, high_c = lowest(picture.outdoor_c), highest(picture.outdoor_c)
    if low_c is not None and high_c is not None:
        told.append(f"Outdoors it was {between(low_c, high_c, unit)}.")
    low, high = lowest(picture.humidity_pct), highest(picture.humidity_pct)
    if low is not None and high is not None:
        ends = dict.fromkeys((text.number(low, 0), text.number(high, 0)))
        told.append(f"Humidity was {' to '.join(ends)} %.")
    duty = mean(picture.heat_share)
    if duty is not None:
        told.append(f"Heat was on for {share(duty)} of the recorded time.")
    told.append(_counted(picture))
    return " ".join(told)


def _counted(picture: Picture) -> str:
    alarms = sum(mark.kind == "alarm" for mark in picture.marks)
    steps = sum(mark.kind == "clock" for mark in picture.marks)
    doubtful = sum(flag in DOUBTFUL for flag in picture.flags)
    silent_s = sum(end_s - begin_s for begin_s, end_s in picture.gaps)
    parts = [
        _count(alarms, "alarm"),
        _count(len(picture.gaps), "gap") + (f" ({text.duration(silent_s)} in all)" if silent_s else ""),
        *([_count(steps, "step") + " of the clock"] if steps else []),
        f"{_count(doubtful, 'doubtful sample')} of {len(picture.at_s)}",
    ]
    return f"{', '.join(parts)}.".capitalize()


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def names(picture: Picture) -> list[str]:
    """What each mark is called on the chart: A1, G1, C1, N1."""
    seen = dict.fromkeys(LETTERS, 0)
    found = []
    for mark in picture.marks:
        seen[mark.kind] += 1
        found.append(f"{LETTERS[mark.kind]}{seen[mark.kind]}")
    return found


def told(picture: Picture, mark: Mark) -> str:
    """A mark's own words."""
    if mark.kind == "gap" and mark.to_s is not None:
        length = f"nothing recorded for {text.duration(mark.to_s - mark.from_s)}"
        if mark.to_s == picture.to_s and not mark.text:
            length += ", and nothing since"
        return f"{length}; {mark.text}" if mark.text else length
    return mark.text


def until(picture: Picture, mark: Mark) -> str:
    """When it was over."""
    if mark.to_s is not None:
        return moment(picture, mark.to_s)
    return "not cleared in this span" if mark.kind == "alarm" else ""


def described(line: Mapping[str, Any], unit: str) -> str:
    """An event of the logbook, for a mark."""
    event = line.get("event")
    if event == "gap":
        warm = [
            f"{degrees(line[key], unit)} {when}"
            for key, when in (("before_c", "before"), ("after_c", "after"))
            if isinstance(line.get(key), int | float)
        ]
        return "; ".join([CAUSES.get(str(line.get("cause")), text.clean(line.get("cause"))), *warm])
    if event == "alarm":
        about = f": {text.clean(line['text'])}" if line.get("text") else ""
        return f"{text.clean(line.get('code'))}{about}"
    step_s = line.get("step_s")
    if event == "clock" and isinstance(step_s, int | float):
        return f"set {'ahead' if step_s > 0 else 'back'} by {text.duration(abs(step_s))}"
    return told_in_words(line, unit=unit)


@dataclass(frozen=True, slots=True)
class Table:
    """The same data as rows."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def table(picture: Picture) -> Table:
    """An hour or a day a row."""
    what, edges = rows(picture)
    head = [what, "inside lowest", "mean", "highest", "band"]
    head += ["outdoors lowest", "highest"] if picture.has_outdoor else []
    head += ["humidity", "dew point"] if picture.has_humidity else []
    head += ["heat", "samples", "doubtful"]
    body = tuple(tuple(cells) for cells in _cells(picture, what, edges))
    return Table(f"The same data, one {what} a row, temperatures in °{picture.unit}", tuple(head), body)


def _cells(picture: Picture, what: str, edges: list[float]) -> Iterator[list[str]]:
    inside, outdoor, humidity, dew, heat, flags = (
        columns_between(picture.at_s, values, edges)
        for values in (
            picture.inside_c,
            picture.outdoor_c,
            picture.humidity_pct,
            picture.dew_point_c,
            picture.heat_share,
            [1.0] * len(picture.at_s),
        )
    )
    doubtful = [at_s for at_s, flag in zip(picture.at_s, picture.flags, strict=True) if flag in DOUBTFUL]
    counts = _counts(picture.at_s, edges), _counts(doubtful, edges)
    for index in range(len(flags)):
        begins_s = edges[index]
        when = picture.local(begins_s)
        cells = [moment(picture, begins_s, zone=True) if what == "hour" else f"{when.day} {when:%b %Y}"]
        one = inside[index]
        cells += [_plain(value, picture.unit) for value in (one.low, one.mean, one.high)]
        band = [stretch for stretch in picture.band if stretch.from_s < edges[index + 1]]
        last = band[-1] if band and counts[0][index] else None
        cells.append("-" if last is None else between(last.low_c, last.high_c, picture.unit)[:-3])
        if picture.has_outdoor:
            cells += [_plain(value, picture.unit) for value in (outdoor[index].low, outdoor[index].high)]
        if picture.has_humidity:
            cells += [text.percent(humidity[index].mean), _plain(dew[index].mean, picture.unit)]
        yield [*cells, share(heat[index].mean), str(counts[0][index]), str(counts[1][index])]


def _counts(at_s: Sequence[float], edges: Sequence[float]) -> list[int]:
    found = [bisect_left(at_s, edge) for edge in edges[:-1]] + [bisect_right(at_s, edges[-1])]
    return [after - before for before, after in pairwise(found)]


def _plain(value_c: float | None, unit: str) -> str:
    return text.NOTHING if value_c is None else text.degrees(value_c, unit)

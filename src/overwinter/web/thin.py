"""Fewer samples for a screen, none of the extremes lost.

Of each column of time the samples stay that hold the lowest and the highest of every value, and one of each
way to be doubtful. Band, gaps, marks and the words about them are those of all samples.
"""

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace

from overwinter.show.columns import Values
from overwinter.show.picture import Picture


def thinned(whole: Picture, columns: int) -> Picture:
    """The samples to draw; heat becomes the mean of its column.

    Parameters
    ----------
    whole : Picture
        Every sample.
    columns : int
        Into how many columns its span is cut; several for each pixel of a screen.
    """
    # What stands beside a gap ends a line or begins one.
    edges = {edge_s for gap in whole.gaps for edge_s in gap}
    kept: list[int] = []
    heat: list[float | None] = []
    for column in _columns(whole, columns):
        chosen = _chosen(whole, column, edges)
        shares = [share for index in column if (share := whole.heat_share[index]) is not None]
        mean = sum(shares) / len(shares) if shares else None
        kept += chosen
        heat += [mean] * len(chosen) if len(column) > 2 else [whole.heat_share[index] for index in chosen]
    if len(kept) == len(whole.at_s):
        return whole

    def of(values: Values) -> list[float | None]:
        return [values[index] for index in kept]

    return replace(
        whole,
        at_s=[whole.at_s[index] for index in kept],
        inside_c=of(whole.inside_c),
        outdoor_c=of(whole.outdoor_c),
        humidity_pct=of(whole.humidity_pct),
        dew_point_c=of(whole.dew_point_c),
        heat_share=heat,
        flags=[whole.flags[index] for index in kept],
    )


def _columns(whole: Picture, count: int) -> Iterator[range]:
    width_s = max((whole.to_s - whole.from_s) / count, 1e-9)
    start = 0
    while start < len(whole.at_s):
        number = (whole.at_s[start] - whole.from_s) // width_s
        end = bisect_left(whole.at_s, whole.from_s + (number + 1) * width_s, lo=start + 1)
        yield range(start, end)
        start = end


def _chosen(whole: Picture, column: range, edges: set[float]) -> list[int]:
    if len(column) <= 2:
        return list(column)
    chosen = {column[0], column[-1]}
    for values in (whole.inside_c, whole.outdoor_c, whole.humidity_pct, whole.dew_point_c):
        known = [(value, index) for index in column if (value := values[index]) is not None]
        if known:
            chosen |= {min(known)[1], max(known)[1]}
    seen: set[int] = set()
    for index in column:
        if whole.flags[index] not in seen or whole.at_s[index] in edges:
            chosen.add(index)
        seen.add(whole.flags[index])
    return sorted(chosen)

"""From lines of the logbook to a picture, for every verb that draws one, and what a browser needs for it."""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path

from overwinter.cli.options import Stop
from overwinter.show.picture import Line, Offset, Picture, picture
from overwinter.show.picture_html import Parts
from overwinter.show.picture_words import described

ZONE_STEP_S = 6 * 3600
"""No zone changes its clocks twice within so short a time."""

DEW_POINT_C = (-45.0, 60.0)  # where `physics.air` knows the saturation pressure
HUMIDITY_LEAST_PCT = 1.0  # below that a cheap sensor says nothing about the dew point


def picture_of(lines: Iterable[Line], *, house: str, unit: str, since: datetime, until: datetime) -> Picture:
    """Lines in the order of time as a picture in local time."""
    return picture(
        lines,
        house=house,
        unit=unit,
        from_s=since.timestamp(),
        to_s=until.timestamp(),
        zone=local_zone,
        dew_point_c=dew_point(),
        describe=lambda line: described(line, unit),
    )


def local_zone(from_s: float, to_s: float) -> tuple[Offset, ...]:
    """What local time was from then on, and each change of it, to the second."""
    found = [_offset(from_s)]
    at_s = from_s
    while at_s < to_s:
        next_s = min(at_s + ZONE_STEP_S, to_s)
        if not _is_same(_offset(next_s), found[-1]):
            before_s, after_s = int(at_s), int(next_s) + 1
            while after_s - before_s > 1:
                middle_s = (before_s + after_s) // 2
                if _is_same(_offset(middle_s), found[-1]):
                    before_s = middle_s
                else:
                    after_s = middle_s
            found.append(_offset(after_s))
        at_s = next_s
    return tuple(found)


def _offset(at_s: float) -> Offset:
    local = datetime.fromtimestamp(at_s, UTC).astimezone()
    ahead = local.utcoffset()
    assert ahead is not None
    return Offset(at_s, int(ahead.total_seconds()), local.tzname() or "")


def _is_same(one: Offset, other: Offset) -> bool:
    return (one.ahead_s, one.name) == (other.ahead_s, other.name)


def dew_point() -> Callable[[float, float], float | None]:
    """Of a temperature [°C] and a humidity [%]; None where there is none."""
    from overwinter.physics.air import dew_point_c

    def dew(temperature_c: float, humidity_pct: float) -> float | None:
        low_c, high_c = DEW_POINT_C
        if not (low_c <= temperature_c <= high_c and HUMIDITY_LEAST_PCT <= humidity_pct <= 100.0):
            return None
        return dew_point_c(temperature_c, humidity_pct)

    return dew


def parts() -> Parts:
    """The script and the style that draw a picture in a browser.

    Raises
    ------
    Stop
        This copy was built without one of them.
    """
    from importlib.resources import files

    room = files("overwinter.show")
    try:
        return Parts(
            script=room.joinpath("chart.js").read_text("utf-8"),
            style=room.joinpath("chart.css").read_text("utf-8"),
            plot_script=room.joinpath("assets", "uPlot.iife.js").read_text("utf-8"),
            plot_style=room.joinpath("assets", "uPlot.min.css").read_text("utf-8"),
            plot_licence=room.joinpath("assets", "uPlot.LICENSE.txt").read_text("utf-8"),
        )
    except FileNotFoundError as error:
        raise Stop(
            1,
            f"this copy of overwinter was built without {Path(str(error.filename)).name}",
            "install it with pip, or run `python hatch_build.py` in its source tree; .svg works without it",
        ) from None

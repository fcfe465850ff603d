"""Every published figure against ours, and how many sources they come from.

A row that came out of one's memory, or that can only be compared with itself, is not in here.
"""

import pytest

from tests.published import control, electrical, heat_loss, moist_air, pipes
from tests.published.rows import LIBRARIES, SOURCES, Check

BOOKS: dict[str, list[Check]] = {
    "air": moist_air.ROWS,
    "heat loss": heat_loss.ROWS,
    "pipes": pipes.ROWS,
    "circuit": electrical.ROWS,
    "control": control.ROWS,
}
ALL = [(book, check) for book, checks in BOOKS.items() for check in checks]


def by_name(book: str, check: Check) -> str:
    return f"{book}: {check.what} [{check.source}]"


@pytest.mark.parametrize("check", [pytest.param(check, id=by_name(book, check)) for book, check in ALL])
def test_our_figure_is_theirs(check: Check) -> None:
    ours = check.ours()

    if check.within is not None:
        assert ours == pytest.approx(check.theirs, abs=check.within, rel=0.0), check.because
    else:
        assert ours == pytest.approx(check.theirs, rel=check.within_share, abs=0.0), check.because


def test_each_row_has_a_source_and_one_tolerance() -> None:
    for _, check in ALL:
        assert check.source in SOURCES
        assert (check.within is None) != (check.within_share is None), check.what


def test_no_row_is_there_twice() -> None:
    names = [by_name(book, check) for book, check in ALL]

    assert len(names) == len(set(names))


def test_more_than_a_dozen_publications_are_met() -> None:
    """Software is an independent reckoning but no publication, so it is not counted."""
    met = {check.source for _, check in ALL} - LIBRARIES

    assert len(met) >= 18, sorted(met)


def test_every_source_that_is_listed_is_used() -> None:
    assert {check.source for _, check in ALL} == SOURCES.keys()

"""A page for the terminal: folded to its width, marks as words, tables in columns."""

import textwrap
from collections.abc import Callable, Iterator

from overwinter.show import text
from overwinter.show.plan_page import Item, Mark, Page, Section

WIDTH_MAX = 100
"""Wider lines are hard to read."""

WIDTH_MIN = 40

_BADNESS = {Mark.MEND: 2, Mark.UNKNOWN: 1}
_MARK_WIDTH = max(map(len, Mark)) + 2


def page(shown: Page, *, width: int, paint: Callable[[str, int], str]) -> str:
    """The whole page.

    Parameters
    ----------
    shown : Page
        What stands on it.
    width : int
        Columns of the terminal.
    paint : callable
        Colours a text for a grade of badness (0 to 2), or leaves it as it is.
    """
    width = max(WIDTH_MIN, min(WIDTH_MAX, width))
    lines = [*_folded(shown.title.upper(), width), *_folded(shown.lead, width)]
    for section in shown.sections:
        lines += ["", *_folded(section.title.upper(), width), *_section(section, width, paint)]
    if shown.foot:
        lines += ["", *_folded(shown.foot, width)]
    return "\n".join(lines)


def _section(section: Section, width: int, paint: Callable[[str, int], str]) -> Iterator[str]:
    yield from _folded(section.lead, width)
    if section.table is not None:
        yield from _table(section, width)
    for number, item in enumerate(section.items, start=1):
        yield from _item(item, f"{number}. " if section.are_steps else "- ", width, paint)
    yield from _folded(section.note, width)


def _table(section: Section, width: int) -> Iterator[str]:
    assert section.table is not None
    drawn = text.table(section.table.head, section.table.rows).split("\n")
    if max(map(len, drawn)) <= width:
        yield from drawn
        return
    # Too many columns for this width: each row as a list of its own.
    for name, *cells in section.table.rows:
        yield from _folded(name, width)
        for head, cell in zip(section.table.head[1:], cells, strict=True):
            yield from _folded(f"{head}: {cell}", width, first="  ", more="    ")


def _item(item: Item, bullet: str, width: int, paint: Callable[[str, int], str]) -> Iterator[str]:
    if item.mark is Mark.NONE:
        yield from _folded(item.text, width, first=bullet, more=" " * len(bullet))
        return
    first, *rest = _folded(item.text, width, first=" " * _MARK_WIDTH, more=" " * _MARK_WIDTH)
    word = item.mark.upper() if item.mark is Mark.MEND else item.mark.value
    yield paint(word.ljust(_MARK_WIDTH), _BADNESS.get(item.mark, 0)) + first[_MARK_WIDTH:]
    yield from rest


def _folded(words: str, width: int, *, first: str = "", more: str = "") -> list[str]:
    return textwrap.wrap(
        text.clean(words), width, initial_indent=first, subsequent_indent=more, break_on_hyphens=False
    )

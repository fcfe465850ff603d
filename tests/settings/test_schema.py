"""The table of settings and the rules between keys."""

from dataclasses import replace
from typing import Any

import pytest

from overwinter.core.nouns import Mode, Settings
from overwinter.core.units import Unit
from overwinter.settings.schema import (
    BY_KEY,
    GAPS,
    ROWS,
    Kind,
    allowed,
    default_alarm_low_c,
    figure,
    is_low_for_freeze,
    value_of,
)


def test_every_default_lies_in_its_range_and_keeps_every_rule() -> None:
    for row in ROWS:
        if row.kind is not Kind.CHOICE:
            assert row.lo <= value_of(Settings(), row.key) <= row.hi, row.key
    assert all(gap.holds(Settings()) for gap in GAPS)


@pytest.mark.parametrize(
    ("field", "value", "holds"),
    [
        ("high_c", Settings().low_c + 0.5, True),
        ("high_c", Settings().low_c + 0.4999, False),
        ("ceiling_c", Settings().high_c + 3.0, True),
        ("ceiling_c", Settings().high_c + 2.999, False),
        ("alarm_low_c", Settings().low_c, False),
        ("alarm_low_c", Settings().low_c - 1e-6, True),
        ("record_s", 10.0, True),
        ("record_s", 9.99, False),
    ],
)
def test_a_gap_is_judged_at_its_edge(field: str, value: float, holds: bool) -> None:
    settings = replace(Settings(), **dict[str, Any]({field: value}))

    assert all(gap.holds(settings) for gap in GAPS) is holds


def test_a_range_is_told_in_the_unit_of_the_file() -> None:
    assert allowed(BY_KEY["limits.alarm_low"], Unit.F) == "-50..100 F"
    assert allowed(BY_KEY["limits.alarm_low"], Unit.C) == "-45.56..37.78 C"
    assert allowed(BY_KEY["sampling.sense_s"], Unit.C, 2.5) == "2.5..300 s"


@pytest.mark.parametrize(
    ("low_c", "mode", "is_low"),
    [
        (1.0, Mode.FREEZE, False),
        ((33.8 - 32.0) / 1.8, Mode.FREEZE, False),
        (1.0 - 2e-6, Mode.FREEZE, True),
        (-5.0, Mode.WARM, False),
        (-5.0, Mode.OBSERVE, False),
    ],
)
def test_only_freeze_minds_a_low_end_below_one_degree(low_c: float, mode: Mode, is_low: bool) -> None:
    assert is_low_for_freeze(Settings(low_c=low_c, mode=mode)) is is_low


def test_the_default_alarm_is_no_higher_than_its_value_and_below_the_band() -> None:
    assert default_alarm_low_c(20.0) == Settings().alarm_low_c
    assert default_alarm_low_c(0.0) == pytest.approx(-1.5 / 1.8)


@pytest.mark.parametrize(
    ("number", "text"),
    [(36.0, "36"), (2.2, "2.2"), (100.0, "100"), (-0.001, "0"), (0.0, "0"), (1.235, "1.24")],
)
def test_a_figure_has_no_trailing_zeros(number: float, text: str) -> None:
    assert figure(number) == text

"""Legible on paper and on a dark screen, by everyone: WCAG 2.2 AA, computed."""

from itertools import combinations

import pytest

from overwinter.show.picture_colours import DARK, DASHES, DRAWN, LIGHT, READ, TEMPERATURE_PANEL, contrast


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["ground", "panel"])
@pytest.mark.parametrize(("names", "least"), [(READ, 4.5), (DRAWN, 3.0)], ids=["read", "drawn"])
def test_contrast_is_enough(
    colours: dict[str, str], ground: str, names: tuple[str, ...], least: float
) -> None:
    found = {name: contrast(colours[name], colours[ground]) for name in names}

    assert {name: ratio for name, ratio in found.items() if ratio < least} == {}


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("line", ["inside", "doubt", "alarm", "edge"])
def test_what_is_drawn_over_the_band_stands_out_from_it(colours: dict[str, str], line: str) -> None:
    assert contrast(colours[line], colours["band"]) >= 3.0


def test_no_two_lines_of_a_panel_have_the_same_dashes() -> None:
    assert [pair for pair in combinations(TEMPERATURE_PANEL, 2) if DASHES[pair[0]] == DASHES[pair[1]]] == []


def test_both_palettes_have_the_same_names() -> None:
    assert set(LIGHT) == set(DARK)


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#ffffff", 21.0),  # by the definition in WCAG 2.2
        ("#767676", "#ffffff", 4.54),  # the greyest that passes on white, often quoted; from memory
        ("#777777", "#ffffff", 4.48),  # its neighbour, which does not
    ],
)
def test_the_contrast_ratio_is_that_of_the_standard(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == contrast(other, one) == pytest.approx(ratio, abs=0.005)

"""A change of settings: the owner's file stays the owner's, but for the values that were changed."""

import tomllib
from dataclasses import replace

import pytest

from overwinter.core.nouns import Mode, Settings
from overwinter.core.units import c_from_f
from overwinter.settings.values import default_text, parse_settings
from tests.settings.changing import OWN, plan


def test_only_the_changed_value_differs_byte_for_byte() -> None:
    change = plan({"band.low": "37F"}, OWN)

    assert change.text == OWN.replace("low = 36     #", "low = 37.0     #")
    assert change.changes == {"band.low": (36.0, 37.0)}


def test_windows_line_ends_stay() -> None:
    text = OWN.replace("\n", "\r\n")

    change = plan({"band.low": "37F", "relay.min_on_s": "1m", "mode": "warm", "limits.alarm_low": 34}, text)

    assert "\n" not in change.text.replace("\r\n", "")
    assert "# and frost\r\n" in change.text


@pytest.mark.parametrize(
    "text", [OWN, OWN.replace("\n", "\r\n"), "\ufeff" + OWN, OWN.rstrip("\n"), "", "\n\n# a"]
)
def test_a_change_that_changes_nothing_leaves_every_byte(text: str) -> None:
    assert plan({}, text).text == text
    assert plan({}, text.encode()).text == text


def test_a_byte_order_mark_stays() -> None:
    assert plan({"band.low": 37}, b"\xef\xbb\xbf" + OWN.encode()).text.startswith("\ufeff# my own order")


def test_a_value_that_is_said_again_keeps_its_spelling() -> None:
    change = plan({"limits.ceiling": "75F", "limits.alarm_low": 34.5, "band.high": 40.0}, OWN)

    assert change.text == OWN
    assert change.changes == {}


def test_a_missing_key_lands_below_the_last_of_its_table() -> None:
    text = "# head\nunit = 'F'\n\n[filter]\nwindow = 5 # odd\n\n# where heat stops\n[limits]\nceiling = 75"

    change = plan(
        {"mode": "warm", "filter.flat_after_s": "1h", "relay.min_on_s": 5, "relay.min_off_s": 6}, text
    )

    assert change.text == (
        "# head\nunit = 'F'\nmode = \"warm\"\n\n[filter]\nwindow = 5 # odd\nflat_after_s = 3600.0\n"
        "\n# where heat stops\n[limits]\nceiling = 75\n\n[relay]\nmin_on_s = 5.0\nmin_off_s = 6.0\n"
    )


@pytest.mark.parametrize(
    "text",
    [
        "",
        "# only a comment",
        "[band]\n",
        "[band]\nlow = 36",
        "band = { low = 36.0 }\n",
        "band = {}\n[limits]\n",
        "band.low = 36\nlimits.ceiling = 75\n",
        "band.low = 36\n[limits]\nceiling = 75\n",
        "[limits]\n[relay]\n[band]\n",
        '"mode" = "freeze"\n["band"]\n"low" = 36\n',
        'mode = """freeze"""\n[ band ]\n\tlow=36\n',
    ],
)
def test_keys_are_added_to_any_shape_of_file(text: str) -> None:
    change = plan(
        {"mode": "warm", "unit": "F", "band.low": "37F", "band.high": "41F", "limits.ceiling": "80F"}, text
    )

    assert parse_settings(change.text).settings == replace(
        Settings(), mode=Mode.WARM, low_c=c_from_f(37), high_c=c_from_f(41), ceiling_c=c_from_f(80)
    )


def test_missing_keys_that_nobody_changed_are_not_written() -> None:
    change = plan({"unit": "C", "band.low": "3C"}, "[band]\nhigh = 40.0\n")

    assert tomllib.loads(change.text) == {"unit": "C", "band": {"high": 4.444, "low": 3.0}}


def test_hand_edits_are_taken_along_and_told_apart() -> None:
    text = default_text().replace("min_on_s = 120.0", "min_on_s = 60.0").replace("high = 40.0", "high = 42.0")

    change = plan({"band.low": 37.0}, text)

    assert change.by_hand == {"band.high": (40.0, 42.0), "relay.min_on_s": (120.0, 60.0)}
    assert change.changes == {"band.low": (36.0, 37.0)}
    assert change.settings == replace(Settings(), low_c=c_from_f(37), high_c=c_from_f(42), min_on_s=60.0)

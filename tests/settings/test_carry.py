"""Settings and site in one text: as they were, or refused whole."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Mode, Refused
from overwinter.settings.carry import FILE_BYTES_MAX, carried_text, changes_towards, read_carried
from overwinter.settings.change import plan_change
from overwinter.settings.values import default_text, parse_settings, settings_facts

SITE = """\
# wired by hand
[site]
unit = "F"

[[sensor]]
name = "by the pump"
role = "control"
kind = "w1"
path = "/sys/bus/w1/devices/28-1"

[relay]
pin = 17
"""
ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1)
WARM = 'mode = "warm"  # a store\nunit = "C"\n\n[band]\nlow = 5.0\nhigh = 8.5\n'


@given(settings=ANY_TEXT, site=ANY_TEXT)
def test_any_two_texts_come_back_letter_by_letter(settings: str, site: str) -> None:
    tree = tomllib.loads(carried_text("1.2.3", settings, site))

    assert tree == {"overwinter": "1.2.3", "settings": settings, "site": site}


def test_both_files_stand_in_it_readably_and_come_back_with_their_comments() -> None:
    text = carried_text("1.2.3", WARM, SITE)
    carried = read_carried(text.encode(), "spare.toml")

    assert WARM in text
    assert SITE in text
    assert (carried.version, carried.settings_text, carried.site_text) == ("1.2.3", WARM, SITE)
    assert carried.settings.settings.mode is Mode.WARM
    assert carried.site.relay.pin == 17


def test_line_ends_of_another_system_are_kept() -> None:
    carried = read_carried(carried_text("1", WARM.replace("\n", "\r\n"), SITE).encode(), "spare.toml")

    assert carried.settings_text == WARM.replace("\n", "\r\n")


def test_all_problems_of_both_files_and_of_the_text_itself_come_at_once() -> None:
    text = carried_text("1", "[band]\nlow = 40.0\nhigh = 39.0\n", SITE.replace("17", "99")) + "\nextra = 1\n"

    with pytest.raises(Refused) as refused:
        read_carried(text.encode(), "spare.toml")

    said = [problem.text for problem in refused.value.problems]
    assert len(said) == 3
    assert any("extra: unknown key" in line for line in said)
    assert any("band." in line for line in said)
    assert any("relay.pin = 99" in line for line in said)


def test_every_shorter_text_is_refused() -> None:
    """A copy that was torn off is never taken for a whole one."""
    data = carried_text("1", WARM, SITE).encode().rstrip()

    for length in range(len(data)):
        with pytest.raises(Refused):
            read_carried(data[:length], "spare.toml")


@pytest.mark.parametrize(
    "data", [b"", b"\xff\xfe", b"overwinter = 1", b"#" * (FILE_BYTES_MAX + 1), b"settings = []\nsite = {}"]
)
def test_what_is_no_export_is_refused(data: bytes) -> None:
    with pytest.raises(Refused):
        read_carried(data, "spare.toml")


@pytest.mark.parametrize(
    "wanted",
    [
        pytest.param(WARM, id="another unit and mode"),
        pytest.param("", id="all defaults"),
        pytest.param("[band]\nlow = 37.25\n[limits]\nalarm_low = 35.05\n", id="same unit"),
        pytest.param('unit = "C"\n[relay]\nmin_on_s = 0.0\n[filter]\nwindow = 9\n', id="numbers"),
    ],
)
@pytest.mark.parametrize(
    "there",
    [
        pytest.param(default_text(), id="a first start's"),
        pytest.param('unit = "C"\n[band]\nlow = 10.0\nhigh = 12.0\n[limits]\nalarm_low = 9.0\n', id="warmer"),
        pytest.param("", id="empty"),
    ],
)
def test_what_is_asked_of_a_guard_brings_it_to_the_same_settings(there: str, wanted: str) -> None:
    target, now = parse_settings(wanted), parse_settings(there).settings

    changes = changes_towards(target, settings_facts(now))
    after = plan_change(there, changes, running=now, anyway=True).settings if changes else now

    near, far = settings_facts(after), settings_facts(target.settings)
    assert near.keys() == far.keys()
    for key, value in far.items():
        assert near[key] == (pytest.approx(value, abs=0.004) if isinstance(value, dict) else value)

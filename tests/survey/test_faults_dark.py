"""What is found while no guard runs: sensors and both files are read without it."""

import pytest

from overwinter.survey.finding import Grade
from tests.survey.machine import SYS_SENSORS, Fake
from tests.survey.spoiling import faults


def test_a_sensor_that_does_not_answer_is_found_without_a_guard(dark: Fake) -> None:
    dark.drop(f"{SYS_SENSORS}/iio:device0/in_temp_input")

    found = faults(dark)

    assert list(found) == ["service-inactive", "sensor-silent"]
    assert found["sensor-silent"].thing == 'sensor "by the pump"'
    assert "No such file" in found["sensor-silent"].value


def test_two_paths_that_lead_to_one_sensor_are_seen_through(dark: Fake) -> None:
    dark.drop(f"{SYS_SENSORS}/iio:device1")
    (dark.root / SYS_SENSORS.lstrip("/") / "iio:device1").symlink_to("iio:device0")

    assert "sensor-twice" in faults(dark)


@pytest.mark.parametrize("contact", ["NC", "NO"])
def test_contact_nc_without_a_guard_says_that_heat_is_on(dark: Fake, contact: str) -> None:
    dark.edit_site("pin = 17", f'pin = 17\ncontact = "{contact}"')

    found = faults(dark)

    assert ("contact-nc" in found) == (contact == "NC")
    if contact == "NC":
        assert "HEAT IS ON" in found["contact-nc"].value
        assert next(iter(found)) == "contact-nc", "the worst comes first"


def test_a_low_end_near_freezing_is_a_fault_that_names_its_line(dark: Fake) -> None:
    dark.edit(dark.at.settings, "low = 2.0", "low = 0.5")

    found = faults(dark)["low-end"]

    assert "0.5 C, below 1 C" in found.value
    assert found.command == "overwinter band 36F 40F"


def test_every_wrong_value_of_both_files_is_told_with_its_line(dark: Fake) -> None:
    dark.edit(dark.at.settings, "high = 5.0", "high = 500.0\nhihg = 5.0")
    dark.edit(dark.at.site, 'kind = "lamp"', 'kind = "candle"')
    dark.edit(dark.at.site, "pin = 17", "pin = 99")

    found = [one for one in dark.survey().of(Grade.FAULT) if one.code.endswith("-problem")]

    said = {one.thing: one.value for one in found}
    assert set(said) == {
        "/etc/overwinter/site.toml, line 26",
        "/etc/overwinter/site.toml, line 30",
        "/var/lib/overwinter/settings.toml, line 5",
        "/var/lib/overwinter/settings.toml, line 6",
    }
    assert "candle" in said["/etc/overwinter/site.toml, line 30"]
    assert "did you mean" in said["/var/lib/overwinter/settings.toml, line 6"]


def test_a_lone_dht11_is_refused_because_it_cannot_report_freezing(dark: Fake) -> None:
    for name in ("by the pump", "by the riser"):
        dark.edit(dark.at.site, f'name = "{name}"\nrole = "control"', f'name = "{name}"\nrole = "extra"')
    dark.add(dark.at.site, '[[sensor]]\nname = "cheap"\nrole = "control"\nkind = "dht11"\npin = 4\n')

    (found,) = [one for one in dark.survey().of(Grade.FAULT) if one.code == "site-problem"]

    assert "cannot report below 0" in found.value

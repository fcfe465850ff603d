"""The silence before a start."""

import pytest

from overwinter.core.nouns import Code
from overwinter.core.units import Unit
from overwinter.guard.clock import rfc3339
from overwinter.guard.gap import alarms, gap_before

NOON_S = 1_768_000_000.0
BOOT, OTHER = "boot-now", "boot-before"


def line(event: str, *, boot: str, up: float, utc_s: float, **fields: object) -> dict[str, object]:
    return {"t": rfc3339(utc_s), "up": up, "boot": boot, "event": event, **fields}


def sample(*, boot: str, ago_s: float, temperature_c: float | None = 3.5) -> dict[str, object]:
    return line("sample", boot=boot, up=10_000.0 - ago_s, utc_s=NOON_S - ago_s, temperature_c=temperature_c)


def gap(lines: list[dict[str, object]], *, is_synchronised: bool = True, utc_s: float = NOON_S):
    return gap_before(
        lines, boot=BOOT, now_s=10_000.0, utc_s=utc_s, record_s=60.0, is_synchronised=is_synchronised
    )


def test_the_first_start_has_no_gap_before_it() -> None:
    assert gap([]) is None


@pytest.mark.parametrize("boot", [BOOT, OTHER])
@pytest.mark.parametrize(("ago_s", "is_gap"), [(179.0, False), (180.0, True)])
def test_less_than_three_record_periods_is_none(boot: str, ago_s: float, is_gap: bool) -> None:
    assert (gap([sample(boot=boot, ago_s=ago_s)]) is not None) is is_gap


def test_a_kill_is_measured_by_the_time_since_boot_whatever_the_wall_clock_says() -> None:
    found = gap([sample(boot=BOOT, ago_s=1000.0)], utc_s=NOON_S - 1e9, is_synchronised=False)

    assert found is not None
    assert (found.length_s, found.is_least, found.cause, found.before_c) == (1000.0, False, "killed", 3.5)


def test_a_stop_is_no_kill() -> None:
    lines = [
        sample(boot=BOOT, ago_s=1000.0),
        line("stop", boot=BOOT, up=9_010.0, utc_s=NOON_S - 990.0, cause="SIGTERM"),
    ]
    found = gap(lines)

    assert found is not None
    assert (found.length_s, found.cause, found.before_c) == (990.0, "stopped", 3.5)


def test_another_boot_without_a_stop_is_a_power_cut() -> None:
    found = gap([sample(boot=OTHER, ago_s=7200.0)])

    assert found is not None
    assert (found.length_s, found.is_least, found.cause) == (7200.0, False, "power")


def test_across_boots_an_unsure_clock_tells_a_least_length_however_short_it_seems() -> None:
    found = gap([sample(boot=OTHER, ago_s=20.0)], is_synchronised=False)

    assert found is not None
    assert (found.length_s, found.is_least, found.cause) == (20.0, True, "power")


def test_a_clock_that_stands_before_the_last_record_tells_no_length() -> None:
    found = gap([sample(boot=OTHER, ago_s=20.0)], utc_s=0.0, is_synchronised=False)

    assert found is not None
    assert (found.length_s, found.is_least) == (None, True)


def test_an_end_by_an_error_is_of_unknown_cause() -> None:
    found = gap([line("stop", boot=BOOT, up=1.0, utc_s=NOON_S, cause="error")])

    assert found is not None
    assert found.cause == "unknown"
    assert found.before_c is None


def test_a_blind_last_sample_does_not_hide_the_temperature_before_it() -> None:
    lines = [sample(boot=BOOT, ago_s=900.0), sample(boot=BOOT, ago_s=840.0, temperature_c=None)]
    found = gap(lines)

    assert found is not None
    assert found.fields(4.25)["before_c"] == 3.5
    assert found.fields(4.25)["after_c"] == 4.25
    assert found.fields(None)["after_c"] is None


@pytest.mark.parametrize(
    ("ago_s", "is_synchronised", "length"),
    [
        pytest.param(7200.0, True, "for 2.0 h (power was away); 38.3 F before, 33.8 F now", id="known"),
        pytest.param(7200.0, False, "for at least 2.0 h", id="the clock may be behind"),
        pytest.param(600.0, False, "for a time that no clock tells", id="seems short, and nobody knows"),
        pytest.param(1700.0, True, None, id="short"),
    ],
)
def test_the_owner_is_told_of_a_long_silence_and_of_one_that_may_be(
    ago_s: float, is_synchronised: bool, length: str | None
) -> None:
    found = gap([sample(boot=OTHER, ago_s=ago_s)], is_synchronised=is_synchronised)
    assert found is not None
    told = alarms(found, 1.0, Unit.F)

    assert [fact.code for fact in told] == ([] if length is None else [Code.GAP])
    if length is not None:
        assert length in told[0].text


def test_a_stop_that_somebody_asked_for_is_no_alarm() -> None:
    stop = line("stop", boot=BOOT, up=100.0, utc_s=NOON_S - 9900.0, cause="SIGTERM")
    found = gap([sample(boot=BOOT, ago_s=9910.0), stop])

    assert found is not None
    assert found.cause == "stopped"
    assert alarms(found, 1.0, Unit.F) == []


def test_a_date_before_the_last_record_is_told_with_it() -> None:
    found = gap([sample(boot=OTHER, ago_s=20.0)], utc_s=0.0, is_synchronised=False)
    assert found is not None
    told = {fact.code: fact.text for fact in alarms(found, None, Unit.C)}

    assert set(told) == {Code.GAP, Code.CLOCK}
    assert "no reading yet" in told[Code.GAP]
    assert rfc3339(NOON_S - 20.0) in told[Code.CLOCK]


def test_a_record_from_the_future_of_a_clock_that_is_right_now_is_no_wrong_date() -> None:
    found = gap([sample(boot=OTHER, ago_s=20.0)], utc_s=NOON_S - 9000.0)
    assert found is not None
    assert [fact.code for fact in alarms(found, 1.0, Unit.F)] == [Code.GAP]

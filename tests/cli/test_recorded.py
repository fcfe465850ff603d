"""A logbook that keeps the form becomes spans, whoever wrote it; one that does not loses what is odd."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.cli.recorded import spans
from overwinter.core.nouns import Mode


def sample(minute: float, **fields: Any) -> dict[str, Any]:
    seconds = round(60.0 * minute)
    return {
        "t": f"2026-01-09T{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.000Z",
        "event": "sample",
        "temperature_c": 3.0,
        "humidity_pct": 70.0,
        "outdoor_c": -5.0,
        "flag": 1,
        "heat": 0.25,
        "mode": "freeze",
        "low_c": 2.22,
        "high_c": 4.44,
        "sensors": {"by the pump": [3.1, 70.0, 1]},
        **fields,
    }


def test_a_sample_a_minute_is_a_span_a_minute() -> None:
    found = list(spans([sample(0), sample(1, heat=1.0), sample(2, contacts={"door": 0.5})]))

    assert [span.lasts_s for span in found] == [60.0, 60.0, 60.0]
    assert [span.heat for span in found] == [0.25, 1.0, 0.25]
    assert (found[0].temperature_c, found[0].outdoor_c, found[0].low_c) == (3.0, -5.0, 2.22)
    assert found[0].sensors["by the pump"].temperature_c == 3.1
    assert found[2].contacts == {"door": 0.5}
    assert found[1].ends_s - found[0].ends_s == 60.0


def test_quicker_samples_are_put_together_until_they_span_a_minute() -> None:
    found = list(spans([sample(second / 60.0, heat=float(second % 20 == 0)) for second in range(0, 250, 10)]))

    assert [span.lasts_s for span in found[1:]] == pytest.approx([60.0] * (len(found) - 1))
    assert found[-1].heat == pytest.approx(0.5)


def test_a_silence_is_a_gap_and_not_a_long_span() -> None:
    found = list(spans([sample(0), sample(1), sample(2), sample(122), sample(123)]))

    assert [span.lasts_s for span in found] == [60.0] * 5
    assert [span.gap_s for span in found] == [0.0, 0.0, 0.0, 7140.0, 0.0]


def test_who_chose_heat_is_taken_from_the_events_between() -> None:
    heat: dict[str, Any] = {"t": sample(1)["t"], "event": "heat", "heat": True}
    found = list(
        spans(
            [
                sample(0),
                {**heat, "reason": "by-hand"},
                sample(1),
                sample(2),
                {**heat, "reason": "above-band"},
                sample(3),
            ]
        )
    )

    assert [span.is_forced for span in found] == [False, True, True, False]


def test_observe_never_heats_by_the_bands_choice() -> None:
    found = list(spans([sample(0, mode="observe", heat=0)]))

    assert found[0].mode is Mode.OBSERVE
    assert found[0].is_forced


def test_what_is_odd_in_a_line_is_left_out_of_it() -> None:
    odd = sample(
        1,
        temperature_c="warm",
        humidity_pct=True,
        outdoor_c=None,
        flag=77,
        heat=7.0,
        mode="?",
        sensors={"a": 3.0, "b": [1.0, None, 3]},
        contacts=[1],
    )
    del odd["low_c"]
    found = list(spans([sample(0), odd]))[1]

    assert (found.temperature_c, found.humidity_pct, found.outdoor_c) == (None, None, None)
    assert (found.flag, found.heat, found.mode) == (2, 1.0, Mode.FREEZE)
    assert list(found.sensors) == ["b"]
    assert found.contacts == {}


def test_lines_that_go_back_or_have_no_time_are_left_out() -> None:
    found = list(spans([sample(5), sample(4), sample(5), {**sample(6), "t": "noon"}, sample(7)]))

    assert len(found) == 2


@given(
    st.lists(
        st.dictionaries(
            st.sampled_from(
                [
                    *("t", "event", "temperature_c", "humidity_pct", "outdoor_c", "flag", "heat", "mode"),
                    *("low_c", "high_c", "sensors", "contacts", "reason"),
                ]
            ),
            st.none()
            | st.booleans()
            | st.floats()
            | st.integers()
            | st.text(max_size=5)
            | st.lists(st.floats(), max_size=3)
            | st.sampled_from(["sample", "heat", sample(1)["t"], sample(9)["t"]]),
        ),
        max_size=8,
    )
)
def test_no_line_is_so_odd_that_it_raises(lines: list[dict[str, Any]]) -> None:
    for span in spans([sample(0), *lines, sample(30)]):
        assert span.lasts_s > 0.0
        assert 0.0 <= span.heat <= 1.0

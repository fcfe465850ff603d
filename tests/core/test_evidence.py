"""What counts as evidence in a proof test."""

from typing import Any

import pytest

from overwinter.core.evidence import (
    FAILED,
    PASSED,
    UNFINISHED,
    Air,
    Answer,
    Seen,
    SensorSeen,
    Step,
    is_record,
    verdict_of,
)


def pump(temperature_c: float | None, age_s: float | None = 0.0, **more: Any) -> SensorSeen:
    kept = {"name": "pump", "is_control": True, "flag": 1, **more}
    return SensorSeen(temperature_c=temperature_c, age_s=age_s, **kept)


def seen(up_s: float, *sensors: SensorSeen) -> Seen:
    return Seen(up_s=up_s, started_s=0.0, heat=False, reason="inside-band", sensors=sensors)


def said(air: Air, *values_c: float, from_s: float = 0.0) -> Air:
    for index, value_c in enumerate(values_c):
        air.note(seen(from_s + 10.0 * index, pump(value_c)))
    return air


@pytest.mark.parametrize(
    ("verdicts", "worst"),
    [
        ([], UNFINISHED),
        ([PASSED], PASSED),
        ([PASSED, UNFINISHED, PASSED], UNFINISHED),
        ([FAILED, UNFINISHED, PASSED], FAILED),
    ],
)
def test_the_verdict_is_the_worst(verdicts: list[str], worst: str) -> None:
    assert verdict_of(verdicts) == worst


def test_a_step_is_kept_within_bounds() -> None:
    facts = Step(step="relay", verdict=PASSED, text="x" * 301, by="owner").facts()

    assert facts == {"step": "relay", "verdict": "passed", "by": "owner", "text": "x" * 300}
    assert is_record(PASSED, [facts])


@pytest.mark.parametrize(("flag", "is_good"), [(1, True), (2, True), (3, False), (4, False), (9, False)])
def test_only_a_believed_reading_is_good(flag: int, is_good: bool) -> None:
    assert pump(3.0, flag=flag).is_good is is_good
    assert not pump(None, flag=flag).is_good
    assert not pump(3.0, None, flag=flag).is_good


def test_the_same_reading_seen_again_is_no_new_one() -> None:
    air = Air()
    for second in range(100):
        air.note(seen(1000.0 + second, pump(3.0, float(second % 10))))

    assert air.has_spread  # ten readings, of which five are kept
    few = Air()
    for second in range(40):
        few.note(seen(1000.0 + second, pump(3.0, float(second % 10) + 0.04)))
    assert not few.has_spread


def test_doubtful_readings_and_other_sensors_say_nothing_of_the_air() -> None:
    air = Air()
    air.note(seen(0.0, pump(90.0, flag=3), pump(-9.0, is_control=False, name="outside"), pump(None)))

    assert air.levels_c() == {}
    assert air.spread_k() == 0.0
    assert not air.has_spread


def test_a_level_is_the_middle_of_three() -> None:
    assert said(Air(), 3.0).levels_c() == {"pump": 3.0}
    assert said(Air(), 3.0, 4.0).levels_c() == {"pump": 3.0}
    assert said(Air(), 9.0, 3.0, 4.0, 80.0).levels_c() == {"pump": 4.0}


def test_the_spread_is_of_the_last_five_readings_of_the_widest_sensor() -> None:
    air = said(Air(), 9.0, 3.0, 3.1, 3.2, 3.1, 3.3)
    air.note(seen(99.0, pump(5.0, name="door")))
    air.note(seen(109.0, pump(5.1, name="door")))

    assert air.spread_k() == pytest.approx(0.3)
    assert not air.has_spread


@pytest.mark.parametrize(
    ("values_c", "heat", "need_k"),
    [
        ((3.0,) * 5, True, 0.5),
        ((3.0,) * 5, False, 0.3),
        ((3.0, 3.2, 3.1, 3.0, 3.4), True, 0.8),
        ((3.0, 3.2, 3.1, 3.0, 3.4), False, 0.8),
    ],
)
def test_a_change_must_stand_out_of_the_noise(values_c: tuple[float, ...], heat: bool, need_k: float) -> None:
    assert Answer(said(Air(), *values_c), heat=heat).need_k == pytest.approx(need_k)


def test_a_rise_counts_from_where_the_air_turned() -> None:
    air = said(Air(), 3.0, 3.0, 3.0)
    answer = Answer(air, heat=True)
    said(air, 2.8, 2.8, 2.8, from_s=100.0)
    assert answer.change_k() == 0.0
    assert answer.against_k() == pytest.approx(0.2)

    said(air, 3.4, 3.4, 3.4, from_s=200.0)
    assert answer.change_k() == pytest.approx(0.6)
    assert answer.against_k() == pytest.approx(-0.4)


def test_a_fall_counts_from_where_the_air_turned() -> None:
    air = said(Air(), 3.0, 3.0, 3.0)
    answer = Answer(air, heat=False)
    said(air, 3.5, 3.5, 3.5, from_s=100.0)
    assert answer.change_k() == 0.0
    assert answer.against_k() == pytest.approx(0.5)

    said(air, 3.1, 3.1, 3.1, from_s=200.0)
    assert answer.change_k() == pytest.approx(0.4)


def test_any_sensor_may_answer_also_one_that_spoke_only_later() -> None:
    air = said(Air(), 3.0, 3.0, 3.0)
    answer = Answer(air, heat=True)
    for index, value_c in enumerate((5.0, 5.0, 5.0, 5.6, 5.6)):
        air.note(seen(100.0 + 10.0 * index, pump(value_c, name="door")))
        answer.change_k()

    assert answer.change_k() == pytest.approx(0.6)
    assert Answer(Air(), heat=True).against_k() == 0.0


STEP = {"step": "relay", "verdict": "passed", "by": None, "text": "on: current"}


@pytest.mark.parametrize(
    ("verdict", "steps"),
    [
        pytest.param("passed", "relay", id="no list"),
        pytest.param("unfinished", [], id="no steps"),
        pytest.param("passed", [STEP] * 13, id="too many"),
        pytest.param("failed", [STEP], id="another verdict than its steps"),
        pytest.param("passed", [STEP, {**STEP, "verdict": "failed"}], id="passed with a failure"),
        pytest.param("fine", [{**STEP, "verdict": "fine"}], id="unknown verdict"),
        pytest.param("passed", [{**STEP, "verdict": ["passed"]}], id="verdict of another type"),
        pytest.param("passed", [{**STEP, "more": 1}], id="an unknown key"),
        pytest.param("passed", [{"step": "relay", "verdict": "passed", "text": "x"}], id="a missing key"),
        pytest.param("passed", ["relay"], id="a step that is none"),
        pytest.param("passed", [{**STEP, "step": ""}], id="nameless"),
        pytest.param("passed", [{**STEP, "step": "x" * 41}], id="long name"),
        pytest.param("passed", [{**STEP, "by": 1}], id="confirmed by a number"),
        pytest.param("passed", [{**STEP, "text": "x" * 301}], id="long text"),
        pytest.param("passed", [{**STEP, "text": None}], id="no text"),
    ],
)
def test_what_no_proof_may_come_to(verdict: object, steps: object) -> None:
    assert not is_record(verdict, steps)


def test_what_a_proof_may_come_to() -> None:
    assert is_record("passed", [STEP] * 12)
    assert is_record("failed", [{**STEP, "by": "owner"}, {**STEP, "verdict": "failed"}])

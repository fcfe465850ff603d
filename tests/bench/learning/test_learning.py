"""The bench of what is learned must hold its own truths, and be able to say "missed"."""

import json
import math
import random
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

pytest.importorskip("numpy", reason="the simulated winters are kept in numpy's arrays")

from overwinter.core.nouns import Code
from overwinter.know.nouns import Finding, Span
from tests.bench.learning import bench, goals, measure, winters
from tests.bench.learning.faults import Fault, Kind, plan
from tests.bench.learning.goals import Bar
from tests.bench.learning.nouns import Duty, Found, Hours, Job, Limit, Result
from tests.bench.learning.other_house import OtherHouse
from tests.bench.learning.plants import names, plant
from tests.bench.learning.traces import Trace, trace, write_logbook

INVENTED = "invented, -4 C"
HOUSES = [(model, house) for model in ("twin", "other") for house in names(model)]
WIND_M_S = 5.0


@pytest.fixture(autouse=True)
def _own_traces(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OVERWINTER_TRACES", str(tmp_path_factory.getbasetemp() / "traces"))


def short(**changes: object) -> Trace:
    return trace("timber shed", INVENTED, 1, days=6, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(("model", "house"), HOUSES)
def test_at_its_limit_the_heater_just_holds_the_low_end(model: str, house: str) -> None:
    built = plant(model, house, 1, start_c=2.0, heater_share=1.0)
    if model == "twin":
        built._house._gust_at_s = math.inf  # type: ignore[attr-defined]
    limit_c = built.limit_c(2.0, wind_m_s=WIND_M_S)
    step_s = 60.0 if model == "twin" else 20.0
    for _ in range(25 * 1440):
        built.surroundings(wind_m_s=WIND_M_S, sun_w_m2=0.0, door="", is_half=False)
        for _ in range(round(60.0 / step_s)):
            built.advance(step_s, True, limit_c)

    assert built.air_c == pytest.approx(2.0, abs=0.05)
    assert limit_c < 0.0


def test_what_the_other_house_loses_is_what_goes_out() -> None:
    """First law over a minute without pump or sun: heat in, less what draught, shell and soil take."""
    house = OtherHouse("timber shed", 1, start_c=5.0)
    house.surroundings(wind_m_s=3.0, sun_w_m2=0.0, door="", is_half=False)

    def stored_j() -> float:
        stores = (*house._walls_c, house._things_c, house._tank_c, house._slab_c)
        held = sum(map(float.__mul__, house._capacities, stores))
        return held + house._air_j_k * house._air_c + house._pipe_j

    for _ in range(400):
        before_j = stored_j()
        out_w = house._draught_w_k * (house._air_c + 10.0)
        out_w += house._conductances[5] * (house._walls_c[4] + 10.0 - house._sun_k)
        out_w += house._conductances[9] * (house._slab_c - house._drawing.ground_c)
        house.advance(10.0, True, -10.0)
        assert stored_j() - before_j == pytest.approx(10.0 * (house._heater_w - out_w), abs=1.0)


@pytest.mark.parametrize("model", ["twin", "other"])
def test_a_trace_is_the_same_made_or_read(
    model: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    first, read = short(model=model), short(model=model)
    monkeypatch.setenv("OVERWINTER_TRACES", str(tmp_path))
    made = short(model=model)

    assert first.spans == read.spans == made.spans
    assert first.days == made.days
    assert [first.hours_to(0.0, at) for at in first.moments] == [
        made.hours_to(0.0, at) for at in made.moments
    ]


def test_the_colder_it_is_the_fewer_hours_are_left() -> None:
    made = trace("uninsulated block house", "invented, -9 C", 1, days=40)
    cold = [at for at in made.moments if made.outdoor_true_c[at] < -8.0]
    mild = [at for at in made.moments if -3.0 < made.outdoor_true_c[at] < -1.0 and made.air_c[at] > 2.0]

    assert cold
    assert mild
    assert max(made.hours_to(0.0, at) for at in cold) < min(made.hours_to(0.0, at) for at in mild)
    assert all(made.hours_to(1.0, at) <= made.hours_to(0.0, at) < math.inf for at in cold)


def test_hours_to_are_those_of_the_winter_in_which_the_heater_dies() -> None:
    """The lamp shed cools over hours, in which this weather moves by half a kelvin: within a fifth."""
    faults = [Fault(Kind.DEAD_WHILE_ON, 40 * 86400.0, 6 * 86400.0)]
    made = trace("insulated shed", "invented, -9 C", 1, days=43, faults=faults)
    died = round((made.faults[0].from_s - 100.0) / 60.0)
    at = min(moment for moment in made.moments if moment > died)
    truth_h = next(minute for minute in range(43 * 1440 - at) if made.air_c[at + minute] <= 0.0) / 60.0

    assert truth_h > 0.5
    assert made.hours_to(0.0, at) == pytest.approx(truth_h, rel=0.2)


def test_each_fault_sets_in_at_its_moment_and_heals() -> None:
    kinds = (Kind.DEAD_AT_SWITCH_ON, Kind.DEAD_WHILE_ON, Kind.WELDED, Kind.DOOR_OPEN, Kind.FLAT, Kind.LOST)
    faults = plan(kinds, seed=1, days=32, first_day=2)
    made = trace("timber shed", "invented, -9 C", 1, days=32, faults=faults)
    spans = {span.ends_s: span for span in made.spans}

    def heat(fault_s: float, minutes: int) -> float:
        first_s = made.spans[0].ends_s
        return spans[first_s + 60.0 * (math.ceil((fault_s - first_s) / 60.0) + minutes)].heat

    assert [happened.kind for happened in made.faults] == list(kinds)
    by_kind = {happened.kind: happened for happened in made.faults}
    dead, stops, welded = (by_kind[kind] for kind in kinds[:3])
    assert heat(dead.from_s, -1) == 0.0
    assert heat(dead.from_s, 1) == 1.0
    assert heat(stops.from_s, -1) == heat(stops.from_s, 1) == 1.0
    assert heat(welded.from_s, -1) == 1.0
    assert heat(welded.from_s, 1) == 0.0
    for happened in made.faults:
        assert happened.until_s - happened.from_s == pytest.approx(measured_lasts_s(happened.kind), abs=61.0)
    flat = [
        span
        for span in made.spans
        if by_kind[Kind.FLAT].from_s + 60 < span.ends_s < by_kind[Kind.FLAT].until_s
    ]
    assert len({(span.sensors["air"].temperature_c, span.sensors["air"].humidity_pct) for span in flat}) <= 2
    lost = [
        span
        for span in made.spans
        if by_kind[Kind.LOST].from_s + 300 < span.ends_s < by_kind[Kind.LOST].until_s
    ]
    assert {span.temperature_c for span in lost} == {None}
    assert all(span.is_forced and span.heat == 1.0 for span in lost)


def measured_lasts_s(kind: Kind) -> float:
    return next(fault.lasts_s for fault in plan([kind], seed=1, days=20))


def test_a_dead_heater_lets_the_house_cool_and_a_healthy_one_does_not() -> None:
    fault = Fault(Kind.DEAD_AT_SWITCH_ON, 20 * 86400.0, 3 * 3600.0)
    sick = trace("timber shed", "invented, -9 C", 1, days=24, faults=[fault])
    sound = trace("timber shed", "invented, -9 C", 1, days=24)
    at = round((sick.faults[0].from_s - 100.0) / 60.0) + 120

    assert sound.air_c[at] - sick.air_c[at] > 1.0


def test_the_logbook_says_what_the_spans_say(tmp_path: Path) -> None:
    made = short(pump=True, pump_contact=True)
    lines = [json.loads(line) for line in write_logbook(made, tmp_path).read_text().splitlines()]
    samples = [line for line in lines if line["event"] == "sample"]
    changes = [line for line in lines if line["event"] == "heat"]

    assert len(samples) == len(made.spans) == 6 * 1440
    assert [line["temperature_c"] for line in samples] == [span.temperature_c for span in made.spans]
    assert [line["up"] for line in lines] == sorted(line["up"] for line in lines)
    assert {"t", "up", "boot", "event"} <= set(lines[0])
    assert [line["heat"] for line in changes] == [at % 2 == 0 for at in range(len(changes))]
    assert changes


def test_tuning_and_reported_winters_are_disjoint_and_all_told() -> None:
    assert not set(winters.TUNING) & set(winters.REPORTED)
    assert len(winters.TUNING) + len(winters.REPORTED) >= 8
    assert set(bench.WINTERS) <= set(winters.REPORTED)
    for name in set(winters.TUNING + winters.REPORTED) - set(
        winters.missing(winters.TUNING + winters.REPORTED)
    ):
        told = winters.winter(name)
        assert len(told.outdoor_c) == len(told.wind_m_s) == len(told.sun_w_m2) == winters.HOURS
        assert all(-50.0 < outdoor_c < 40.0 for outdoor_c in told.outdoor_c)


def test_an_unknown_winter_is_named() -> None:
    with pytest.raises(LookupError, match="must be one of"):
        winters.winter("of our discontent")


@pytest.mark.parametrize(
    ("bar", "value", "verdict"),
    [
        (Bar(2.0, 1.2), 2.0, "met"),
        (Bar(2.0, 1.2), 2.01, "MISSED"),
        (Bar(2.0, 1.2), 1.2, "met, stretch too"),
        (Bar(0.85, is_least=True), 0.849, "MISSED"),
        (Bar(0.85, is_least=True), 0.85, "met"),
        (Bar(2.0), math.nan, "not measured"),
    ],
)
def test_a_row_says_whether_its_goal_was_met(bar: Bar, value: float, verdict: str) -> None:
    assert bar.verdict(value) == verdict


def _result(**changes: object) -> Result:
    kind = str(changes.pop("kind", "healthy"))
    job = Job(kind, "twin", "timber shed", INVENTED, 1)
    return Result(job, is_watched=True, **changes)  # type: ignore[arg-type]


def _verdicts(*results: Result) -> dict[str, str]:
    return {row.what: row.verdict for row in goals.rows(results)}


def test_a_limit_that_is_off_is_missed_and_one_unknown_is_not_counted() -> None:
    good = Limit(14, -15.0, -14.0, -18.0, -12.0)
    unknown = Limit(14, -15.0, None)
    bad = Limit(14, -15.0, -5.0, -6.0, -4.0)

    assert _verdicts(_result(limits=[good, unknown]))["outdoor limit, 14 days of log: median error [K]"] == (
        "met, stretch too"
    )
    assert (
        _verdicts(_result(limits=[bad, unknown]))["outdoor limit, 14 days of log: median error [K]"]
        == "MISSED"
    )


def test_never_is_right_only_where_it_is_never() -> None:
    never = Hours(math.inf, math.inf, 100.0, math.inf, math.inf, None)
    hopeful = Hours(2.0, math.inf, 1.0, math.inf, 3.0, 4.0)
    early = Hours(2.0, 1.0, 0.5, 3.0, 3.0, 3.0)

    assert goals._within(never, 2.0)
    assert not goals._hopeful(never)
    assert goals._hopeful(hopeful)
    assert not goals._within(hopeful, 2.0)
    assert goals._within(early, 2.0)
    assert not goals._hopeful(early)


def test_a_day_without_heat_says_nothing_about_duty() -> None:
    rows = {row.what: row for row in goals._duties([Duty(0.0, 0.0, 0.0), Duty(0.3, 0.2, 0.35)])}

    assert rows["next-day duty, duty < 0.5: mean error"].measured == "0.0500 of 1 days"
    assert rows["next-day duty, duty < 0.5: mean error"].verdict == "MISSED"


def test_a_fault_never_found_is_missed() -> None:
    def lost(delay_s: float | None) -> Result:
        found = Found(Kind.LOST, 3.0, delay_s, is_dark=False, can_be_seen=False, said_otherwise=())
        return _result(kind="faulty", found=[found])

    assert _verdicts(lost(120.0))["lost sensor: found in 10 min"] == "met"
    assert _verdicts(lost(120.0), lost(None))["lost sensor: found in 10 min"] == "MISSED"


def test_without_a_finder_nothing_is_called_met() -> None:
    result = _result()
    result.is_watched = False

    assert _verdicts(result)["faults and false words"] == "not measured"
    assert "false heater-dead in 49 house-winters, healthy" not in _verdicts(result)


def test_false_words_are_counted_for_49_winters() -> None:
    winter = [_result() for _ in range(48)]
    said = _result(false=[("heater-dead", 3.0, "")])

    assert _verdicts(*winter, said)["false heater-dead in 49 house-winters, healthy"] == "met"
    assert _verdicts(*winter[1:], said)["false heater-dead in 49 house-winters, healthy"] == "MISSED"


def test_words_are_one_episode_until_an_hour_of_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    class Finder:
        def __init__(self, site: object, *, is_replay: bool) -> None:
            self.count = 0

        def take(self, span: Span) -> tuple[Finding, ...]:
            self.count += 1
            return (Finding(code=Code.DAMP, text="damp"),) if self.count in (3, 4, 30, 200) else ()

    find = pytest.importorskip("overwinter.know.find", reason="the finder is not there")
    monkeypatch.setattr(find, "Finder", Finder)
    said = measure.episodes(short().spans[:300], measure.site_of(short()))

    assert [(one.from_s, one.until_s) for one in said] == [(280.0, 1900.0), (12100.0, 12100.0)]


def test_the_page_names_what_was_missed() -> None:
    found = Found(Kind.WELDED, 3.0, None, is_dark=True, can_be_seen=False, said_otherwise=("cold",))
    sick = _result(kind="faulty", found=[found], false=[("heater-dead", 5.25, "it gives no heat")])
    sound = _result(
        limits=[Limit(14, -15.0, -16.5, -18.0, -12.0)], hours=[Hours(2.0, 1.0, 0.5, 3.0, 3.0, 3.0)]
    )
    page = bench.page([sick, sound], details=True)

    assert "welded on day 3.00: never cold" in page
    assert "day 5.25 heater-dead: it gives no heat" in page
    assert "limit -15.0: -1.5" in page
    assert "2 house-winters" in page


def test_the_house_that_hides_dead_heaters_is_told_beside_all_others() -> None:
    def dead(house: str, *delays_s: float | None) -> Result:
        kind = Kind.DEAD_AT_SWITCH_ON
        found = [
            Found(kind, 3.0, delay_s, is_dark=False, can_be_seen=False, said_otherwise=())
            for delay_s in delays_s
        ]
        made = _result(kind="faulty", found=found)
        made.job = replace(made.job, house=house)
        return made

    told = {
        judged.what: judged.measured
        for judged in goals.rows(
            [dead("timber shed", 300.0, 600.0), dead("insulated shed", 601.0, None, 60.0)]
        )
    }

    assert told["... in 10 min, the worst house and all others"] == "1 of 3 (twin, insulated shed); 2 of 2"


def test_faults_are_planned_in_order_and_far_apart() -> None:
    for seed in random.Random(1).sample(range(1000), 20):
        planned = measure.faults_of(Job("faulty", "twin", "timber shed", INVENTED, seed))
        begins = [fault.begins_s for fault in planned]

        assert sorted(fault.kind for fault in planned) == sorted(measure.FAULTS)
        assert all(later - earlier > 4 * 86400.0 for earlier, later in pairwise(begins))

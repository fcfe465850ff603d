"""What is said of pipes after a silence: the cold end, and what is not known."""

import math

from overwinter.core.nouns import PipeSpec
from overwinter.know.frozen import BARE, OUTDOOR_MARGIN_K, Verdict, may_have_frozen
from overwinter.physics.constants import WATER_J_KGK, WATER_KG_M3
from overwinter.physics.pipe import resistances_m_kw
from overwinter.physics.ranges import Range

LAGGED = PipeSpec(name="riser", length_m=1.5, bore_m=0.0202, outside_m=0.022, insulation_m=0.025)
ERROR_K = 0.5


def start_s(pipe: PipeSpec, water_c: float, air_c: float) -> float:
    """Closed form: one lump that cools to 0 C in air of one temperature, at the least resistance."""
    heat_j_mk = WATER_KG_M3 * WATER_J_KGK * math.pi / 4.0 * pipe.bore_m**2
    lag_s = resistances_m_kw(pipe, air_c=min(-1.0, air_c + ERROR_K)).low * heat_j_mk
    return lag_s * math.log((water_c - air_c) / -air_c)


def test_ice_begins_when_the_closed_form_says_so() -> None:
    outside_c = -10.0
    begins_s = start_s(LAGGED, 3.0 - ERROR_K, outside_c - OUTDOOR_MARGIN_K - ERROR_K)
    for factor, verdict in ((0.98, Verdict.NO), (1.1, Verdict.MAY_HAVE)):
        said = may_have_frozen(
            pipes=[LAGGED],
            gap_s=begins_s * factor,
            before_c=3.0,
            after_c=outside_c - OUTDOOR_MARGIN_K,
            outdoor_c=[outside_c],
        )
        assert said.verdict is verdict


def test_a_mild_outdoors_freezes_nothing() -> None:
    said = may_have_frozen(pipes=[LAGGED], gap_s=80_000.0, before_c=4.0, after_c=5.0, outdoor_c=[8.0, 6.0])
    assert said.verdict is Verdict.NO
    assert said.pipes[0].ice_share == Range(best=0.0, low=0.0, high=0.0)


def test_without_a_length_it_cannot_be_known() -> None:
    said = may_have_frozen(pipes=[LAGGED], gap_s=None, before_c=3.0, after_c=2.0, outdoor_c=[8.0])
    assert said.verdict is Verdict.UNKNOWN
    assert said.pipes[0].ice_share is None
    assert "how long it lasted" in said.text
    assert "never with a flame" in said.text


def test_a_least_length_never_says_no() -> None:
    said = may_have_frozen(
        pipes=[LAGGED], gap_s=600.0, before_c=4.0, after_c=5.0, outdoor_c=[8.0], is_least=True
    )
    assert said.verdict is Verdict.UNKNOWN


def test_without_outdoors_a_long_silence_cannot_be_known_and_a_short_one_can_be_harmless() -> None:
    silent = [
        may_have_frozen(pipes=[LAGGED], gap_s=gap_s, before_c=4.0, after_c=3.0).verdict
        for gap_s in (120.0, 40_000.0)
    ]
    assert silent == [Verdict.NO, Verdict.UNKNOWN]


def test_learned_cooling_narrows_the_cold_end() -> None:
    def slow(hours: float, outdoor_c: float) -> Range:
        air_c = outdoor_c + (4.0 - outdoor_c) * math.exp(-hours / 100.0)
        return Range(best=air_c, low=air_c, high=air_c)

    def high(cooling: object) -> Verdict:
        return may_have_frozen(
            pipes=[BARE],
            gap_s=28_800.0,
            before_c=4.0,
            after_c=3.0,
            outdoor_c=[-10.0],
            cooling=slow if cooling else None,
        ).verdict

    assert high(None) is Verdict.MAY_HAVE
    assert high(slow) is Verdict.NO


def test_frost_on_both_sides_is_ice_even_at_the_warm_end() -> None:
    said = may_have_frozen(pipes=[BARE], gap_s=36_000.0, before_c=-4.0, after_c=-4.0, outdoor_c=[-8.0])
    share = said.pipes[0].ice_share
    assert share is not None
    assert share.low > 0.0
    assert said.verdict is Verdict.MAY_HAVE


def test_without_pipes_a_bare_one_is_judged_and_said() -> None:
    said = may_have_frozen(pipes=[], gap_s=36_000.0, before_c=2.0, after_c=-3.0, outdoor_c=[-8.0])
    assert said.is_assumed_pipe
    assert "bare 15 mm copper pipe" in said.text
    assert [pipe.name for pipe in said.pipes] == [BARE.name]


def test_learned_cooling_that_the_temperature_after_disproves_is_not_believed() -> None:
    def never(hours: float, outdoor_c: float) -> Range:
        return Range(best=4.0, low=4.0, high=4.0)

    verdicts = [
        may_have_frozen(
            pipes=[BARE], gap_s=14_400.0, before_c=4.0, after_c=after_c, outdoor_c=[-10.0], cooling=never
        ).verdict
        for after_c in (4.0, 1.0)
    ]
    assert verdicts == [Verdict.NO, Verdict.MAY_HAVE]


def test_a_short_silence_that_ends_warm_froze_nothing_though_it_was_cold_outdoors() -> None:
    """Without heat a house only cools: what is warm at the end was never much colder."""
    short = {"pipes": (), "before_c": 4.0, "after_c": 3.0, "outdoor_c": (-15.0,)}

    assert may_have_frozen(gap_s=3600.0, **short).verdict is Verdict.NO  # type: ignore[arg-type]
    assert may_have_frozen(gap_s=20 * 3600.0, **short).verdict is Verdict.MAY_HAVE  # type: ignore[arg-type]

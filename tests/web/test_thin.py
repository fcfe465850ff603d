import math
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from overwinter.show.picture import Picture
from overwinter.web.thin import thinned
from tests.show.pictures import NOON, drawn, sample

MINUTES = 172_800
BEGIN_S = NOON.timestamp()


def values(picture: Picture) -> list[tuple[Any, ...]]:
    return list(zip(picture.at_s, picture.inside_c, picture.outdoor_c, picture.humidity_pct, strict=True))


def test_a_sine_with_spikes_of_one_minute_keeps_every_spike_of_a_winter() -> None:
    def inside_c(minute: int) -> float:
        if minute % 977 == 400:
            return 21.0 if minute % 2 else -9.0
        return round(3.0 + math.sin(minute / 40.0), 2)

    lines = (sample(60.0 * minute, inside_c(minute)) for minute in range(MINUTES))
    whole = drawn(lines, hours=120 * 24)
    spikes = [at_s for at_s, value in zip(whole.at_s, whole.inside_c, strict=True) if value in (21.0, -9.0)]
    assert len(spikes) > 170

    thin = thinned(whole, 2880)

    kept = [at_s for at_s, value in zip(thin.at_s, thin.inside_c, strict=True) if value in (21.0, -9.0)]
    assert kept == spikes
    assert len(thin.at_s) < MINUTES / 5
    assert (thin.gaps, thin.band, thin.from_s, thin.to_s) == (
        whole.gaps,
        whole.band,
        whole.from_s,
        whole.to_s,
    )


def test_heat_is_the_mean_of_its_column() -> None:
    whole = drawn([sample(36.0 * number, heat=float(number % 2)) for number in range(100)], hours=1)

    assert set(thinned(whole, 1).heat_share) == {0.5}


def test_each_way_to_be_doubtful_stays() -> None:
    lines = [sample(36.0 * number) for number in range(100)]
    lines[40]["flag"], lines[41]["flag"] = 3, 9
    thin = thinned(drawn(lines, hours=1), 1)

    assert {(at_s - BEGIN_S, flag) for at_s, flag in zip(thin.at_s, thin.flags, strict=True)} >= {
        (36.0 * 40, 3),
        (36.0 * 41, 9),
    }


def test_the_edges_of_a_gap_stay() -> None:
    """Else a line would be drawn through it."""
    lines = [sample(10.0 * number) for number in range(360) if not 100 < number < 200]
    whole = drawn(lines, hours=1)
    thin = thinned(whole, 1)

    assert whole.gaps == ((BEGIN_S + 1000.0, BEGIN_S + 2000.0),)
    assert {edge for gap in whole.gaps for edge in gap} <= set(thin.at_s)


def test_few_samples_stay_all() -> None:
    whole = drawn([sample(60.0 * minute) for minute in range(1440)])

    assert thinned(whole, 2880) is whole


degrees = st.none() | st.floats(-40.0, 60.0).map(lambda value: round(value, 2))


@given(st.lists(st.tuples(degrees, degrees), max_size=60), st.integers(1, 20))
def test_lowest_and_highest_are_never_lost_and_nothing_is_made_up(
    found: list[tuple[float | None, float | None]], columns: int
) -> None:
    lines = [
        sample(60.0 * number, inside, outdoor_c=outdoor) for number, (inside, outdoor) in enumerate(found)
    ]
    whole = drawn(lines, hours=1)
    thin = thinned(whole, columns)

    assert set(values(thin)) <= set(values(whole))
    assert list(thin.at_s) == sorted(thin.at_s)
    for ours, theirs in ((thin.inside_c, whole.inside_c), (thin.outdoor_c, whole.outdoor_c)):
        known, kept = ([one for one in side if one is not None] for side in (theirs, ours))
        assert (min(known, default=None), max(known, default=None)) == (
            min(kept, default=None),
            max(kept, default=None),
        )

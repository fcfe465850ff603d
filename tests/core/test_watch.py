"""Episodes: on-delay, off-delay, acknowledgement, and health in one word."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import Code, Health
from overwinter.core.watch import Episode, Watch, health

COLD = (Code.COLD, "")
LOST = (Code.SENSOR_LOST, "by the pump")
CLOCK = (Code.CLOCK, "")


def seen(watch: Watch, now_s: float, *present: tuple[Code, str], text: str = "so it is") -> list[str]:
    """What changed, as words."""
    return [
        f"{change.episode.code.value} {change.state}"
        for change in watch.see(dict.fromkeys(present, text), now_s)
    ]


def test_nothing_wrong_is_nothing_said() -> None:
    watch = Watch()

    assert seen(watch, 0.0) == []
    assert watch.raised() == []


def test_an_episode_is_one_alarm_and_one_clear() -> None:
    watch = Watch()

    said = [seen(watch, float(second), *([CLOCK] if 10 <= second < 20 else [])) for second in range(30)]

    assert said == [["clock raised"] if i == 10 else ["clock cleared"] if i == 20 else [] for i in range(30)]


@pytest.mark.parametrize(
    ("now_s", "said"),
    [
        pytest.param(599.9, [], id="just before"),
        pytest.param(600.0, ["sensor-lost raised"], id="exactly"),
    ],
)
def test_a_lost_sensor_is_told_after_ten_minutes(now_s: float, said: list[str]) -> None:
    watch = Watch()
    assert seen(watch, 0.0, LOST) == []

    assert seen(watch, now_s, LOST) == said


def test_what_ends_before_its_on_delay_is_never_told_and_starts_anew() -> None:
    watch = Watch()
    seen(watch, 0.0, LOST)
    assert seen(watch, 500.0) == []
    seen(watch, 510.0, LOST)

    assert seen(watch, 700.0, LOST) == []
    assert seen(watch, 1110.0, LOST) == ["sensor-lost raised"]


@pytest.mark.parametrize("key", [COLD, (Code.TOO_HOT, ""), (Code.SENSORS_DISAGREE, "")], ids=lambda k: k[0])
def test_what_trembles_at_its_limit_rings_once(key: tuple[Code, str]) -> None:
    watch = Watch()

    said = [
        word
        for second in range(0, 600, 10)
        for word in seen(watch, float(second), *[key][second // 10 % 2 :])
    ]

    assert said == [f"{key[0].value} raised"]
    assert watch.is_raised(key[0])


@pytest.mark.parametrize(
    "key",
    [COLD, (Code.TOO_HOT, ""), (Code.SENSORS_DISAGREE, "")],
    ids=lambda key: key[0],
)
def test_what_trembles_is_over_a_minute_after_it_was_last_so(key: tuple[Code, str]) -> None:
    watch = Watch()
    seen(watch, 0.0, key)
    assert seen(watch, 10.0) == []

    assert seen(watch, 69.9) == []
    assert seen(watch, 70.0) == [f"{key[0].value} cleared"]


def test_a_sensor_that_was_lost_is_over_at_once() -> None:
    watch = Watch()
    seen(watch, 0.0, LOST)
    seen(watch, 600.0, LOST)

    assert seen(watch, 600.0) == ["sensor-lost cleared"]


def test_two_sensors_are_two_episodes() -> None:
    watch = Watch()
    other = (Code.SENSOR_DOUBTFUL, "by the door")
    seen(watch, 0.0, (Code.SENSOR_DOUBTFUL, "by the pump"))
    seen(watch, 5.0, (Code.SENSOR_DOUBTFUL, "by the pump"), other)

    assert [(episode.subject, episode.since_s) for episode in watch.raised()] == [
        ("by the pump", 0.0),
        ("by the door", 5.0),
    ]
    assert seen(watch, 9.0, other) == ["sensor-doubtful cleared"]


def test_the_text_follows_the_evidence() -> None:
    watch = Watch()
    seen(watch, 0.0, CLOCK, text="first")
    seen(watch, 1.0, CLOCK, text="later")

    assert [episode.text for episode in watch.raised()] == ["later"]


def test_only_what_is_raised_and_fresh_is_acknowledged() -> None:
    watch = Watch()
    seen(watch, 0.0, CLOCK, LOST)

    assert [change.episode.code for change in watch.acknowledge()] == [Code.CLOCK]
    assert watch.acknowledge() == []
    assert [episode.acknowledged for episode in watch.raised()] == [True]


def test_a_new_episode_must_be_acknowledged_anew() -> None:
    watch = Watch()
    seen(watch, 0.0, CLOCK)
    watch.acknowledge()
    seen(watch, 1.0)
    seen(watch, 2.0, CLOCK)

    assert [episode.acknowledged for episode in watch.raised()] == [False]


def test_is_raised_asks_for_what_people_were_told_of() -> None:
    watch = Watch()
    seen(watch, 0.0, LOST)
    assert not watch.is_raised(Code.SENSOR_LOST)
    seen(watch, 600.0, LOST)

    assert watch.is_raised(Code.SENSOR_LOST)
    assert not watch.is_raised(Code.COLD)


# --- health -------------------------------------------------------------------------------------------------


def episodes(*codes: Code) -> list[Episode]:
    return [Episode(code, "", "", 0.0, raised=True) for code in codes]


@pytest.mark.parametrize(
    ("codes", "is_blind", "is_function_check", "expected"),
    [
        pytest.param((), False, False, Health.NORMAL, id="nothing"),
        pytest.param((), True, False, Health.FAILURE, id="blind"),
        pytest.param((), False, True, Health.FUNCTION_CHECK, id="being checked"),
        pytest.param((), True, True, Health.FAILURE, id="blind while being checked"),
        pytest.param((Code.RELAY_WORN,), False, True, Health.FUNCTION_CHECK, id="a check hides maintenance"),
        pytest.param((Code.COLD,), False, True, Health.OUT_OF_SPECIFICATION, id="but no cold"),
        pytest.param((Code.COLD, Code.HEATER_DEAD), False, False, Health.FAILURE, id="the worst wins"),
    ],
)
def test_health_is_the_worst_of_what_is_present(
    codes: tuple[Code, ...], is_blind: bool, is_function_check: bool, expected: Health
) -> None:
    assert health(episodes(*codes), is_blind=is_blind, is_function_check=is_function_check) is expected


_FAILURE = {Code.SENSOR_LOST, Code.SENSORS_DISAGREE, Code.HEATER_DEAD, Code.HEAT_STUCK_ON}
_OUTSIDE = {
    Code.COLD,
    Code.TOO_HOT,
    Code.SENSOR_DOUBTFUL,
    Code.HEATER_TOO_SMALL,
    Code.COOLING_FAST,
    Code.MAY_HAVE_FROZEN,
    Code.WET_FLOOR,
}


@pytest.mark.parametrize("code", list(Code), ids=str)
def test_every_alarm_has_its_category(code: Code) -> None:
    expected = (
        Health.FAILURE
        if code in _FAILURE
        else Health.OUT_OF_SPECIFICATION
        if code in _OUTSIDE
        else Health.MAINTENANCE_REQUIRED
    )

    assert health(episodes(code), is_blind=False, is_function_check=False) is expected


# --- what must always hold ---------------------------------------------------------------------------------

KEYS = [COLD, LOST, CLOCK, (Code.SENSOR_LOST, "by the door"), (Code.DISK, "")]


@given(
    st.lists(
        st.tuples(st.sets(st.sampled_from(KEYS)), st.floats(min_value=0.0, max_value=700.0), st.booleans()),
        max_size=40,
    )
)
def test_raised_and_cleared_take_turns_and_episodes_stay_bounded(
    turns: list[tuple[set[tuple[Code, str]], float, bool]],
) -> None:
    watch, now_s = Watch(), 0.0
    state: dict[tuple[Code, str], str] = {}
    for present, step_s, quiet in turns:
        now_s += step_s
        changes = watch.see(dict.fromkeys(present, "so it is"), now_s)
        changes += watch.acknowledge() if quiet else []
        for change in changes:
            key = (change.episode.code, change.episode.subject)
            allowed = {"cleared": {"raised"}, "raised": {"acknowledged", "cleared"}}
            before = state.get(key, "cleared")
            assert change.state in allowed.get(before, {"cleared"})
            state[key] = change.state
        assert len(watch._episodes) <= len(KEYS)


def test_what_comes_and_goes_is_told_at_most_once_in_ten_minutes() -> None:
    """A loose wire, a float switch in the waves: present whenever it is, told at its pace."""
    watch, told = Watch(), []
    wet = (Code.WET_FLOOR, "floor")
    for second in range(0, 7200, 5):
        is_wet = (second // 20) % 2 == 0
        said = seen(watch, float(second), *([wet] if is_wet else []))
        told += [second for one in said if "raised" in one]
        assert watch.is_raised(Code.WET_FLOOR) is is_wet, "status always says how it is"

    assert told[0] == 0
    assert all(later - earlier >= 600 for earlier, later in itertools.pairwise(told))
    assert len(told) == 12


def test_what_was_not_told_is_not_called_off() -> None:
    watch = Watch()
    wet = (Code.WET_FLOOR, "floor")
    assert len(seen(watch, 0.0, wet)) == len(seen(watch, 1.0)) == 1, "raised, cleared"

    assert seen(watch, 2.0, wet) == []
    assert seen(watch, 3.0) == []


def test_what_lasts_through_the_pause_is_told_after_it() -> None:
    watch = Watch()
    wet = (Code.WET_FLOOR, "floor")
    seen(watch, 0.0, wet)
    seen(watch, 1.0)

    assert seen(watch, 2.0, wet) == seen(watch, 599.0, wet) == []
    assert len(seen(watch, 600.0, wet)) == 1


def test_what_is_acknowledged_before_it_was_told_again_stays_untold() -> None:
    watch = Watch()
    wet = (Code.WET_FLOOR, "floor")
    seen(watch, 0.0, wet)
    seen(watch, 1.0)
    seen(watch, 2.0, wet)

    assert watch.acknowledge() == []
    assert seen(watch, 700.0, wet) == []
    assert seen(watch, 701.0) == []


@pytest.mark.parametrize(
    ("sense_s", "after_s"),
    [
        pytest.param(1.0, 9.0, id="nine quick readings"),
        pytest.param(10.0, 90.0, id="nine readings"),
        pytest.param(300.0, 120.0, id="two minutes where sensors are read seldom"),
    ],
)
def test_cold_outlasts_some_readings_before_it_is_told(sense_s: float, after_s: float) -> None:
    watch = Watch()
    watch.see({COLD: "cold"}, 0.0, sense_s=sense_s)

    assert watch.see({COLD: "cold"}, after_s - 0.5, sense_s=sense_s) == []
    assert [change.state for change in watch.see({COLD: "cold"}, after_s, sense_s=sense_s)] == ["raised"]

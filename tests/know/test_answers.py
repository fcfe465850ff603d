"""What is learned of the heater's answers: and from which phases."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.know.answers import (
    KNOWN,
    TENS_LEAST,
    Answers,
    between,
    last_passed,
)
from overwinter.know.nouns import Span
from overwinter.know.phases import Course, Phase
from overwinter.know.running import Usual

LOW_C, HIGH_C = 2.0, 4.0


def heated(*, top_c: float = 4.0, is_suspect: bool = False) -> Phase:
    """Heat for ten minutes."""
    phase = Phase(is_on=True, began_s=0.0, began_c=LOW_C, is_whole=True)
    phase.top_c = top_c
    phase.is_suspect = is_suspect
    phase.seen = [(3, 0.5), (5, 1.0)]
    return phase


def released(change_k: float = -0.6) -> Phase:
    """Ten minutes without heat."""
    phase = Phase(is_on=False, began_s=0.0, began_c=HIGH_C, is_whole=True)
    phase.seen = [(5, change_k)]
    return phase


def end(air_c: float = LOW_C, *, outdoor_c: float | None = None) -> Span:
    """The span that ends a phase."""
    return Span(
        ends_s=600.0, lasts_s=60.0, temperature_c=air_c, outdoor_c=outdoor_c, low_c=LOW_C, high_c=HIGH_C
    )


def test_heat_that_reached_the_high_end_teaches() -> None:
    answers = Answers()

    assert answers.learn(heated(), end(HIGH_C), is_found=False) == (True, True)

    assert (answers.rises[3].count, answers.rises[3].mean) == (1.0, 0.5)


@pytest.mark.parametrize("top_c", [LOW_C, 2.9])
def test_heat_that_never_reached_it_teaches_nothing(top_c: float) -> None:
    answers = Answers()

    assert answers.learn(heated(top_c=top_c), end(top_c), is_found=False) == (False, False)

    assert answers.rises[3].count == 0.0


def test_what_was_found_wrong_teaches_no_rise_though_it_ended_well() -> None:
    answers = Answers()

    assert answers.learn(heated(is_suspect=True), end(HIGH_C), is_found=False) == (True, False)
    assert answers.learn(heated(), end(HIGH_C), is_found=True) == (True, False)

    assert answers.rises[3].count == 0.0


def test_forced_heat_teaches_nothing() -> None:
    answers, phase = Answers(), heated()
    phase.is_forced = True

    assert answers.learn(phase, end(HIGH_C), is_found=False) == (False, False)


def test_without_heat_the_air_falls_faster_in_greater_cold_and_never_slower_than_is_usual() -> None:
    answers = Answers()
    assert answers.colder() == 1.0
    answers.see(end(3.0, outdoor_c=-7.0))
    answers.learn(released(), end(), is_found=False)

    answers.see(end(3.0, outdoor_c=-17.0))
    assert answers.colder() == pytest.approx(2.0)
    answers.see(end(3.0, outdoor_c=-2.0))
    assert answers.colder() == 1.0


def test_a_strange_answer_teaches_only_once_it_lasts() -> None:
    answers = Answers()
    for _ in range(3 * KNOWN):
        answers.learn(released(-0.6), end(), is_found=False)
    for times in (1, 2):
        answers.learn(released(-3.0), end(), is_found=False)
        assert answers.falls[5].mean == pytest.approx(-0.6), times
    answers.learn(released(-3.0), end(), is_found=False)

    assert answers.falls[5].mean < -0.6


def bumped(bump_k: float, *, lasted_s: float = 600.0, is_suspect: bool = False) -> Answers:
    """After one phase without heat in which the air rose so far."""
    answers, phase = Answers(), released()
    phase.bump_k, phase.is_suspect, phase.began_s = bump_k, is_suspect, 600.0 - lasted_s
    answers.learn(phase, end(), is_found=is_suspect)
    return answers


@pytest.mark.parametrize(("bump_k", "learned_k"), [(0.2, 0.0), (0.8, 0.8), (9.0, 5.0)])
def test_how_far_the_air_rises_without_heat_is_learned_within_reason(bump_k: float, learned_k: float) -> None:
    assert bumped(bump_k).bump_k == learned_k


def test_what_was_called_a_welded_contact_teaches_only_if_it_was_soon_over() -> None:
    assert bumped(0.8, is_suspect=True).bump_k == 0.8
    assert bumped(0.8, is_suspect=True, lasted_s=4 * 3600.0).bump_k == 0.0


def test_a_rise_without_heat_is_forgotten_slowly() -> None:
    answers = bumped(0.8)
    quiet = released()
    quiet.began_s = 600.0 - 20 * 86400.0
    answers.learn(quiet, end(), is_found=False)
    assert answers.bump_k == pytest.approx(0.8 / math.e)


def test_what_is_stored_is_gone_on_from() -> None:
    answers = bumped(0.8)
    answers.see(end(3.0, outdoor_c=-17.0))
    for _ in range(KNOWN):
        answers.learn(heated(), end(HIGH_C), is_found=False)
        answers.learn(released(), end(), is_found=False)
    again = Answers()

    again.recall(answers.facts())

    assert again.facts() == answers.facts()


KEPT = ("rises", "falls", "leaning", "cold", "bump")


@given(st.dictionaries(st.sampled_from(KEPT), st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["3", "5", "x"]), inner),
)))  # fmt: skip
def test_whatever_is_stored_it_goes_on(stored: dict[str, object]) -> None:
    answers = Answers()

    answers.recall(stored)

    assert answers.colder() >= 1.0


def test_a_stored_cold_of_nothing_is_reckoned_with_as_little() -> None:
    answers = Answers()

    answers.recall({"cold": [9.0, 0.0, 0.0]})

    assert answers.colder() == 1.0 / TENS_LEAST


def test_the_last_minute_that_has_passed() -> None:
    answers = Answers()

    assert last_passed(answers.rises, 1.0) == (0, None)
    assert last_passed(answers.rises, 4.6)[0] == 5
    assert last_passed(answers.rises, 900.0)[0] == 30


@pytest.mark.parametrize(
    ("minutes", "mean", "variance"),
    [(3.0, 1.0, 0.1), (4.0, 2.0, 0.2), (5.0, 3.0, 0.3), (6.0, 3.0, 0.3), (900.0, 3.0, 0.3)],
)
def test_between_two_minutes_it_is_on_the_line_and_after_the_last_as_then(
    minutes: float, mean: float, variance: float
) -> None:
    usuals = {3: Usual(9.0, 1.0, 0.1), 4: Usual(1.0, 70.0, 7.0), 5: Usual(9.0, 3.0, 0.3), 6: Usual()}

    usual = between(usuals, minutes, known=4)

    assert usual is not None
    assert (usual.mean, usual.variance) == pytest.approx((mean, variance))


@pytest.mark.parametrize("known", [4, 10])
def test_before_the_first_minute_nothing_is_usual(known: int) -> None:
    assert between({3: Usual(9.0, 1.0, 0.1)}, 2.9 if known == 4 else 3.0, known=known) is None


def heat_comes_on(answers: Answers, fell_k: float) -> Phase:
    """In air that fell by so much in fifteen minutes, a third of it in the last five."""
    phase = heated()
    phase.before_k = (fell_k / 3.0, fell_k)
    answers.note(phase, 0.5, 0.0, Course(), is_pumped=False)
    return phase


def test_a_rise_is_expected_to_be_less_where_the_air_fell_fast() -> None:
    answers = Answers()
    for at in range(40):
        fell_k = -0.1 * (at % 10)
        phase = heat_comes_on(answers, fell_k)
        phase.seen = [(3, 1.0 + fell_k)]
        answers.learn(phase, end(HIGH_C), is_found=False)

    expected = [heat_comes_on(answers, fell_k).expected[3] for fell_k in (0.0, -0.9)]

    assert [one.mean for one in expected] == pytest.approx([1.0, 0.1], abs=0.06)
    assert expected[0].variance < 0.1 * answers.rises[3].variance


def test_a_switch_of_which_nothing_is_known_before_expects_what_is_usual() -> None:
    answers, phase = Answers(), heated()

    answers.note(phase, 0.5, 0.0, Course(), is_pumped=False)
    answers.learn(phase, end(HIGH_C), is_found=False)

    assert not phase.expected
    assert phase.circumstances is None
    assert answers.rises[3].count == 1.0

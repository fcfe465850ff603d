"""Nights and whole lives, drawn at random."""

from dataclasses import replace

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from overwinter.core.nouns import (
    Arrival,
    Reading,
    Settings,
    Site,
    TakeSite,
)
from overwinter.core.state import State
from overwinter.core.turn import Outcome, turn
from tests import strategies
from tests.core.rig import House

MANY = settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])

LIVES = settings(MANY, max_examples=40)  # a whole life takes 50 ms to draw

Turns = list[tuple[float, list[Arrival]]]

Noise = list[tuple[float, list[float | None]]]


@st.composite
def nights(draw: st.DrawFn) -> Noise:
    """Phases in which the house lingers somewhere near the band, with a stray value in each: it switches."""
    stay = st.tuples(
        st.one_of(st.floats(min_value=-6.0, max_value=16.0), st.floats(min_value=-6.0, max_value=50.0)),
        st.integers(min_value=1, max_value=40),
        st.sampled_from([10.0, 10.0, 60.0]),
        strategies.temperatures_c,
    )
    noise: Noise = []
    for temperature_c, count, step_s, stray_c in draw(st.lists(stay, max_size=8)):
        noise += [(step_s, [temperature_c + 0.01 * (index % 2)]) for index in range(count)]
        noise.append((step_s, [stray_c]))
    return noise


lone_turns = st.one_of(
    nights(),
    st.lists(st.tuples(strategies.steps_s, st.lists(strategies.temperatures_c, max_size=2)), max_size=40),
)

"""(step_s, what the one sensor says in that turn)"""


@st.composite
def whole_lives(draw: st.DrawFn) -> tuple[Site, Settings, Turns]:
    """A site, its settings, and turns in which anything arrives."""
    site, begin = draw(strategies.sites()), draw(strategies.settings())
    recalibrated = replace(site, sensors=tuple(replace(spec, offset_c=1.0) for spec in site.sensors))
    retaken = st.just(TakeSite(site=recalibrated))
    now_s, turns = 0.0, []
    for _ in range(draw(st.integers(min_value=0, max_value=25))):
        now_s += draw(strategies.steps_s)
        arrivals = st.one_of(strategies.readings(site, now_s), strategies.commands(), retaken)
        turns.append((now_s, draw(st.lists(arrivals, max_size=4))))
    return site, begin, turns


def live(site: Site, begin: Settings, turns: Turns) -> tuple[State, list[Outcome]]:
    """All turns, one after the other."""
    state = State(site, begin, 0.0)
    return state, [turn(state, inbox, now_s) for now_s, inbox in turns]


def lone(begin: Settings, noise: Noise) -> House:
    """A house with one sensor that said all that."""
    house = House(begin)
    for step_s, values in noise:
        house.turn(*_said(values, house.now_s + step_s), after_s=step_s)
    return house


def _each(noise: Noise) -> list[Reading]:
    now_s, said = 0.0, []
    for step_s, values in noise:
        now_s += step_s
        said += _said(values, now_s)
    return said


def _said(values: list[float | None], now_s: float) -> list[Reading]:
    # Several within one turn come a tenth of a second apart, the last one now.
    count = len(values)
    return [
        Reading(sensor="by the pump", taken_s=now_s - 0.1 * (count - 1 - index), temperature_c=value)
        for index, value in enumerate(values)
    ]


# --- pipes -------------------------------------------------------------------------------------------------

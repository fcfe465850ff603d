"""Hypothesis strategies for the shared nouns, over everything that may really arrive."""

import math

from hypothesis import strategies as st

from overwinter.core.nouns import (
    Adopt,
    Arrival,
    Caller,
    Code,
    ContactSpec,
    ContactState,
    Fact,
    GiveBack,
    Mode,
    Quiet,
    Reading,
    RelaySpec,
    Release,
    Remark,
    Role,
    SensorSpec,
    SetHand,
    Settings,
    Site,
    TakeAway,
)
from overwinter.core.units import Unit

CALLER = Caller(uid=1000, user="ada", pid=4711)
KINDS = ("dht22", "dht11", "iio", "w1", "simulated")

ERROR_VALUES_C = (math.nan, math.inf, -math.inf, 85.0, -127.0, -3276.7, 3276.7, 0.0, -0.0, 1e308)

temperatures_c = st.one_of(
    st.floats(min_value=0.0, max_value=6.0),  # around the band
    st.sampled_from([1.5, 2.0, 4.0, 10.0, 24.0]),  # at the limits of the round settings
    st.floats(min_value=-40.0, max_value=80.0),
    st.sampled_from(ERROR_VALUES_C),
    st.none(),
)
humidities_pct = st.one_of(
    st.none(), st.floats(min_value=0.0, max_value=100.0), st.sampled_from([math.nan, math.inf, -1.0, 0.0])
)


@st.composite
def settings(draw: st.DrawFn, *modes: Mode) -> Settings:
    """Any that keep the rules: alarm_low < low < high < ceiling, odd windows, the ranges of each key.

    `modes`: which ones; none given is all.
    """
    low_c = draw(st.floats(min_value=-5.0, max_value=15.0))
    high_c = low_c + draw(st.floats(min_value=0.5, max_value=10.0))
    sense_s = draw(st.sampled_from([1.0, 2.5, 10.0, 60.0, 300.0]))
    return Settings(
        mode=draw(st.sampled_from(modes or tuple(Mode))),
        unit=draw(st.sampled_from(Unit)),
        low_c=low_c,
        high_c=high_c,
        sense_s=sense_s,
        record_s=sense_s * draw(st.integers(min_value=1, max_value=12)),
        window=draw(st.sampled_from([1, 3, 5, 5, 7, 31])),
        max_rate_k_min=draw(st.floats(min_value=0.5, max_value=600.0)),
        flat_after_s=draw(st.floats(min_value=60.0, max_value=86400.0)),
        lost_after_s=draw(st.floats(min_value=3.0, max_value=3600.0)),
        blind_duty=draw(st.sampled_from([0.1, 0.5, 1.0])),
        warm_above_c=draw(st.floats(min_value=0.0, max_value=20.0)),
        min_on_s=draw(st.floats(min_value=0.0, max_value=900.0)),
        min_off_s=draw(st.floats(min_value=0.0, max_value=900.0)),
        ceiling_c=high_c + draw(st.floats(min_value=3.0, max_value=20.0)),
        alarm_low_c=low_c - draw(st.floats(min_value=0.1, max_value=5.0)),
        exercise_every_days=draw(st.sampled_from([0.0, 0.01, 7.0])),
        exercise_for_s=draw(st.floats(min_value=60.0, max_value=1800.0)),
    )


@st.composite
def sites(draw: st.DrawFn) -> Site:
    """One to three control sensors, up to two others, each of any kind; one input that may be wet."""
    roles = draw(st.lists(st.just(Role.CONTROL), min_size=1, max_size=3))
    roles += draw(st.lists(st.sampled_from([Role.OUTDOOR, Role.EXTRA]), max_size=2))
    return Site(
        sensors=tuple(
            SensorSpec(
                name=f"sensor {index}",
                role=role,
                kind=draw(st.sampled_from(KINDS)),
                offset_c=draw(st.sampled_from([0.0, -0.5])),
            )
            for index, role in enumerate(roles)
        ),
        contacts=(ContactSpec(name="floor", kind="wet", pin=5),),
        relay=RelaySpec(rated_cycles=draw(st.sampled_from([None, 5]))),
    )


def readings(site: Site, now_s: float) -> st.SearchStrategy[Reading]:
    """Of any sensor of the site or of none of them, taken about now: late, early and at once."""
    return st.builds(
        Reading,
        sensor=st.sampled_from([*(spec.name for spec in site.sensors), "nobody"]),
        taken_s=st.sampled_from([now_s, now_s, now_s - 1.0, now_s - 400.0, now_s + 1e6, math.nan]),
        temperature_c=temperatures_c,
        humidity_pct=humidities_pct,
        error=st.sampled_from([None, "no answer"]),
    )


def commands() -> st.SearchStrategy[Arrival]:
    """Whatever people and the shell may put into the inbox, readings apart."""
    ticket, caller = st.integers(min_value=1, max_value=9), st.just(CALLER)
    return st.one_of(
        st.builds(
            SetHand,
            ticket=ticket,
            caller=caller,
            heat=st.booleans(),
            for_s=st.one_of(st.floats(min_value=1.0, max_value=43200.0), st.floats()),
        ),
        st.builds(Release, ticket=ticket, caller=caller),
        st.builds(Quiet, ticket=ticket, caller=caller),
        st.builds(
            TakeAway,
            ticket=ticket,
            caller=caller,
            for_s=st.one_of(st.floats(min_value=1.0, max_value=600.0), st.floats()),
        ),
        st.builds(GiveBack, ticket=ticket, caller=caller),
        st.builds(
            Adopt,
            ticket=ticket,
            caller=caller,
            settings=settings(),
            changes=st.sampled_from([{}, {"band.low": (36.0, 37.0)}]),
            how=st.just("command"),
        ),
        st.builds(Remark, ticket=ticket, event=st.just("note"), fields=st.just({"text": "new lamp"})),
        st.builds(
            Fact,
            code=st.sampled_from([Code.DISK, Code.CLOCK]),
            present=st.booleans(),
            text=st.just("so it is"),
        ),
        st.builds(ContactState, name=st.just("floor"), active=st.booleans()),
    )


steps_s = st.one_of(
    st.just(10.0), st.floats(min_value=0.0, max_value=400.0), st.sampled_from([120.0, 3600.0, 21600.0, 7e5])
)
"""From one turn to the next [s]: the ordinary pace, any pace, and sleeps of hours and days."""

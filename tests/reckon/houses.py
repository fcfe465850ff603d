"""Invented houses to plan for, and hypothesis strategies over all that site.toml may say of one."""

from hypothesis import strategies as st

from overwinter.core.nouns import (
    Building,
    BuildingPart,
    Circuit,
    HeaterSpec,
    Layer,
    PipeSpec,
    RelaySpec,
    Role,
    SensorSpec,
    Site,
)
from overwinter.core.units import Unit
from overwinter.physics.materials import MATERIALS

HUT = Building(
    volume_m3=3.6,
    air_changes_h=1.0,
    design_outdoor_c=-20.0,
    parts=(
        BuildingPart(name="walls", area_m2=8.0, u_w_m2k=1.0),
        BuildingPart(name="lid", area_m2=4.0, u_w_m2k=0.5),
    ),
)
"""Small enough to reckon by hand: 8 + 2 W/K, and 3.6 m3 of air once an hour, 1.30047 W/K."""

HUT_W_K = 11.30047

LINE = PipeSpec(name="switch line", length_m=0.3, bore_m=0.005, outside_m=0.00635)
RISER = PipeSpec(name="riser", length_m=1.5, bore_m=0.026, outside_m=0.028, insulation_m=0.025)

SITE = Site(
    name="the hut",
    unit=Unit.C,
    sensors=(SensorSpec(name="air", role=Role.CONTROL, kind="dht22", pin=4),),
    relay=RelaySpec(kind="simulated", rated_cycles=100_000),
    heater=HeaterSpec(watts=200.0, kind="air", limiter=True, backup_thermostat_c=1.0),
    per_kwh=0.25,
    currency="EUR",
    building=HUT,
    pipes=(RISER, LINE),
    circuit=Circuit(volts=230.0, breaker_a=10.0, relay_resistive_a=16.0),
)
"""All of it is given."""

BARE = Site()
"""Nothing is."""


def _from(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(min_value=low, max_value=high)


names = st.text(st.characters(codec="utf-8", exclude_categories=["C"]), min_size=1, max_size=60)
layers = st.builds(
    Layer, material=st.sampled_from([one.name for one in MATERIALS]), thickness_m=_from(1e-5, 1.0)
)
parts = st.one_of(
    st.builds(BuildingPart, name=names, area_m2=_from(0.001, 200.0), u_w_m2k=_from(0.01, 20.0)),
    st.builds(
        BuildingPart, name=names, area_m2=_from(0.001, 200.0), layers=st.lists(layers, min_size=1).map(tuple)
    ),
)
buildings = st.builds(
    Building,
    volume_m3=st.none() | _from(0.1, 5000.0),  # beyond 100 kW/K the arithmetic refuses
    air_changes_h=st.none() | _from(0.0, 20.0),
    design_outdoor_c=st.none() | _from(-60.0, 30.0),
    parts=st.lists(parts, max_size=5).map(tuple),
)


@st.composite
def pipes(draw: st.DrawFn) -> PipeSpec:
    bore_m = draw(_from(0.0005, 1.0))
    return PipeSpec(
        name=draw(names),
        length_m=None,
        bore_m=bore_m,
        outside_m=bore_m + draw(_from(0.0001, 0.05)),
        insulation_m=draw(st.just(0.0) | _from(0.0, 0.5)),
        insulation_w_mk=draw(_from(0.005, 5.0)),
    )


sites = st.builds(
    Site,
    name=names,
    unit=st.sampled_from(Unit),
    sensors=st.lists(
        st.builds(
            SensorSpec,
            name=names,
            role=st.sampled_from(Role),
            kind=st.sampled_from(["dht22", "dht11", "iio", "w1", "simulated"]),
            at=st.sampled_from(["air", "pipe"]),
        ),
        max_size=3,
    ).map(tuple),
    relay=st.builds(RelaySpec, rated_cycles=st.none() | st.integers(1, 10**9)),
    heater=st.builds(
        HeaterSpec,
        watts=st.none() | _from(1.0, 20_000.0),
        kind=st.sampled_from(["lamp", "air", "cable"]),
        limiter=st.booleans(),
        backup_thermostat_c=st.none() | _from(-20.0, 40.0),
    ),
    per_kwh=st.none() | _from(0.0, 1e6),
    currency=st.just("") | names.map(lambda name: name[:16]),
    building=st.none() | buildings,
    pipes=st.lists(pipes(), max_size=4).map(tuple),
    circuit=st.none()
    | st.builds(
        Circuit,
        volts=_from(5.0, 500.0),
        breaker_a=st.none() | _from(0.1, 200.0),
        cord_length_m=st.just(0.0) | _from(0.0, 500.0),
        cord_mm2=st.none() | _from(0.05, 150.0),
        relay_resistive_a=st.none() | _from(0.1, 500.0),
    ),
)

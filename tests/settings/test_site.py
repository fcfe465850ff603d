"""site.toml: what is wired and built, read strictly or not at all."""

import json
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overwinter.core.nouns import (
    Building,
    BuildingPart,
    Circuit,
    ContactSpec,
    HeaterSpec,
    Layer,
    PipeSpec,
    RelaySpec,
    Role,
    SensorSpec,
    Site,
)
from overwinter.core.telling import Mqtt, Notices, Signal, Web
from overwinter.core.units import Unit, c_from_f
from overwinter.settings.site import (
    area_of_gauge_mm2,
    differences_needing_restart,
    parse_site,
    sense_s_min,
)
from tests.settings.sites import EXAMPLE, LEAST, MQTT, problems, site
from tests.settings.strategies import texts


def test_the_least_site_is_a_control_sensor_and_a_relay() -> None:
    assert site(LEAST) == Site(
        sensors=(SensorSpec(name="pump", role=Role.CONTROL, kind="dht22", pin=4),), relay=RelaySpec(pin=17)
    )


def test_the_example_has_no_problem_and_a_thin_bare_line_to_the_pressure_switch() -> None:
    example = site(EXAMPLE.read_text())

    (line,) = [pipe for pipe in example.pipes if "pressure switch" in pipe.name]
    assert line.insulation_m == 0.0
    assert line.bore_m == min(pipe.bore_m for pipe in example.pipes)
    assert example.heater.backup_thermostat_c == pytest.approx(c_from_f(35.0))


def test_everything_is_read_into_si() -> None:
    read = site(
        LEAST.replace(
            "pin = 17", "pin = 17\nactive_high = false\ncontact = 'NC'\nfeedback_pin = 27\nrated_cycles = 9"
        )
        + """
[site]
name = "spring"
unit = "C"
altitude_ft = 1000
[heater]
watts = 250
kind = "cable"
limiter = true
backup_thermostat = 1.5
[[contact]]
name = "door"
kind = "door"
pin = 22
active_high = false
[tariff]
per_kwh = 0.25
currency = "EUR"
[logbook]
max_bytes = 65536
[building]
volume_ft3 = 1000
air_changes_h = 0.5
design_outdoor = -20
[[building.part]]
name = "wall"
area_ft2 = 100
r_us = 10
[[building.part]]
name = "roof"
area_m2 = 5
r_m2k_w = 4
[[building.part]]
name = "door"
area_m2 = 2
u_w_m2k = 1.5
[[building.part]]
name = "slab"
area_m2 = 5
layers = [{ material = "concrete", thickness_in = 4 }]
[[pipe]]
name = "riser"
length_ft = 10
bore_in = 1
outside_mm = 28
insulation_mm = 13
insulation_w_mk = 0.04
[circuit]
volts = 230
breaker_a = 16
cord_length_ft = 50
cord_mm2 = 1.5
relay_resistive_a = 10
"""
    )

    approx: Any = pytest.approx
    assert read.altitude_m == approx(304.8)
    assert read == Site(
        name="spring",
        unit=Unit.C,
        altitude_m=read.altitude_m,
        sensors=read.sensors,
        relay=RelaySpec(pin=17, active_high=False, contact="NC", feedback_pin=27, rated_cycles=9),
        heater=HeaterSpec(watts=250.0, kind="cable", limiter=True, backup_thermostat_c=1.5),
        contacts=(ContactSpec(name="door", kind="door", pin=22, active_high=False),),
        per_kwh=0.25,
        currency="EUR",
        max_bytes=65536,
        building=read.building,
        pipes=read.pipes,
        circuit=read.circuit,
    )
    assert isinstance(read.building, Building)
    # 1 ft3 = 0.028316846592 m3 and 1 ft2 = 0.09290304 m2, exact.
    assert read.building.volume_m3 == approx(28.316846592)
    assert read.building.design_outdoor_c == -20.0
    wall, roof, door, slab = read.building.parts
    assert wall.area_m2 == approx(9.290304)
    # R-10 is 1.761 m2 K/W (1 ft2 F h/Btu = 0.176110 m2 K/W, remembered from conversion tables).
    assert wall.u_w_m2k == approx(1 / 1.76110, rel=1e-5)
    assert roof.u_w_m2k == approx(0.25)
    assert door == BuildingPart(name="door", area_m2=2.0, u_w_m2k=1.5)
    assert slab.layers == (Layer(material="concrete", thickness_m=approx(0.1016)),)
    assert read.pipes == (
        PipeSpec(
            name="riser",
            length_m=approx(3.048),
            bore_m=approx(0.0254),
            outside_m=approx(0.028),
            insulation_m=approx(0.013),
            insulation_w_mk=0.04,
        ),
    )
    assert read.circuit == Circuit(
        volts=230.0, breaker_a=16.0, cord_length_m=approx(15.24), cord_mm2=1.5, relay_resistive_a=10.0
    )


@pytest.mark.parametrize(
    ("gauge", "area_mm2"),
    # Nominal cross-sections of solid wire, two decimals, remembered from wire tables.
    [(10, 5.26), (12, 3.31), (14, 2.08), (16, 1.31), (18, 0.82)],
)
def test_a_wire_gauge_is_the_area_of_the_tables(gauge: int, area_mm2: float) -> None:
    assert area_of_gauge_mm2(gauge) == pytest.approx(area_mm2, abs=0.005)
    read = site(LEAST + f"[circuit]\ncord_awg = {gauge}\n").circuit
    assert read is not None
    assert read.cord_mm2 == area_of_gauge_mm2(gauge)


def test_all_problems_come_at_once() -> None:
    text = "[relay]\npin = 99\n[heater]\nwatts = -1\n[site]\nnmae = 'x'\n"

    assert [found.partition(" =")[0] for found in problems(text)] == [
        "site.toml: site.nmae: unknown key; did you mean site.name?",
        "site.toml: sensor is missing: heat needs something to go by, at least one [[sensor]] with role",
        "site.toml: relay.pin",
        "site.toml: heater.watts",
    ]


def test_a_second_control_sensor_makes_a_dht11_welcome() -> None:
    second = '[[sensor]]\nname = "b"\nrole = "control"\nkind = "w1"\npath = "/x"\n'

    assert len(site(LEAST.replace("dht22", "dht11") + second).sensors) == 2


def test_who_is_told_and_by_what() -> None:
    text = """
[notices]
led_pin = 23
led_active_high = false
buzzer_pin = 24
remind_every_h = 12
command = ["/usr/local/bin/tell", "owner at the lake"]
command_timeout_s = 30
heartbeat_url = "https://beat.example/orchard"
heartbeat_every_s = 600
metrics_file = "/var/lib/prometheus/node-exporter/overwinter.prom"

[mqtt]
host = "broker.example"
topic = "valley/orchard"
user = "orchard"

[web]
bind = "::"
change = true
"""
    told = site(LEAST + text)

    assert told.notices == Notices(
        led=Signal(pin=23, active_high=False),
        buzzer=Signal(pin=24),
        remind_every_h=12.0,
        command=("/usr/local/bin/tell", "owner at the lake"),
        command_timeout_s=30.0,
        heartbeat_url="https://beat.example/orchard",
        heartbeat_every_s=600.0,
        metrics_file="/var/lib/prometheus/node-exporter/overwinter.prom",
    )
    assert told.mqtt == Mqtt(host="broker.example", port=8883, topic="valley/orchard", user="orchard")
    assert told.web == Web(bind="::", change=True)


def test_what_the_example_only_suggests_may_be_uncommented() -> None:
    """Lines such as `# key = value`; of the two heartbeats one."""
    text = re.sub(r"^# (\[\w+\]|\w+ = )", r"\1", EXAMPLE.read_text(), flags=re.MULTILINE)

    whole = site(text)

    assert whole.notices.led is not None
    assert whole.notices.heartbeat_url == "https://..."
    assert whole.mqtt is not None
    assert whole.mqtt.ca_file == "/etc/overwinter/broker-ca.pem"
    assert whole.web == Web()


def test_nobody_is_told_by_what_is_not_asked_for() -> None:
    quiet = site(LEAST + "[notices]\n[mqtt]\n")

    assert quiet == site(LEAST)
    assert (quiet.notices, quiet.mqtt, quiet.web) == (Notices(), None, None)
    assert site(LEAST + "[web]\n").web == Web(), "an empty table asks for the page as it is by default"


def test_a_broker_without_tls_listens_on_another_port() -> None:
    broker = site(LEAST + MQTT + "host = 'b'\ntls = false").mqtt

    assert broker is not None
    assert (broker.port, broker.tls) == (1883, False)


def test_simulated_things_claim_no_pin() -> None:
    text = LEAST.replace("pin = 17", "pin = 4\nkind = 'simulated'").replace('"dht22"', '"simulated"')

    assert site(text).relay == RelaySpec(kind="simulated", pin=4)


def test_more_entries_than_anybody_has_are_refused() -> None:
    more = "".join(f'[[contact]]\nname = "{number}"\nkind = "door"\npin = 5\n' for number in range(65))

    assert "site.toml: contact = 65: must be 64 entries at most" in problems(LEAST + more)


@pytest.mark.parametrize("content", [b"\xff\xfe", b"a\0", b"\xe9", b"[[sensor]\n", "x = 3,5"])
def test_what_is_no_toml_is_one_problem(content: str | bytes) -> None:
    (found,) = problems(content)

    assert found.startswith("site.toml: ")


@pytest.mark.parametrize(
    ("kind", "least_s"), [("dht22", 2.5), ("iio", 1.0), ("w1", 1.0), ("simulated", 1.0), ("dht11", 2.5)]
)
def test_dht_sensors_cannot_be_read_faster_than_they_measure(kind: str, least_s: float) -> None:
    control = SensorSpec(name="a", role=Role.CONTROL, kind="simulated")
    other = SensorSpec(name="b", role=Role.EXTRA, kind=kind)

    assert sense_s_min(Site(sensors=(control, other))) == least_s


_OLD = site(LEAST + '[[contact]]\nname = "door"\nkind = "door"\npin = 5\n')


_PUMP = _OLD.sensors[0]


_DOOR = _OLD.contacts[0]


@pytest.mark.parametrize(
    ("new", "named"),
    [
        (replace(_OLD, relay=RelaySpec(pin=18)), ("relay pin",)),
        (
            replace(_OLD, relay=RelaySpec(pin=17, contact="NC", active_high=False)),
            ("relay active_high", "relay contact"),
        ),
        (replace(_OLD, relay=RelaySpec(pin=17, kind="simulated")), ("relay kind",)),
        (replace(_OLD, relay=RelaySpec(pin=17, feedback_pin=6)), ("relay feedback pin",)),
        (replace(_OLD, sensors=()), ('sensor "pump" is gone',)),
        (replace(_OLD, sensors=(_PUMP, replace(_PUMP, name="b"))), ('sensor "b" is new',)),
        (replace(_OLD, sensors=(replace(_PUMP, name="b"),)), ('sensor "pump" is gone', 'sensor "b" is new')),
        (
            replace(_OLD, sensors=(replace(_PUMP, pin=5, at="pipe", role=Role.EXTRA),)),
            ('sensor "pump": pin', 'sensor "pump": role', 'sensor "pump": at'),
        ),
        (
            replace(_OLD, sensors=(replace(_PUMP, kind="w1", path="/x"),)),
            ('sensor "pump": kind', 'sensor "pump": path'),
        ),
        (replace(_OLD, contacts=(replace(_DOOR, pin=6),)), ('contact "door": pin',)),
        (replace(_OLD, contacts=()), ('contact "door" is gone',)),
        (replace(_OLD, notices=Notices(led=Signal(pin=23))), ("notices led",)),
    ],
)
def test_wiring_needs_a_restart_and_says_which(new: Site, named: tuple[str, ...]) -> None:
    assert differences_needing_restart(_OLD, new) == named


def test_offsets_heater_tariff_logbook_and_building_need_none() -> None:
    new = replace(
        _OLD,
        name="other",
        sensors=(replace(_PUMP, offset_c=0.5),),
        relay=replace(_OLD.relay, rated_cycles=5),
        heater=HeaterSpec(watts=100.0),
        per_kwh=0.2,
        max_bytes=100_000,
        building=Building(volume_m3=5.0),
        circuit=Circuit(volts=230.0),
        notices=Notices(command=("/bin/true",)),
    )

    assert differences_needing_restart(_OLD, new) == ()


_site_values = st.sampled_from(
    [
        "1",
        "true",
        "nan",
        "-inf",
        '"x"',
        '""',
        "[]",
        "{}",
        "[{}]",
        "[[]]",
        "0x" + "f" * 300,
        "2026-01-09",
        "1e308",
    ]
)


_site_lines = st.one_of(
    st.sampled_from(EXAMPLE.read_text().splitlines()),
    st.builds(
        "{} = {}".format,
        st.sampled_from(
            [
                "name",
                "role",
                "kind",
                "pin",
                "path",
                "at",
                "unit",
                "layers",
                "area_ft2",
                "r_us",
                "part",
                "bore_in",
            ]
        ),
        _site_values,
    ),
)


@given(st.one_of(texts, st.binary(), st.lists(_site_lines, max_size=25).map("\n".join)))
def test_no_text_raises_and_no_site_has_a_problem(text: str | bytes) -> None:
    parsed = parse_site(text)

    assert (parsed.site is None) is bool(parsed.problems)
    json.dumps([(problem.key, problem.value) for problem in parsed.problems], allow_nan=False)
    for problem in parsed.problems:
        problem.text.encode()


@given(st.data())
def test_any_one_damaged_value_of_the_example_is_a_problem_or_a_site(data: st.DataObject) -> None:
    lines = EXAMPLE.read_text().splitlines()
    spots = [number for number, line in enumerate(lines) if " = " in line and not line.startswith(("#", " "))]
    spot = data.draw(st.sampled_from(spots))
    lines[spot] = f"{lines[spot].partition(' = ')[0]} = {data.draw(_site_values)}"

    parsed = parse_site("\n".join(lines))

    assert (parsed.site is None) is bool(parsed.problems)

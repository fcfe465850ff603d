"""site.toml: what is wired and built, from text to `Site` or to problems.

Rule 1: no `Site` with a problem ever leaves here. A wrong pin can switch something else on.
Rule 2: everything is kept in SI; a length is whatever its key says, a temperature what `site.unit` says.
Rule 3: nothing is derived here but units; what a wall lets through is computed where walls are understood.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from overwinter.core.nouns import (
    Building,
    BuildingPart,
    Circuit,
    ContactSpec,
    HeaterSpec,
    Layer,
    PipeSpec,
    Problem,
    Refused,
    RelaySpec,
    Role,
    SensorSpec,
    Site,
)
from overwinter.core.units import Unit
from overwinter.settings import reading, telling
from overwinter.settings.fields import AREAS_M2, FOOT_M, INCH_M, LENGTHS_M, VOLUMES_M3, Table

FILE = "site.toml"

PIN_MAX = 27
"""BCM numbers of the forty-pin header: 0 to 27."""

MAX_BYTES_MIN = 65_536
MAX_BYTES_MAX = 2**40

DHT_SENSE_S_MIN = 2.5
"""The sensor itself needs two seconds between readings, its library a little more."""

SENSOR_KINDS = ("dht22", "dht11", "iio", "w1", "simulated")

R_US_M2K_W = FOOT_M**2 * (5 / 9) * 3600 / 1055.05585262
"""One ft2·h·F/Btu in m2·K/W, 0.17611: foot, degree and international table Btu are exact by definition."""

_SITE = Site()
_RELAY = RelaySpec()
_HEATER = HeaterSpec()
_CIRCUIT = Circuit()
_PIPE = PipeSpec(name="", length_m=None, bore_m=0.0, outside_m=0.0)
_ALTITUDES_M = {"m": 1.0, "ft": FOOT_M}


@dataclass(frozen=True, slots=True, kw_only=True)
class ParsedSite:
    """What a text said: a site, or what is wrong."""

    site: Site | None
    problems: tuple[Problem, ...] = ()


def parse_site(text: str | bytes) -> ParsedSite:
    """The site that `text` describes; None with all its problems if there is any."""
    try:
        tree = reading.toml_tree(text, FILE)
    except Refused as refused:
        return ParsedSite(site=None, problems=tuple(refused.problems))
    problems: list[Problem] = []
    site = _site(Table(tree, "", problems, f"{FILE}: "))
    return ParsedSite(site=None if problems else site, problems=reading.no_more_than(problems))


def sense_s_min(site: Site) -> float:
    """The shortest time between readings [s] that every sensor of the site allows."""
    return DHT_SENSE_S_MIN if any(_is_dht(sensor.kind) for sensor in site.sensors) else 1.0


def _is_dht(kind: str) -> bool:
    return kind.startswith("dht")


def _site(top: Table) -> Site:
    head = top.table("site")
    unit_word = head.choice("unit", tuple(Unit), Unit.F)
    # A wrong unit makes every temperature a guess; one problem is enough then.
    unit = None if head.has("unit") and head.tree["unit"] != unit_word else Unit(unit_word)
    name = head.text("name", _SITE.name)
    altitude_m = head.quantity("altitude", _ALTITUDES_M, -500.0, 9000.0) or 0.0
    head.finish()

    tariff = top.table("tariff")
    per_kwh = tariff.number("per_kwh", 0.0, 1e6)
    currency = tariff.text("currency", "", longest=16)
    tariff.finish()

    logbook = top.table("logbook")
    max_bytes = logbook.whole("max_bytes", MAX_BYTES_MIN, MAX_BYTES_MAX)
    logbook.finish()

    users: list[tuple[int, Table, str]] = []
    site = Site(
        name=name,
        unit=unit or Unit.F,
        altitude_m=altitude_m,
        sensors=_sensors(top, users),
        relay=_relay(top.table("relay"), users),
        heater=_heater(top.table("heater"), unit),
        contacts=_contacts(top, users),
        per_kwh=per_kwh,
        currency=currency,
        max_bytes=_SITE.max_bytes if max_bytes is None else max_bytes,
        building=_building(top.table("building"), unit) if top.has("building") else None,
        pipes=_pipes(top),
        circuit=_circuit(top.table("circuit")) if top.has("circuit") else None,
        notices=telling.notices(top.table("notices"), lambda *user: users.append(user)),
        mqtt=telling.mqtt(top.table("mqtt")) if top.tree.get("mqtt") else None,
        web=telling.web(top.table("web")) if top.has("web") else None,
    )
    top.asked += ["building", "circuit", "mqtt", "web"]
    _no_pin_twice(users)
    top.finish()
    return site


def _sensors(top: Table, users: list[tuple[int, Table, str]]) -> tuple[SensorSpec, ...]:
    tables = top.tables("sensor")
    sensors = []
    for table in tables:
        kind = table.choice("kind", SENSOR_KINDS, None)
        known = table.tree.get("kind") == kind  # else it is a stand-in that needs nothing
        pin = table.whole("pin", 0, PIN_MAX, required=f"a {kind}" if known and _is_dht(kind) else "")
        if pin is not None and kind != "simulated":
            users.append((pin, table, "pin"))
        sensor = SensorSpec(
            name=table.text("name", None),
            role=Role(table.choice("role", tuple(Role), None)),
            kind=kind,
            at=table.choice("at", ("air", "pipe"), "air"),
            pin=pin,
            path=_path(table, kind),
            offset_c=table.number("offset_c", -10.0, 10.0, measure="K") or 0.0,
        )
        table.finish()
        sensors.append(sensor)
    _no_name_twice(tables)
    control = [table for table in tables if table.tree.get("role") == Role.CONTROL]
    if not control:
        allowed = 'at least one [[sensor]] with role = "control"'
        top.refuse("sensor", None, allowed, f"is missing: heat needs something to go by, {allowed}")
    elif all(table.tree.get("kind") == "dht11" for table in control):
        allowed = 'a control sensor of kind "dht22", "iio" or "w1", alone or beside it'
        why = f"the only control sensor is one that cannot report below 0 °C; needed is {allowed}"
        control[0].refuse("kind", "dht11", allowed, why)
    return tuple(sensors)


def _path(table: Table, kind: str) -> str | None:
    if not table.has("path"):
        table.asked.append("path")
        if kind in ("iio", "w1"):
            table.missing("path", f'{kind} needs it, an absolute path such as "/sys/bus/{kind}/devices/..."')
        return None
    path = table.text("path", None, longest=1024)
    if path and not path.startswith("/"):
        table.refuse("path", path, "an absolute path, beginning with /")
    return path


def _relay(table: Table, users: list[tuple[int, Table, str]]) -> RelaySpec:
    kind = table.choice("kind", ("gpio", "simulated"), _RELAY.kind)
    relay = RelaySpec(
        kind=kind,
        pin=table.whole("pin", 0, PIN_MAX, required="a gpio relay" if kind == "gpio" else ""),
        active_high=table.flag("active_high", default=True),
        contact=table.choice("contact", ("NO", "NC"), _RELAY.contact),
        feedback_pin=table.whole("feedback_pin", 0, PIN_MAX),
        rated_cycles=table.whole("rated_cycles", 1, 10**9),
    )
    table.finish()
    if kind == "gpio":
        users += [(pin, table, name) for name, pin in _pins_of(relay)]
    return relay


def _pins_of(relay: RelaySpec) -> list[tuple[str, int]]:
    both = (("pin", relay.pin), ("feedback_pin", relay.feedback_pin))
    return [(name, pin) for name, pin in both if pin is not None]


def _heater(table: Table, unit: Unit | None) -> HeaterSpec:
    heater = HeaterSpec(
        watts=table.number("watts", 1.0, 20_000.0, measure="W"),
        kind=table.choice("kind", ("lamp", "air", "cable"), _HEATER.kind),
        limiter=table.flag("limiter", default=False),
        backup_thermostat_c=table.temperature_c("backup_thermostat", -20.0, 40.0, unit),
    )
    table.finish()
    return heater


def _contacts(top: Table, users: list[tuple[int, Table, str]]) -> tuple[ContactSpec, ...]:
    tables = top.tables("contact")
    contacts = []
    for table in tables:
        pin = table.whole("pin", 0, PIN_MAX, required="a contact")
        if pin is not None:
            users.append((pin, table, "pin"))
        contact = ContactSpec(
            name=table.text("name", None),
            kind=table.choice("kind", ("pump", "door", "wet"), None),
            pin=pin or 0,
            active_high=table.flag("active_high", default=True),
        )
        table.finish()
        contacts.append(contact)
    _no_name_twice(tables)
    return tuple(contacts)


def _building(table: Table, unit: Unit | None) -> Building:
    tables = table.tables("part")
    building = Building(
        volume_m3=table.quantity("volume", VOLUMES_M3, 0.1, 100_000.0),
        air_changes_h=table.number("air_changes_h", 0.0, 100.0, measure="per hour"),
        design_outdoor_c=table.temperature_c("design_outdoor", -60.0, 30.0, unit),
        parts=tuple(_part(part) for part in tables),
    )
    table.finish()
    _no_name_twice(tables)
    return building


def _part(table: Table) -> BuildingPart:
    name = table.text("name", None)
    area_m2 = table.quantity("area", AREAS_M2, 0.001, 100_000.0, required=True)
    given = table.one_of(["u_w_m2k", "r_m2k_w", "r_us", "layers"], required=True)
    u_w_m2k: float | None = None
    layers: tuple[Layer, ...] = ()
    if given == "u_w_m2k":
        u_w_m2k = table.number("u_w_m2k", 0.01, 100.0, measure="W/(m2 K)")
    elif given == "r_m2k_w":
        resistance_m2k_w = table.number("r_m2k_w", 0.01, 100.0, measure="m2 K/W")
        u_w_m2k = None if resistance_m2k_w is None else 1.0 / resistance_m2k_w
    elif given == "r_us":
        resistance_us = table.number("r_us", 0.05, 500.0, measure="ft2 F h/Btu")
        u_w_m2k = None if resistance_us is None else 1.0 / (resistance_us * R_US_M2K_W)
    elif given == "layers":
        layers = tuple(_layer(layer) for layer in table.tables("layers"))
        if table.tree["layers"] == []:
            table.refuse("layers", [], "at least one layer: [{ material, thickness_mm }]")
    table.finish()
    return BuildingPart(name=name, area_m2=area_m2 or 0.0, u_w_m2k=u_w_m2k, layers=layers)


def _layer(table: Table) -> Layer:
    material = table.text("material", None)
    thickness_m = table.quantity("thickness", LENGTHS_M, 0.00001, 10.0, required=True)
    table.finish()
    return Layer(material=material, thickness_m=thickness_m or 0.0)


def _pipes(top: Table) -> tuple[PipeSpec, ...]:
    tables = top.tables("pipe")
    pipes = []
    for table in tables:
        bore_m = table.quantity("bore", LENGTHS_M, 0.0005, 2.0, required=True)
        outside_m = table.quantity("outside", LENGTHS_M, 0.0005, 2.0, required=True)
        if bore_m is not None and outside_m is not None and outside_m <= bore_m:
            given = next(name for name in table.tree if name.startswith("outside_"))
            table.refuse(given, table.tree[given], "more than the bore: it is measured over the wall")
        insulation_w_mk = table.number("insulation_w_mk", 0.005, 5.0, measure="W/(m K)")
        pipe = PipeSpec(
            name=table.text("name", None),
            length_m=table.quantity("length", LENGTHS_M, 0.001, 10_000.0),
            bore_m=bore_m or 0.0,
            outside_m=outside_m or 0.0,
            insulation_m=table.quantity("insulation", LENGTHS_M, 0.0, 1.0) or 0.0,
            insulation_w_mk=_PIPE.insulation_w_mk if insulation_w_mk is None else insulation_w_mk,
        )
        table.finish()
        pipes.append(pipe)
    _no_name_twice(tables)
    return tuple(pipes)


def _circuit(table: Table) -> Circuit:
    volts = table.number("volts", 5.0, 500.0, measure="V")
    given = table.one_of(["cord_awg", "cord_mm2"], required=False)
    cord_mm2 = table.number("cord_mm2", 0.05, 150.0, measure="mm2") if given == "cord_mm2" else None
    gauge = table.whole("cord_awg", 0, 30) if given == "cord_awg" else None
    circuit = Circuit(
        volts=_CIRCUIT.volts if volts is None else volts,
        breaker_a=table.number("breaker_a", 0.1, 200.0, measure="A"),
        cord_length_m=table.quantity("cord_length", LENGTHS_M, 0.0, 500.0) or 0.0,
        cord_mm2=cord_mm2 if gauge is None else area_of_gauge_mm2(gauge),
        relay_resistive_a=table.number("relay_resistive_a", 0.1, 500.0, measure="A"),
    )
    table.finish()
    return circuit


def area_of_gauge_mm2(gauge: int) -> float:
    """Cross-section of a solid wire of an American wire gauge [mm2]: 0.005 in x 92^((36 - n) / 39) across."""
    diameter_mm: float = 0.005 * 92.0 ** ((36 - gauge) / 39) * INCH_M * 1000
    return math.pi / 4 * diameter_mm**2


def _no_pin_twice(users: list[tuple[int, Table, str]]) -> None:
    first: dict[int, str] = {}
    for pin, table, name in users:
        title = f" {reading.quoted(table.title)}" if table.title else ""
        if pin in first:
            table.refuse(name, pin, "a pin of its own", f"the pin is taken by {first[pin]}; one pin, one use")
        else:
            first[pin] = f"{table.path}{title} ({name})"


def _no_name_twice(tables: Iterable[Table]) -> None:
    first: dict[str, str] = {}
    for table in tables:
        name = table.tree.get("name")
        if not isinstance(name, str):
            continue
        if name in first:
            table.refuse("name", name, "a name of its own", f"{first[name]} has this name already")
        else:
            first[name] = table.path


def differences_needing_restart(old: Site, new: Site) -> tuple[str, ...]:
    """What differs in a way that a reload cannot take up, in words; empty if a reload will do."""
    wiring = ("kind", "pin", "active_high", "contact", "feedback_pin")
    relay = tuple(f"relay {name}" for name in _unlike(old.relay, new.relay, wiring))
    opened = ("kind", "pin", "path", "role", "at")
    sensors = _changed_entries("sensor", old.sensors, new.sensors, opened)
    contacts = _changed_entries("contact", old.contacts, new.contacts, ("kind", "pin", "active_high"))
    signals = tuple(f"notices {name}" for name in _unlike(old.notices, new.notices, ("led", "buzzer")))
    return (*relay, *sensors, *contacts, *signals)


def _unlike(old: object, new: object, names: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(name.replace("_pin", " pin") for name in names if getattr(old, name) != getattr(new, name))


def _changed_entries(
    what: str,
    old: Sequence[SensorSpec] | Sequence[ContactSpec],
    new: Sequence[SensorSpec] | Sequence[ContactSpec],
    names: tuple[str, ...],
) -> tuple[str, ...]:
    before = {entry.name: entry for entry in old}
    after = {entry.name: entry for entry in new}
    return (
        *(f'{what} "{name}" is gone' for name in before if name not in after),
        *(f'{what} "{name}" is new' for name in after if name not in before),
        *(
            f'{what} "{name}": {changed}'
            for name in after
            if name in before
            for changed in _unlike(before[name], after[name], names)
        ),
    )

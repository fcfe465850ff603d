"""What a rehearsal is made of and comes to: a scenario with its faults and promises, and the outcome."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from overwinter.core.nouns import OverwinterError, Role, SensorSpec
from overwinter.twin.pump import Pump

DAYS_MAX = 400.0
FAULTS_MAX = 200

Progress = Callable[[float], None]
"""Told how much is done, 0 to 1."""


class NotAsPromised(OverwinterError):
    """An invariant of the guard did not hold: a mistake of the program, not of the house."""


@dataclass(frozen=True, slots=True)
class FaultKind:
    """What can go wrong: whether it is a sensor's, and how large where that is asked."""

    about: str
    of_sensor: bool = False
    unit: str = ""  # of `by`; empty: it has no size
    by: float = 0.0  # usual size
    least: float = 0.0
    most: float = 0.0


FAULTS: Mapping[str, FaultKind] = {
    "sensor-lost": FaultKind("no read succeeds", of_sensor=True),
    "sensor-stuck": FaultKind("the same raw values again and again", of_sensor=True),
    "sensor-sentinel": FaultKind("the error value of its kind, as if it were a temperature", of_sensor=True),
    "sensor-spiking": FaultKind("wrong readings that pass the checksum", True, "share", 0.05, 0.0, 0.9),
    "sensor-wrong": FaultKind("off by so much", True, "K", 6.0, -40.0, 60.0),
    "sensor-drifting": FaultKind("off by so much at the end of the fault", True, "K", 2.0, -40.0, 60.0),
    "heater-dead": FaultKind("no heat and no current, whatever the relay does"),
    "contact-welded": FaultKind("heat, whatever the relay does"),
    "door-open": FaultKind("so much more outdoor air", unit="1/h", by=20.0, least=0.0, most=60.0),
    "power-cut": FaultKind("no power for guard and heater; what was not synced may be lost"),
    "power-cut-torn": FaultKind("the same, and blocks within what was not synced are left zero or old"),
    "guard-killed": FaultKind("the process ends, and is started again after the fault's length"),
    "clock-jump": FaultKind("the wall clock is set", unit="s", by=3600.0, least=-1e8, most=1e8),
    "disk-full": FaultKind("no write finds room"),
    "disk-read-only": FaultKind("every write is refused"),
    "disk-slow": FaultKind("each job for the disk takes so long", unit="s", by=5.0, least=0.0, most=600.0),
    "disk-stuck": FaultKind("no write comes back"),
    "owner-nonsense": FaultKind("an owner types whatever comes to mind, every ten minutes"),
}
"""By the name that a scenario file uses."""

POWER_CUTS = frozenset({"power-cut", "power-cut-torn"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that goes wrong, from when and for how long [s since the beginning]."""

    kind: str  # of FAULTS
    at_s: float
    for_s: float = math.inf
    sensor: str | None = None
    by: float = 0.0

    @property
    def ends_s(self) -> float:
        """When it is over."""
        return self.at_s + self.for_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Must:
    """What must hold at the end; what is None is not asked."""

    froze: bool | None = None
    told_within_s: float | None = None
    alarms: tuple[str, ...] = ()  # told at least once
    no_alarms: tuple[str, ...] = ()
    coldest_water_c: float | None = None  # not colder
    hottest_air_c: float | None = None  # not hotter


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One winter, night or week to live through."""

    name: str
    about: str = ""
    days: float = 3.0
    begins: datetime = datetime(2025, 12, 1, tzinfo=UTC)  # midnight, local solar time; it only labels
    house: str = "timber shed"
    weather: str = "cold-snap"
    weather_options: Mapping[str, float] = field(default_factory=dict)
    start_c: float = 4.0
    sun_w_m2: float = 0.0  # of a cloudless noon; 0: no sun, unless a weather file has some
    pump: Pump | None = None  # None: it stands still
    settings: Mapping[str, object] = field(default_factory=dict)
    sensors: tuple[SensorSpec, ...] = (SensorSpec(name="by the pump", role=Role.CONTROL, kind="simulated"),)
    max_bytes: int = 67_108_864
    faults: tuple[Fault, ...] = ()
    must: Must = field(default_factory=Must)

    @property
    def lasts_s(self) -> float:
        """Its length."""
        return self.days * 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One alarm: when it was told, and how long after the fault that began last before it, if any did."""

    code: str
    subject: str
    at_s: float
    after_s: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a rehearsal came to."""

    scenario: str
    seed: int
    days: float
    froze: bool
    ice_share: float  # at its most
    coldest_water_c: float
    coldest_air_c: float
    hottest_air_c: float
    hours_below_0c: float  # of the water in the pipe, at or below
    told_after_s: float | None  # None: there was nothing to tell
    duty: float
    kwh: float
    cost: float | None
    cycles: int
    alarms: tuple[Told, ...]
    starts: int
    turns: int
    logbook_bytes: int
    failed: tuple[str, ...] = ()  # what did not hold, in sentences

    def facts(self) -> dict[str, object]:
        """As JSON, SI with the unit in the key."""
        return {
            "scenario": self.scenario,
            "seed": self.seed,
            "days": self.days,
            "froze": self.froze,
            "ice_share": round(self.ice_share, 4),
            "coldest_water_c": round(self.coldest_water_c, 2),
            "coldest_air_c": round(self.coldest_air_c, 2),
            "hottest_air_c": round(self.hottest_air_c, 2),
            "hours_below_0c": round(self.hours_below_0c, 2),
            "told_after_s": None if self.told_after_s is None else round(self.told_after_s, 1),
            "duty": round(self.duty, 4),
            "kwh": round(self.kwh, 3),
            "cost": None if self.cost is None else round(self.cost, 2),
            "cycles": self.cycles,
            "alarms": [
                {
                    "code": told.code,
                    "subject": told.subject,
                    "at_s": round(told.at_s, 1),
                    "after_s": None if told.after_s is None else round(told.after_s, 1),
                    "text": told.text,
                }
                for told in self.alarms
            ],
            "starts": self.starts,
            "failed": list(self.failed),
        }

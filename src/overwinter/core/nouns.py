"""What crosses a room's door: readings, settings, commands, decisions, events.

Read these and you know the program. Every value was checked where text became a type (`settings/`,
`devices/`, `wire/`); behind that door it is trusted. Instants are seconds on CLOCK_BOOTTIME and end in
`_s`; nothing in here knows the date.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import TypeAlias

from overwinter.core.telling import Mqtt, Notices, Web
from overwinter.core.units import Unit, c_from_f


class Mode(StrEnum):
    """What is guarded: pipes, comfort or stock, or nothing (only watched)."""

    FREEZE = "freeze"
    WARM = "warm"
    OBSERVE = "observe"


class Flag(IntEnum):
    """The QARTOD flag of one reading (IOOS, open standard; codes as published)."""

    PASS = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


class Role(StrEnum):
    """What a sensor is for."""

    CONTROL = "control"
    OUTDOOR = "outdoor"
    EXTRA = "extra"


class Reason(StrEnum):
    """Why heat is on or off."""

    BELOW_BAND = "below-band"
    ABOVE_BAND = "above-band"
    INSIDE_BAND = "inside-band"
    MIN_ON = "min-on"
    MIN_OFF = "min-off"
    SENSOR_LOST = "sensor-lost"
    SENSORS_DISAGREE = "sensors-disagree"
    TOO_HOT = "too-hot"
    WARM_ENOUGH = "warm-enough"
    BY_HAND = "by-hand"
    EXERCISE = "exercise"
    OBSERVING = "observing"
    STARTING = "starting"


class Health(StrEnum):
    """The categories of NAMUR NE 107, in words."""

    NORMAL = "normal"
    MAINTENANCE_REQUIRED = "maintenance-required"
    OUT_OF_SPECIFICATION = "out-of-specification"
    FUNCTION_CHECK = "function-check"
    FAILURE = "failure"


class Code(StrEnum):
    """What an alarm is about."""

    SENSOR_LOST = "sensor-lost"
    SENSOR_DOUBTFUL = "sensor-doubtful"
    SENSORS_DISAGREE = "sensors-disagree"
    COLD = "cold"
    TOO_HOT = "too-hot"
    HEATER_DEAD = "heater-dead"
    HEAT_STUCK_ON = "heat-stuck-on"
    HEATER_TOO_SMALL = "heater-too-small"
    COOLING_FAST = "cooling-fast"
    DAMP = "damp"
    WET_FLOOR = "wet-floor"
    SHORT_CYCLING = "short-cycling"
    RELAY_WORN = "relay-worn"
    DISK = "disk"
    SETTINGS_RECOVERED = "settings-recovered"
    GAP = "gap"
    MAY_HAVE_FROZEN = "may-have-frozen"
    CLOCK = "clock"
    LOW_SETTING = "low-setting"


@dataclass(slots=True, kw_only=True)
class Reading:
    """What one sensor said, before anyone believed it.

    Never changed. Not frozen all the same, nor is anything else that is made in every turn or with every line
    of the logbook: a frozen one takes twice as long to make.
    """

    sensor: str
    taken_s: float
    temperature_c: float | None  # None: nothing came, and `error` says why
    humidity_pct: float | None = None  # 0..100; None: this sensor has none
    error: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that was refused: which key, what value, what is allowed, in one sentence."""

    key: str
    value: object
    allowed: str
    text: str


class OverwinterError(Exception):
    """Root of what this program raises on purpose; `exit_code` is the command's."""

    exit_code = 1


class Refused(OverwinterError, ValueError):
    """The caller can mend it: `problems` says how. Nothing was changed."""

    def __init__(self, problems: "list[Problem]") -> None:
        super().__init__("; ".join(problem.text for problem in problems))
        self.problems = problems


class NotStored(OverwinterError, OSError):
    """The disk did not take it. Nothing was changed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """settings.toml as typed values in SI; ranges and rules are checked in `settings/`."""

    mode: Mode = Mode.FREEZE
    unit: Unit = Unit.F
    low_c: float = c_from_f(36.0)
    high_c: float = c_from_f(40.0)
    sense_s: float = 10.0
    record_s: float = 60.0
    window: int = 5
    max_rate_k_min: float = 5.0
    flat_after_s: float = 7200.0
    lost_after_s: float = 120.0
    blind_duty: float = 1.0
    warm_above_c: float = c_from_f(50.0)
    min_on_s: float = 120.0
    min_off_s: float = 60.0
    ceiling_c: float = c_from_f(75.0)
    alarm_low_c: float = c_from_f(34.5)
    exercise_every_days: float = 7.0
    exercise_for_s: float = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSpec:
    """One `[[sensor]]` of site.toml."""

    name: str
    role: Role
    kind: str  # dht22 | dht11 | iio | w1 | simulated
    at: str = "air"  # air | pipe
    pin: int | None = None
    path: str | None = None
    offset_c: float = 0.0  # [K] calibration, added to the reading


@dataclass(frozen=True, slots=True, kw_only=True)
class RelaySpec:
    """`[relay]` of site.toml."""

    kind: str = "gpio"  # gpio | simulated
    pin: int | None = None
    active_high: bool = True
    contact: str = "NO"  # NO: released is no heat; NC: released is heat
    feedback_pin: int | None = None
    rated_cycles: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeaterSpec:
    """`[heater]` of site.toml."""

    watts: float | None = None
    kind: str = "air"  # lamp | air | cable
    limiter: bool = False
    backup_thermostat_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactSpec:
    """One `[[contact]]` of site.toml: an input that is only read."""

    name: str
    kind: str  # pump | door | wet
    pin: int
    active_high: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer of a building part."""

    material: str
    thickness_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingPart:
    """One `[[building.part]]`: exactly one of `u_w_m2k` and `layers` is given."""

    name: str
    area_m2: float
    u_w_m2k: float | None = None
    layers: tuple[Layer, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Building:
    """`[building]` of site.toml; everything may be missing."""

    volume_m3: float | None = None
    air_changes_h: float | None = None
    design_outdoor_c: float | None = None
    parts: tuple[BuildingPart, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeSpec:
    """One `[[pipe]]` of site.toml."""

    name: str
    length_m: float | None
    bore_m: float
    outside_m: float
    insulation_m: float = 0.0
    insulation_w_mk: float = 0.035


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """`[circuit]` of site.toml."""

    volts: float = 120.0
    breaker_a: float | None = None
    cord_length_m: float = 0.0
    cord_mm2: float | None = None
    relay_resistive_a: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """site.toml: what is wired and built. The guard only reads it."""

    name: str = "pump house"
    unit: Unit = Unit.F
    altitude_m: float = 0.0
    sensors: tuple[SensorSpec, ...] = ()
    relay: RelaySpec = field(default_factory=RelaySpec)
    heater: HeaterSpec = field(default_factory=HeaterSpec)
    contacts: tuple[ContactSpec, ...] = ()
    per_kwh: float | None = None
    currency: str = ""
    max_bytes: int = 67_108_864
    building: Building | None = None
    pipes: tuple[PipeSpec, ...] = ()
    circuit: Circuit | None = None
    notices: Notices = field(default_factory=Notices)
    mqtt: Mqtt | None = None
    web: Web | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """Who asked, as the kernel says (SO_PEERCRED)."""

    uid: int
    user: str
    pid: int

    def facts(self) -> dict[str, object]:
        """For an event."""
        return {"uid": self.uid, "user": self.user, "pid": self.pid}


@dataclass(frozen=True, slots=True, kw_only=True)
class SetHand:
    """Heat on or off by hand, for a time."""

    ticket: int
    caller: Caller
    heat: bool
    for_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """End what was set by hand."""

    ticket: int
    caller: Caller


@dataclass(frozen=True, slots=True, kw_only=True)
class Quiet:
    """Acknowledge the present alarms."""

    ticket: int
    caller: Caller


@dataclass(frozen=True, slots=True, kw_only=True)
class Adopt:
    """Settings that are already stored: go on with these."""

    ticket: int
    caller: Caller
    settings: Settings
    changes: Mapping[str, tuple[object, object]]  # dotted key: (old, new), in the settings' unit
    how: str  # command | by-hand | reload | until


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeAway:
    """Put the control sensors' readings aside for a time: a proof test of the fail-safe."""

    ticket: int
    caller: Caller
    for_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GiveBack:
    """End what `TakeAway` began."""

    ticket: int
    caller: Caller


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """An event that the shell wants recorded in order with the others: note, drop, refused, proof, gap."""

    ticket: int
    event: str
    fields: Mapping[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """Something that only the shell can know (disk, settings, what was learned): alarming, or no longer."""

    code: Code
    present: bool
    text: str
    subject: str = ""  # keeps two of one code apart


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactState:
    """The state of one input: the pump runs, the door is open, the floor is wet."""

    name: str
    active: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeSite:
    """A site file that was read again; what is wired is as before."""

    site: Site


Command: TypeAlias = SetHand | Release | Quiet | TakeAway | GiveBack | Adopt | Remark
Arrival: TypeAlias = Reading | ContactState | Fact | TakeSite | Command


@dataclass(slots=True)
class Event:
    """One line for the logbook, still without date: the shell adds `t`, `up` and `boot`."""

    name: str
    up_s: float
    fields: Mapping[str, object]


@dataclass(slots=True)
class Decision:
    """Whether heat is on, and why."""

    heat: bool
    reason: Reason

"""What is run and what came of it, one by one: means and shares are made in `goals`."""

from dataclasses import dataclass, field

from tests.bench.learning.faults import Kind


@dataclass(frozen=True, slots=True, order=True)
class Job:
    """One house-winter.

    `kind`: healthy, faulty, weak (half a heater, drift), alone (no outdoor sensor), or coarse (healthy, but
    recorded every ten minutes).
    """

    kind: str
    model: str
    house: str
    winter: str
    seed: int


@dataclass(frozen=True, slots=True)
class Limit:
    """An outdoor limit after so many days of log; None where it was said not to be known."""

    days: int
    truth_c: float
    best_c: float | None
    low_c: float = 0.0
    high_c: float = 0.0


@dataclass(frozen=True, slots=True)
class Duty:
    """Of a next day."""

    truth: float
    today: float
    best: float | None
    holds: bool = False


@dataclass(frozen=True, slots=True)
class Hours:
    """Until 0 °C at the sensor, and until ice in the pipe, if heat fails."""

    truth_h: float
    best_h: float | None
    low_h: float
    high_h: float
    ice_h: float
    pipe_h: float | None


@dataclass(frozen=True, slots=True)
class Found:
    """A fault and how long it took to be called by its name; None: never, while it lasted."""

    kind: Kind
    day: float
    delay_s: float | None
    is_dark: bool  # it fell between 20:00 and 06:00
    can_be_seen: bool  # doors only: the air truly cools
    said_otherwise: tuple[str, ...]


@dataclass
class Result:
    """All that came of a job."""

    job: Job
    days: int = 0
    limits: list[Limit] = field(default_factory=list)
    duties: list[Duty] = field(default_factory=list)
    hours: list[Hours] = field(default_factory=list)
    found: list[Found] = field(default_factory=list)
    false: list[tuple[str, float, str]] = field(default_factory=list)  # code, day, text
    too_small: int = 0
    cycles_day: float = 0.0
    has_pump: bool = False
    is_watched: bool = False  # a finder was there
    facts_bytes: int = 0
    claimed: list[str] = field(default_factory=list)  # alone: what was said although nobody can know

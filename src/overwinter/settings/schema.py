"""The table of settings: one row a key of settings.toml, and the rules between keys.

A new setting is one field of `Settings` and one row here; reading, changing, showing and the file of a
first start all follow. Temperatures are in °C here and in the file's unit everywhere people look.
"""

import math
from dataclasses import dataclass
from enum import Enum, auto

from overwinter.core.nouns import Mode, Problem, Settings
from overwinter.core.units import K_PER_F, Unit, c_from_f, from_c

DEFAULTS = Settings()

ROUNDING = 1e-9
"""What binary arithmetic may add at an edge: 100 F in °C is still 100 F. [the value's unit]"""

LOW_SAFE_C = 1.0
"""In mode freeze a low end below this needs `anyway`: a cheap sensor is off by half a kelvin, the coldest
pipe by more."""

LOW_SAFE_TOLERANCE_K = 1e-6

ALARM_STEP_K = 1.5 * K_PER_F
"""How far below the low end the alarm is by default: 34.5 F below 36 F."""


class Kind(Enum):
    """What a value is; only temperatures depend on the file's unit."""

    CHOICE = auto()
    TEMPERATURE = auto()
    NUMBER = auto()
    INTEGER = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One key of settings.toml."""

    key: str
    field: str  # of Settings
    kind: Kind
    about: str
    lo: float = -math.inf  # [°C] for a temperature
    hi: float = math.inf
    measure: str = ""  # the unit of a number
    odd: bool = False
    choices: type[Mode] | type[Unit] | None = None
    fact: str = ""  # name of the fact where it is not the key's last part

    @property
    def table(self) -> str:
        """The table that the key stands in; empty at the top."""
        return self.key.rpartition(".")[0]

    @property
    def name(self) -> str:
        """The key within its table."""
        return self.key.rpartition(".")[2]


def _choice(key: str, choices: type[Mode] | type[Unit], about: str) -> Row:
    return Row(key=key, field=key, kind=Kind.CHOICE, choices=choices, about=about)


def _temperature(key: str, field: str, lo_f: float, hi_f: float, *, about: str) -> Row:
    lo, hi = c_from_f(lo_f), c_from_f(hi_f)
    fact = key.rpartition(".")[2] + "_c"
    return Row(key=key, field=field, kind=Kind.TEMPERATURE, lo=lo, hi=hi, fact=fact, about=about)


def _number(
    key: str, field: str, lo: float, hi: float, *, measure: str = "s", about: str, fact: str = ""
) -> Row:
    kind = Kind.NUMBER
    return Row(key=key, field=field, kind=kind, lo=lo, hi=hi, measure=measure, fact=fact, about=about)


# fmt: off
ROWS = (
    _choice("mode", Mode, "guard pipes, keep a comfort band, or only watch"),
    _choice("unit", Unit, "how this file and the screen speak"),
    _temperature("band.low", "low_c", -40, 100, about="heat goes on at or below this"),
    _temperature("band.high", "high_c", -40, 100, about="heat goes off at or above this"),
    _number("sampling.sense_s", "sense_s", 1, 300, about="how often sensors are read"),
    _number("sampling.record_s", "record_s", 1, 3600, about="how often a sample goes into the logbook"),
    Row(key="filter.window", field="window", kind=Kind.INTEGER, lo=1, hi=31, odd=True,
        about="the median of so many readings counts"),
    _number("filter.max_rate_per_min", "max_rate_k_min", 0.5, 600, measure="K/min",
            fact="max_rate_k_per_min", about="a faster step is suspect until it lasts"),
    _number("filter.flat_after_s", "flat_after_s", 60, 86400, about="the same raw values this long: failed"),
    _number("failsafe.lost_after_s", "lost_after_s", 3, 3600, about="nothing believable this long: blind"),
    _number("failsafe.duty", "blind_duty", 0.1, 1, measure="", about="share of heat while blind in freeze"),
    # From 40 F: a house that was at 36 F an hour ago must not go unheated while blind.
    _temperature("failsafe.warm_above", "warm_above_c", 40, 140, about="no blind heat where it is this warm"),
    _number("relay.min_on_s", "min_on_s", 0, 900, about="heat that is on stays on this long"),
    _number("relay.min_off_s", "min_off_s", 0, 900, about="heat that is off stays off this long"),
    # To 140 F: beyond it plastics soften and touching burns, whatever the heater may stand.
    _temperature("limits.ceiling", "ceiling_c", -40, 140, about="at or above this: heat off"),
    # From -50 F: there must be room for an alarm under the lowest band.
    _temperature("limits.alarm_low", "alarm_low_c", -50, 100, about="at or below this: alarm"),
    _number("exercise.every_days", "exercise_every_days", 0, 60, measure="days",
            about="in season, unused heat is tried this often; 0 is never"),
    _number("exercise.for_s", "exercise_for_s", 60, 1800, about="and for this long"),
)
# fmt: on
BY_KEY = {row.key: row for row in ROWS}
TABLES = tuple(dict.fromkeys(row.table for row in ROWS if row.table))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A rule between two keys: `upper` lies at least `least` above `lower`."""

    upper: str
    lower: str
    least: float  # [K] or [s]
    blamed: str  # the key that is at fault when nothing else points to one of the two
    strict: bool = False  # equal is not enough
    note: str = ""

    @property
    def keys(self) -> frozenset[str]:
        """Both keys."""
        return frozenset((self.upper, self.lower))

    def holds(self, settings: Settings) -> bool:
        """Whether `settings` keep this rule."""
        gap = value_of(settings, self.upper) - value_of(settings, self.lower)
        return gap > ROUNDING if self.strict else gap >= self.least - ROUNDING

    def allowed(self, key: str, unit: Unit, settings: Settings | None = None) -> str:
        """What the rule asks of `key`, with the other's value if there are settings to take it from."""
        above = key == self.upper
        other = self.lower if above else self.upper
        row = BY_KEY[other]
        if self.strict:
            words = "above" if above else "below"
        elif self.least == 0.0:
            words = "not below" if above else "not above"
        else:
            degrees = self.least / K_PER_F if unit is Unit.F else self.least
            words = f"at least {figure(degrees)} {unit} {'above' if above else 'below'}"
        value = f", {measured(row, value_of(settings, other), unit)}" if settings else ""
        return f"{words} {other}{value}"


GAPS = (
    Gap(upper="band.high", lower="band.low", least=0.5, blamed="band.high"),
    Gap(
        upper="limits.ceiling",
        lower="band.high",
        least=3.0,
        blamed="limits.ceiling",
        note="the ceiling is never moved by itself",
    ),
    Gap(upper="band.low", lower="limits.alarm_low", least=0.0, blamed="limits.alarm_low", strict=True),
    Gap(upper="sampling.record_s", lower="sampling.sense_s", least=0.0, blamed="sampling.record_s"),
)


def value_of(settings: Settings, key: str) -> float:
    """The value of a key that is a number (temperatures in °C)."""
    value = getattr(settings, BY_KEY[key].field)
    assert isinstance(value, int | float), f"{key} is no number"
    return float(value)


def default_alarm_low_c(low_c: float) -> float:
    """The alarm temperature where the file names none: 34.5 F, but always below the band."""
    return min(DEFAULTS.alarm_low_c, low_c - ALARM_STEP_K)


def is_low_for_freeze(settings: Settings) -> bool:
    """Whether the band's low end is too near to freezing for guarding pipes."""
    return settings.mode is Mode.FREEZE and settings.low_c < LOW_SAFE_C - LOW_SAFE_TOLERANCE_K


def low_problem(settings: Settings, key: str, where: str = "", why: str = "") -> Problem:
    """The problem of a band whose low end `is_low_for_freeze`, found at `key`."""
    unit = settings.unit
    low = measured(BY_KEY["band.low"], settings.low_c, unit)
    floor = measured(BY_KEY["band.low"], LOW_SAFE_C, unit)
    value = str(settings.mode) if key == "mode" else round(from_c(settings.low_c, unit), 3)
    found = f"mode = freeze: band.low is {low}" if key == "mode" else f"band.low = {low} in mode freeze"
    text = f"{where}{found}; below {floor} pipes may freeze before the room is warm{why}"
    return Problem(key, value, f"band.low at least {floor} in mode freeze", text)


def lowest(row: Row, sense_s_min: float) -> float:
    """The lower end of the row's range; some sensors cannot be read as often as others."""
    return max(row.lo, sense_s_min) if row.key == "sampling.sense_s" else row.lo


def allowed(row: Row, unit: Unit, sense_s_min: float = 1.0) -> str:
    """The row's range in words, in the file's unit."""
    if row.choices is not None:
        *others, last = (str(choice) for choice in row.choices)
        return f"{', '.join(others)} or {last}"
    lo, hi = lowest(row, sense_s_min), row.hi
    if row.kind is Kind.TEMPERATURE:
        return f"{figure(from_c(lo, unit))}..{figure(from_c(hi, unit))} {unit}"
    text = f"{figure(lo)}..{figure(hi)} {row.measure}".rstrip()
    return f"{text}, odd" if row.odd else text


def is_within(row: Row, number: float, sense_s_min: float = 1.0) -> bool:
    """Whether a number (temperatures in °C) is in the row's range; NaN is not."""
    return lowest(row, sense_s_min) - ROUNDING <= number <= row.hi + ROUNDING


def figure(value: float, decimals: int = 2) -> str:
    """A number for people, without trailing zeros."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def measured(row: Row, value: float, unit: Unit) -> str:
    """A number of settings (temperatures in °C) with its unit, for people."""
    if row.kind is Kind.TEMPERATURE:
        return f"{figure(from_c(value, unit), decimals_of(unit))} {unit}"
    return f"{figure(value, 3)} {row.measure}".rstrip()


def decimals_of(unit: Unit) -> int:
    """Decimals that a converted temperature gets: enough to come back as it was (36 F, 2.222 C, 36 F)."""
    return 2 if unit is Unit.F else 3

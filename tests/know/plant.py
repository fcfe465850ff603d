"""A small house of two stores for the tests of what is found: air, walls, a heater on a band, a cheap sensor.

Steps of twenty seconds, spans of a minute, everything random from one seed; faults are attributes to switch.
"""

import copy
import functools
import math
import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from overwinter.core.nouns import Code, ContactSpec, Flag, HeaterSpec, Mode, RelaySpec, Role, SensorSpec, Site
from overwinter.know.find import Finder
from overwinter.know.nouns import Finding, Seen, Span

STEP_S = 20.0
STEPS = 3
DAY_S = 86_400.0
LOW_C, HIGH_C = 2.0, 4.0
ALARM_LOW_C = 1.4
NOISE_K = 0.06
SENSOR_LAG_S = 60.0

SHED = SensorSpec(name="shed", role=Role.CONTROL, kind="simulated")
SHELF = SensorSpec(name="shelf", role=Role.EXTRA, kind="simulated")
DOOR = ContactSpec(name="door", kind="door", pin=5)
PUMP = ContactSpec(name="pump", kind="pump", pin=6)
FLOOR = ContactSpec(name="floor", kind="wet", pin=13)
SITE = Site(
    sensors=(SHED, SHELF),
    relay=RelaySpec(kind="simulated"),
    heater=HeaterSpec(watts=250.0, kind="lamp"),
    contacts=(DOOR, PUMP, FLOOR),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """Stores and ways of heat of one house."""

    air_j_k: float = 60e3
    mass_j_k: float = 1.5e6
    air_to_mass_w_k: float = 40.0
    air_to_out_w_k: float = 6.0
    mass_to_out_w_k: float = 2.0
    watts: float = 250.0
    heater_lag_s: float = 0.0
    mean_out_c: float = -6.0
    swing_k: float = 4.0


SHED_HOUSE = House()
BLOCK_HOUSE = House(
    air_j_k=150e3,
    mass_j_k=12e6,
    air_to_mass_w_k=160.0,
    air_to_out_w_k=15.0,
    mass_to_out_w_k=12.0,
    watts=1000.0,
)
BOX = House(
    air_j_k=15e3,
    mass_j_k=150e3,
    air_to_mass_w_k=6.0,
    air_to_out_w_k=1.0,
    mass_to_out_w_k=0.6,
    watts=40.0,
)
OIL_HOUSE = replace(BLOCK_HOUSE, heater_lag_s=900.0)
HOUSES = {"shed": SHED_HOUSE, "block": BLOCK_HOUSE, "box": BOX, "oil": OIL_HOUSE}


@dataclass(slots=True)
class Plant:
    """The house in time; what is public may be switched from outside between two spans."""

    house: House = SHED_HOUSE
    seed: int = 1
    heater_share: float = 1.0
    is_welded: bool = False
    thermostat: tuple[float, float] | None = None  # a second heater of the same watts, on below, off above
    open_w_k: float = 0.0
    extra_w: float = 0.0
    out_shift_k: float = 0.0
    is_flat: bool = False
    is_lost: bool = False
    second_off_k: float | None = None
    third_off_k: float | None = None
    has_feedback: bool = False
    is_forced: bool = False
    mode: Mode = Mode.FREEZE
    contacts: Mapping[str, float] = field(default_factory=dict)
    humidity_pct: float = 72.0
    now_s: float = 0.0
    air_c: float = 3.0
    mass_c: float = 2.0
    sensed_c: float = 3.0
    gusts_k: float = 0.0
    warmth_w: float = 0.0  # of the heater's body
    is_on: bool = False
    is_thermostat_on: bool = False
    lost_s: float = 0.0
    said_c: float = 3.0
    stuck: Seen | None = None
    dice: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self.dice = random.Random(self.seed)

    def out_c(self) -> float:
        """Outdoors now: a wave of a day, gusts, and what a test adds."""
        wave_k = self.house.swing_k * math.sin(2.0 * math.pi * self.now_s / DAY_S)
        return self.house.mean_out_c + wave_k + self.gusts_k + self.out_shift_k

    def span(self) -> Span:
        """The next minute."""
        heat = current = 0.0
        for _ in range(STEPS):
            heat += self.is_on / STEPS
            current += (self.is_welded or (self.is_on and self.heater_share > 0.0)) / STEPS
            self._step()
            if not self.is_lost and self.mode is not Mode.OBSERVE:
                said_c = self.sensed_c + self.dice.gauss(0.0, NOISE_K)
                self.is_on = said_c < HIGH_C if self.is_on else said_c <= LOW_C
        self.gusts_k += -self.gusts_k / 120.0 + self.dice.gauss(0.0, 0.06)
        seen = self._seen()
        self.lost_s = self.lost_s + 60.0 if self.is_lost else 0.0
        if seen.temperature_c is not None:
            self.said_c = seen.temperature_c
        sensors = {SHED.name: seen}
        for name, off_k in ((SHELF.name, self.second_off_k), ("beam", self.third_off_k)):
            if off_k is not None:
                sensors[name] = self._seen(off_k)
        return Span(
            ends_s=self.now_s,
            lasts_s=60.0,
            temperature_c=self.said_c if self.lost_s <= 120.0 else None,
            humidity_pct=seen.humidity_pct,
            flag=seen.flag,
            heat=heat,
            mode=self.mode,
            low_c=LOW_C,
            high_c=HIGH_C,
            is_forced=self.is_forced,
            current=current if self.has_feedback else None,
            sensors=sensors,
            contacts=self.contacts,
        )

    def _seen(self, off_k: float = 0.0) -> Seen:
        if self.is_lost:
            return Seen(temperature_c=None, flag=int(Flag.MISSING))
        said = Seen(
            temperature_c=round(self.sensed_c + off_k + self.dice.gauss(0.0, NOISE_K), 1),
            humidity_pct=round(min(self.humidity_pct + self.dice.gauss(0.0, 0.3), 100.0), 1),
        )
        if not self.is_flat:
            self.stuck = said
        return said if self.stuck is None or off_k else self.stuck

    def _step(self) -> None:
        house, out_c = self.house, self.out_c()
        if self.thermostat is not None:
            below_c, above_c = self.thermostat
            self.is_thermostat_on = self.air_c < (above_c if self.is_thermostat_on else below_c)
        called = 1.0 if self.is_welded else self.is_on * self.heater_share
        watts = house.watts * (called + self.is_thermostat_on)
        if house.heater_lag_s:
            self.warmth_w += (watts - self.warmth_w) * STEP_S / house.heater_lag_s
            watts = self.warmth_w
        to_air_w = watts + self.extra_w + house.air_to_mass_w_k * (self.mass_c - self.air_c)
        to_air_w += (house.air_to_out_w_k + self.open_w_k) * (out_c - self.air_c)
        to_mass_w = house.air_to_mass_w_k * (self.air_c - self.mass_c)
        to_mass_w += house.mass_to_out_w_k * (out_c - self.mass_c)
        self.air_c += to_air_w / house.air_j_k * STEP_S
        self.mass_c += to_mass_w / house.mass_j_k * STEP_S
        self.sensed_c += (self.air_c - self.sensed_c) * STEP_S / SENSOR_LAG_S
        self.now_s += STEP_S


class Watch:
    """A plant and the finder that is fed with it."""

    def __init__(self, plant: Plant, site: Site = SITE, *, is_replay: bool = False) -> None:
        self.plant = plant
        self.finder = Finder(site, is_replay=is_replay, alarm_low_c=ALARM_LOW_C)
        self.found: tuple[Finding, ...] = ()

    def minute(self, **changes: object) -> Span:
        """One span more; `changes` to it, as it is told to the finder."""
        span = replace(self.plant.span(), **changes)  # type: ignore[arg-type]
        self.found = self.finder.take(span)
        return span

    def run(self, minutes: float) -> set[Code]:
        """All that is said meanwhile."""
        said: set[Code] = set()
        for _ in range(round(minutes)):
            self.minute()
            said |= self.codes
        return said

    @property
    def codes(self) -> set[Code]:
        """Of what is said now."""
        return {finding.code for finding in self.found}

    def text(self, code: Code) -> str:
        """What is said of it now."""
        return next(finding.text for finding in self.found if finding.code is code)

    def until(self, is_so: Callable[[], bool], *, within_min: int) -> int:
        """Minutes until it is so; more than `within_min` where it never is."""
        for minute in range(within_min + 1):
            if is_so():
                return minute
            self.minute()
        return within_min + 1

    def until_said(self, code: Code, *, within_min: int) -> int:
        """Minutes until it is said."""
        return self.until(lambda: code in self.codes, within_min=within_min)

    def until_gone(self, code: Code, *, within_min: int) -> int:
        """Minutes until it is said no longer."""
        return self.until(lambda: code not in self.codes, within_min=within_min)

    def until_heat(self, *, is_on: bool) -> None:
        """Go on to the first moment at which heat has just been switched so."""
        assert self.until(lambda: self.plant.is_on is not is_on, within_min=600) <= 600
        assert self.until(lambda: self.plant.is_on is is_on, within_min=600) <= 600


@functools.cache
def _learned(
    house: House, site: Site, days: float, seed: int, has_feedback: bool, sensors: int, is_replay: bool
) -> Watch:
    plant = Plant(house=house, seed=seed, has_feedback=has_feedback)
    plant.second_off_k = 0.8 if sensors >= 2 else None
    plant.third_off_k = -0.5 if sensors >= 3 else None
    watch = Watch(plant, site, is_replay=is_replay)
    assert not watch.run(days * 1440.0)
    return watch


def learned(
    house: House = SHED_HOUSE,
    site: Site = SITE,
    *,
    days: float = 3.0,
    seed: int = 1,
    has_feedback: bool = False,
    sensors: int = 1,
    is_replay: bool = False,
) -> Watch:
    """A house that has been watched for some healthy days, of which nothing was said."""
    return copy.deepcopy(_learned(house, site, days, seed, has_feedback, sensors, is_replay))


def fed(finder: Finder, spans: Iterable[Span]) -> list[tuple[Finding, ...]]:
    """What is said after each of them."""
    return [finder.take(span) for span in spans]


def codes(found: Iterable[Finding]) -> set[Code]:
    """Of these findings."""
    return {finding.code for finding in found}


def minutes(*temperatures_c: float | None, heat: float = 0.0, **rest: object) -> list[Span]:
    """Spans of a minute with these temperatures, nothing else happening."""
    return [
        Span(
            ends_s=60.0 * place,
            lasts_s=60.0,
            temperature_c=air_c,
            heat=heat,
            low_c=LOW_C,
            high_c=HIGH_C,
            **rest,  # type: ignore[arg-type]
        )
        for place, air_c in enumerate(temperatures_c, start=1)
    ]

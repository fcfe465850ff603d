"""What a proof test goes by: what was seen, how the air answers the heater, and what each step came to.

Rule 1: only evidence passes. What was not seen is `unfinished`, what was seen to be wrong is `failed`.
Rule 2: the texts say what was seen and what to do; they are kept, so they are bounded.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from overwinter.core.nouns import Mode
from overwinter.core.units import Unit

PASSED, FAILED, UNFINISHED = "passed", "failed", "unfinished"
VERDICTS = (PASSED, UNFINISHED, FAILED)  # the worst last

TEXT_AT_MOST = 300
"""Characters of what a step says; the logbook is bounded."""
WORD_AT_MOST = 40
"""Characters of a step's name, and of what confirmed it."""
STEPS_AT_MOST = 12
"""Steps of one record; more than there are."""

RISE_K = 0.5
"""A rise that follows the heat; the noise of cheap sensors is 0.1 to 0.2 K (from memory)."""
FALL_K = 0.3
"""Air falls more slowly than it rose: walls and pump have taken up heat by then."""
SPREADS = 2.0
"""Either must also be this many times the spread that was seen before the switch."""
SPREAD_OF = 5
"""Readings that the spread is taken from, and that are waited for."""
THERMOSTAT_ZONE_K = 3.0
"""A mechanical thermostat may hold heat until so far above where it closes (common figure, from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What one step of the proof came to; `by` says what confirmed it."""

    step: str  # sensors | relay | fail-safe | return | reboot
    verdict: str
    text: str
    by: str | None = None  # feedback | owner | temperature | guard, or several of them

    def facts(self) -> dict[str, object]:
        """For the record."""
        return {"step": self.step, "verdict": self.verdict, "by": self.by, "text": self.text[:TEXT_AT_MOST]}


def is_record(verdict: object, steps: object) -> bool:
    """Whether this is what a proof test may come to: steps, each whole, and the worst of their verdicts."""
    return (
        isinstance(steps, list)
        and 1 <= len(steps) <= STEPS_AT_MOST
        and all(map(_is_step, steps))
        and verdict == verdict_of(step["verdict"] for step in steps)
    )


def _is_step(step: object) -> bool:
    return (
        isinstance(step, dict)
        and step.keys() == {"step", "verdict", "by", "text"}
        and step["verdict"] in VERDICTS
        and _is_text(step["step"], WORD_AT_MOST)
        and (step["by"] is None or _is_text(step["by"], WORD_AT_MOST))
        and _is_text(step["text"], TEXT_AT_MOST)
    )


def _is_text(value: object, at_most: int) -> bool:
    return isinstance(value, str) and 1 <= len(value) <= at_most


def verdict_of(verdicts: Iterable[str]) -> str:
    """The worst of them; nothing at all is unfinished."""
    return max(verdicts, key=VERDICTS.index, default=UNFINISHED)


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSeen:
    """One sensor as the guard sees it; `age_s` counts from its last believed reading."""

    name: str
    is_control: bool
    temperature_c: float | None
    flag: int
    age_s: float | None
    error: str | None = None

    @property
    def is_good(self) -> bool:
        """Whether its last reading is believed."""
        return self.flag in (1, 2) and self.temperature_c is not None and self.age_s is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the guard says of itself at one moment."""

    up_s: float  # seconds since boot
    started_s: float  # when the guard started, on the same clock
    heat: bool
    reason: str
    mode: Mode = Mode.FREEZE
    is_blind: bool = False
    is_away: bool = False  # the control sensors are
    flows: bool | None = None  # what the feedback input says; None: there is none
    sensors: tuple[SensorSeen, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is wired and set, as far as the proof must know."""

    has_owner: bool  # somebody is there to answer
    unit: Unit = Unit.F
    lost_s: float = 120.0
    sense_s: float = 10.0
    window: int = 5
    warm_above_c: float = 10.0
    heater: str = "air"  # lamp | air | cable
    released_heats: bool = False  # contact NC
    backup_c: float | None = None  # a mechanical thermostat in parallel closes here


class Air:
    """What the control sensors say: the last readings of each, and the median of the last three."""

    def __init__(self) -> None:
        self._said: dict[str, deque[float]] = {}
        self._taken_s: dict[str, float] = {}

    def note(self, seen: Seen) -> None:
        """Take what is new; the same reading is seen many times."""
        for sensor in seen.sensors:
            if not (sensor.is_control and sensor.is_good):
                continue
            assert sensor.temperature_c is not None  # is_good says so
            assert sensor.age_s is not None
            taken_s = seen.up_s - sensor.age_s
            if taken_s - self._taken_s.get(sensor.name, float("-inf")) > 0.5:  # ages come rounded
                self._taken_s[sensor.name] = taken_s
                said = self._said.setdefault(sensor.name, deque(maxlen=SPREAD_OF))
                said.append(sensor.temperature_c)

    @property
    def has_spread(self) -> bool:
        """Whether each sensor has said enough for a spread."""
        return bool(self._said) and all(len(said) >= SPREAD_OF for said in self._said.values())

    def spread_k(self) -> float:
        """The widest spread of any sensor [K]."""
        return max((max(said) - min(said) for said in self._said.values()), default=0.0)

    def levels_c(self) -> dict[str, float]:
        """Where each sensor stands [°C]."""
        last = {name: sorted(list(said)[-3:]) for name, said in self._said.items()}
        return {name: said[(len(said) - 1) // 2] for name, said in last.items()}


class Answer:
    """How the air answers one switch of the heater: the change since its turning point, at any sensor."""

    def __init__(self, air: Air, *, heat: bool) -> None:
        """From what the sensors said before the switch."""
        self._air = air
        self._sign = 1.0 if heat else -1.0
        self._before_c = air.levels_c()
        self._turned_c = dict(self._before_c)
        self.need_k = max(RISE_K if heat else FALL_K, SPREADS * air.spread_k())

    def change_k(self) -> float:
        """How far it has gone the way it should, from where it turned [K]."""
        furthest_k = 0.0
        for name, level_c in self._air.levels_c().items():
            turned_c = self._turned_c.setdefault(name, level_c)
            if self._sign * (level_c - turned_c) < 0.0:  # it still goes on as before the switch
                turned_c = self._turned_c[name] = level_c
            furthest_k = max(furthest_k, self._sign * (level_c - turned_c))
        return furthest_k

    def against_k(self) -> float:
        """How far it has gone the other way since the switch [K]."""
        return max(
            (
                -self._sign * (level_c - self._before_c.get(name, level_c))
                for name, level_c in self._air.levels_c().items()
            ),
            default=0.0,
        )

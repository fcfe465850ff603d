"""Faults in counted time: the guard's own wheel, judge, watch, settings and logbook in a simulated house."""

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

from overwinter.core.nouns import Arrival, ContactSpec, HeaterSpec, Reading, RelaySpec, Role, SensorSpec, Site
from overwinter.rehearse.disk import SimulatedDisk
from overwinter.rehearse.measure import Measure
from overwinter.rehearse.nouns import Fault, Scenario
from overwinter.rehearse.run import Run
from overwinter.rehearse.stage import Stage
from overwinter.rehearse.weather import weather_of
from overwinter.store.disk import put_beneath
from overwinter.twin.houses import HOUSES
from tests.faults.nouns import HOUR_S, Seen

AIR = SensorSpec(name="by the pump", role=Role.CONTROL, kind="simulated")
PIPE = SensorSpec(name="on the pipe", role=Role.CONTROL, kind="simulated", at="pipe")
YARD = SensorSpec(name="in the yard", role=Role.OUTDOOR, kind="simulated")

BY_THE_BAND = frozenset(
    ("below-band", "above-band", "inside-band", "min-on", "min-off", "exercise", "starting", "by-hand")
)

Prepare = Callable[[Run, float], None]
"""Breaks something that no scenario can, before the run; the fault's time [s] beside it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """A scenario of hours. The first fault begins at `at_h`, where nothing else says so."""

    told: str = ""
    faults: tuple[Fault, ...] = ()
    at_h: float = 2.0
    hours: float = 6.0
    settles_s: float = 300.0  # so long after the fault its output state must have come about
    ends_s: float = math.inf  # and so long after it, what is looked at ends
    settings: Mapping[str, object] = field(default_factory=dict)
    sensors: tuple[SensorSpec, ...] = (AIR,)
    house: str = "timber shed"
    start_c: float = 4.0
    outdoor_c: tuple[float, float] = (-6.0, -12.0)  # in the evening and at dawn
    relay: RelaySpec = RelaySpec(kind="simulated")  # noqa: RUF009 (frozen)
    heater_w: float | None = None
    contacts: tuple[ContactSpec, ...] = ()
    prepare: Prepare | None = None
    pipe_on_wall: bool = False
    from_first_heat: bool = False  # it can be seen only once heat is asked for: counted from there

    def __call__(self, folder: Path) -> Seen:
        """Live through it."""
        scenario = Scenario(
            name="a fault",
            days=self.hours / 24.0,
            house=self.house,
            weather="cold-night",
            weather_options={"evening_c": self.outdoor_c[0], "dawn_c": self.outdoor_c[1], "wobble_k": 0.0},
            start_c=self.start_c,
            settings=self.settings,
            sensors=self.sensors,
            faults=self.faults,
        )
        at_s = min((fault.at_s for fault in self.faults), default=self.at_h * HOUR_S)
        turns: list[tuple[float, bool, str, bool]] = []

        def look(run: Run) -> None:
            assert run.guard is not None
            decision = run.guard.wheel.state.decision
            turns.append((run.elapsed_s, decision.heat, decision.reason.value, run.stage.heats))

        site = Site(relay=self.relay)
        if self.heater_w is not None:
            site = replace(site, heater=HeaterSpec(watts=self.heater_w, kind="lamp"))
        ready = HOUSES[self.house]
        if self.pipe_on_wall:
            ready = replace(ready, pipe_air_w_k=0.0, pipe_envelope_w_k=ready.pipe_air_w_k)
        with put_beneath(disk := SimulatedDisk()), patch.dict(HOUSES, {self.house: ready}):
            run = Run(
                scenario,
                seed=1,
                folder=folder,
                weather=weather_of(scenario, seed=1),
                site=site,
                settings_text=None,
                disk=disk,
                watch=look,
            )
            run.site = replace(run.site, contacts=self.contacts)
            run.measure = heard = _Heard(scenario, run.stage)
            if self.prepare is not None:
                self.prepare(run, at_s)
            run.through(lambda _: None)
        early = [line for now_s, line in heard.lines if now_s < at_s and line["event"] == "alarm"]
        assert not early, f"told before anything broke: {early}"
        since_s = at_s
        if self.from_first_heat:
            since_s = next(now_s for now_s, wish, _, _ in turns if wish and now_s >= at_s)
        told_s = min(
            (now_s for now_s, line in heard.lines if now_s >= at_s and _is(line, self.told)), default=None
        )
        window = (at_s + self.settles_s, at_s + self.ends_s)
        return Seen(
            told_after_s=None if told_s is None else max(told_s - since_s, 0.0),
            heat=_heat([turn for turn in turns if window[0] <= turn[0] <= window[1]]),
            ice_after_s=None if heard.ice_s is None else heard.ice_s - since_s,
        )


class _Heard(Measure):
    """Keeps all events, and the first ice, by the time of the house, which goes on without power."""

    def __init__(self, scenario: Scenario, stage: Stage) -> None:
        super().__init__(scenario, stage)
        self.lines: list[tuple[float, dict[str, Any]]] = []
        self.ice_s: float | None = None

    def look(self, now_s: float) -> None:
        super().look(now_s)
        if self.ice_s is None and self.ice_share > 0.0:
            self.ice_s = now_s

    def hear(self, line: bytes, now_s: float) -> None:
        super().hear(line, now_s)
        self.lines.append((now_s, json.loads(line)))


def _is(line: Mapping[str, Any], told: str) -> bool:
    what, *names = told.split(" ")
    if what == "alarm":
        return line["event"] == "alarm" and line["state"] == "raised" and [line["code"]] == names
    if what == "flag":
        return line["event"] == "sample" and any(flag in (3, 4) for *_, flag in line["sensors"].values())
    return what == "event" and [line["event"], line.get("state")][: len(names)] == names


def _heat(turns: list[tuple[float, bool, str, bool]]) -> str:
    """What the output did, in the words of the table."""
    if not turns:
        return "no guard turned"
    wishes = {wish for _, wish, _, _ in turns}
    reasons = {reason for _, _, reason, _ in turns}
    if reasons <= BY_THE_BAND - {"by-hand"} and len(wishes) == 2:
        return "band"
    if wishes == {True}:
        return "on"
    if wishes == {False}:
        return "off"
    return "band" if reasons <= BY_THE_BAND else f"by turns ({', '.join(sorted(reasons))})"


def fault(
    kind: str, for_h: float = 24.0, *, at_h: float = 2.0, by: float = 0.0, sensor: str | None = None
) -> Fault:
    """A fault as scenarios have it."""
    if kind.startswith("sensor-") and sensor is None:
        sensor = AIR.name
    return Fault(kind=kind, at_s=at_h * HOUR_S, for_s=for_h * HOUR_S, by=by, sensor=sensor)


def says(temperature_c: float | None, humidity_pct: float | None = 70.0, *, share: float = 1.0) -> Prepare:
    """From the fault on the first sensor says this; with a `share`, so many of its readings are missing."""

    def spoil(reading: Reading, number: int) -> Reading | None:
        if share < 1.0:
            is_missing = math.floor((number + 1) * share) > math.floor(number * share)
            return replace(reading, temperature_c=None, error="no answer") if is_missing else reading
        return replace(reading, temperature_c=temperature_c, humidity_pct=humidity_pct, error=None)

    return _spoiling(spoil)


def hangs() -> Prepare:
    """From the fault on nothing comes from the first sensor, not even an error."""
    return _spoiling(lambda _, __: None)


def humid(humidity_pct: float) -> Prepare:
    """From the fault on the air is so moist."""
    return _spoiling(lambda reading, _: replace(reading, humidity_pct=humidity_pct))


def from_the_future(ahead_s: float) -> Prepare:
    """From the fault on readings bear a time that has not come yet."""
    return _spoiling(lambda reading, _: replace(reading, taken_s=reading.taken_s + ahead_s))


def _spoiling(spoil: Callable[[Reading, int], Reading | None]) -> Prepare:
    def prepare(run: Run, at_s: float) -> None:
        true = run.stage.read
        count = 0

        def read(up_s: float) -> list[Arrival]:
            nonlocal count
            readings = true(up_s)
            if run.elapsed_s < at_s:
                return readings
            first = readings[0]
            assert isinstance(first, Reading)
            spoilt = spoil(first, count)
            count += 1
            return readings[1:] if spoilt is None else [spoilt, *readings[1:]]

        run.stage.read = read  # type: ignore[method-assign]

    return prepare


def each_turn(act: Callable[[Run, bool], None]) -> Prepare:
    """At every turn from the fault on; whether it is the first such turn."""

    def prepare(run: Run, at_s: float) -> None:
        true, is_first = run.stage.read, True

        def read(up_s: float) -> list[Arrival]:
            nonlocal is_first
            if run.elapsed_s >= at_s:
                act(run, is_first)
                is_first = False
            return true(up_s)

        run.stage.read = read  # type: ignore[method-assign]

    return prepare


def trembles(about_c: float, by_k: float, *, every: int) -> Prepare:
    """From the fault on the first sensor says a little more, then less, so many readings each."""

    def spoil(reading: Reading, number: int) -> Reading:
        temperature_c = about_c + (by_k if number // every % 2 else -by_k)
        # A hair's breadth apart each time, so that it does not count as stuck.
        return replace(
            reading, temperature_c=temperature_c + number % 7 * 1e-4, humidity_pct=70.0, error=None
        )

    return _spoiling(spoil)

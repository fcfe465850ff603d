"""The rehearsal itself: let time pass, let things break, let the guard turn, and measure what comes of it.

Rule 1: one thread, one clock, one seed. What happens follows from scenario, seed, site and program alone.
Rule 2: the guard learns nothing but what its sensors say; what is measured is the truth.
Rule 3: a turn a reading. In the pump house the wheel also turns every second between readings, which moves
the end of a minimum time or of a share of blind heat by some seconds, and nothing else.
"""

import math
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random

from overwinter.core.nouns import RelaySpec, Settings, Site
from overwinter.rehearse.clock import CountedClock
from overwinter.rehearse.disk import REFUSALS, SimulatedDisk
from overwinter.rehearse.life import Life, Memory
from overwinter.rehearse.measure import Measure
from overwinter.rehearse.nouns import POWER_CUTS, Fault, Outcome, Progress, Scenario
from overwinter.rehearse.owner import Owner
from overwinter.rehearse.stage import Stage, parameters_of
from overwinter.rehearse.weather import sun_of
from overwinter.settings.change import plan_change
from overwinter.settings.values import default_text
from overwinter.store.disk import put_beneath
from overwinter.store.lines import NAME
from overwinter.twin.parameters import STEP_S_MAX, HouseParameters
from overwinter.twin.weather import Sunshine, Weather

BOOT_S = 20.0
"""From power to the guard's start on a small board (common figure, from memory)."""

UNGUARDED_S = 10.0
"""The length of a step while no guard turns."""

MEASURE_EVERY_S = 60.0

Watch = Callable[["Run"], None]
"""Looks at every turn that a guard made; raises `NotAsPromised` where something does not hold."""


def rehearse(
    scenario: Scenario,
    *,
    seed: int,
    folder: Path,
    weather: Weather,
    sun: Sunshine | None = None,
    house: HouseParameters | None = None,
    site: Site | None = None,
    settings_text: str | None = None,
    progress: Progress = lambda _: None,
    watch: Watch | None = None,
) -> Outcome:
    """Live through a scenario; state and logbook stay in `folder`.

    Parameters
    ----------
    scenario : Scenario
        What to live through.
    seed : int
        Draws the house's departures from its drawing, gusts, sensors, the owner and what a power cut takes.
    folder : Path
        Empty or missing; gets the folders `state` and `logs`.
    weather : callable
        Outdoor temperature [°C] by seconds since the beginning.
    sun : callable, optional
        The sun's radiation on level ground [W/m2] in the same way; None: what the scenario says.
    house : HouseParameters, optional
        Such as one that was learned; None: what site.toml and scenario say.
    site : Site, optional
        The owner's site.toml: its building, heater, tariff, contact and unit count.
    settings_text : str, optional
        The owner's settings.toml, under the scenario's; else the defaults.
    progress, watch
        Told how far it is; looks at every turn.

    Raises
    ------
    Refused
        The scenario's settings are not allowed.
    NotAsPromised
        From `watch`.
    """
    with put_beneath(disk := SimulatedDisk()):
        return Run(
            scenario,
            seed=seed,
            folder=folder,
            weather=weather,
            sun=sun,
            house=house,
            site=site,
            settings_text=settings_text,
            disk=disk,
            watch=watch,
        ).through(progress)


class Run:
    """One rehearsal under way."""

    def __init__(
        self,
        scenario: Scenario,
        *,
        seed: int,
        folder: Path,
        weather: Weather,
        sun: Sunshine | None = None,
        house: HouseParameters | None = None,
        site: Site | None,
        settings_text: str | None,
        disk: SimulatedDisk,
        watch: Watch | None,
    ) -> None:
        self.scenario = scenario
        self.site = site_of(scenario, site)
        self.stage = Stage(
            parameters_of(site, scenario.house)[0] if house is None else house,
            weather,
            scenario.sensors,
            seed=seed,
            start_c=scenario.start_c,
            released_heats=self.site.relay.contact == "NC",
            sun=sun_of(scenario, seed=seed) if sun is None else sun,
            pump=scenario.pump,
        )
        self.elapsed_s = 0.0
        self.guard: Life | None = None
        self.clock = CountedClock(
            now_s=BOOT_S,
            utc_s=scenario.begins.timestamp(),
            boot_id=_boot_id(Random(f"{seed} boot 1")),
            is_right=True,
        )
        self.owner = Owner(Random(f"{seed} owner"))
        self.disk = disk
        self.state_dir, self.logs_dir = folder / "state", folder / "logs"
        self.measure = Measure(scenario, self.stage)
        self.starts = self.turns = 0
        self._seed = seed
        self._chance = Random(f"{seed} cuts")
        self._boots = 1
        self._memory: Memory = {}
        self._watch = watch
        self._broken: dict[str, int] = {}  # kinds of fault that are present, and how many of each
        self.slow_disk_s: list[float] = []  # how slow the disk is, by each such fault that is present
        self._changes = _timetable(scenario)
        self._owner_s = math.inf
        self._write_settings(default_text() if settings_text is None else settings_text)

    def through(self, progress: Progress) -> Outcome:
        """To the end."""
        ends_s, told_s = self.scenario.lasts_s, 0.0
        stage, measure, watch = self.stage, self.measure, self._watch
        live, read = stage.live, stage.read
        self._start()
        measure_s = 0.0
        while self.elapsed_s < ends_s:
            while self._changes and self._changes[-1][0] <= self.elapsed_s:
                _, _, begins, fault = self._changes.pop()
                self._change(fault, begins=begins)
            guard = self.guard
            sense_s = UNGUARDED_S if guard is None else guard.settings.sense_s
            self.elapsed_s += sense_s
            now_s = self.clock.advance(sense_s)
            live(sense_s, math.ceil(sense_s / STEP_S_MAX), now_s=self.elapsed_s)
            if guard is not None:
                guard.turn(read(now_s), now_s, disk_answers="disk-stuck" not in self._broken)
                self.turns += 1
                if self.elapsed_s >= self._owner_s:
                    self._owner_s = self.elapsed_s + self.owner.every_s
                    self.owner.act(guard)
                    if "disk-stuck" not in self._broken:
                        guard.work(now_s)
                if watch is not None:
                    watch(self)
            if self.elapsed_s >= measure_s:
                measure_s = self.elapsed_s + MEASURE_EVERY_S
                measure.look(self.elapsed_s)
                if self.elapsed_s >= told_s:
                    told_s += ends_s / 200.0
                    progress(self.elapsed_s / ends_s)
        if self.guard is not None:
            self.guard.stop(self.clock.now_s())
        progress(1.0)
        return measure.outcome(
            seed=self._seed,
            per_kwh=self.site.per_kwh,
            unit=self.site.unit,
            starts=self.starts,
            turns=self.turns,
            logbook_bytes=self.logbook_bytes(),
            ends_s=self.elapsed_s,
        )

    def is_broken(self, kind: str) -> bool:
        """Whether a fault of this kind is present."""
        return kind in self._broken

    def logbook_bytes(self) -> int:
        """All that counts against the bound."""
        if not self.logs_dir.is_dir():
            return 0
        return sum(path.stat().st_size for path in self.logs_dir.iterdir() if NAME in path.name)

    def _write_settings(self, text: str) -> None:
        text = plan_change(text, self.scenario.settings, running=Settings(), anyway=True).text
        self.state_dir.mkdir(parents=True, exist_ok=True)
        (self.state_dir / "settings.toml").write_text(text, encoding="utf-8")

    def _change(self, fault: Fault, *, begins: bool) -> None:
        count = self._broken.get(fault.kind, 0) + (1 if begins else -1)
        if count:
            self._broken[fault.kind] = count
        else:
            del self._broken[fault.kind]
        if begins:
            self.measure.fault_begins(fault)
        if fault.kind in POWER_CUTS:
            cuts = sum(self._broken.get(kind, 0) for kind in POWER_CUTS)
            if begins and cuts == 1:
                self._lose_power(is_torn=fault.kind == "power-cut-torn")
            elif not cuts:
                self._get_power()
        elif fault.kind == "guard-killed":
            if begins and self.guard is not None:
                self._end_guard()
            elif not count and self.guard is None and self.stage.has_power:
                self._start()
        elif fault.kind == "clock-jump":
            self.clock.step(fault.by if begins else -fault.by if math.isfinite(fault.for_s) else 0.0)
        elif fault.kind == "disk-slow":
            self.slow_disk_s.append(fault.by) if begins else self.slow_disk_s.remove(fault.by)
            if self.guard is not None:
                self.guard.be_slow(max(self.slow_disk_s, default=0.0))
        elif fault.kind in REFUSALS:
            present = [number for kind, number in REFUSALS.items() if kind in self._broken]
            self.disk.refuses = present[0] if present else None
        elif fault.kind == "owner-nonsense":
            self._owner_s = self.elapsed_s if count else math.inf
        else:
            (self.stage.suffer if begins else self.stage.recover)(fault)

    def _start(self) -> None:
        self.starts += 1
        self.stage.is_driven = True
        self.guard = Life(
            self.state_dir,
            self.logs_dir,
            site=self.site,
            clock=self.clock,
            relay=self.stage.relay,
            memory=self._memory,
            hear=lambda line: self.measure.hear(line, self.elapsed_s),
        )
        self.guard.be_slow(max(self.slow_disk_s, default=0.0))
        self.owner.guard_starts(self.guard)
        self.measure.ceiling_c = self.guard.settings.ceiling_c

    def _end_guard(self) -> None:
        assert self.guard is not None
        self.guard.be_killed(disk_answers="disk-stuck" not in self._broken)
        self.guard = None
        self.stage.is_driven = False
        self.stage.relay.close()
        self.owner.guard_ends()
        self.measure.guard_ends()

    def _lose_power(self, *, is_torn: bool) -> None:
        self.stage.has_power = False
        if self.guard is not None:
            self._end_guard()
        self._memory.clear()
        self.disk.lose_power(self.logs_dir / NAME, self._chance, is_torn=is_torn)

    def _get_power(self) -> None:
        """A board without a battery clock goes on from the date it last knew."""
        self._boots += 1
        self.clock = CountedClock(
            now_s=BOOT_S,
            utc_s=(self.scenario.begins + timedelta(seconds=self.elapsed_s)).timestamp(),
            boot_id=_boot_id(Random(f"{self._seed} boot {self._boots}")),
            is_right=True,
        )
        self.stage.power_up()
        if not self.is_broken("guard-killed"):
            self._start()


def site_of(scenario: Scenario, own: Site | None) -> Site:
    """The site that the guard runs on: the scenario's sensors, a simulated relay, all else the owner's."""
    own = own or Site()
    return replace(
        own,
        sensors=scenario.sensors,
        contacts=(),
        relay=RelaySpec(kind="simulated", contact=own.relay.contact, rated_cycles=own.relay.rated_cycles),
        max_bytes=scenario.max_bytes,
    )


def _timetable(scenario: Scenario) -> list[tuple[float, int, bool, Fault]]:
    """What begins and ends, the last first; of what falls together ends come before beginnings."""
    rows = []
    for number, fault in enumerate(scenario.faults):
        rows.append((fault.at_s, 1, number, fault))
        if math.isfinite(fault.ends_s):
            rows.append((fault.ends_s, 0, number, fault))
    rows.sort(key=lambda row: row[:3], reverse=True)
    return [(at_s, number, bool(begins), fault) for at_s, begins, number, fault in rows]


def _boot_id(chance: Random) -> str:
    return str(uuid.UUID(int=chance.getrandbits(128), version=4))

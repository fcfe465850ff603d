"""What truly happens in the house, when somebody was told of it, and whether that is as it must be."""

import json
import math
from dataclasses import replace

from overwinter.core.nouns import Code
from overwinter.core.units import Unit, from_c
from overwinter.rehearse.nouns import Fault, Outcome, Scenario, Told
from overwinter.rehearse.stage import Stage
from overwinter.store.lines import is_plainly_sample

ABOUT_HEAT = frozenset(
    code.value
    for code in Code
    if code
    not in (
        Code.DISK,
        Code.CLOCK,
        Code.GAP,
        Code.SETTINGS_RECOVERED,
        Code.RELAY_WORN,
        Code.LOW_SETTING,
        Code.SHORT_CYCLING,
    )
)
"""Alarms that send an owner to the pump house; the others wait for a dry day."""

SOON_S = 3600.0
"""An alarm up to so long after the end of a fault is still about it."""


class Measure:
    """Looks at the truth once a minute, and hears what the guard tells."""

    def __init__(self, scenario: Scenario, stage: Stage) -> None:
        self._scenario = scenario
        self._stage = stage
        self._looked_s = 0.0
        house = stage.house
        self.coldest_water_c = house.pipe_c
        self.coldest_air_c = self.hottest_air_c = house.lower_c
        self.ice_share = 0.0
        self.below_s = 0.0
        self.cycles = 0
        self.ceiling_c = math.inf
        self.danger_s: float | None = None  # since when water stands at freezing, or hot air is heated
        self.untold_s: list[float] = []  # how long each danger was not known to anybody
        self._is_told = False
        self._raised: set[tuple[str, str]] = set()
        self._begun: list[Fault] = []  # faults, as they begin
        self._answered: dict[int, float] = {}  # by place in `_begun`: how long until it was told
        self.alarms: list[Told] = []

    @property
    def is_raised(self) -> bool:
        """Whether an alarm about heat is up now."""
        return bool(self._raised)

    def look(self, now_s: float) -> None:
        """The truth at this moment, which stands for the time since the last look."""
        house = self._stage.house
        elapsed_s, self._looked_s = now_s - self._looked_s, now_s
        water_c, air_c = house.pipe_c, house.lower_c
        self.coldest_water_c = min(self.coldest_water_c, water_c)
        self.coldest_air_c = min(self.coldest_air_c, air_c)
        self.hottest_air_c = max(self.hottest_air_c, house.upper_c)
        if water_c <= 0.0:
            self.below_s += elapsed_s
            self.ice_share = max(self.ice_share, house.ice_share)
        if water_c <= 0.0 or (self._stage.heats and house.air_c >= self.ceiling_c):
            if self.danger_s is None:
                self.danger_s = now_s
                self._is_told = bool(self._raised)
                if self._is_told:
                    self.untold_s.append(0.0)
        elif self.danger_s is not None:
            self._danger_ends(now_s)

    def hear(self, line: bytes, now_s: float) -> None:
        """A line of the logbook as it is written."""
        if is_plainly_sample(line):
            return
        event = json.loads(line)
        if event["event"] == "heat" and event["heat"]:
            self.cycles += 1
        if event["event"] != "alarm" or event["state"] == "acknowledged":
            return
        key = event["code"], event.get("subject", "")
        about_heat = event["code"] in ABOUT_HEAT
        if event["state"] == "cleared":
            self._raised.discard(key)
            return
        after_s = now_s - self._begun[-1].at_s if self._begun else None
        self.alarms.append(Told(code=key[0], subject=key[1], at_s=now_s, after_s=after_s, text=event["text"]))
        for number, fault in enumerate(self._begun):
            if number not in self._answered and now_s <= fault.ends_s + SOON_S:
                self._answered[number] = now_s - fault.at_s
        if not about_heat:
            return
        self._raised.add(key)
        if self.danger_s is not None and not self._is_told:
            self._is_told = True
            self.untold_s.append(now_s - self.danger_s)

    def fault_begins(self, fault: Fault) -> None:
        """A fault of the scenario."""
        self._begun.append(fault)

    def guard_ends(self) -> None:
        """The guard has gone, and with it all that it had raised."""
        self._raised.clear()

    def _danger_ends(self, now_s: float) -> None:
        assert self.danger_s is not None
        if not self._is_told:
            self.untold_s.append(now_s - self.danger_s)
        self.danger_s = None

    def outcome(
        self,
        *,
        seed: int,
        per_kwh: float | None,
        unit: Unit,
        starts: int,
        turns: int,
        logbook_bytes: int,
        ends_s: float,
    ) -> Outcome:
        """What it came to."""
        if self.danger_s is not None:
            self._danger_ends(ends_s)
        kwh = self._stage.house.energy_kwh
        most_kwh = self._stage.house.parameters.heater_w * ends_s / 3.6e6
        delays_s = [*self.untold_s, *self._answered.values()]
        outcome = Outcome(
            scenario=self._scenario.name,
            seed=seed,
            days=self._scenario.days,
            froze=self.ice_share > 0.0,
            ice_share=self.ice_share,
            coldest_water_c=self.coldest_water_c,
            coldest_air_c=self.coldest_air_c,
            hottest_air_c=self.hottest_air_c,
            hours_below_0c=self.below_s / 3600.0,
            told_after_s=max(delays_s) if delays_s else None,
            duty=kwh / most_kwh if most_kwh else 0.0,
            kwh=kwh,
            cost=None if per_kwh is None else kwh * per_kwh,
            cycles=self.cycles,
            alarms=tuple(self.alarms),
            starts=starts,
            turns=turns,
            logbook_bytes=logbook_bytes,
        )
        return _judged(outcome, self._scenario, unit)


def _judged(outcome: Outcome, scenario: Scenario, unit: Unit) -> Outcome:
    """With what did not hold of what the scenario promises, for people who think in `unit`."""
    must, failed = scenario.must, []
    if must.froze is not None and outcome.froze is not must.froze:
        failed.append("ice in the pipe" if outcome.froze else "no ice in the pipe, where there must be")
    if must.told_within_s is not None and (outcome.told_after_s or 0.0) > must.told_within_s:
        failed.append(
            f"told after {outcome.told_after_s:.0f} s, where {must.told_within_s:.0f} s is the most"
        )
    codes = {told.code for told in outcome.alarms}
    failed += [f"the alarm {code} was not told" for code in must.alarms if code not in codes]
    failed += [f"the alarm {code} was told, where it must not be" for code in must.no_alarms if code in codes]
    least_c, most_c = must.coldest_water_c, must.hottest_air_c
    if least_c is not None and outcome.coldest_water_c < least_c:
        failed.append(
            f"the water came to {_fine(outcome.coldest_water_c, unit)}, {_fine(least_c, unit)} is the least"
        )
    if most_c is not None and outcome.hottest_air_c > most_c:
        failed.append(
            f"the air came to {_fine(outcome.hottest_air_c, unit)}, {_fine(most_c, unit)} is the most"
        )
    if outcome.logbook_bytes > scenario.max_bytes:
        failed.append(f"the logbook has {outcome.logbook_bytes} bytes, more than {scenario.max_bytes}")
    return replace(outcome, failed=tuple(failed)) if failed else outcome


def _fine(temperature_c: float, unit: Unit) -> str:
    """In hundredths: in tenths what is just missed would look like what is asked for."""
    return f"{from_c(temperature_c, unit):.2f} {unit}"

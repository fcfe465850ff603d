"""Many random fault schedules of three cold days, what must hold in each, and the smallest that breaks it.

What must hold in every schedule, whatever breaks:

- heat is off in the turn in which a control sensor is believed at or above the ceiling, unless another says
  cold;
- heat is not held off while every control sensor is believed below the band, minimum times aside;
- a change that was answered as stored is there after every restart;
- the logbook stays within its bound;
- no ice, unless a thermostat that knows the truth could not have kept it off in the same band, with the same
  heater, power, door and weather (a margin of `MARGIN_K` counts as not), or every sensor that could have told
  was made to lie; and then, if a guard was running, somebody was told within `TOLD_WITHIN_S`.
"""

import math
import multiprocessing
import os
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from overwinter.core.nouns import Flag, Reason, Role, SensorSpec, Settings
from overwinter.rehearse.disk import in_memory
from overwinter.rehearse.nouns import FAULTS, POWER_CUTS, Fault, NotAsPromised, Progress, Scenario
from overwinter.rehearse.run import Run, rehearse
from overwinter.rehearse.stage import Stage, parameters_of, perfect_heat
from overwinter.rehearse.weather import sun_of, weather_of
from overwinter.twin.houses import HOUSES
from overwinter.twin.pump import Pump

DAYS = 3.0
FAULTS_EACH = (1, 7)
TOLD_WITHIN_S = 900.0
"""Lost after two minutes, told after ten; and a cold reading is told at once, once it is one."""

TOLD_BEFORE_S = 3600.0
"""An alarm so shortly before the ice is about it."""

MARGIN_K = 0.7
"""How near to freezing the water may come under perfect heat for ice to count as not avoidable: half a kelvin
that a good sensor may read high (data sheet of common parts), and 0.2 K for its lag."""

BELOW_K = 0.3
BELOW_FOR_S = 240.0
"""Believed so far below the band for so long, heat must be on: longer than any minimum time that is set."""

TRIES_MOST = 60
"""Rehearsals that shrinking a failure may take."""

SMALLEST_BYTES = 400_000
"""A logbook bound that three days of samples run into."""

AIR, PIPE = "by the pump", "on the pipe"

_LIES = frozenset({"sensor-wrong", "sensor-drifting", "sensor-stuck", "sensor-sentinel", "sensor-spiking"})
_USUAL_S = {
    "guard-killed": (10.0, 120.0),
    **dict.fromkeys(POWER_CUTS, (60.0, 3600.0)),
    "door-open": (60.0, 1800.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A schedule that ended otherwise than it must."""

    seed: int
    why: str
    scenario: Scenario


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a campaign found; `froze`: in so many schedules was ice that no guard could have kept off."""

    failures: tuple[Failure, ...]
    froze: int
    smallest: Failure | None


def campaign(
    count: int,
    *,
    seed: int,
    days: float = DAYS,
    progress: Progress = lambda _: None,
    workers: int | None = None,
) -> Found:
    """Live through `count` schedules, on all cores, and shrink the first failure."""
    seeds = range(seed * 1_000_000, seed * 1_000_000 + count)
    failures, froze = [], 0
    for number, (why, is_ice) in enumerate(_judgements(seeds, days, workers or os.cpu_count() or 1)):
        froze += is_ice
        if why is not None:
            failures.append(Failure(seed=seeds[number], why=why, scenario=schedule(seeds[number], days)))
        progress((number + 1) / count)
    smallest = shrunk(failures[0]) if failures else None
    return Found(failures=tuple(failures), froze=froze, smallest=smallest)


def schedule(seed: int, days: float = DAYS) -> Scenario:
    """The schedule of one seed: days in which it is cold enough for any mistake to show."""
    chance = Random(f"{seed} schedule")
    has_two = chance.random() < 0.5
    sensors = [SensorSpec(name=AIR, role=Role.CONTROL, kind="simulated")]
    if has_two:
        sensors.append(SensorSpec(name=PIPE, role=Role.CONTROL, kind="simulated", at="pipe"))
    faults = [_fault(chance, days, has_two=has_two) for _ in range(chance.randint(*FAULTS_EACH))]
    return Scenario(
        name=f"schedule {seed}",
        days=days,
        house=chance.choice(sorted(HOUSES)),
        weather="cold-night",
        weather_options={
            "evening_c": round(chance.uniform(-8.0, 2.0), 1),
            "dawn_c": round(chance.uniform(-18.0, -8.0), 1),
        },
        start_c=round(chance.uniform(3.0, 8.0), 1),
        sun_w_m2=chance.choice((0.0, 0.0, 400.0)),
        pump=chance.choice((None, None, Pump())),
        sensors=tuple(sensors),
        max_bytes=chance.choice((SMALLEST_BYTES, 67_108_864)),
        faults=tuple(sorted(faults, key=lambda fault: fault.at_s)),
    )


def judge(scenario: Scenario, seed: int) -> tuple[str | None, bool]:
    """What did not hold, if anything; and whether there was ice that nobody could have kept off."""
    weather = weather_of(scenario, seed=seed)
    watchman = _Watchman()
    with tempfile.TemporaryDirectory(prefix="overwinter-campaign-", dir=in_memory()) as folder:
        try:
            outcome = rehearse(scenario, seed=seed, folder=Path(folder), weather=weather, watch=watchman.look)
        except NotAsPromised as error:
            return str(error), False
    if outcome.failed:
        return "; ".join(outcome.failed), False
    if not outcome.froze:
        return None, False
    if not _could_not_be_seen(scenario) and best_water_c(scenario, seed) > MARGIN_K:
        return "ice in the pipe, where perfect heat would have kept it off", False
    untold_s = watchman.untold_s
    if untold_s > TOLD_WITHIN_S and not _could_not_be_seen(scenario):
        return f"ice, and nobody was told for {untold_s:.0f} s in which a guard was running", True
    return None, True


def best_water_c(scenario: Scenario, seed: int) -> float:
    """The coldest water under a thermostat that knows the truth, with the same heater, power and weather."""
    parameters, _ = parameters_of(None, scenario.house)
    stage = Stage(
        parameters,
        weather_of(scenario, seed=seed),
        scenario.sensors,
        seed=seed,
        start_c=scenario.start_c,
        released_heats=False,
        sun=sun_of(scenario, seed=seed),
        pump=scenario.pump,
    )
    physical = ("heater-dead", "contact-welded", "door-open")
    settings, now_s, coldest_c = Settings(), 0.0, math.inf
    present: list[Fault] = []
    while now_s < scenario.lasts_s:
        for fault in scenario.faults:
            is_here = fault.at_s <= now_s < fault.ends_s
            if fault.kind in physical and is_here is not (fault in present):
                (present.append if is_here else present.remove)(fault)
                (stage.suffer if is_here else stage.recover)(fault)
        # A guard that is killed heats no more than one without power: the relay is released.
        away = [one for one in scenario.faults if one.kind in POWER_CUTS or one.kind == "guard-killed"]
        stage.has_power = not any(one.at_s <= now_s < one.ends_s for one in away)
        house = stage.house
        coldest_air_c = min(house.air_c, house.pipe_c)
        stage.relay.heat = perfect_heat(coldest_air_c, settings, was_on=stage.relay.heat)
        now_s += 10.0
        stage.live(10.0, 1, now_s=now_s)
        coldest_c = min(coldest_c, house.pipe_c)
    return coldest_c


def shrunk(failure: Failure) -> Failure:
    """The same failure with as few and as short faults as a bounded search finds."""
    best, tries = failure, 0
    again = True
    while again and tries < TRIES_MOST:
        again = False
        for smaller in _smaller(best.scenario):
            tries += 1
            why, _ = judge(smaller, failure.seed)
            if why is not None:
                best, again = replace(best, scenario=smaller, why=why), True
                break
            if tries >= TRIES_MOST:
                break
    must = replace(best.scenario.must, froze=False)
    about = f"Found by a campaign: {best.why}"
    return replace(best, scenario=replace(best.scenario, about=about, must=must))


def _smaller(scenario: Scenario) -> Iterator[Scenario]:
    """Without one fault, with half of one's length, or ending earlier."""
    faults = scenario.faults
    for number in range(len(faults)):
        yield replace(scenario, faults=faults[:number] + faults[number + 1 :])
    if scenario.days > 1.0:
        shorter = scenario.days - 0.5
        kept = tuple(fault for fault in faults if fault.at_s < shorter * 86_400.0)
        yield replace(scenario, days=shorter, faults=kept)
    for number, fault in enumerate(faults):
        if math.isfinite(fault.for_s) and fault.for_s > 120.0:
            half = replace(fault, for_s=float(round(fault.for_s / 2.0)))
            yield replace(scenario, faults=(*faults[:number], half, *faults[number + 1 :]))


def _fault(chance: Random, days: float, *, has_two: bool) -> Fault:
    kind = chance.choice(sorted(FAULTS))
    what = FAULTS[kind]
    least_s, most_s = _USUAL_S.get(kind, (600.0, 43_200.0))
    at_s = float(round(chance.uniform(0.05, 0.9) * days * 86_400.0))
    for_s = float(round(math.exp(chance.uniform(math.log(least_s), math.log(most_s)))))
    sensor, by = None, 0.0
    if what.of_sensor:
        # Lies are told by the cheap one: two liars, or one alone, no guard can see through.
        sensor = AIR if kind in _LIES or not has_two else chance.choice((AIR, PIPE))
    if kind == "sensor-wrong":
        by = chance.choice((-8.0, -3.0, 3.0, 8.0, 30.0))
    elif kind == "sensor-drifting":
        by = chance.choice((-3.0, 3.0))
    elif kind == "sensor-spiking":
        by = chance.choice((0.01, 0.05, 0.2))
    elif kind == "door-open":
        by = chance.choice((5.0, 20.0, 40.0))
    elif kind == "disk-slow":
        by = chance.choice((2.0, 15.0, 60.0))
    elif kind == "clock-jump":
        by = chance.choice((-86_400.0, -3600.0, 7200.0, 3e7))
    return Fault(kind=kind, at_s=at_s, for_s=for_s, sensor=sensor, by=by)


def _could_not_be_seen(scenario: Scenario) -> bool:
    """Whether a lie that reads too warm, or a stuck one, could hide the cold from every control sensor.

    A drift or an offset within a few kelvin is not to be seen by one sensor: a second one is the cure. With
    two the liar is the one in the air, so it takes a failure of the other beside it.
    """
    hiding = [
        fault
        for fault in scenario.faults
        if fault.kind in _LIES and (fault.kind not in ("sensor-wrong", "sensor-drifting") or fault.by > 0.0)
    ]
    if not hiding:
        return False
    if not any(spec.name == PIPE for spec in scenario.sensors):
        return True
    return any(fault.sensor == PIPE for fault in scenario.faults)


class _Watchman:
    """Looks at every turn."""

    def __init__(self) -> None:
        self._below_since_s: float | None = None
        self._told_s = -math.inf
        self._danger_s: float | None = None
        self._untold_s = 0.0
        self.untold_s = 0.0

    def look(self, run: Run) -> None:
        """Raise where a turn is not as it must be."""
        guard = run.guard
        assert guard is not None
        state = guard.wheel.state
        heat, settings = state.decision.heat, state.settings
        self._count_untold(run)
        below = bool(state.control)
        for track in state.control:
            temperature_c = track.temperature_c
            if track.flag is not Flag.PASS or temperature_c is None:
                below = False
                continue
            if heat and temperature_c >= settings.ceiling_c and state.look.disagree_s is None:
                raise NotAsPromised(
                    f"heat on at {temperature_c:.1f} °C, the ceiling is {settings.ceiling_c:.1f}"
                )
            below = below and temperature_c <= settings.low_c - BELOW_K
        is_asked_off = state.decision.reason is Reason.BY_HAND and not heat
        if heat or not below or is_asked_off or state.look.is_too_hot:
            self._below_since_s = None
        elif self._below_since_s is None:
            self._below_since_s = run.elapsed_s
        elif run.elapsed_s - self._below_since_s > BELOW_FOR_S:
            raise NotAsPromised(
                f"heat off for {BELOW_FOR_S:.0f} s while every control sensor is believed below the band "
                f"({state.decision.reason})"
            )

    def _count_untold(self, run: Run) -> None:
        """For how long a running guard, with water at freezing, has told nobody of it.

        Told is told: an alarm that is over because the air is warm again leaves a pipe that takes hours to
        thaw, and its owner knows.
        """
        if run.measure.is_raised:
            self._told_s = run.elapsed_s
        if run.stage.house.pipe_c > 0.0:
            self._danger_s, self._untold_s = None, 0.0
            return
        if self._danger_s is None:
            self._danger_s = run.elapsed_s
        if self._told_s >= self._danger_s - TOLD_BEFORE_S:
            return
        assert run.guard is not None
        self._untold_s += run.guard.settings.sense_s
        self.untold_s = max(self.untold_s, self._untold_s)


def _judgements(seeds: range, days: float, workers: int) -> Iterator[tuple[str | None, bool]]:
    if workers == 1 or len(seeds) == 1:
        yield from map(_judge_seed, seeds, [days] * len(seeds))
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(min(workers, len(seeds)), mp_context=context) as pool:
        chunk = max(1, min(8, len(seeds) // (4 * workers)))
        yield from pool.map(_judge_seed, seeds, [days] * len(seeds), chunksize=chunk)


def _judge_seed(seed: int, days: float) -> tuple[str | None, bool]:
    return judge(schedule(seed, days), seed)

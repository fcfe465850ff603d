"""The simulation of one winter: a house, a cheap sensor, a judge, a band, a relay, and what goes wrong.

The house is stepped and read every ten seconds. The judge and the band are a short form of the guard's: the
median of five believable readings, a rate limit, heat at or below low and none at or above high, minimum
times, heat while blind, an exercise of a heater that rests for a week. All of it stands in one loop without
calls, since a winter has a million steps.
"""

import math
import random
from collections import deque
from collections.abc import Sequence
from typing import cast

import numpy as np

from overwinter.core.nouns import Flag
from overwinter.core.units import c_from_f
from tests.bench.learning.faults import DAY_S, WAITS_S, Fault, Kind
from tests.bench.learning.plants import plant as built
from tests.bench.learning.record import MINUTE_S, UP_S, Day, Happened, Trace
from tests.bench.learning.winters import Winter

SENSE_S = 10.0
READS = 6
MOMENT_MINUTES = 360
"""So often the house's whole state is kept, to ask how it would cool from there."""

WINDOW = 5
RATE_K_MIN = 5.0
LOST_S = 120.0
FLAT_S = 7200.0
MIN_ON_S, MIN_OFF_S = 120.0, 60.0
ALARM_LOW_C = c_from_f(34.5)
CEILING_C = c_from_f(75.0)
WARM_ABOVE_C = 10.0
EXERCISE_S, EXERCISE_EVERY_S = 600.0, 7 * DAY_S
EXERCISE_ABOVE_HIGH_K = 3.0
DRIFT_K = 2.0
OUTDOOR_LAG_S = 120.0

_PASS = int(Flag.PASS)


def simulated(
    house: str,
    weather: Winter,
    seed: int,
    *,
    model: str,
    days: int,
    faults: Sequence[Fault],
    has_outdoor: bool,
    low_c: float,
    high_c: float,
    bias_k: float,
    outdoor_bias_k: float,
    failed_share: float,
    spike_share: float,
    heater_share: float,
    has_pump: bool,
    has_pump_contact: bool,
) -> Trace:
    """A winter; the arguments are those of `traces.trace`."""
    minutes = days * 1440
    make: dict[str, float] = {"start_c": high_c, "heater_share": heater_share}
    plant = built(model, house, seed, start_c=high_c, heater_share=heater_share)
    chance = random.Random(f"{house} {weather.name} {seed}")
    numbers = np.random.default_rng(chance.getrandbits(63))
    outdoor = _by_minute(weather.outdoor_c, minutes) + _breeze_k(numbers, minutes)
    wind = _by_minute(weather.wind_m_s, minutes).tolist()
    sun = _by_minute(weather.sun_w_m2, minutes).tolist()
    outdoor_minutes = outdoor.tolist()
    pump_runs = _pump_runs(chance, days) if has_pump else bytearray(minutes)
    armed = deque(sorted(faults, key=lambda fault: fault.begins_s))
    now_wrong: Fault | None = None
    heals_s = 0.0
    drift_from_s = math.inf
    drift_until_s = math.inf
    happened: list[Happened] = []
    is_dead = is_welded = is_flat = is_lost = is_half = False
    door = ""
    dead_after_s = 0.0

    temperature = np.full(minutes, np.nan)
    humidity = np.full(minutes, np.nan)
    raw_temperature = np.full(minutes, np.nan)
    raw_humidity = np.full(minutes, np.nan)
    flags = np.full(minutes, int(Flag.PASS), dtype=np.int8)
    heats = np.zeros(minutes)
    forced = np.zeros(minutes, dtype=bool)
    air = np.zeros(minutes)
    ice = np.zeros(minutes)
    moments: list[int] = []
    kept: list[tuple[float, ...]] = []
    winds: list[float] = []

    advance, pump = plant.advance, plant.pump
    feels_c = plant.air_c
    lag = 1.0 - math.exp(-SENSE_S / 60.0)
    window: list[float] = []
    pending: list[float] = []
    passed_c, passed_s = high_c, -math.inf
    raw_c: float | None = None
    raw_pct = 0.0
    said = (math.nan, math.nan)
    same_since_s = 0.0
    heat = False
    changed_s = -MIN_OFF_S
    last_heat_s = 0.0
    last_on_s = 600.0
    exercise_until_s = -1.0
    judged_c: float | None = None
    now_s = 0.0
    flag = _PASS

    for minute in range(minutes):
        if minute % 1440 == 0:
            noise, fails, humid = _day_of_noise(numbers, failed_share, spike_share)
        outdoor_c = outdoor_minutes[minute]
        # What goes wrong, and what heals.
        if now_wrong is not None and now_s >= heals_s:
            happened.append(Happened(now_wrong.kind, UP_S + heals_s - now_wrong.lasts_s, UP_S + now_s))
            is_dead = is_welded = is_flat = is_lost = is_half = False
            door = ""
            drift_from_s = math.inf
            now_wrong = None
        waiting = armed[0] if now_wrong is None and armed and now_s >= armed[0].begins_s else None
        sets_in = False
        if waiting is not None:
            if now_s > waiting.begins_s + WAITS_S:
                armed.popleft()
                dead_after_s = 0.0
                waiting = None
            elif waiting.kind is Kind.DEAD_WHILE_ON:
                if not dead_after_s:
                    dead_after_s = max(120.0, chance.uniform(0.2, 0.8) * last_on_s)
                sets_in = heat and now_s - changed_s >= dead_after_s
            else:
                sets_in = waiting.kind not in (Kind.DEAD_AT_SWITCH_ON, Kind.WELDED)
        plant.surroundings(wind_m_s=wind[minute], sun_w_m2=sun[minute], door=door, is_half=is_half)
        runs = bool(pump_runs[minute])
        on_steps = 0
        is_forced = False
        base = minute % 1440 * READS
        for step in range(READS):
            if sets_in and waiting is not None:
                now_wrong, waiting, sets_in, dead_after_s = waiting, None, False, 0.0
                armed.popleft()
                heals_s = now_s + now_wrong.lasts_s
                kind = now_wrong.kind
                is_dead = kind in (Kind.DEAD_AT_SWITCH_ON, Kind.DEAD_WHILE_ON)
                is_welded, is_half = kind is Kind.WELDED, kind is Kind.HALF_HEATER
                is_flat, is_lost = kind is Kind.FLAT, kind is Kind.LOST
                door = {Kind.DOOR_OPEN: "open", Kind.DOOR_AJAR: "ajar"}.get(kind, "")
                if kind is Kind.DRIFT:
                    drift_from_s, drift_until_s = now_s, now_s + 7 * DAY_S
                plant.surroundings(wind_m_s=wind[minute], sun_w_m2=sun[minute], door=door, is_half=is_half)
            if runs:
                pump(SENSE_S)
            advance(SENSE_S, (heat or is_welded) and not is_dead, outdoor_c)
            now_s += SENSE_S
            on_steps += heat
            # The sensor.
            feels_c += (plant.air_c - feels_c) * lag
            at = base + step
            if is_lost or fails[at]:
                raw_c = None
            elif is_flat:
                raw_c, raw_pct = said
            else:
                off_k = bias_k + noise[at]
                if now_s > drift_from_s:
                    off_k += DRIFT_K * min((now_s - drift_from_s) / (drift_until_s - drift_from_s), 1.0)
                raw_c = round(feels_c + off_k, 1)
                raw_pct = round(min(max(plant.humidity_pct + humid[at], 1.0), 99.9), 1)
                said_now = (raw_c, raw_pct)
                if said_now != said:
                    said, same_since_s = said_now, now_s
            # The judge.
            if raw_c is None:
                flag = int(Flag.MISSING)
            elif now_s - same_since_s >= FLAT_S:
                flag = int(Flag.FAIL)
            else:
                allowed_k = RATE_K_MIN * min(now_s - passed_s, 3 * SENSE_S) / 60.0 + 1e-9
                if now_s - passed_s > LOST_S:
                    window.clear()
                    pending.clear()
                    allowed_k = math.inf
                if abs(raw_c - passed_c) <= allowed_k:
                    flag = _PASS
                    pending.clear()
                    window.append(raw_c)
                    if len(window) > WINDOW:
                        del window[0]
                    passed_c, passed_s = raw_c, now_s
                else:
                    flag = int(Flag.SUSPECT)
                    if pending and abs(raw_c - pending[-1]) > 1.5:
                        pending.clear()
                    pending.append(raw_c)
                    if len(pending) >= WINDOW:
                        window[:] = pending
                        pending.clear()
                        passed_c, passed_s = raw_c, now_s
                        flag = _PASS
                if window:
                    judged_c = sorted(window)[(len(window) - 1) // 2]
            # The band.
            since_s = now_s - changed_s
            wish = heat
            if now_s - passed_s > LOST_S:
                wish = passed_c < WARM_ABOVE_C
                judged_c = None
                is_forced = True
            elif judged_c is None:
                pass
            elif judged_c >= CEILING_C:
                wish = False
                is_forced = True
            elif judged_c <= low_c:
                if heat or since_s >= MIN_OFF_S or judged_c <= ALARM_LOW_C:
                    wish = True
            elif judged_c >= high_c:
                if exercise_until_s > 0.0:
                    is_forced = True
                    wish = now_s < exercise_until_s and judged_c < high_c + EXERCISE_ABOVE_HIGH_K
                    if not wish:
                        exercise_until_s = -1.0
                elif heat and since_s >= MIN_ON_S:
                    wish = False
                elif now_s - last_heat_s >= EXERCISE_EVERY_S and judged_c < high_c + EXERCISE_ABOVE_HIGH_K:
                    wish, is_forced = True, True
                    exercise_until_s = now_s + EXERCISE_S
            elif exercise_until_s > 0.0:
                is_forced = True
                wish = now_s < exercise_until_s
                if not wish:
                    exercise_until_s = -1.0
            if wish is not heat:
                if waiting is not None and now_wrong is None and not is_forced:
                    sets_in = waiting.kind is (Kind.DEAD_AT_SWITCH_ON if wish else Kind.WELDED)
                if heat:
                    last_on_s = since_s
                heat, changed_s = wish, now_s
            if heat:
                last_heat_s = now_s
        air[minute] = plant.air_c
        ice[minute] = plant.ice_share
        heats[minute] = on_steps / READS
        forced[minute] = is_forced
        flags[minute] = flag
        if raw_c is not None:
            raw_temperature[minute], raw_humidity[minute] = raw_c, raw_pct
        if judged_c is not None:
            temperature[minute] = judged_c
            humidity[minute] = raw_pct
        if minute % MOMENT_MINUTES == MOMENT_MINUTES - 1:
            moments.append(minute)
            kept.append(plant.keep())
            winds.append(wind[minute])
    if now_wrong is not None:
        happened.append(Happened(now_wrong.kind, UP_S + heals_s - now_wrong.lasts_s, UP_S + now_s))

    columns = {
        "temperature_c": temperature,
        "humidity_pct": humidity,
        "raw_c": raw_temperature,
        "raw_pct": raw_humidity,
        "flag": flags,
        "heat": heats,
        "forced": forced,
        "pump": np.frombuffer(bytes(pump_runs), dtype=np.uint8).astype(float),
    }
    if has_outdoor:
        columns |= _outdoor_sensor(numbers, outdoor, outdoor_bias_k, failed_share)
    return Trace(
        house=house,
        winter=weather.name,
        seed=seed,
        model=model,
        low_c=low_c,
        high_c=high_c,
        heater_w=plant.heater_w,
        wind_mean_m_s=float(np.mean(wind)),
        faults=happened,
        moments=moments,
        days=[
            Day(
                first=day * 1440,
                outdoor_c=float(outdoor[day * 1440 : (day + 1) * 1440].mean()),
                duty=float(heats[day * 1440 : (day + 1) * 1440].mean()),
            )
            for day in range(days)
        ],
        air_c=air,
        outdoor_true_c=outdoor,
        ice_share=ice,
        columns=columns,
        has_outdoor=has_outdoor,
        has_pump_contact=has_pump_contact,
        _kept=kept,
        _winds=winds,
        _make=make,
    )


def _by_minute(hours: Sequence[float], minutes: int) -> np.ndarray:
    return cast("np.ndarray", np.interp(np.arange(minutes) / 60.0, np.arange(len(hours)), hours))


def _breeze_k(numbers: np.random.Generator, minutes: int) -> np.ndarray:
    """What hourly values do not show: 0.3 K with a memory of some twenty minutes."""
    kept = math.exp(-1.0 / 20.0)
    white = numbers.standard_normal(minutes)
    return _remembering(white, kept=kept, fresh=math.sqrt(1.0 - kept * kept)) * 0.3


def _remembering(white: np.ndarray, *, kept: float, fresh: float, first: float = 0.0) -> np.ndarray:
    """Each value is `kept` of the one before and `fresh` of the new."""
    value, values = first, []
    for new in white.tolist():
        value = fresh * new + kept * value
        values.append(value)
    return np.array(values)


def _day_of_noise(
    numbers: np.random.Generator, failed_share: float, spike_share: float
) -> tuple[list[float], list[bool], list[float]]:
    reads = 1440 * READS
    noise_k = numbers.normal(0.0, 0.1, reads)
    for at in np.flatnonzero(numbers.random(reads) < spike_share / 1.45):
        length = int(numbers.choice((1, 1, 1, 1, 1, 1, 1, 2, 2, 3)))
        noise_k[at : at + length] += float(
            numbers.choice((3.2, 6.4, 12.8, 25.6, 51.2)) * numbers.choice((-1, 1))
        )
    fails = numbers.random(reads) < failed_share
    return noise_k.tolist(), fails.tolist(), numbers.normal(0.0, 0.5, reads).tolist()


def _outdoor_sensor(
    numbers: np.random.Generator, outdoor_c: np.ndarray, bias_k: float, failed_share: float
) -> dict[str, np.ndarray]:
    """The last raw reading of each minute and the judged one, whose noise the median has damped."""
    kept = math.exp(-MINUTE_S / OUTDOOR_LAG_S)
    feels_c = _remembering(outdoor_c, kept=kept, fresh=1.0 - kept, first=float(outdoor_c[0]))
    size = len(outdoor_c)
    raw_c = np.round(feels_c + bias_k + numbers.normal(0.0, 0.1, size), 1)
    raw_c[numbers.random(size) < failed_share] = np.nan
    return {
        "outdoor_raw_c": raw_c,
        "outdoor_pct": np.round(np.clip(80.0 + numbers.normal(0.0, 2.0, size), 1.0, 99.9), 1),
        "outdoor_c": np.round(feels_c + bias_k + numbers.normal(0.0, 0.055, size), 1),
    }


def _pump_runs(chance: random.Random, days: int) -> bytearray:
    """Three to eight times a day, three to nine minutes each, more often by day."""
    runs = bytearray(days * 1440)
    for day in range(days):
        for _ in range(chance.randint(3, 8)):
            begin = day * 1440 + int(chance.triangular(0, 1430, 840))
            for minute in range(begin, min(begin + chance.randint(3, 9), len(runs))):
                runs[minute] = 1
    return runs

"""The pump at work: when it runs, its motor's heat, and the well's water that it brings through the pipe.

Rule 1: when it runs is a function of time and seed alone, as weather is.
Rule 2: heat that it brings is counted by the house, joule by joule; nothing here changes a house.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from random import Random
from typing import TypeAlias

from overwinter.twin.parameters import WATER_J_KGK

DAY_S = 86400.0

Runs: TypeAlias = Callable[[float], bool]
"""From seconds to whether the pump runs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """A well pump whose water is used elsewhere. All numbers are guesses of common practice, from memory."""

    runs_a_day: int = 6  # 0: it never runs
    run_s: float = 300.0
    well_c: float = 8.0
    flow_kg_s: float = 0.4
    motor_w: float = 250.0  # what stays of its power in the house: a third of a small motor's
    tank_w_k: float = 40.0  # from the well's water in tank and casing to what holds it


def pump_runs(pump: Pump, seed: int) -> Runs:
    """So many runs a day, each at a random moment of its own part of the day, but within it."""
    if not pump.runs_a_day:
        return lambda _: False
    part_s = DAY_S / pump.runs_a_day
    spare_s = max(part_s - pump.run_s, 0.0)
    kept: dict[int, float] = {}  # the last part asked for, and when its run begins

    def runs(now_s: float) -> bool:
        part, since_s = divmod(now_s, part_s)
        number = int(part)
        if number not in kept:
            kept.clear()
            kept[number] = Random(f"{seed} pump {number}").random() * spare_s
        return kept[number] <= since_s < kept[number] + pump.run_s

    return runs


def flushed_j(joule: float, *, pump: Pump, run_s: float, water_j_k: float, solid_j: float) -> float:
    """The pipe's heat [J] after the well's water has flowed through it for `run_s`.

    Ice first takes the heat that melts it, then the well's water replaces what is there, well mixed. A pipe
    that is frozen solid lets nothing through.

    Parameters
    ----------
    joule : float
        The pipe's heat now, counted from water at 0 °C.
    pump : Pump
        Its flow and the temperature of the well, above 0 °C.
    run_s : float
        How long it flows.
    water_j_k, solid_j : float
        Heat held by pipe and water together [J/K], and what `joule` is of solid ice at 0 °C.
    """
    if joule <= solid_j or run_s <= 0.0:
        return joule
    flow_w_k = pump.flow_kg_s * WATER_J_KGK
    if joule < 0.0:
        melting_w = flow_w_k * pump.well_c
        melted_s = -joule / melting_w
        if melted_s >= run_s:
            return joule + melting_w * run_s
        joule, run_s = 0.0, run_s - melted_s
    end_j = water_j_k * pump.well_c
    return end_j + (joule - end_j) * math.exp(-run_s * flow_w_k / water_j_k)

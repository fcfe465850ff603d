"""The linear part of the simulated house: what acts on what, and what a step of it comes to.

Upper and lower air, envelope and contents hold heat, the heater delays it; outdoors, ground, pipe and gust
act from outside and stay as they are for a step (`house.py` has the picture).
"""

import math
from typing import TypeAlias

from overwinter.twin.parameters import HouseParameters

Matrix: TypeAlias = list[list[float]]

# The rows of the network: what changes (the last is the heat a pipe of 0 °C gains), then what acts on it.
UPPER, LOWER, ENVELOPE, CONTENTS, HEATER, GAIN = range(6)
POWER, OUTDOOR, PIPE, GROUND, GUST = range(6, 11)


def network(parameters: HouseParameters) -> Matrix:
    """The rates [1/s] at which everything acts on everything; what acts from outside stays as it is."""
    size = GUST + 1
    rates: Matrix = [[0.0] * size for _ in range(size)]

    def flow(into: int, source: int, store_j_k: float, conductance_w_k: float) -> None:
        rates[into][source] += conductance_w_k / store_j_k
        rates[into][into] -= conductance_w_k / store_j_k

    upper_j_k, lower_j_k = parameters.upper_j_k, parameters.lower_j_k
    envelope_j_k, contents_j_k = parameters.envelope_j_k, parameters.contents_j_k
    flow(UPPER, LOWER, upper_j_k, parameters.mixing_w_k)
    flow(LOWER, UPPER, lower_j_k, parameters.mixing_w_k)
    flow(UPPER, OUTDOOR, upper_j_k, parameters.upper_outdoor_w_k)
    flow(LOWER, OUTDOOR, lower_j_k, parameters.lower_outdoor_w_k)
    flow(UPPER, ENVELOPE, upper_j_k, parameters.upper_envelope_w_k)
    flow(ENVELOPE, UPPER, envelope_j_k, parameters.upper_envelope_w_k)
    flow(LOWER, ENVELOPE, lower_j_k, parameters.lower_envelope_w_k)
    flow(ENVELOPE, LOWER, envelope_j_k, parameters.lower_envelope_w_k)
    flow(ENVELOPE, OUTDOOR, envelope_j_k, parameters.envelope_outdoor_w_k)
    flow(LOWER, CONTENTS, lower_j_k, parameters.contents_air_w_k)
    flow(CONTENTS, LOWER, contents_j_k, parameters.contents_air_w_k)
    flow(CONTENTS, GROUND, contents_j_k, parameters.contents_ground_w_k)
    flow(LOWER, PIPE, lower_j_k, parameters.pipe_air_w_k)
    flow(ENVELOPE, PIPE, envelope_j_k, parameters.pipe_envelope_w_k)
    rates[UPPER][HEATER] = parameters.heater_to_air_share / upper_j_k
    rates[CONTENTS][HEATER] = (1.0 - parameters.heater_to_air_share) / contents_j_k
    rates[HEATER][HEATER] = -1.0 / parameters.heater_lag_s
    rates[HEATER][POWER] = 1.0 / parameters.heater_lag_s
    rates[GAIN][LOWER] = parameters.pipe_air_w_k
    rates[GAIN][ENVELOPE] = parameters.pipe_envelope_w_k
    draught_w_k = parameters.upper_outdoor_w_k + parameters.lower_outdoor_w_k
    if draught_w_k > 0.0:
        rates[UPPER][GUST] = parameters.upper_outdoor_w_k / draught_w_k / upper_j_k
        rates[LOWER][GUST] = parameters.lower_outdoor_w_k / draught_w_k / lower_j_k
    return rates


def _product(left: Matrix, right: Matrix) -> Matrix:
    columns = list(zip(*right, strict=True))
    return [[sum(map(float.__mul__, row, column)) for column in columns] for row in left]


def exponential(matrix: Matrix) -> Matrix:
    """e to the matrix, by Taylor's series of a 2^n-th of it, squared n times (textbook)."""
    size = len(matrix)
    norm = max(sum(abs(x) for x in row) for row in matrix)
    halvings = max(0, math.ceil(math.log2(norm))) + 2 if norm > 0.0 else 0
    part = [[x / 2.0**halvings for x in row] for row in matrix]
    total: Matrix = [[float(row == column) for column in range(size)] for row in range(size)]
    term = total
    for order in range(1, 15):  # (1/4)^15 / 15! is far below a float's last digit
        term = [[x / order for x in row] for row in _product(term, part)]
        total = [list(map(float.__add__, *rows)) for rows in zip(total, term, strict=True)]
    for _ in range(halvings):
        total = _product(total, total)
    return total

"""The program's own twin as a house to learn from: with wind in its draught, a pump that runs, half heaters.

Sun it has none: the other model does.
"""

import copy
import math
from dataclasses import replace

import numpy as np

from overwinter.twin.house import House
from overwinter.twin.houses import HOUSES
from overwinter.twin.network import GAIN, GROUND, OUTDOOR, PIPE, POWER, network
from overwinter.twin.parameters import WATER_J_KGK

NAMES = tuple(HOUSES)

WIDE_OPEN_H = 60.0
AJAR_H = 10.0
"""Air changes an hour of a door wide open, and of one ajar."""

WELL_C = 8.0
MOTOR_W = 250.0
TANK_W_K = 210.0
"""0.1 kg/s of well water through the tank, half mixed, while the pump runs."""

CALM_M_S = 4.0
"""The wind at which the drawing's draught holds."""

Kept = tuple[float, ...]


class TwinPlant:
    """A `House` with its surroundings."""

    def __init__(self, name: str, seed: int, *, start_c: float, heater_share: float = 1.0) -> None:
        drawn = HOUSES[name]
        drawn = replace(drawn, heater_w=drawn.heater_w * heater_share)
        self._house = House(drawn, seed, start_c=start_c)
        self._whole = self._house.parameters
        self._half = replace(self._whole, heater_w=self._whole.heater_w / 2)
        self._steps_of: dict[bool, dict[float, tuple[float, ...]]] = {True: {}, False: self._house._steps}
        self.advance = self._house.advance

    @property
    def heater_w(self) -> float:
        """What the heater is rated [W]."""
        return self._whole.heater_w

    @property
    def air_c(self) -> float:
        """Where the sensor hangs [°C]."""
        return self._house.air_c

    @property
    def humidity_pct(self) -> float:
        """There too."""
        return self._house.humidity_pct

    @property
    def ice_share(self) -> float:
        """Of the pipe's water."""
        return self._house.ice_share

    def surroundings(self, *, wind_m_s: float, sun_w_m2: float, door: str, is_half: bool) -> None:
        """As they are from now on."""
        house = self._house
        usual = house._parameters.air_changes_h
        opened = {"open": WIDE_OPEN_H, "ajar": AJAR_H, "": 0.0}[door] / usual if usual > 0.0 else 0.0
        house._door = draught(wind_m_s) - 1.0 + opened
        house._steps = self._steps_of[is_half]
        house._parameters = self._half if is_half else self._whole

    def pump(self, dt_s: float) -> None:
        """The pump has run for so long: its heat, and water from the well."""
        house, parameters = self._house, self._whole
        heat_w = 0.7 * MOTOR_W + TANK_W_K * (WELL_C - house._contents_c)
        house._contents_c += heat_w * dt_s / parameters.contents_j_k
        house._lower_c += 0.3 * MOTOR_W * dt_s / parameters.lower_j_k
        house._pipe_j = WELL_C * (parameters.pipe_water_kg * WATER_J_KGK + parameters.pipe_metal_j_k)

    def keep(self) -> Kept:
        """All that `cooling` needs."""
        house = self._house
        temperatures_c = (house._upper_c, house._lower_c, house._envelope_c, house._contents_c)
        return (*temperatures_c, house._heater_w, house._pipe_j, house._vapour_pa)

    def cooling(
        self, kept: Kept, *, outdoor_c: float, wind_m_s: float, to_c: float, hours: float
    ) -> tuple[list[float], float]:
        """Without heat from that state on: the air minute by minute, and hours until ice in the pipe."""
        house = copy.copy(self._house)
        house._upper_c, house._lower_c, house._envelope_c, house._contents_c = kept[:4]
        house._heater_w, house._pipe_j, house._vapour_pa = kept[4:]
        house._gust, house._gust_at_s = 0.0, math.inf
        house._door = draught(wind_m_s) - 1.0
        air_c, ice_h = [house.air_c], math.inf
        for minute in range(round(hours * 60)):
            house.advance(60.0, False, outdoor_c)
            air_c.append(house.air_c)
            if house._pipe_j < 0.0 and ice_h == math.inf:
                ice_h = (minute + 1) / 60.0
            if air_c[-1] <= to_c and ice_h < math.inf:
                break
        return air_c, ice_h

    def limit_c(self, low_c: float, *, wind_m_s: float) -> float:
        """Outdoors at which the heater, always on, just holds `low_c` at the sensor, at rest, without sun."""
        parameters = self._whole
        return low_c - self._rest_above(parameters.heater_w, wind_m_s, low_c)

    def _rest_above(self, power_w: float, wind_m_s: float, low_c: float) -> float:
        """How much warmer than outdoors it comes to rest; linear, so two solutions tell all."""
        share = draught(wind_m_s)
        upper, lower = self._whole.upper_outdoor_w_k, self._whole.lower_outdoor_w_k
        parameters = replace(self._whole, upper_outdoor_w_k=upper * share, lower_outdoor_w_k=lower * share)
        rates = np.array(network(parameters))
        size = GAIN  # upper, lower, envelope, contents, heater
        inner = rates[:size, :size].copy()
        # The pipe, when at rest, takes no heat: it stands between the air and the wall it touches.
        whole_w_k = parameters.pipe_air_w_k + parameters.pipe_envelope_w_k
        weights = np.zeros(size)
        weights[1], weights[2] = parameters.pipe_air_w_k / whole_w_k, parameters.pipe_envelope_w_k / whole_w_k
        inner += np.outer(rates[:size, PIPE], weights)
        height = parameters.sensor_height_share

        def air_c(outdoor_c: float) -> float:
            forced = rates[:size, POWER] * power_w + rates[:size, OUTDOOR] * outdoor_c
            forced += rates[:size, GROUND] * parameters.ground_c
            rest = np.linalg.solve(inner, -forced)
            return float(rest[1] + height * (rest[0] - rest[1]))

        at_zero, slope = air_c(0.0), air_c(1.0) - air_c(0.0)
        return low_c - (low_c - at_zero) / slope


def draught(wind_m_s: float) -> float:
    """The wind's factor on the drawing's mean draught."""
    return max(0.8, 0.5 + 0.5 * wind_m_s / CALM_M_S)

"""Seven pump houses by another model than the program's own, so that what is learned must hold on both.

Built differently on purpose:

- the shell is five finite volumes from the inner to the outer face, by its materials, with sun and the cold
  of the sky on the outside, not one lump at the inside;
- there is one air, and heights are an offset that grows with the heater's warmth and with the frost outside;
- the draught grows with the wind and with the root of the temperature difference;
- tank, light things and slab are stores of their own; the slab hangs on the ground;
- the heater warms air, shell and things by its radiant share, and lags.

Stepped by Euler in ten seconds: what leaves one store enters another, so energy is kept whatever the step.
All figures are a builder's guesses, from memory; no house of this kind was measured.
"""

import math
import random

import numpy as np

from overwinter.twin.parameters import FUSION_J_KG, ICE_J_KGK, WATER_J_KGK
from tests.bench.learning.other_drawings import HOUSES, MATERIALS

AIR_J_M3K = 1297.0
OUTSIDE_W_M2K = 20.0
INSIDE_W_M2K = 7.0
SKY_K = 1.0
"""How much colder than the air the outside finds its surroundings, by radiation to the sky."""

SPREAD = 0.10
"""How far a seed's house departs from its drawing."""

DOOR_H = {"open": 40.0, "ajar": 8.0, "": 0.0}
"""Air changes an hour through the door."""

MOTOR_W = 250.0
WELL_C = 9.0
WELL_KG_S = 0.06
COOLING_STEP_S = 20.0

Kept = tuple[float, ...]


class OtherHouse:
    """One of them on its way through a winter."""

    __slots__ = (
        "_air_c",
        "_air_j_k",
        "_capacities",
        "_changes_h",
        "_conductances",
        "_draught_w_k",
        "_drawing",
        "_heater_kept",
        "_heater_w",
        "_outdoor_c",
        "_pipe_ice_j_k",
        "_pipe_j",
        "_pipe_solid_j",
        "_pipe_w_k",
        "_pipe_water_j_k",
        "_power_w",
        "_rated_w",
        "_slab_c",
        "_sun_k",
        "_tank_c",
        "_things_c",
        "_vapour_pa",
        "_walls_c",
        "_window_w",
    )

    def __init__(self, name: str, seed: int, *, start_c: float, heater_share: float = 1.0) -> None:
        drawing = self._drawing = HOUSES[name]
        chance = random.Random(f"other {name} {seed}")

        def built(value: float) -> float:
            return value * chance.uniform(1.0 - SPREAD, 1.0 + SPREAD)

        self._rated_w = self._power_w = drawing.heater_w * heater_share * chance.uniform(0.97, 1.03)
        self._changes_h = built(drawing.changes_h)
        self._air_j_k = built(AIR_J_M3K * drawing.volume_m3 * drawing.air_factor)
        area_m2 = built(drawing.shell_m2)
        resistances, capacities = [1.0 / INSIDE_W_M2K], []
        for material, metres in drawing.slices:
            w_mk, j_m3k = MATERIALS[material]
            half = built(metres) / w_mk / 2
            resistances[-1] += half
            resistances.append(half)
            capacities.append(j_m3k * metres * area_m2)
        resistances[-1] += 1.0 / OUTSIDE_W_M2K
        shell = [area_m2 / resistance for resistance in resistances]
        self._capacities = (
            *capacities,
            built(drawing.things_j_k),
            built(drawing.tank_kg) * WATER_J_KGK,
            built(drawing.slab_m2 * drawing.slab_j_m2k),
        )
        self._conductances = (
            *shell,
            built(drawing.things_w_k),
            built(drawing.tank_w_k),
            built(drawing.slab_m2 * drawing.slab_w_m2k),
            built(drawing.slab_m2 * drawing.deep_w_m2k),
        )
        kilograms = 1000.0 * math.pi * 0.010**2 * drawing.pipe_m
        metal_j_k = 230.0 * drawing.pipe_m
        self._pipe_water_j_k = kilograms * WATER_J_KGK + metal_j_k
        self._pipe_ice_j_k = kilograms * ICE_J_KGK + metal_j_k
        self._pipe_solid_j = -kilograms * FUSION_J_KG
        self._pipe_w_k = 9.0 * math.pi * 0.022 * drawing.pipe_m
        self._air_c = self._things_c = self._tank_c = self._slab_c = self._outdoor_c = start_c
        self._walls_c: tuple[float, ...] = (start_c,) * 5
        self._heater_w = 0.0
        self._heater_kept: dict[float, float] = {}
        self._pipe_j = start_c * self._pipe_water_j_k
        self._vapour_pa = 600.0
        self._sun_k = self._window_w = 0.0
        self._draught_w_k = 0.0
        self.surroundings(wind_m_s=3.0, sun_w_m2=0.0, door="", is_half=False)

    @property
    def heater_w(self) -> float:
        """What the heater is rated [W], as its label says: within some per cent."""
        return self._drawing.heater_w * round(self._rated_w / self._drawing.heater_w, 1)

    @property
    def air_c(self) -> float:
        """Where the sensor hangs [°C]."""
        return self._air_c + self._drawing.sensor_k_kw * self._heater_w / 1000.0

    @property
    def humidity_pct(self) -> float:
        """There too, over water."""
        air_c = self.air_c
        return min(100.0 * self._vapour_pa / (611.2 * math.exp(17.62 * air_c / (243.12 + air_c))), 100.0)

    @property
    def ice_share(self) -> float:
        """Of the pipe's water."""
        return min(max(self._pipe_j / self._pipe_solid_j, 0.0), 1.0)

    def surroundings(self, *, wind_m_s: float, sun_w_m2: float, door: str, is_half: bool) -> None:
        """As they are for the next minute: the draught follows wind and chimney effect."""
        drawing = self._drawing
        self._draught_w_k = self._draught(wind_m_s, self._air_c - self._outdoor_c, DOOR_H[door])
        # About half of the shell sees the sun at a time.
        self._sun_k = 0.5 * drawing.absorbs * sun_w_m2 / OUTSIDE_W_M2K - SKY_K
        self._window_w = 0.5 * drawing.window_m2 * sun_w_m2
        self._power_w = self._rated_w / 2 if is_half else self._rated_w
        outdoor_pa = 0.85 * 611.2 * math.exp(17.62 * self._outdoor_c / (243.12 + self._outdoor_c))
        renewed = self._draught_w_k * 60.0 / (AIR_J_M3K * drawing.volume_m3)
        self._vapour_pa += (1.0 - math.exp(-renewed)) * (outdoor_pa + 70.0 - self._vapour_pa)

    def _draught(self, wind_m_s: float, warmer_k: float, door_h: float) -> float:
        drive = 0.5 * abs(warmer_k) / 20.0 + 0.5 * (wind_m_s / 4.0) ** 2
        changes_h = self._changes_h * max(math.sqrt(drive), 0.2) + door_h
        return AIR_J_M3K * self._drawing.volume_m3 * changes_h / 3600.0

    def pump(self, dt_s: float) -> None:
        """The pump has run for so long: its heat in the air and the slab, well water in tank and pipe."""
        share = WELL_KG_S * dt_s * WATER_J_KGK / self._capacities[6]
        self._tank_c += share * (WELL_C - self._tank_c)
        self._air_c += 0.4 * MOTOR_W * dt_s / self._air_j_k
        self._things_c += 0.6 * MOTOR_W * dt_s / self._capacities[5]
        self._pipe_j = WELL_C * self._pipe_water_j_k

    def advance(self, dt_s: float, heat: bool, outdoor_c: float) -> None:
        """Live through `dt_s`, at most 20 s."""
        kept = self._heater_kept.get(dt_s)
        if kept is None:
            kept = self._heater_kept[dt_s] = math.exp(-dt_s / self._drawing.heater_lag_s)
        warmth_w = self._heater_w = self._heater_w * kept + (self._power_w * (1.0 - kept) if heat else 0.0)
        c0, c1, c2, c3, c4, c_things, c_tank, c_slab = self._capacities
        g0, g1, g2, g3, g4, g5, g_things, g_tank, g_slab, g_deep = self._conductances
        w0, w1, w2, w3, w4 = self._walls_c
        air_c, things_c, tank_c, slab_c = self._air_c, self._things_c, self._tank_c, self._slab_c
        drawing = self._drawing
        radiant_w = drawing.radiant_share * warmth_w
        into_shell = g0 * (air_c - w0)
        q1, q2, q3, q4 = g1 * (w0 - w1), g2 * (w1 - w2), g3 * (w2 - w3), g4 * (w3 - w4)
        out = g5 * (w4 - outdoor_c - self._sun_k)
        into_things = g_things * (air_c - things_c)
        into_tank = g_tank * (air_c - tank_c)
        into_slab = g_slab * (air_c - slab_c)
        joule = self._pipe_j
        if joule >= 0.0:
            pipe_c = joule / self._pipe_water_j_k
        elif joule >= self._pipe_solid_j:
            pipe_c = 0.0
        else:
            pipe_c = (joule - self._pipe_solid_j) / self._pipe_ice_j_k
        by_pipe_c = air_c - drawing.floor_k_kw * warmth_w / 1000.0 - drawing.floor_share * (air_c - outdoor_c)
        into_pipe = self._pipe_w_k * (by_pipe_c - pipe_c)
        gain = (
            warmth_w - radiant_w - into_shell - into_things - into_tank - into_slab - into_pipe
            - self._draught_w_k * (air_c - outdoor_c)
        )  # fmt: skip
        self._air_c = air_c + dt_s * gain / self._air_j_k
        self._walls_c = (
            w0 + dt_s * (into_shell + 0.6 * radiant_w - q1) / c0,
            w1 + dt_s * (q1 - q2) / c1,
            w2 + dt_s * (q2 - q3) / c2,
            w3 + dt_s * (q3 - q4) / c3,
            w4 + dt_s * (q4 - out) / c4,
        )
        self._things_c = things_c + dt_s * (into_things + 0.4 * radiant_w + self._window_w) / c_things
        self._tank_c = tank_c + dt_s * into_tank / c_tank
        self._slab_c = slab_c + dt_s * (into_slab - g_deep * (slab_c - drawing.ground_c)) / c_slab
        self._pipe_j = joule + dt_s * into_pipe
        self._outdoor_c = outdoor_c

    def keep(self) -> Kept:
        """All that `cooling` needs."""
        lone = (self._air_c, self._things_c, self._tank_c, self._slab_c, self._heater_w, self._pipe_j)
        return (*self._walls_c, *lone, self._outdoor_c)

    def cooling(
        self, kept: Kept, *, outdoor_c: float, wind_m_s: float, to_c: float, hours: float
    ) -> tuple[list[float], float]:
        """Without heat from that state on: the air minute by minute, and hours until ice in the pipe.

        It changes this house: make one for it.
        """
        self._walls_c = kept[:5]
        self._air_c, self._things_c, self._tank_c, self._slab_c, self._heater_w, self._pipe_j = kept[5:11]
        self._outdoor_c = kept[11]
        air_c, ice_h = [self.air_c], math.inf
        for minute in range(round(hours * 60)):
            self.surroundings(wind_m_s=wind_m_s, sun_w_m2=0.0, door="", is_half=False)
            for _ in range(3):
                self.advance(COOLING_STEP_S, False, outdoor_c)
            air_c.append(self.air_c)
            if self._pipe_j < 0.0 and ice_h == math.inf:
                ice_h = (minute + 1) / 60.0
            if air_c[-1] <= to_c and ice_h < math.inf:
                break
        return air_c, ice_h

    def limit_c(self, low_c: float, *, wind_m_s: float) -> float:
        """Outdoors at which the heater, always on, just holds `low_c` at the sensor, at rest, without sun."""
        warm_c, cold_c = 60.0, -200.0
        while warm_c - cold_c > 1e-3:
            middle_c = (warm_c + cold_c) / 2
            if self._rest_c(middle_c, wind_m_s) >= low_c:
                warm_c = middle_c
            else:
                cold_c = middle_c
        return warm_c

    def _rest_c(self, outdoor_c: float, wind_m_s: float) -> float:
        """The sensor's temperature at rest with the heater always on: the draught is found by repeating."""
        drawing = self._drawing
        g0, g1, g2, g3, g4, g5, _, _, g_slab, g_deep = self._conductances
        radiant_w = drawing.radiant_share * self._rated_w
        # Light things, tank and pipe come to rest with the air; what shines on the things goes on into it.
        series_w_k = 1.0 / (1 / g1 + 1 / g2 + 1 / g3 + 1 / g4 + 1 / g5)
        ground_w_k = 1.0 / (1 / g_slab + 1 / g_deep)
        air_c = outdoor_c + 20.0
        for _ in range(60):
            draught_w_k = self._draught(wind_m_s, air_c - outdoor_c, 0.0)
            # Unknown: air and the inner face.
            left = np.array([[g0 + draught_w_k + ground_w_k, -g0], [-g0, g0 + series_w_k]])
            right = np.array(
                [
                    self._rated_w - 0.6 * radiant_w + draught_w_k * outdoor_c + ground_w_k * drawing.ground_c,
                    0.6 * radiant_w + series_w_k * (outdoor_c - SKY_K),
                ]
            )
            air_c = float(np.linalg.solve(left, right)[0])
        return air_c + drawing.sensor_k_kw * self._rated_w / 1000.0

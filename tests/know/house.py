"""A house of one or two lumps under a band's control, as spans: enough to know what should be learned."""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass

from overwinter.know.nouns import Span

DAY_S = 86400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Lumps:
    """Air, and things behind a conductance; all loss goes from the air."""

    watts: float = 1000.0
    ua_w_k: float = 25.0
    air_j_k: float = 200_000.0
    things_j_k: float = 600_000.0
    things_w_k: float = 60.0

    def limit_c(self, low_c: float) -> float:
        """Outdoors at which heat that is always on just holds it."""
        return low_c - self.watts / self.ua_w_k

    def hours_to(self, to_c: float, *, air_c: float, things_c: float, outdoor_c: float) -> float:
        """Without heat, by small steps."""
        hours = 0.0
        while air_c > to_c and hours < 200.0:
            flow_w = self.things_w_k * (things_c - air_c)
            air_c += 10.0 * (flow_w - self.ua_w_k * (air_c - outdoor_c)) / self.air_j_k
            things_c -= 10.0 * flow_w / self.things_j_k
            hours += 10.0 / 3600.0
        return hours


@dataclass(slots=True)
class Winter:
    """Plays one; `air_c` and `things_c` are the truth after the last span."""

    lumps: Lumps
    days: float
    noise_k: float = 0.05
    air_c: float = 4.0
    things_c: float = 4.0
    seed: int = 1
    has_outdoor: bool = True
    has_clock: bool = True

    def outdoor_c(self, now_s: float) -> float:
        """Nights, and a front every five days or so."""
        return (
            -8.0
            + 4.0 * math.sin(2 * math.pi * now_s / DAY_S)
            + 5.0 * math.sin(2 * math.pi * now_s / (5.3 * DAY_S))
        )

    def spans(self) -> Iterator[Span]:
        """One a minute."""
        chance = random.Random(self.seed)
        lumps, heat = self.lumps, False
        for minute in range(1, int(self.days * 1440) + 1):
            now_s = 60.0 * minute
            outdoor_c = self.outdoor_c(now_s)
            on = 0
            for _ in range(6):
                flow_w = lumps.things_w_k * (self.things_c - self.air_c)
                gain_w = flow_w - lumps.ua_w_k * (self.air_c - outdoor_c) + lumps.watts * heat
                self.air_c += 10.0 * gain_w / lumps.air_j_k
                self.things_c -= 10.0 * flow_w / lumps.things_j_k
                on += heat
            said_c = round(self.air_c + chance.gauss(0.0, self.noise_k), 1)
            yield Span(
                ends_s=now_s,
                lasts_s=60.0,
                utc_s=1.76e9 + now_s if self.has_clock else None,
                temperature_c=said_c,
                outdoor_c=round(outdoor_c, 1) if self.has_outdoor else None,
                heat=on / 6,
                low_c=2.2,
                high_c=4.4,
            )
            if said_c <= 2.2:
                heat = True
            elif said_c >= 4.4:
                heat = False

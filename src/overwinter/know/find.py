"""All that may be wrong with heater, house and sensors, as far as spans of a minute can tell.

What each file beside this one finds stands in it; what none of them can is written down in docs/promises.md.
"""

import math
from collections.abc import Mapping
from dataclasses import replace

from overwinter.core.nouns import Code, Site
from overwinter.core.units import say
from overwinter.know.find_heater import HeaterFaults
from overwinter.know.find_house import HouseFaults
from overwinter.know.find_sensor import SensorFaults
from overwinter.know.nouns import Finding, Span
from overwinter.know.phases import Course

VERSION = 2
"""Of the facts; others are not read."""

LEAST, MOST = -100.0, 150.0
"""Degrees or per cent: beyond any place or humidity on Earth."""

PUMPED_S = 900.0
"""So long after a pump's motor was seen to run its warmth may still come and go."""

COLD_SPANS = 2
COLD_DEAD_ZONE_K = 0.3


def _sound(span: Span) -> Span:
    """Without what no sensor says: it would stay in every mean. NaN is not within anything."""
    for value in (span.temperature_c, span.humidity_pct, span.outdoor_c):
        if value is not None and not LEAST <= value <= MOST:
            return replace(
                span,
                temperature_c=_sane(span.temperature_c),
                humidity_pct=_sane(span.humidity_pct),
                outdoor_c=_sane(span.outdoor_c),
            )
    return span


def _sane(value: float | None) -> float | None:
    return value if value is not None and LEAST <= value <= MOST else None


class Finder:
    """Fed span by span; says all that is wrong at its end."""

    def __init__(self, site: Site, *, is_replay: bool = False, alarm_low_c: float | None = None) -> None:
        """`is_replay`: say also what a guard says by itself; `alarm_low_c`: when it is cold then."""
        self._course = Course()
        self._heater = HeaterFaults(site)
        self._house = HouseFaults(site, is_replay=is_replay)
        self._sensors = SensorFaults(site, is_replay=is_replay)
        self._pumps = [contact.name for contact in site.contacts if contact.kind == "pump"]
        self._still_s = math.inf  # since a pump was last seen to run
        self._unit = site.unit
        self._alarm_low_c = alarm_low_c if is_replay else None
        self._cold_spans = 0
        self._is_cold = False

    def take(self, span: Span) -> tuple[Finding, ...]:
        """One span; in order, none twice."""
        if not 0.0 < span.lasts_s < math.inf:
            return ()
        span = _sound(span)
        self._course.take(span)
        is_pumped = self._is_pumped(span)
        house = self._house.take(
            span,
            self._course,
            door_times=self._heater.door_times,
            is_bumpy=self._heater.answers.is_bumpy,
            is_pumped=is_pumped,
        )
        heater = self._heater.take(
            span,
            self._course,
            is_open=self._house.is_open,
            is_cooling=self._house.is_cooling,
            is_pumped=is_pumped,
        )
        return (*heater, *house, *self._sensors.take(span), *self._cold(span))

    def _is_pumped(self, span: Span) -> bool:
        """Whether a pump's motor warms the air, or has until lately, as far as an input tells."""
        if not self._pumps:
            return False
        self._still_s += span.lasts_s + span.gap_s
        for name in self._pumps:
            if span.contacts.get(name, 0.0) > 0.0:
                self._still_s = 0.0
        return self._still_s <= PUMPED_S

    def _cold(self, span: Span) -> list[Finding]:
        if self._alarm_low_c is None or span.temperature_c is None:
            return []
        limit_c = self._alarm_low_c + (COLD_DEAD_ZONE_K if self._is_cold else 0.0)
        self._cold_spans = self._cold_spans + 1 if span.temperature_c <= limit_c else 0
        self._is_cold = self._cold_spans > 0 and (self._is_cold or self._cold_spans >= COLD_SPANS)
        if not self._is_cold:
            return []
        text = (
            f"the air is at {say(span.temperature_c, self._unit)}, alarm_low is "
            f"{say(self._alarm_low_c, self._unit)}: check lamp or heater, breaker, door"
        )
        return [Finding(code=Code.COLD, text=text)]

    def facts(self) -> dict[str, object]:
        """All that is needed to go on after a restart."""
        return {
            "version": VERSION,
            "heater": self._heater.facts(),
            "house": self._house.facts(),
            "sensors": self._sensors.facts(),
        }

    @classmethod
    def recalled(
        cls,
        site: Site,
        facts: Mapping[str, object] | None,
        *,
        is_replay: bool = False,
        alarm_low_c: float | None = None,
    ) -> "Finder":
        """One that goes on from `facts`; of anything odd in them nothing is taken."""
        finder = cls(site, is_replay=is_replay, alarm_low_c=alarm_low_c)
        if not isinstance(facts, Mapping) or facts.get("version") != VERSION:
            return finder
        for key, part in (("heater", finder._heater), ("house", finder._house), ("sensors", finder._sensors)):
            kept = facts.get(key)
            if isinstance(kept, Mapping):
                part.recall(kept)
        return finder

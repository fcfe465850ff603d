"""Can each sensor still be believed: flat, lost, or at odds with its neighbours.

Rule 1: how often a sensor repeats itself is learned, so a coarse one in a still vault is not called flat.
Rule 2: one that leaps to a warmth that no house reaches by itself is said, since it keeps heat off.
Rule 3: two sensors that differ are known to differ; which one lies takes a third, or the heat.
"""

import math
from collections import deque
from collections.abc import Mapping

from overwinter.core.nouns import Code, Flag, Role, SensorSpec, Site
from overwinter.core.units import say, say_difference
from overwinter.know.nouns import Finding, Seen, Span
from overwinter.know.running import Usual, number

CHANCE = 1e-8
"""A run of equal readings less likely than this is none of chance."""
FLAT_S_LEAST, FLAT_S_MOST = 720.0, 1920.0
STILL_SHARE = 0.85
"""A sensor that repeats itself so often is a coarse one in a still place: it gets more time."""
STILL_S = 3 * 3600.0

LOST_S = 420.0
"""In a replay: so long after the last temperature the sensor is lost. A sample bears a temperature for two
minutes after its last reading, so this is nine minutes at most."""

LEAP_K, LEAP_OVER = 10.0, 5
"""A rise without heat, above all of so many believed readings before, that neither sun nor motor makes: an
open door lets the air change by 4.5 K a minute at most (simulated), and winter has no such air outside."""
LEAP_FROM_C = 12.0
"""From warmer air a door that is opened to a summer's day may do it."""
LEAP_BACK = 0.5
"""Back by so much of it, a sensor was held in a hand, or is mended."""
LEAP_STAYS_S = 600.0

APART_K, APART_K_MOST = 1.5, 2.0
APART_S = 1800.0
_BELIEVED = (Flag.PASS, Flag.NOT_EVALUATED)
_MISSING = Flag.MISSING  # asked every minute, where going through the class takes five times as long

DIFFERENCES = 40_000.0
"""Spans that make the usual difference between two sensors: weeks, or a drift would become the usual."""


class SensorFaults:
    """Sensors that are flat, lost or disagree."""

    def __init__(self, site: Site, *, is_replay: bool) -> None:
        self._site = site
        self._is_replay = is_replay
        self._specs = {spec.name: spec for spec in site.sensors}
        self._inside = [spec.name for spec in site.sensors if _is_inside(spec)]
        self._last: dict[str, Seen] = {}
        self._same_s: dict[str, float] = {}
        self._same_runs: dict[str, int] = {}
        self._repeats: dict[str, Usual] = {}
        self._silent_s = 0.0
        self._believed_c: dict[str, deque[float]] = {
            spec.name: deque(maxlen=LEAP_OVER) for spec in site.sensors if spec.role is Role.CONTROL
        }
        self._leapt: dict[str, tuple[float, float]] = {}  # from where [°C], and for how long ago [s]
        self._differences: dict[str, Usual] = {}
        self._apart_s: dict[str, float] = {}
        self._said_apart: dict[str, str] = {}

    def take(self, span: Span) -> list[Finding]:
        """One span."""
        if span.gap_s > span.lasts_s:  # what was the same before a silence may have been anything in it
            for times in (self._last, self._same_s, self._same_runs, self._apart_s):
                times.clear()
            self._silent_s = 0.0
            for before_c in self._believed_c.values():
                before_c.clear()
        found = self._flat(span)
        if self._is_replay:
            found += self._lost(span)
        return found + self._leaps(span) + self._apart(span)

    # Flat.

    def _flat(self, span: Span) -> list[Finding]:
        found = []
        for name, seen in span.sensors.items():
            if name not in self._specs or seen.temperature_c is None or seen.flag == _MISSING:
                continue  # a read that failed neither repeats anything nor contradicts it
            last = self._last.get(name)
            self._last[name] = seen
            is_same = (
                last is not None
                and last.temperature_c == seen.temperature_c
                and last.humidity_pct == seen.humidity_pct
            )
            repeats = self._repeats.get(name)
            if repeats is None:
                repeats = self._repeats[name] = Usual()
            if is_same:
                self._same_s[name] = self._same_s.get(name, 0.0) + span.lasts_s
                self._same_runs[name] = self._same_runs.get(name, 0) + 1
            else:
                # Only now it is known that the run was chance: a stuck sensor teaches nothing.
                for _ in range(min(self._same_runs.get(name, 0), 60)):
                    repeats.take(1.0, memory=1000.0)
                repeats.take(0.0, memory=1000.0)
                self._same_s[name], self._same_runs[name] = 0.0, 0
            same_s = self._same_s.get(name, 0.0)
            if same_s >= FLAT_S_LEAST and same_s >= self._flat_after_s(repeats, span.lasts_s, seen):
                reading = say(seen.temperature_c, self._site.unit)
                wet = "" if seen.humidity_pct is None else f" and {seen.humidity_pct:.0f} %"
                text = (
                    f"sensor {name!r} has said exactly {reading}{wet} for {same_s / 60.0:.0f} min, which it "
                    "never does: it may be stuck; check its wire, then replace it"
                )
                found.append(Finding(code=Code.SENSOR_DOUBTFUL, text=text, subject=name))
        return found

    def _flat_after_s(self, repeats: Usual, span_s: float, seen: Seen) -> float:
        if repeats.count < 100:
            # Not known yet how still it is here; what speaks in whole degrees repeats itself.
            is_fine = seen.humidity_pct is not None and (
                seen.humidity_pct % 1.0 > 0.0 or (seen.temperature_c or 0.0) % 1.0 > 0.0
            )
            return FLAT_S_MOST if is_fine else 2.0 * STILL_S
        share = min(max(repeats.mean, 0.02), 0.99)
        by_chance_s = span_s * math.log(CHANCE) / math.log(share)
        if share > STILL_SHARE:
            return max(by_chance_s, STILL_S)
        return min(max(by_chance_s, FLAT_S_LEAST), FLAT_S_MOST)

    # Lost.

    def _lost(self, span: Span) -> list[Finding]:
        if span.temperature_c is not None:
            self._silent_s = 0.0
            return []
        self._silent_s += span.lasts_s
        if self._silent_s < LOST_S:
            return []
        control = [spec.name for spec in self._site.sensors if spec.role is Role.CONTROL]
        name = control[0] if len(control) == 1 else ""
        text = (
            f"no believable temperature for {self._silent_s / 60.0:.0f} min: check the control sensor, its "
            "plug and its wire"
        )
        return [Finding(code=Code.SENSOR_LOST, text=text, subject=name)]

    # Leapt.

    def _leaps(self, span: Span) -> list[Finding]:
        found = []
        for name, before_c in self._believed_c.items():
            seen = span.sensors.get(name)
            if seen is None or seen.temperature_c is None or seen.flag not in _BELIEVED:
                continue
            now_c = seen.temperature_c
            if span.heat > 0.0:
                before_c.clear()
            elif name not in self._leapt and len(before_c) == LEAP_OVER and now_c - before_c[-1] >= LEAP_K:
                top_c = max(before_c)
                if top_c <= LEAP_FROM_C and now_c - top_c >= LEAP_K:
                    self._leapt[name] = top_c, -span.lasts_s
            before_c.append(now_c)
            if self._leapt and name in self._leapt:
                from_c, ago_s = self._leapt[name]
                if now_c < from_c + LEAP_BACK * LEAP_K:
                    del self._leapt[name]
                    continue
                self._leapt[name] = from_c, ago_s + span.lasts_s
                if ago_s >= LEAP_STAYS_S:
                    found.append(self._leap(name, from_c, now_c))
        return found

    def _leap(self, name: str, from_c: float, now_c: float) -> Finding:
        unit = self._site.unit
        text = (
            f"sensor {name!r} leapt from {say(from_c, unit)} within minutes, without heat, and says "
            f"{say(now_c, unit)} now: no house warms so fast in winter. If nobody moved it, it reads too "
            "high, heat stays off and pipes may freeze unseen: compare it with a thermometer"
        )
        return Finding(code=Code.SENSOR_DOUBTFUL, text=text, subject=name)

    # At odds.

    def _apart(self, span: Span) -> list[Finding]:
        if len(self._inside) < 2:
            return []
        said: dict[str, float] = {}
        for name in self._inside:
            seen = span.sensors.get(name)
            if seen is None or seen.temperature_c is None or seen.flag not in _BELIEVED:
                continue
            if -100.0 <= seen.temperature_c <= 150.0:
                said[name] = seen.temperature_c
        if len(said) < 2:
            return []
        for name, at_c in said.items():
            others = sorted(other_c for other, other_c in said.items() if other != name)
            middle_c = others[len(others) // 2] if len(others) % 2 else sum(others[-1:] + others[:1]) / 2.0
            off_k = at_c - middle_c
            usual = self._differences.setdefault(name, Usual())
            limit_k = min(max(APART_K, 6.0 * usual.spread(0.15)), APART_K_MOST)
            is_far = usual.count >= 60 and abs(off_k - usual.mean) > limit_k
            apart_s = self._apart_s.get(name, 0.0)
            self._apart_s[name] = apart_s + span.lasts_s if is_far else max(0.0, apart_s - 3.0 * span.lasts_s)
            if not is_far:
                usual.take(off_k, memory=DIFFERENCES)
            if self._apart_s[name] >= APART_S:
                self._said_apart[name] = (
                    f"sensor {name!r} says {say(at_c, self._site.unit)}, "
                    f"{say_difference(abs(off_k - usual.mean), self._site.unit)} "
                    f"{'more' if off_k > usual.mean else 'less'} than it used to against the others"
                )
            elif self._apart_s[name] <= 0.0:
                self._said_apart.pop(name, None)
        told = {name: text for name, text in self._said_apart.items() if name in said}
        if not told:
            return []
        # With two, each is as far from the other; with three, the one that is off is off from both.
        names = sorted(told, key=lambda name: -self._apart_s[name])
        if len(said) >= 3 and len(names) == 1:
            text = f"{told[names[0]]}, which agree with one another: it is the one to replace"
        else:
            text = (
                f"{told[names[0]]}: one of them lies, and it cannot be told which; compare both with a "
                "thermometer"
            )
        return [Finding(code=Code.SENSORS_DISAGREE, text=text)]

    def facts(self) -> dict[str, object]:
        """For the state file."""
        return {
            "repeats": {name: usual.facts() for name, usual in self._repeats.items() if name in self._specs},
            "differences": {name: usual.facts() for name, usual in self._differences.items()},
            "leapt": {name: round(from_c, 2) for name, (from_c, _) in self._leapt.items()},
        }

    def recall(self, stored: Mapping[str, object]) -> None:
        """Go on from there."""
        for key, into in (("repeats", self._repeats), ("differences", self._differences)):
            kept = stored.get(key)
            for name, facts in kept.items() if isinstance(kept, Mapping) else ():
                if name in self._specs:
                    into[name] = Usual.recalled(facts)
        leapt = stored.get("leapt")
        for name, from_c in leapt.items() if isinstance(leapt, Mapping) else ():
            known_c = number(from_c)
            if name in self._specs and known_c is not None:
                self._leapt[name] = min(known_c, LEAP_FROM_C), LEAP_STAYS_S


def _is_inside(spec: SensorSpec) -> bool:
    return spec.role is not Role.OUTDOOR and spec.at == "air"

"""What the record has taught about this house and its heater, and which of its minutes may teach.

Rule 1: nothing is learned while the record is doubtful: heat that was forced, flags, gaps, an open door, no
temperature outdoors, a mode that does not heat. The lags go on where heat and temperatures are known.
Rule 2: all that is needed to go on after a restart is in `facts`; whatever is odd there means beginning anew.
Rule 3: a cable has its own thermostat and does not warm the air: of it nothing can be learned.
"""

import math
from collections.abc import Mapping

from overwinter.core.nouns import ContactSpec, Flag, HeaterSpec, Mode
from overwinter.know.cooling import QUICK, Cooling, Course
from overwinter.know.loss import Line, Loss
from overwinter.know.nouns import Span
from overwinter.know.recursive import number_of, shortened
from overwinter.physics.ranges import Range

VERSION = 4
"""Of the facts; others are not read."""

GAP_S = 900.0
"""A silence so long makes what the lags hold a guess; they begin anew."""

OUTDOOR_HELD_S = 1800.0
"""For so long a silent outdoor sensor counts as unchanged."""

AFTER_S = 1800.0
"""For so long after something doubtful nothing is learned."""

FLAGGED_S = 300.0
"""Single readings fail all the time, and the temperature is of those that did not; many are doubtful."""

AIR_C_LEAST, AIR_C_MOST = -60.0, 60.0
STEP_S_MAX = 3600.0
"""A longer span is a gap: its mean says nothing of minutes."""

# Asked every minute, where going through the class takes five times as long.
_SUSPECT, _OBSERVE = Flag.SUSPECT, Mode.OBSERVE


class Learned:
    """Fed span by span; asked now and then."""

    def __init__(self, heater: HeaterSpec) -> None:
        self.heater = heater
        self.based_on_h = 0.0
        self.loss = Loss()
        self.cooling = Cooling()
        self.air_c: float | None = None  # a short mean: the last reading alone is noise
        self.outdoor_c: float | None = None
        self.outdoor_age_s = math.inf
        self._doors: frozenset[str] | None = None
        self._flagged_s = 0.0  # for so long no reading was believed
        self._doubtful_s = 0.0  # for so much longer nothing is learned
        self._is_begun = False

    def take(self, span: Span) -> None:
        """One span; in order, none twice."""
        if self.heater.kind == "cable":
            return
        lasts_s, heat = span.lasts_s, span.heat
        if not (0.0 < lasts_s < math.inf and 0.0 <= heat <= 1.0):
            return
        if span.gap_s > GAP_S or lasts_s > STEP_S_MAX:
            self._is_begun = False
        air_c, outdoor_c = span.temperature_c, span.outdoor_c
        if outdoor_c is not None and -90.0 <= outdoor_c <= AIR_C_MOST:
            self.outdoor_c, self.outdoor_age_s = outdoor_c, 0.0
        else:
            self.outdoor_age_s += lasts_s + span.gap_s
            if self.outdoor_age_s > OUTDOOR_HELD_S:
                self.outdoor_c = None
        self._flagged_s = self._flagged_s + lasts_s if span.flag >= _SUSPECT else 0.0
        is_there = air_c is not None and AIR_C_LEAST <= air_c <= AIR_C_MOST
        is_sound = (
            is_there
            and self._flagged_s < FLAGGED_S
            and not span.is_forced
            and span.gap_s <= lasts_s
            and span.mode is not _OBSERVE
            and not (span.contacts and self._is_open(span.contacts))
        )
        if is_there and air_c is not None:
            near = self.air_c is not None and abs(self.air_c - air_c) < 2.0
            self.air_c = (
                self.air_c + min(lasts_s / 120.0, 1.0) * (air_c - self.air_c)
                if near and self.air_c is not None
                else air_c
            )
        if not is_sound:
            self._doubtful_s = AFTER_S
        held_c, outdoor_now_c = self.air_c, self.outdoor_c
        if held_c is None or outdoor_now_c is None:
            self._is_begun = False
            return
        now_c = air_c if is_there and air_c is not None else held_c
        if not self._is_begun:
            self._is_begun = True
            self.cooling.begin(now_c, outdoor_now_c, heat)
            self.loss.begin(now_c, outdoor_now_c)
        is_sound = is_sound and self._doubtful_s <= 0.0
        self._doubtful_s = max(0.0, self._doubtful_s - lasts_s)
        self.cooling.take(lasts_s=lasts_s, air_c=now_c, outdoor_c=outdoor_now_c, heat=heat, is_sound=is_sound)
        # The wall clock where there is one: quarters of the day then stay the same over a restart.
        ends_s = span.ends_s if span.utc_s is None else span.utc_s
        if self.loss.take(
            ends_s=ends_s, lasts_s=lasts_s, air_c=now_c, outdoor_c=outdoor_now_c, heat=heat, is_sound=is_sound
        ):
            self.cooling.fade(6 * 3600.0)
        if is_sound:
            self.based_on_h += lasts_s / 3600.0

    def heed(self, contacts: tuple[ContactSpec, ...]) -> None:
        """Which inputs are doors; untold, those that are named so."""
        self._doors = frozenset(contact.name for contact in contacts if contact.kind == "door")

    def _is_open(self, contacts: Mapping[str, float]) -> bool:
        return any(
            share > 0.0 and (name in self._doors if self._doors is not None else "door" in name.lower())
            for name, share in contacts.items()
        )

    @property
    def line(self) -> Line | None:
        """Duty against outdoors; None as long as it is not known."""
        return self.loss.line()

    def rise_k(self) -> float | None:
        """How far full heat lifts the air in the end."""
        line = self.line
        return None if line is None else line.rise_k

    def limit_c(self, low_c: float) -> Range | None:
        """Down to which outdoor temperature the heater holds `low_c`."""
        line = self.line
        if line is None:
            return None
        warmer_k, spread_k = line.warmer_at(1.0)
        best_c = low_c - warmer_k
        return Range(best=best_c, low=best_c - spread_k, high=best_c + spread_k)

    def course(self, outdoor_c: float) -> Course | None:
        """How the air goes if the heat fails now and it stays as cold as this."""
        rise_k = self.rise_k()
        if self.air_c is None or not self._is_begun or rise_k is None:
            return None  # without the loss the slow end would hope too much
        return self.cooling.course(self.air_c, outdoor_c, rise_k)

    def summary(self) -> dict[str, object]:
        """For people and programs: SI, units in the keys; None: not known."""
        line = self.line
        watts = self.heater.watts
        rise = loss = None
        offset_k = None
        if line is not None:
            warmer_k, spread_k = line.warmer_at(1.0)
            best_k = line.rise_k
            share = min(spread_k / max(abs(warmer_k), 1.0), 0.9)
            rise = {"best": best_k, "low": best_k * (1.0 - share), "high": best_k * (1.0 + share)}
            offset_k = line.offset_k
            if watts is not None:
                loss = {key: watts / rise[other] for key, other in _TURNED}
        shares = self.cooling.shares(None if line is None else line.rise_k)
        quick_k = None if shares is None else sum(shares[0][: QUICK + 1])
        return {
            "based_on_h": round(self.based_on_h, 2),
            "rise_k": rise,
            "without_heat_k": offset_k,
            "loss_w_k": loss,
            "rise_within_an_hour_k": quick_k,
        }

    def facts(self) -> dict[str, object]:
        """All that is needed to go on, below 2 kB as JSON."""
        return {
            "version": VERSION,
            "based_on_h": shortened(self.based_on_h),
            "air_c": self.air_c,
            "outdoor_c": self.outdoor_c,
            "outdoor_age_s": min(self.outdoor_age_s, 1e9),
            "doubtful_s": self._doubtful_s,
            "is_begun": self._is_begun,
            "loss": self.loss.facts(),
            "cooling": self.cooling.facts(),
        }

    @classmethod
    def recalled(cls, heater: HeaterSpec, facts: Mapping[str, object] | None) -> "Learned":
        """What was written down; anything odd or damaged: a new beginning."""
        learned = cls(heater)
        if not isinstance(facts, Mapping) or facts.get("version") != VERSION:
            return learned
        try:
            loss, cooling = facts.get("loss"), facts.get("cooling")
            if not isinstance(loss, Mapping) or not isinstance(cooling, Mapping):
                raise ValueError("no sums")
            learned.based_on_h = number_of(facts, "based_on_h", 0.0, 1e7)
            learned.outdoor_age_s = number_of(facts, "outdoor_age_s", 0.0, 1e9)
            learned._doubtful_s = number_of(facts, "doubtful_s", 0.0, AFTER_S)
            learned._is_begun = facts.get("is_begun") is True
            if facts.get("air_c") is not None:
                learned.air_c = number_of(facts, "air_c", AIR_C_LEAST, AIR_C_MOST)
            if facts.get("outdoor_c") is not None:
                learned.outdoor_c = number_of(facts, "outdoor_c", -90.0, AIR_C_MOST)
            learned.loss = Loss.recalled(loss)
            learned.cooling = Cooling.recalled(cooling)
        except ValueError:
            return cls(heater)
        if learned._is_begun and not learned.loss.lags_c:
            return cls(heater)
        return learned


_TURNED = (("best", "best"), ("low", "high"), ("high", "low"))
"""A loss is low where the rise is high."""

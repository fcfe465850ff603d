"""All that is known of one house: what was learned of it and what is wrong with it, side by side.

Fed with the same spans; kept in one small piece of the state file, so that a power cut costs an hour of it.
"""

from collections.abc import Mapping
from dataclasses import replace

from overwinter.core.nouns import Flag, Settings, Site
from overwinter.know.find import Finder
from overwinter.know.forecast import Forecast, forecast
from overwinter.know.learned import Learned
from overwinter.know.nouns import Finding, Span

# Asked every minute, where going through the class takes five times as long.
_MISSING, _SUSPECT = Flag.MISSING, Flag.SUSPECT


class Knowledge:
    """What the spans so far have taught."""

    def __init__(
        self,
        site: Site,
        facts: object = None,
        *,
        last: Span | None = None,
        is_replay: bool = False,
        alarm_low_c: float | None = None,
    ) -> None:
        """Go on from `facts`, as kept, and the span they were as of; of anything odd nothing is taken.

        `is_replay`, `alarm_low_c`: see `Finder`.
        """
        kept = facts if isinstance(facts, Mapping) else {}
        learned, found = kept.get("house"), kept.get("faults")
        self._site = site
        self.learned = Learned.recalled(site.heater, learned if isinstance(learned, Mapping) else None)
        self.learned.heed(site.contacts)
        self._finder = Finder.recalled(
            site,
            found if isinstance(found, Mapping) else None,
            is_replay=is_replay,
            alarm_low_c=alarm_low_c,
        )
        self.last = last
        self._flag = int(Flag.PASS)  # of the span before, as it came

    def take(self, span: Span) -> tuple[Finding, ...]:
        """Learn from it, and say all that is wrong now."""
        # Its flag is that of the last reading, its temperature a median: a read that failed, or one lone
        # suspect among good ones, says nothing against the median.
        flag, before = span.flag, self._flag
        self._flag = flag
        if span.temperature_c is not None and (flag == _MISSING or (flag == _SUSPECT and before != _SUSPECT)):
            span = replace(span, flag=int(Flag.PASS))
        self.last = span
        self.learned.take(span)
        return self._finder.take(span)

    def facts(self) -> dict[str, object]:
        """All that is needed to go on after a restart."""
        return {"house": self.learned.facts(), "faults": self._finder.facts()}

    def forecast(self, settings: Settings, outdoor_c: float | None = None) -> Forecast:
        """What comes if heat fails now, and what this heater can do."""
        return forecast(self.learned, self._site, settings, last=self.last, outdoor_c=outdoor_c)

"""A logbook folder gone through once more: what would have been learned, and which alarms there were."""

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from overwinter.cli import plan
from overwinter.cli.history import quick_loads
from overwinter.cli.options import Stop
from overwinter.cli.places import Places
from overwinter.cli.recorded import spans
from overwinter.core.nouns import Code, Settings, Site
from overwinter.guard.clock import rfc3339_s
from overwinter.know.knowledge import Knowledge

PROGRESS_EVERY = 5000
"""Spans between two looks at the progress line; some days."""


@dataclass(slots=True)
class Told:
    """One alarm of the past."""

    code: str
    subject: str
    since_s: float
    cleared_s: float | None
    text: str  # as it was when it was raised

    def facts(self) -> dict[str, object]:
        """For programs."""
        return {
            "code": self.code,
            "subject": self.subject,
            "since": rfc3339_s(self.since_s),
            "cleared": None if self.cleared_s is None else rfc3339_s(self.cleared_s),
            "text": self.text,
        }


@dataclass(slots=True)
class Past:
    """What a logbook came to."""

    knowledge: Knowledge
    settings: Settings
    alarms: list[Told] = field(default_factory=list)
    spans: int = 0
    from_s: float | None = None
    to_s: float | None = None


def replayed(where: Places, *, watch: Callable[[float], None] | None = None) -> Past:
    """Go through the whole logbook in `where.logs`, as if the guard had just lived it.

    Raises
    ------
    Stop
        No logbook can be read there, or site.toml is refused.
    """
    from overwinter.store.lines import NAME
    from overwinter.store.timeline import read_placed

    folder = Path(where.logs)
    if not any(folder.glob(f"{NAME}*")):
        raise Stop(1, f"no logbook can be read in {folder}", f"allowed: a folder with {NAME} in it")
    site = site_of(where)
    settings = _settings(where, site)
    past = Past(Knowledge(site, is_replay=True, alarm_low_c=settings.alarm_low_c), settings)
    present: dict[tuple[Code, str], Told] = {}
    for span in spans(read_placed(folder, loads=quick_loads())):
        assert span.utc_s is not None
        found = {(one.code, one.subject): one.text for one in past.knowledge.take(span)}
        for key, text in found.items():
            if key not in present:
                present[key] = Told(key[0].value, key[1], span.utc_s, None, text)
                past.alarms.append(present[key])
        for key in [key for key in present if key not in found]:
            present.pop(key).cleared_s = span.utc_s
        past.spans += 1
        past.from_s = span.utc_s if past.from_s is None else past.from_s
        past.to_s = span.utc_s
        if watch is not None and past.spans % PROGRESS_EVERY == 0:
            watch(span.utc_s)
    last = past.knowledge.last
    if last is not None and last.high_c > last.low_c:  # the band it had, not the one of this machine
        past.settings = replace(settings, low_c=last.low_c, high_c=last.high_c, mode=last.mode)
    return past


def site_of(where: Places) -> Site:
    """The site file where there is one; without, a house of which nothing is known but its logbook.

    Raises
    ------
    Stop
        It is named and cannot be read, or it is refused.
    """
    if not where.is_named("site") and not os.access(where.site, os.R_OK):
        return Site()
    return plan.site_of(where)


def _settings(where: Places, site: Site) -> Settings:
    """The house's settings where they lie beside; else the defaults."""
    if where.is_named("logs") and not where.is_named("state"):
        return Settings(unit=site.unit)  # another house's logbook: the settings of this machine are not its
    return plan.settings_of(where, site) or Settings(unit=site.unit)


def progress() -> Callable[[float], None] | None:
    """Shows on a terminal's stderr which day is being judged; None where nobody would see it."""
    if sys.stderr is None or not sys.stderr.isatty():
        return None

    def show(utc_s: float) -> None:
        print(f"\r{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%d} ", end="", file=sys.stderr, flush=True)

    return show

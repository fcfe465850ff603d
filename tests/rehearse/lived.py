"""A short way to live through a scenario."""

from pathlib import Path
from typing import Any

from overwinter.rehearse.nouns import Fault, Outcome, Scenario
from overwinter.rehearse.run import Watch, rehearse
from overwinter.rehearse.weather import weather_of
from overwinter.store.lines import read_lines

HOUR_S = 3600.0

COLD = {"evening_c": -6.0, "dawn_c": -12.0}


def scenario(*faults: Fault, hours: float = 24.0, **other: Any) -> Scenario:
    """A cold night in a timber shed, in which these things break."""
    usual: dict[str, Any] = {"weather": "cold-night", "weather_options": COLD}
    return Scenario(name="a test", days=hours / 24.0, faults=faults, **{**usual, **other})


def live(one: Scenario, folder: Path, *, seed: int = 1, watch: Watch | None = None, **other: Any) -> Outcome:
    """To the end of it."""
    return rehearse(one, seed=seed, folder=folder, weather=weather_of(one, seed=seed), watch=watch, **other)


def fault(kind: str, at_h: float, for_h: float, *, by: float = 0.0, sensor: str | None = None) -> Fault:
    """At so many hours, for so many hours."""
    if kind.startswith("sensor-") and sensor is None:
        sensor = "by the pump"
    return Fault(kind=kind, at_s=at_h * HOUR_S, for_s=for_h * HOUR_S, by=by, sensor=sensor)


def events(folder: Path, name: str) -> list[dict[str, Any]]:
    """Of one kind, as the kept logbook has them."""
    return list(read_lines(folder / "logs", events=[name]))


def logbook(folder: Path) -> bytes:
    """All files, oldest first."""
    files = sorted((folder / "logs").glob("logbook.jsonl*"), key=lambda path: (len(path.name), path.name))
    return b"".join(path.read_bytes() for path in reversed(files))

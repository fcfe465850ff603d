"""What is wrong: alarms as episodes, and health in one word.

Rule 1: an episode is one alarm and one clear. On-delay, off-delay and a dead zone keep a value that
        trembles at its limit from ringing all night.
Rule 2: a text says what, since when, the evidence and what to do; nothing that is not known is guessed.
Rule 3: alarms tell people. They never steer heat.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from overwinter.core.nouns import Code, Health

TELL_AFTER_S = 600.0
"""A lost sensor is acted on at once and told after this: cheap sensors miss readings every hour."""

COLD_DEAD_ZONE_K = 0.3
"""How far above alarm_low a reading must be for the cold to be over; a sensor's noise is 0.1 to 0.2 K."""

COLD_OFF_DELAY_S = 60.0

COLD_AFTER_READINGS = 9
"""Cold must outlast so many readings before it is told. Two bursts of wrong readings close together look
like a step that lasts: believed (heat comes on, which costs little) until as many right ones follow."""

COLD_AFTER_S_MAX = 120.0
"""Or so long, where sensors are read seldom; from cold air to the first ice it is twenty minutes at least."""

AGAIN_AFTER_S = 600.0
"""Between two times that one alarm is told. What comes and goes faster is present, but rings no bell."""

HEAT_MEMORY_S = 3600.0
"""Too hot is alarming only if heat ran within this time: a shed is hot in July without us."""

WORN_SHARE = 0.8
"""Share of a relay's rated cycles from which on it should be replaced before the next winter."""

_DELAYS_S = {  # (on, off); everything else is told and cleared at once
    Code.SENSOR_LOST: (TELL_AFTER_S, 0.0),
    Code.SENSORS_DISAGREE: (0.0, 60.0),
    Code.COLD: (COLD_AFTER_S_MAX, COLD_OFF_DELAY_S),
    Code.TOO_HOT: (0.0, 60.0),
    Code.DAMP: (0.0, 86_400.0),  # a damp house is damp every evening, and needs one bell
}

_HEALTH = {
    Code.SENSOR_LOST: Health.FAILURE,
    Code.SENSORS_DISAGREE: Health.FAILURE,
    Code.HEATER_DEAD: Health.FAILURE,
    Code.HEAT_STUCK_ON: Health.FAILURE,
    Code.COLD: Health.OUT_OF_SPECIFICATION,
    Code.TOO_HOT: Health.OUT_OF_SPECIFICATION,
    Code.SENSOR_DOUBTFUL: Health.OUT_OF_SPECIFICATION,
    Code.HEATER_TOO_SMALL: Health.OUT_OF_SPECIFICATION,
    Code.COOLING_FAST: Health.OUT_OF_SPECIFICATION,
    Code.MAY_HAVE_FROZEN: Health.OUT_OF_SPECIFICATION,
    Code.WET_FLOOR: Health.OUT_OF_SPECIFICATION,
}  # all others: maintenance required

_WORST_FIRST = (
    Health.FAILURE,
    Health.OUT_OF_SPECIFICATION,
    Health.FUNCTION_CHECK,
    Health.MAINTENANCE_REQUIRED,
)


@dataclass(slots=True)
class Episode:
    """One alarm from raised to cleared. `subject` keeps two sensors' episodes apart."""

    code: Code
    subject: str
    text: str
    since_s: float
    raised: bool = False
    told: bool = False
    acknowledged: bool = False
    gone_s: float | None = None


@dataclass(frozen=True, slots=True)
class Change:
    """An episode that was raised, cleared or acknowledged just now."""

    episode: Episode
    state: str  # raised | cleared | acknowledged


class Watch:
    """The present episodes. `see` is told what is true now and answers what changed."""

    __slots__ = ("_episodes", "_told_s")

    def __init__(self) -> None:
        self._episodes: dict[tuple[Code, str], Episode] = {}
        self._told_s: dict[tuple[Code, str], float] = {}  # when it was last told that it is raised

    def see(
        self, present: dict[tuple[Code, str], str], now_s: float, *, sense_s: float = 0.0
    ) -> list[Change]:
        """Bring the episodes up to date with what is true now: (code, subject) and its text.

        `sense_s`: how often sensors are read [s]; what must outlast some readings is told sooner then.
        """
        if not present and not self._episodes:
            return []
        changes = []
        for key, text in present.items():
            episode = self._episodes.get(key)
            if episode is None:
                episode = self._episodes[key] = Episode(key[0], key[1], text, now_s)
            episode.gone_s = None
            episode.text = text
            if not episode.raised and now_s - episode.since_s >= _on_delay_s(key[0], sense_s):
                episode.raised = True
            is_news = episode.raised and not episode.told and not episode.acknowledged
            if is_news and self._may_tell(key, now_s):
                episode.told = True
                self._told_s[key] = now_s
                changes.append(Change(episode, "raised"))
        for key in [key for key in self._episodes if key not in present]:
            episode = self._episodes[key]
            if episode.gone_s is None:
                episode.gone_s = now_s
            if not episode.raised:
                del self._episodes[key]
            elif now_s - episode.gone_s >= _DELAYS_S.get(key[0], (0.0, 0.0))[1]:
                del self._episodes[key]
                if episode.told:
                    changes.append(Change(episode, "cleared"))
        return changes

    def _may_tell(self, key: tuple[Code, str], now_s: float) -> bool:
        told_s = self._told_s.get(key)
        return told_s is None or now_s - told_s >= AGAIN_AFTER_S

    def acknowledge(self) -> list[Change]:
        """Somebody has seen the present alarms."""
        fresh = [episode for episode in self.raised() if not episode.acknowledged]
        for episode in fresh:
            episode.acknowledged = True
        return [Change(episode, "acknowledged") for episode in fresh if episode.told]

    def is_raised(self, code: Code) -> bool:
        """Whether an episode of this code is raised."""
        return any(episode.code is code for episode in self.raised())

    def is_present(self, code: Code) -> bool:
        """Whether an episode of this code has begun, raised or not yet."""
        return any(episode.code is code for episode in self._episodes.values())

    def is_acknowledged(self, code: Code) -> bool:
        """Whether an episode of this code is raised, and somebody has seen it."""
        return any(episode.code is code and episode.acknowledged for episode in self.raised())

    def raised(self) -> list[Episode]:
        """The episodes that people are told of, oldest first."""
        return [episode for episode in self._episodes.values() if episode.raised]


def _on_delay_s(code: Code, sense_s: float) -> float:
    delay_s = _DELAYS_S.get(code, (0.0, 0.0))[0]
    return min(delay_s, COLD_AFTER_READINGS * sense_s) if code is Code.COLD else delay_s


def health(episodes: Iterable[Episode], *, is_blind: bool, is_function_check: bool) -> Health:
    """The worst of what is present, in the words of NAMUR NE 107."""
    found = {_HEALTH.get(episode.code, Health.MAINTENANCE_REQUIRED) for episode in episodes}
    if is_blind:
        found.add(Health.FAILURE)
    if is_function_check:
        found.add(Health.FUNCTION_CHECK)
    for category in _WORST_FIRST:
        if category in found:
            return category
    return Health.NORMAL

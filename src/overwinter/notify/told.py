"""Which alarms somebody should be told of now: what is present, against what was told before.

Rule 1: it goes by what is present, not by events; a restart, a lost line or a dead link loses no alarm.
Rule 2: of one alarm at most one notice in ten minutes, whatever it does meanwhile; then how it stands.
Rule 3: a guard that does not answer is an alarm too, and the only one that is made here.

No clock here: `now_s` is seconds on any clock that does not jump.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

QUIET_S = 600.0
"""Between two notices about one alarm."""

NO_GUARD_AFTER_S = 300.0
"""A restart takes seconds and a reboot a minute or two; after this somebody has to know."""

AT_MOST = 200
"""Alarms remembered; a guard has some twenty kinds for a handful of sensors."""

NO_GUARD = "no-guard"
RAISED, CLEARED, REMINDED = "raised", "cleared", "reminded"

Alarm: TypeAlias = Mapping[str, Any]
Key: TypeAlias = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One thing to tell."""

    state: str  # raised | cleared | reminded
    code: str
    subject: str
    since: str | None
    text: str
    acknowledged: bool = False


@dataclass(slots=True)
class _Episode:
    """One alarm as it was last seen, and what was told of it."""

    alarm: Alarm
    present: bool
    told: str | None = None  # raised | cleared; None: nothing yet
    told_s: float = -QUIET_S


class Told:
    """What was told, and what is to be told."""

    def __init__(self, *, remind_every_s: float, known: Iterable[Alarm] = (), now_s: float = 0.0) -> None:
        """`known`: alarms that an earlier run told of; `remind_every_s` of 0 reminds never [s]."""
        self._remind_every_s = remind_every_s
        self._episodes = {
            _key(alarm): _Episode(alarm, present=True, told=RAISED, told_s=now_s) for alarm in known
        }
        self._heard_s: float | None = None

    def see(self, alarms: Iterable[Alarm], now_s: float) -> list[Notice]:
        """The guard answered: these are its alarms. What to tell now, in the order it came up."""
        self._heard_s = now_s
        present = {_key(alarm): alarm for alarm in list(alarms)[:AT_MOST]}
        return self._bring_up_to_date(present, now_s)

    def see_nothing(self, why: str, now_s: float) -> list[Notice]:
        """The guard did not answer. Its alarms stand as they were; its silence may become one."""
        if self._heard_s is None:
            self._heard_s = now_s
        present = {key: each.alarm for key, each in self._episodes.items() if each.present}
        silent_s = now_s - self._heard_s
        if silent_s >= NO_GUARD_AFTER_S:
            minutes = silent_s / 60.0
            text = f"the guard has not answered for {minutes:.0f} min ({why}): nobody is guarding the pipes"
            present[NO_GUARD, ""] = {"code": NO_GUARD, "text": text}
        return self._bring_up_to_date(present, now_s)

    def known(self) -> list[dict[str, Any]]:
        """The alarms that were told and not yet called off, for the next run."""
        return [dict(each.alarm) for each in self._episodes.values() if each.told == RAISED]

    def _bring_up_to_date(self, present: Mapping[Key, Alarm], now_s: float) -> list[Notice]:
        for key, alarm in present.items():
            episode = self._episodes.get(key)
            if episode is None:
                self._episodes[key] = _Episode(alarm, present=True)
            else:
                episode.alarm, episode.present = alarm, True
        notices = []
        for key, episode in list(self._episodes.items()):
            if key not in present:
                episode.present = False
            state = self._due(episode, now_s)
            if state is not None:
                episode.told_s = now_s
                episode.told = RAISED if state == REMINDED else state
                notices.append(_notice(state, episode.alarm))
            is_settled = episode.told in {CLEARED, None} and now_s - episode.told_s >= QUIET_S
            if not episode.present and is_settled:
                del self._episodes[key]
        return notices

    def _due(self, episode: _Episode, now_s: float) -> str | None:
        since_told_s = now_s - episode.told_s
        if since_told_s < QUIET_S:
            return None
        if episode.present and episode.told != RAISED:
            return RAISED
        if not episode.present and episode.told == RAISED:
            return CLEARED
        is_reminding = 0.0 < self._remind_every_s <= since_told_s and not episode.alarm.get("acknowledged")
        return REMINDED if episode.present and is_reminding else None


def _key(alarm: Alarm) -> Key:
    return str(alarm.get("code")), str(alarm.get("subject") or "")


def _notice(state: str, alarm: Alarm) -> Notice:
    since = alarm.get("since")
    text = str(alarm.get("text") or alarm.get("code"))
    return Notice(
        state=state,
        code=str(alarm.get("code")),
        subject=str(alarm.get("subject") or ""),
        since=None if since is None else str(since),
        text=f"over; it was: {text}" if state == CLEARED else text,
        acknowledged=bool(alarm.get("acknowledged")),
    )

"""A short way to say what sensors report and when: one `House` around one state."""

from collections.abc import Iterable

from overwinter.core.nouns import (
    Arrival,
    Caller,
    Code,
    ContactSpec,
    Decision,
    Event,
    Reading,
    Reason,
    RelaySpec,
    Role,
    SensorSpec,
    SetHand,
    Settings,
    Site,
)
from overwinter.core.state import State
from overwinter.core.turn import Outcome, turn

PUMP = "by the pump"
DOOR = "by the door"
OUTSIDE = "outside"

HOUR_S = 3600.0
DAY_S = 86400.0
"""Promised figures are written anew in the tests: a constant that is tested against itself proves nothing."""

CALLER = Caller(uid=1000, user="ada", pid=4711)

BAND = Settings(low_c=2.0, high_c=4.0, ceiling_c=24.0, alarm_low_c=1.5, warm_above_c=10.0)
"""The defaults in round figures."""


def sensor(name: str = PUMP, role: Role = Role.CONTROL, kind: str = "simulated") -> SensorSpec:
    return SensorSpec(name=name, role=role, kind=kind)


def reading(
    temperature_c: float | None,
    taken_s: float,
    name: str = PUMP,
    *,
    humidity_pct: float | None = None,
) -> Reading:
    error = "no answer" if temperature_c is None else None
    return Reading(
        sensor=name, taken_s=taken_s, temperature_c=temperature_c, humidity_pct=humidity_pct, error=error
    )


class House:
    """One state with a clock that goes only where it is told."""

    def __init__(
        self,
        settings: Settings = BAND,
        *,
        sensors: Iterable[SensorSpec] = (sensor(),),
        contacts: tuple[ContactSpec, ...] = (),
        relay: RelaySpec | None = None,
        start_s: float = 0.0,
        believed_s: float | None = None,
        believed_c: float | None = None,
        unused_s: float = 0.0,
        cycles: int = 0,
    ) -> None:
        site = Site(sensors=tuple(sensors), contacts=contacts, relay=relay or RelaySpec())
        self.state = State(
            site,
            settings,
            start_s,
            believed_s=believed_s,
            believed_c=believed_c,
            unused_s=unused_s,
            cycles=cycles,
        )
        self.now_s = start_s
        self.events: list[Event] = []
        self.tickets = 0

    def turn(self, *arrivals: Arrival, after_s: float = 10.0) -> Outcome:
        """One turn, so long after the last."""
        self.now_s += after_s
        outcome = turn(self.state, arrivals, self.now_s)
        self.events += outcome.events
        return outcome

    def say(self, temperature_c: float | None, *others: float | None, after_s: float = 10.0) -> Decision:
        """One turn in which each sensor, in the order of the site, reads a value."""
        names = list(self.state.tracks)
        said = [
            reading(value, self.now_s + after_s, name)
            for name, value in zip(names, (temperature_c, *others), strict=False)
        ]
        return self.turn(*said, after_s=after_s).decision

    def settle(self, temperature_c: float, *others: float, for_s: float = 300.0) -> Decision:
        """So long with readings that tremble by 0.01 K, so that no sensor looks stuck."""
        decision = self.state.decision
        for index in range(round(for_s / 10.0)):
            tremble_k = 0.01 * (index % 2)
            decision = self.say(temperature_c + tremble_k, *[other + tremble_k for other in others])
        return decision

    def silence(self, for_s: float, *, step_s: float = 10.0) -> Decision:
        """So long without any reading."""
        decision = self.state.decision
        for _ in range(round(for_s / step_s)):
            decision = self.turn(after_s=step_s).decision
        return decision

    def hand(self, *, heat: bool, for_s: float = 1200.0) -> object:
        """Switch by hand; the answer."""
        self.tickets += 1
        command = SetHand(ticket=self.tickets, caller=CALLER, heat=heat, for_s=for_s)
        return self.turn(command, after_s=0.0).answers[self.tickets]

    def alarms(self, code: Code) -> list[str]:
        """What became of the alarms of one code, in order: raised, cleared, ..."""
        return [
            str(event.fields["state"])
            for event in self.events
            if event.name == "alarm" and event.fields["code"] == code.value
        ]

    def named(self, name: str) -> list[Event]:
        """The events of one name."""
        return [event for event in self.events if event.name == name]


def is_off(decision: Decision, reason: Reason) -> bool:
    return decision == Decision(False, reason)


def is_on(decision: Decision, reason: Reason) -> bool:
    return decision == Decision(True, reason)


def text(house: House, code: Code) -> str:
    """The text of the one present alarm of a code."""
    (episode,) = [episode for episode in house.state.watch.raised() if episode.code is code]
    return episode.text

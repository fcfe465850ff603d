"""A guard, its house and its owner, for the conversation of a proof."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from overwinter.core.evidence import FAILED, PASSED, UNFINISHED, Plan, Seen, SensorSeen, Step, is_record
from overwinter.core.nouns import Mode
from overwinter.core.proof import Proof
from overwinter.core.units import Unit
from overwinter.core.wishes import Ask, Away, Back, Done, Look, Reply, Rest, Wish, Work

PUMP = SensorSeen(name="pump", is_control=True, temperature_c=3.0, flag=1, age_s=2.0)

OUTSIDE = SensorSeen(name="outside", is_control=False, temperature_c=-5.0, flag=1, age_s=4.0)


@dataclass
class Stage:
    """A guard, its house and its owner. Every look but a first one comes `pace_s` after the last."""

    plan: Plan = field(default_factory=lambda: Plan(has_owner=True, unit=Unit.C))
    mode: Mode = Mode.FREEZE
    sensors: tuple[SensorSeen, ...] = (PUMP, OUTSIDE)
    answers: Callable[[str], bool | None] = lambda question: True
    works: bool = True  # the heater heats when it should
    welded: bool = False
    has_feedback: bool = False
    k_per_s: float = 0.002  # of the air under heat; without, it falls at half of that
    refuses: str | None = None  # the method that is refused
    blind_after_s: float = 120.0
    blind_reason: str = "sensor-lost"
    blind_heats: bool | None = None
    hand_lasts_s: float = 1e9
    pace_s: float = 10.0
    up_s: float = 1000.0
    started_s: float = 100.0
    heat: bool = False
    by_hand_until_s: float = 0.0
    away_since_s: float | None = None
    wishes: list[Wish] = field(default_factory=list)
    waited_for: list[str] = field(default_factory=list)

    def see(self) -> Seen:
        away = self.away_since_s
        is_blind = away is not None and self.up_s - away >= self.blind_after_s
        heat, reason = self.heat, "inside-band"
        if self.up_s < self.by_hand_until_s:
            reason = "by-hand"
        elif is_blind:
            reason = self.blind_reason
            heat = (
                (self.mode is Mode.FREEZE and reason == "sensor-lost")
                if self.blind_heats is None
                else self.blind_heats
            )
        return Seen(
            up_s=self.up_s,
            started_s=self.started_s,
            heat=heat,
            reason=reason,
            mode=self.mode,
            is_blind=is_blind,
            is_away=away is not None,
            flows=self.flows(heat) if self.has_feedback else None,
            sensors=self.sensors if not is_blind else tuple(replace(one, flag=9) for one in self.sensors),
        )

    def flows(self, heat: bool) -> bool:
        return self.welded or (heat and self.works)

    def live(self) -> None:
        self.up_s += self.pace_s
        up_k = self.pace_s * self.k_per_s * (1.0 if self.flows(self.heat) else -0.5)
        self.sensors = tuple(
            replace(one, temperature_c=one.temperature_c + up_k)
            if one.is_control and one.temperature_c is not None
            else one
            for one in self.sensors
        )

    def grant(self, wish: Wish) -> Reply:
        self.wishes.append(wish)
        match wish:
            case Look(what=what):
                if what:
                    self.live()
                    self.waited_for.append(what)
                return self.see()
            case Ask(question=question):
                return self.answers(question)
            case Work(heat=heat, for_s=for_s):
                if self.refuses == "hand":
                    return "no, not now"
                if self.hand_lasts_s > 0.0:
                    self.heat = heat
                    self.by_hand_until_s = self.up_s + min(for_s, self.hand_lasts_s)
            case Rest():
                self.by_hand_until_s = 0.0
            case Away(for_s=for_s):
                if self.refuses == "prove":
                    return "no, not now"
                self.away_since_s = self.up_s
            case Back():
                self.away_since_s = None
        return None

    def lead(self, proof: Proof | None = None) -> dict[str, Step]:
        """The whole conversation; its steps by their names."""
        proof = proof or Proof(self.plan)
        talk = proof.run()
        try:
            wish = next(talk)
            while True:
                wish = talk.send(self.grant(wish))
        except StopIteration:
            pass
        told = [wish.step for wish in self.wishes if isinstance(wish, Done)]
        assert told == proof.steps
        assert is_record(
            max((step.verdict for step in told), key=[PASSED, UNFINISHED, FAILED].index),
            [s.facts() for s in told],
        )
        return {step.step: step for step in told}

    def asked(self) -> list[str]:
        return [wish.question for wish in self.wishes if isinstance(wish, Ask)]


def alone(**more: Any) -> Plan:
    return Plan(has_owner=False, unit=Unit.C, **more)


def honest(stage: Stage) -> None:
    """The owner sees what there is to be seen."""
    stage.answers = lambda question: (
        True if question.startswith("Is 3.0 C") else stage.flows(stage.see().heat)
    )


def nobody(_question: str) -> bool | None:
    return None


def came_to(step: Step) -> tuple[str, str | None, str]:
    return step.verdict, step.by, step.text

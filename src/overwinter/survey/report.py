"""All subjects of one house, one after another, and what they come to."""

import functools
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from overwinter.survey import board, electrics, operation, people, pins, sensors, service, storage, written
from overwinter.survey.finding import Finding, Grade, unknown
from overwinter.survey.machine import Machine
from overwinter.survey.scene import Installation, Scene, look_around


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything that was found, worst first."""

    findings: tuple[Finding, ...]

    def of(self, grade: Grade) -> tuple[Finding, ...]:
        """Those of one grade, in the order of the subjects."""
        return tuple(one for one in self.findings if one.grade is grade)

    @property
    def is_clean(self) -> bool:
        """Whether there is no fault. What could not be looked at is no fault, and is told beside it."""
        return not self.of(Grade.FAULT)

    def facts(self) -> dict[str, object]:
        """For programs."""
        counts = Counter(one.grade for one in self.findings)
        return {
            "faults": counts[Grade.FAULT],
            "cannot_tell": counts[Grade.UNKNOWN],
            "hints": counts[Grade.HINT],
            "sound": counts[Grade.SOUND],
            "findings": [
                {
                    "code": one.code,
                    "grade": one.grade.value,
                    "thing": one.thing,
                    "value": one.value,
                    "why": one.why,
                    "fix": one.fix,
                    "command": one.command,
                }
                for one in self.findings
            ],
        }


def survey(machine: Machine, at: Installation) -> Report:
    """Look at everything of one house once, and judge it. Never raises, changes nothing."""
    scene = look_around(machine, at)
    found = [one for name, subject in _subjects(machine, scene) for one in _alone(name, subject)]
    order = list(Grade)
    return Report(findings=tuple(sorted(found, key=lambda one: order.index(one.grade))))


def _subjects(machine: Machine, scene: Scene) -> Iterator[tuple[str, Callable[[], Iterable[Finding]]]]:
    """In the order in which a person would want to hear of them: pipes and fire first."""
    seen = functools.cache(lambda: sensors.look(machine, scene))  # looked at once, by whoever comes first
    yield "operation", lambda: operation.findings(operation.look(machine, scene), seen(), scene)
    yield "electrics", lambda: electrics.findings(scene)
    yield "service", lambda: service.findings(service.look(machine, scene), scene)
    yield "sensors", lambda: sensors.findings(seen(), scene)
    yield "pins", lambda: pins.findings(pins.look(machine, scene), scene)
    yield "files", lambda: written.findings(scene)
    yield "storage", lambda: storage.findings(storage.look(machine, scene), scene)
    yield "board", lambda: board.findings(board.look(machine, scene), scene)
    yield "people", lambda: people.findings(people.look(machine, scene), scene)


def _alone(name: str, subject: Callable[[], Iterable[Finding]]) -> list[Finding]:
    """A subject that meets something nobody thought of must not hide all the others."""
    found: list[Finding] = []
    try:
        found.extend(subject())
    except Exception as error:  # noqa: BLE001 (around a machine that is not ours: said, not swallowed)
        found.append(
            unknown(
                "unforeseen",
                f"the checks of {name}",
                f"stopped at {type(error).__name__}: {error}",
                why="What they had not yet looked at is not known.",
                fix="Please report this with the line above.",
            )
        )
    return found

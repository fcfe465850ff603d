"""The guided proof test as a conversation: what it wants of the guard and of the owner, and what follows.

Rule 1: nothing here waits, prints or knows a socket. `Proof.run` yields what it wants and is sent the reply,
        so that each of its decisions can be tested without a terminal and without a guard.
Rule 2: whatever it switches has an end of its own in the guard, so that it may be left at any point.
Rule 3: what confirms a switch is, in this order, the feedback input, the owner's eyes, the air's own answer;
        the first that there is, and the record says which.
"""

from collections.abc import Generator, Iterable

from overwinter.core.away import AWAY_AT_MOST_S
from overwinter.core.evidence import (
    FAILED,
    PASSED,
    THERMOSTAT_ZONE_K,
    UNFINISHED,
    Air,
    Answer,
    Plan,
    Seen,
    Step,
    verdict_of,
)
from overwinter.core.nouns import Mode, Reason
from overwinter.core.units import say
from overwinter.core.wishes import (
    Ask,
    Away,
    Back,
    Broken,
    Done,
    Finding,
    Look,
    Reply,
    Rest,
    Talk,
    Tell,
    Wish,
    Work,
)

SETTLE_S = 15.0
"""For a contact to close, a lamp to light and its current to be seen."""
OWNER_S = 300.0
"""How long a switch is held for an owner who goes and looks."""
TRIES = 3
"""How often a switch is repeated for an owner who took longer."""
RISE_S, FALL_S = 900.0, 1800.0
"""So long may the air of a pump house take to answer; it cools more slowly than it warms."""
SPARE_S = 60.0
"""How much longer than the air is waited for heat is held, so that the last look still sees it held."""
LOOK_S = 180.0
"""How much longer than it takes to be blind the sensors stay away."""


def waits_for_reboot(steps: Iterable[Step]) -> bool:
    """Whether the watched reboot has yet to be told."""
    return any(step.step == "reboot" and step.verdict == UNFINISHED for step in steps)


def boot_question(plan: Plan) -> str:
    """What is asked after the watched reboot; yes is as it should be."""
    if plan.released_heats:
        return "While the board booted, was heat on until the guard had started (released is heat here)?"
    return "While the board booted, did the heater stay off until the guard had started?"


def booted(plan: Plan, *, as_wired: bool) -> Step:
    """What the watched reboot came to."""
    if as_wired:
        released = "heat" if plan.released_heats else "no heat"
        text = f"the relay stayed released while the board booted: {released}"
        return Step(step="reboot", verdict=PASSED, by="owner", text=text)
    text = (
        "the relay pulled in while the board booted, before any program could speak: fit a resistor of some "
        "kilohms that holds its input released, or a relay board that is active the other way round"
    )
    return Step(step="reboot", verdict=FAILED, by="owner", text=text)


class Proof:
    """One proof test. `steps` grows while it runs, so that an end in the middle can be recorded."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.steps: list[Step] = []
        self._at = "sensors"  # the step that is being done
        self._air = Air()
        self._started_s: float | None = None

    def interrupted(self, why: str) -> None:
        """It ends here: the step that was being done is unfinished."""
        self.steps.append(Step(step=self._at, verdict=UNFINISHED, text=f"interrupted: {why}"))

    def run(self) -> Talk:
        """The whole conversation.

        Raises
        ------
        Broken
            The guard was restarted meanwhile: what it had granted is over.
        """
        for name, find in (
            ("sensors", self._sensors),
            ("relay", self._relay),
            ("fail-safe", self._failsafe),
            ("return", self._return),
        ):
            self._at = name
            step = yield from find()
            self.steps.append(step)
            yield Done(step)
            if name == "sensors" and step.verdict == FAILED:
                return  # with no sensor to take away there is no fail-safe to be seen
        if verdict_of(step.verdict for step in self.steps) != FAILED:
            self._at = "reboot"
            self.steps.append(self._says(UNFINISHED, "what the relay does while the board boots"))
            yield Done(self.steps[-1])

    def _says(self, verdict: str, text: str, by: str | None = None) -> Step:
        return Step(step=self._at, verdict=verdict, text=text, by=by)

    def _look(
        self, what: str = "", until_s: float | None = None, now: Seen | None = None
    ) -> Generator[Wish, Reply, Seen]:
        left_s = 0.0 if until_s is None or now is None else max(until_s - now.up_s, 0.0)
        seen = yield Look(what, left_s)
        assert isinstance(seen, Seen)
        if self._started_s is None:
            self._started_s = seen.started_s
        elif abs(seen.started_s - self._started_s) > 1.0:  # both clocks are rounded
            raise Broken("the guard was restarted")
        self._air.note(seen)
        return seen

    # Sensors.

    def _sensors(self) -> Finding:
        plan = self.plan
        at_most_s = plan.lost_s + plan.window * plan.sense_s
        seen = yield from self._look()
        until_s = seen.up_s + at_most_s
        while not all(sensor.is_good for sensor in seen.sensors) and seen.up_s < until_s:
            seen = yield from self._look("a believable reading of each sensor", until_s, seen)
        bad = [sensor for sensor in seen.sensors if not sensor.is_good]
        if bad:
            why = "; ".join(f"{sensor.name!r}: {sensor.error or 'readings jump'}" for sensor in bad)
            return self._says(FAILED, f"nothing believable within {at_most_s:.0f} s: {why}", "guard")
        answers = []
        shown = {sensor.name: say(sensor.temperature_c or 0.0, plan.unit) for sensor in seen.sensors}
        for sensor in seen.sensors:
            now = shown[sensor.name]
            yield Tell(f"{sensor.name!r}: {now}, {sensor.age_s or 0.0:.0f} s ago, flag {sensor.flag}")
            if sensor.is_control:
                answers.append((yield Ask(f"Is {now} about right where {sensor.name!r} hangs?")))
                if answers[-1] is False:
                    text = f"{sensor.name!r} says {now}, the owner says that is wrong: use a thermometer"
                    return self._says(FAILED, text, "owner")
        if not answers:
            return self._says(FAILED, "there is no control sensor", "guard")
        said = ", ".join(f"{name!r} {now}" for name, now in shown.items())
        if all(answers):
            return self._says(PASSED, f"believed, and about right to the owner: {said}", "owner")
        return self._says(PASSED, f"believed, but compared with no thermometer: {said}", "guard")

    # Relay and heater.

    def _relay(self) -> Finding:
        plan = self.plan
        seen = yield from self._look()
        if not plan.has_owner and seen.flows is None and plan.heater != "cable":
            # Heat stays as it is meanwhile: what comes after is compared with this.
            until_s = seen.up_s + plan.lost_s + plan.window * plan.sense_s
            while not self._air.has_spread and seen.up_s < until_s:
                seen = yield from self._look("readings to compare with", until_s, seen)
        first = not seen.heat
        found = [(yield from self._work(first)), (yield from self._work(not first))]
        yield Rest()
        ways = " and ".join(dict.fromkeys(step.by for step in found if step.by)) or None
        text = "; ".join(step.text for step in found)
        if all(step.verdict == FAILED for step in found):
            if ways == "temperature":  # not sharp enough to tell a welded contact from swapped ways
                text += "; or on and off are swapped (relay.active_high, relay.contact)"
            else:
                text = "heat when off and none when on: see relay.active_high, relay.contact and the wires"
        return self._says(verdict_of(step.verdict for step in found), text, ways)

    def _work(self, heat: bool) -> Finding:
        """One way."""
        word = "on" if heat else "off"
        answer = Answer(self._air, heat=heat)
        for _ in range(TRIES):
            seen = yield from self._switch(heat, OWNER_S)
            if isinstance(seen, Step):
                return seen
            if seen.flows is not None:
                is_right = yield from self._follows(heat, seen)
                return self._judged(heat, is_right, "feedback")
            eyes = yield Ask(self._question(heat))
            if eyes is None:
                return (yield from self._by_temperature(heat, answer))
            seen = yield from self._look()
            if seen.heat == heat and seen.reason == Reason.BY_HAND:
                return self._judged(heat, eyes is heat, "owner")
            yield Tell(f"Heat was no longer held {word} by then: once more.")
        return self._says(UNFINISHED, f"{word}: no answer while heat was held {word}")

    def _question(self, heat: bool) -> str:
        sight = {"lamp": "Is the lamp lit now?", "cable": "Does the cable draw current now (is it warm)?"}
        asked = sight.get(self.plan.heater, "Does the heater heat now?")
        return f"Heat was switched {'ON' if heat else 'OFF'}. Look at it, do not touch it. {asked}"

    def _switch(self, heat: bool, for_s: float) -> Generator[Wish, Reply, Seen | Step]:
        word = "on" if heat else "off"
        refused = yield Work(heat, for_s)
        if isinstance(refused, str):
            return self._says(UNFINISHED, f"{word}: {refused}", "guard")
        seen = yield from self._look()
        if seen.heat != heat or seen.reason != Reason.BY_HAND:
            return self._says(UNFINISHED, f"{word}: the guard keeps heat as it is ({seen.reason})", "guard")
        return seen

    def _follows(self, heat: bool, seen: Seen) -> Generator[Wish, Reply, bool]:
        """Whether current flows, or no longer flows, as it should."""
        until_s = seen.up_s + SETTLE_S
        while seen.flows != heat and seen.up_s < until_s:
            seen = yield from self._look("the current", until_s, seen)
        return seen.flows == heat

    def _judged(self, heat: bool, is_right: bool, by: str) -> Step:
        saw = "current" if by == "feedback" else "heat to be seen"
        if is_right:
            return self._says(PASSED, f"on: {saw}" if heat else f"off: no {saw}", by)
        if not heat:
            return self._says(*self._not_off(f"off: still {saw}"), by)
        if self.plan.heater == "cable":
            text = f"on: no {saw}, but a cable's own thermostat may be open: repeat when it is colder"
            return self._says(UNFINISHED, text, by)
        text = f"on: no {saw}: the heater is dead, a breaker or limiter is open, or the relay did not close"
        return self._says(FAILED, text, by)

    def _not_off(self, saw: str) -> tuple[str, str]:
        closes_c = self.plan.backup_c
        coldest_c = min(self._air.levels_c().values(), default=None)
        if closes_c is not None and (coldest_c is None or coldest_c <= closes_c + THERMOSTAT_ZONE_K):
            return UNFINISHED, f"{saw}, perhaps of the backup thermostat: repeat when it is warmer"
        return FAILED, f"{saw}: the relay's contact may be welded; unplug the heater or open its breaker"

    def _by_temperature(self, heat: bool, answer: Answer) -> Finding:
        word, way = ("on", "risen") if heat else ("off", "fallen")
        if self.plan.heater == "cable":
            return self._says(
                UNFINISHED, f"{word}: the air cannot tell what a cable does, and nobody else did"
            )
        at_most_s = RISE_S if heat else FALL_S
        seen = yield from self._switch(heat, at_most_s + SPARE_S)
        if isinstance(seen, Step):
            return seen
        began_s, until_s = seen.up_s, seen.up_s + at_most_s
        need = f"{answer.need_k:.1f} K"
        while answer.change_k() < answer.need_k and seen.up_s < until_s:
            seen = yield from self._look(f"the air to have {way} by {need}", until_s, seen)
            is_held = seen.heat == heat and seen.reason == Reason.BY_HAND
            if not is_held and seen.up_s < until_s:  # at its end a late last look is as good
                text = f"{word}: heat was not held {word} long enough to tell ({seen.reason})"
                return self._says(UNFINISHED, text, "guard")
        minutes = (seen.up_s - began_s) / 60.0
        change = f"{answer.change_k():.1f} K in {minutes:.0f} min"
        if answer.change_k() >= answer.need_k:
            return self._says(
                PASSED, f"{word}: the air has {way} by {change} ({need} asked for)", "temperature"
            )
        if heat:
            text = f"on: the air has risen by {change}, less than {need}: the heater is dead or far too weak"
            return self._says(FAILED, text, "temperature")
        if answer.against_k() >= answer.need_k:
            saw = f"off: the air went on rising, by {answer.against_k():.1f} K in {minutes:.0f} min"
            return self._says(*self._not_off(saw), "temperature")
        text = f"off: the air has fallen by {change}, less than {need}: not confirmed"
        return self._says(UNFINISHED, text, "temperature")

    # The fail-safe.

    def _failsafe(self) -> Finding:
        plan = self.plan
        refused = yield Away(min(plan.lost_s + LOOK_S, AWAY_AT_MOST_S))
        if isinstance(refused, str):
            return self._says(UNFINISHED, refused, "guard")
        seen = yield from self._look()
        began_s, until_s = seen.up_s, seen.up_s + plan.lost_s + plan.sense_s
        while seen.is_away and not seen.is_blind and seen.up_s < until_s:
            seen = yield from self._look("the fail-safe", until_s, seen)
        after = f"{seen.up_s - began_s:.0f} s after the control sensors were taken away"
        if not seen.is_away:
            return self._says(
                UNFINISHED, f"the sensors were back before the fail-safe acted ({seen.reason})", "guard"
            )
        if not seen.is_blind:
            return self._says(FAILED, f"{after} the guard is not blind", "guard")
        if seen.reason == Reason.WARM_ENOUGH:
            text = (
                f"{after} the guard was blind and decided that it is warm enough without heat (at or above "
                f"failsafe.warm_above, {say(plan.warm_above_c, plan.unit)}): seen deciding, not heating. "
                "Repeat on a colder day"
            )
            return self._says(UNFINISHED, text, "guard")
        wanted = seen.mode is Mode.FREEZE
        word = "on" if wanted else "off"
        if seen.reason != Reason.SENSOR_LOST:
            return self._says(UNFINISHED, f"{after} something else decided: {seen.reason}", "guard")
        if seen.heat != wanted:
            return self._says(FAILED, f"{after} heat is not {word} in mode {seen.mode}", "guard")
        text = f"{after} the guard was blind and heat {word}, as mode {seen.mode} has it"
        by = "guard"
        if seen.flows is not None:
            by, is_right = "feedback", (yield from self._follows(wanted, seen))
        elif plan.has_owner:
            eyes = yield Ask(self._question(wanted))
            seen = yield from self._look()
            by, is_right = "owner", eyes is None or not seen.is_away or eyes is wanted
            if eyes is None or not seen.is_away:
                by = "guard"  # he did not see, or looked too late
        else:
            is_right = True
        if is_right:
            return self._says(PASSED, text, by)
        judged = self._judged(wanted, False, by)
        return self._says(judged.verdict, f"{text}; {judged.text}", by)

    def _return(self) -> Finding:
        plan = self.plan
        yield Back()
        seen = yield from self._look()
        at_most_s = plan.lost_s + plan.window * plan.sense_s
        began_s, until_s = seen.up_s, seen.up_s + at_most_s
        while not _sees(seen) and seen.up_s < until_s:
            seen = yield from self._look("the sensors to be believed again", until_s, seen)
        if not _sees(seen):
            return self._says(FAILED, f"the sensors are not believed again after {at_most_s:.0f} s", "guard")
        heat = f"heat is {'on' if seen.heat else 'off'} ({seen.reason})"
        text = f"believed again after {seen.up_s - began_s:.0f} s; {heat}"
        return self._says(PASSED, text, "guard")


def _sees(seen: Seen) -> bool:
    return not seen.is_blind and all(sensor.is_good for sensor in seen.sensors if sensor.is_control)

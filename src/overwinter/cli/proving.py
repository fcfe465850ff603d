"""The hands of a proof test: asks the guard, asks the owner, shows the time, and puts everything back.

No decision is made here; `core.proof` makes them. What is switched is remembered only so that it can be given
back at once: should this process be killed, the guard ends by itself what it had granted.
"""

import signal
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any, Self

from overwinter.cli.ask import ask, facts
from overwinter.cli.options import Stop
from overwinter.cli.places import Places
from overwinter.core.evidence import Plan, Seen, SensorSeen, Step
from overwinter.core.judge import lost_after_s
from overwinter.core.nouns import Mode, Settings
from overwinter.core.units import Unit
from overwinter.core.wishes import Ask, Away, Back, Done, Look, Reply, Rest, Talk, Tell, Wish, Work
from overwinter.show.text import clean, duration

POLL_S = 0.5
UNREACHABLE_AT_MOST_S = 30.0
"""A guard that is restarted answers again within this."""
_ENDS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
_WIDTH = 78


class Ended(Exception):
    """Somebody or something ended the proof; `code` is what the command ends with."""

    def __init__(self, why: str, code: int) -> None:
        super().__init__(why)
        self.code = code


class Hands:
    """Does what the conversation wants."""

    def __init__(self, where: Places, *, has_owner: bool, say_step: Callable[[Step], None]) -> None:
        self._where = where
        self._has_owner = has_owner
        self._say_step = say_step
        self._works = self._is_away = False
        self._waits_for = ""

    def converse(self, talk: Talk) -> None:
        """Until it is over.

        Raises
        ------
        Ended
            The terminal has gone.
        """
        try:
            wish = next(talk)
            while True:
                wish = talk.send(self._grant(wish))
        except StopIteration:
            return
        except (OSError, EOFError):
            raise Ended("the terminal has gone", 1) from None

    def put_back(self) -> None:
        """Give back what was taken; the guard would do so by itself, only later."""
        with suppress(Stop):
            if self._is_away:
                ask(self._where, "prove", {"step": "sensors-back"})
        with suppress(Stop):
            if self._works:
                ask(self._where, "release")

    def answer(self, question: str) -> bool | None:
        """What the owner says; None: nobody is there, or he does not know."""
        if not self._has_owner:
            return None
        while True:
            self._line(f"{question} [y/n, Enter: not known] ", end="")
            said = sys.stdin.readline()
            if not said:
                raise EOFError
            word = said.strip().lower()
            if word in {"", "?"}:
                return None
            if word in {"y", "yes", "n", "no"}:
                return word[0] == "y"

    def _grant(self, wish: Wish) -> Reply:
        match wish:
            case Look(what=what, left_s=left_s):
                return self._look(what, left_s)
            case Ask(question=question):
                return self.answer(clean(question))
            case Tell(text=text):
                self._line(clean(text))
            case Work(heat=heat, for_s=for_s):
                self._works = True
                return self._try("hand", {"heat": heat, "for_s": for_s})
            case Rest():
                self._works = False
                ask(self._where, "release")
            case Away(for_s=for_s):
                self._is_away = True
                return self._try("prove", {"step": "sensors-away", "for_s": for_s})
            case Back():
                self._is_away = False
                ask(self._where, "prove", {"step": "sensors-back"})
            case Done(step=step):
                self._line("", end="")
                self._say_step(step)
        return None

    def _try(self, method: str, params: Mapping[str, object]) -> str | None:
        try:
            ask(self._where, method, params)
        except Stop as stop:
            if stop.code != 1:
                raise
            return "; ".join(line.strip() for line in stop.lines[-1:])
        return None

    def _look(self, what: str, left_s: float) -> Seen:
        if what:
            self._show_waiting(what, left_s)
            time.sleep(POLL_S)
        give_up_s = time.monotonic() + UNREACHABLE_AT_MOST_S
        while True:
            try:
                return seen(facts(self._where, "status"))
            except Stop as stop:
                if stop.code != 3 or time.monotonic() >= give_up_s:
                    raise
                time.sleep(POLL_S)

    def _show_waiting(self, what: str, left_s: float) -> None:
        text = f"waiting for {what}: up to {duration(left_s)}"
        if sys.stderr.isatty():
            print(f"\r{text[:_WIDTH]:<{_WIDTH}}", end="", file=sys.stderr, flush=True)
        elif what != self._waits_for:
            print(text, file=sys.stderr, flush=True)
        self._waits_for = what

    def _line(self, text: str, end: str = "\n") -> None:
        if self._waits_for and sys.stderr.isatty():
            print(f"\r{'':<{_WIDTH}}\r", end="", file=sys.stderr)
        self._waits_for = ""
        print(text, end=end, file=sys.stderr, flush=True)


def plan(status: Mapping[str, Any], settings: Mapping[str, Any], *, has_owner: bool) -> Plan:
    """What the proof must know, from the guard's own answers."""
    sampling, failsafe = settings["sampling"], settings["failsafe"]
    paces = Settings(lost_after_s=failsafe["lost_after_s"], sense_s=sampling["sense_s"])
    return Plan(
        has_owner=has_owner,
        unit=Unit(settings["unit"]),
        lost_s=lost_after_s(paces),
        sense_s=sampling["sense_s"],
        window=settings["filter"]["window"],
        warm_above_c=failsafe["warm_above_c"],
        heater=status["heater"]["kind"],
        released_heats=status["relay"]["contact"] == "NC",
        backup_c=status["heater"]["backup_thermostat_c"],
    )


def seen(status: Mapping[str, Any]) -> Seen:
    """The guard's answer to `status`, as the proof sees it."""
    return Seen(
        up_s=status["up_s"],
        started_s=status["up_s"] - status["uptime_s"],
        heat=status["heat"]["on"],
        reason=status["heat"]["reason"],
        mode=Mode(status["mode"]),
        is_blind=status["blind"],
        is_away=status["sensors_away_until"] is not None,
        flows=status["relay"]["current_flows"],
        sensors=tuple(
            SensorSeen(
                name=clean(sensor["name"]),
                is_control=sensor["role"] == "control",
                temperature_c=sensor["temperature_c"],
                flag=sensor["flag"],
                age_s=sensor["age_s"],
                error=sensor["error"],
            )
            for sensor in status["sensors"]
        ),
    )


class Signals:
    """While it is entered, the first signal to end raises `Ended`, and any other is ignored."""

    def __enter__(self) -> Self:
        self._before = {one: signal.signal(one, self._end) for one in _ENDS}
        return self

    def __exit__(self, *_: object) -> None:
        for one, handler in self._before.items():
            signal.signal(one, handler)

    def ignore(self) -> None:
        """From now on: what was taken is being put back."""
        for one in _ENDS:
            signal.signal(one, signal.SIG_IGN)

    def _end(self, number: int, _frame: object) -> None:
        self.ignore()
        raise Ended(f"by {signal.Signals(number).name}", 128 + number)

"""The wheel: take what arrived, turn, drive the relay, record, feed the watchdog. Again, for months.

Only this thread drives the relay. Whatever may be slow (sensors, disk, clients) lives in a thread of its own
and posts into the inbox. If driving the relay fails, the guard ends: the supervisor starts it again, and the
released relay is the state that the wiring was chosen for.
"""

import math
import queue
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from overwinter.core.look import outdoor_temperature_c
from overwinter.core.nouns import (
    Adopt,
    Arrival,
    Code,
    ContactState,
    Event,
    Fact,
    Mode,
    Reading,
    Remark,
    Settings,
)
from overwinter.core.state import State
from overwinter.core.turn import turn
from overwinter.daemon.commentary import Repeats
from overwinter.daemon.service import Service
from overwinter.guard.board import Board
from overwinter.guard.clock import Clock, rfc3339
from overwinter.guard.gap import TOLD_FOR_S, WAIT_S, Gap, alarms
from overwinter.guard.learning import Learning, cooling_before
from overwinter.guard.memory import SAVE_EVERY_S, BlindClock
from overwinter.guard.port import GuardPort
from overwinter.guard.seams import Contact, Relay, SensorThread
from overwinter.guard.status import status, status_line
from overwinter.guard.way_back import Return, own_caller
from overwinter.store.keeper import Keeper
from overwinter.store.lines import encode

INBOX_AT_MOST = 1024
"""Arrivals waiting at most; readings beyond are dropped, and their silence is judged."""

TURN_EVERY_S = 1.0
"""Without arrivals the wheel turns at this pace: minimum times and blind heat need no finer one."""

READY_AFTER_S = 3.0
"""A start is declared ready after this even without a reading: the decision then is to wait for one."""

COME_BACK_EVERY_S = 10.0
"""How often the way back from mode observe is tried while the disk refuses it."""

CLOCK_STEP_S = 1.0
"""A wall clock that moves by so much against the time since boot was stepped."""


class Inbox:
    """Where arrivals wait for the next turn; any thread and any signal handler may post."""

    def __init__(self) -> None:
        self._queue: queue.SimpleQueue[Arrival | None] = queue.SimpleQueue()

    def post(self, arrival: Arrival) -> None:
        """Leave it for the next turn."""
        if self._queue.qsize() < INBOX_AT_MOST or not isinstance(arrival, Reading):
            self._queue.put(arrival)

    def wake(self) -> None:
        """Turn now."""
        self._queue.put(None)

    def take(self, timeout_s: float) -> list[Arrival]:
        """All that has come, waiting for the first at most so long."""
        arrivals: list[Arrival] = []
        try:
            first = self._queue.get(timeout=timeout_s)
            while True:
                if first is not None:
                    arrivals.append(first)
                if len(arrivals) >= INBOX_AT_MOST:
                    return arrivals
                first = self._queue.get_nowait()
        except queue.Empty:
            return arrivals


class Wheel:
    """One guard at work."""

    def __init__(
        self,
        *,
        state: State,
        inbox: Inbox,
        clock: Clock,
        relay: Relay,
        contacts: Sequence[Contact],
        sensors: Sequence[SensorThread],
        keeper: Keeper,
        port: GuardPort,
        service: Service,
        board: Board,
        blind_clock: BlindClock,
        way_back: Return | None,
        proof: Mapping[str, object] | None,
        log: Any,
        reload: Callable[[], None],
        on_ready: Callable[[], None],
        gap: Gap | None,
        learned: object,
        fear: str | None,
        is_seen: bool = True,
    ) -> None:
        """`is_seen`: whether anybody may ask or look. A rehearsal has no socket, lamp or service manager, and
        would spend half of its time on painting what nobody sees.
        """
        self.state = state
        self.way_back = way_back
        self.proof = proof  # what the last proof test came to; the keeper's thread changes it
        self._inbox = inbox
        self._clock = clock
        self._relay = relay
        self._contacts = contacts
        self._contact_states: dict[str, bool] = {}
        self._sensors = sensors
        self._keeper = keeper
        self._port = port
        self._service = service
        self._board = board
        self._blind_clock = blind_clock
        self._log = log
        self._reload = reload
        self._on_ready = on_ready
        self._gap = gap  # until it has been told
        self._learned_before = None if gap is None else learned
        self._learning = Learning(
            learned,
            state,
            clock.now_s(),
            gap_s=0.0 if gap is None else gap.length_s or math.inf,
            post=inbox.post,
            log=log,
        )
        self.may_have_frozen: str | None = None
        if fear is not None:  # of a start before this one
            self.may_have_frozen = fear
            inbox.post(Fact(code=Code.MAY_HAVE_FROZEN, present=True, text=fear))
        self._is_seen = is_seen
        self._repeats = Repeats()
        self._started_s = clock.now_s()
        self._saved_s = self._counted_s = self._come_back_s = self._started_s
        self._offset_s = clock.utc_s() - self._started_s
        self._is_ready = False
        self._was_lost: set[str] = set()
        self.stop_reason: str | None = None
        self.reload_asked = False

    def run(self) -> None:
        """Turn until somebody sets `stop_reason`."""
        while self.stop_reason is None:
            arrivals = self._inbox.take(self._clock.real_s(TURN_EVERY_S))
            if self.reload_asked:
                self.reload_asked = False
                self._reload()
            self.turn_once(arrivals)

    def turn_once(self, arrivals: list[Arrival]) -> None:
        """One turn with everything around it."""
        now_s, state = self._clock.now_s(), self.state
        self._notice(arrivals, now_s)
        outcome = turn(state, arrivals, now_s)
        self._relay.drive(outcome.decision.heat)
        if self._gap is not None:
            self._tell_gap(self._gap, now_s)
        for event in outcome.events:
            self.record(event)
        if self._is_seen:
            self._comment(arrivals, now_s)
            snapshot = self._port.snapshot = self.snapshot(now_s)
            self._board.show(snapshot)
        if outcome.answers:
            self._port.answer(outcome.answers)
        if state.heard_control:
            self._blind_clock.keep(state.believed_s, state.believed_c)
        self._learning.turned(now_s, flows=self._relay.feedback(), utc_s=self._trusted_utc_s)
        if self._port.forecasts.are_asked:
            self._learning.refresh()
            self._port.forecasts.know(state.site, state.settings, self._learning.facts, self._learning.last)
        if self.may_have_frozen is not None and state.watch.is_acknowledged(Code.MAY_HAVE_FROZEN):
            self._calm(now_s)
        if now_s - self._saved_s >= SAVE_EVERY_S:
            self.save(now_s)
            if now_s - self._started_s >= TOLD_FOR_S:
                self._inbox.post(Fact(code=Code.GAP, present=False, text=""))
        way_back = self.way_back  # the keeper's thread may change it meanwhile
        if way_back is None:
            self._counted_s = now_s
        else:
            self._come_back(way_back, now_s)
        if self._is_seen:  # before READY: whoever waits for that finds the status there
            self._service.turned(status_line(state), now_s)
        if not self._is_ready and (
            outcome.decision.reason != "starting" or now_s - self._started_s >= READY_AFTER_S
        ):
            self._is_ready = True
            self._on_ready()
            self._service.ready()
            if self._is_seen:
                self._keeper.ask(self._learning.prepare)
            self._log.info("ready", decision=outcome.decision.reason.value, heat=outcome.decision.heat)

    def _trusted_utc_s(self, now_s: float) -> float | None:
        return self._offset_s + now_s if self._clock.is_synchronised() else None

    def record(self, event: Event) -> None:
        """Date an event, give it to the logbook and to everybody who watches."""
        line = encode(
            {
                "t": rfc3339(self._offset_s + event.up_s),
                "up": round(event.up_s, 3),
                "boot": self._clock.boot_id,
                "event": event.name,
                **event.fields,
            }
        )
        self._keeper.record(line, urgent=event.name != "sample")
        self._port.spread(line)
        if event.name != "sample":
            level = "warning" if event.name in ("alarm", "refused", "gap") else "info"
            getattr(self._log, level)(event.name, **{k: v for k, v in event.fields.items() if k != "event"})

    def save(self, now_s: float) -> None:
        """Counters and what was learned, hourly and at stop."""
        self._saved_s = now_s
        self._learning.refresh()
        self._keeper.save_state(self.counters())

    def counters(
        self, way_back: Return | None = None, proof: Mapping[str, object] | None = None
    ) -> dict[str, object]:
        """What the state file holds; what is given goes before what is known."""
        way_back = way_back or self.way_back
        return {
            "cycles": self.state.cycles,
            "on_s": round(self.state.on_s, 1),
            "unused_s": round(self.state.unused_s, 1),
            "way_back": None if way_back is None else way_back.facts(),
            "proof": proof or self.proof,
            "learned": self._learning.facts,
            "may_have_frozen": self.may_have_frozen,
        }

    def snapshot(self, now_s: float) -> dict[str, object]:
        """What `status` answers until the next turn."""
        way_back = self.way_back  # the keeper's thread may change it meanwhile
        return status(
            self.state,
            now_s=now_s,
            utc_s=self._clock.utc_s(),
            uptime_s=now_s - self._started_s,
            boot=self._clock.boot_id,
            watchdog_s=self._service.watchdog_s,
            current_flows=self._relay.feedback(),
            proof=self.proof,
            disk=self._keeper.health(),
            is_synchronised=self._clock.is_synchronised(),
            warnings=[] if way_back is None else [way_back.text()],
        )

    def adopt(self, settings: Settings, changes: Mapping[str, tuple[object, object]], how: str) -> None:
        """Go on with settings that a reload found."""
        self._inbox.post(Adopt(ticket=0, caller=own_caller(), settings=settings, changes=changes, how=how))

    def _notice(self, arrivals: list[Arrival], now_s: float) -> None:
        """Add what nobody posts: a wall clock that was stepped, inputs that changed, reads that hang."""
        offset_s = self._wall_offset_s(now_s)
        step_s = offset_s - self._offset_s
        if not -CLOCK_STEP_S < step_s < CLOCK_STEP_S:
            fields = {
                "step_s": round(step_s, 3),
                "was": rfc3339(self._offset_s + now_s),
                "synchronised": self._clock.is_synchronised(),
            }
            arrivals.append(Remark(ticket=0, event="clock", fields=fields))
            if fields["synchronised"]:
                arrivals.append(Fact(code=Code.CLOCK, present=False, text=""))
        self._offset_s = offset_s  # slow drift is followed and never becomes a step
        for contact in self._contacts:
            active = contact.active()
            if self._contact_states.get(contact.name) != active:
                self._contact_states[contact.name] = active
                arrivals.append(ContactState(name=contact.name, active=active))
        for sensor in self._sensors:
            missing = sensor.overdue(now_s)
            if missing is not None:
                arrivals.append(missing)

    def _wall_offset_s(self, before_s: float) -> float:
        """Wall time less time since boot, as it is now; `before_s`: the latter, just read."""
        utc_s, after_s = self._clock.utc_s(), self._clock.now_s()
        if after_s - before_s >= CLOCK_STEP_S / 2:
            return self._offset_s  # held up between two looks at the clocks: that is no step
        return utc_s - (before_s + after_s) / 2

    def _comment(self, arrivals: Sequence[Arrival], now_s: float) -> None:
        """Sensors that fail, and that come back, at a pace that a journal can bear."""
        for arrival in arrivals:
            if isinstance(arrival, Fact) and arrival.code is Code.DISK:
                self._log.warning("disk", failing=arrival.present, text=arrival.text)
            if not isinstance(arrival, Reading):
                continue
            track = self.state.tracks.get(arrival.sensor)
            if track is None or track.error is None:
                continue
            count = self._repeats.count(f"{arrival.sensor} fails", now_s)
            if count:
                self._log.warning("reading failed", sensor=arrival.sensor, why=track.error, times=count)
        lost = {
            name
            for name, track in self.state.tracks.items()
            if track.is_lost(now_s, self.state.settings.lost_after_s)
        }
        if lost != self._was_lost:
            for name in lost ^ self._was_lost:
                word = "sensor lost" if name in lost else "sensor found"
                if self._repeats.count(f"{name} {word}", now_s):
                    self._log.warning(word, sensor=name)
            self._was_lost = lost

    def _tell_gap(self, gap: Gap, now_s: float) -> None:
        """Once it is known how warm the house is after the silence, or not known for long enough."""
        state = self.state
        if state.look.coldest_cold_c is None and now_s - self._started_s < WAIT_S:
            return
        cooling = cooling_before(self._learned_before, state.site.heater, gap.before_c)
        self._gap = self._learned_before = None
        from overwinter.know.frozen import Verdict, may_have_frozen  # only after a silence

        frozen = may_have_frozen(
            pipes=state.site.pipes,
            gap_s=gap.length_s,
            is_least=gap.is_least,
            before_c=gap.before_c,
            after_c=state.look.coldest_cold_c,
            outdoor_c=[
                at_c for at_c in (gap.outdoor_c, outdoor_temperature_c(state, now_s)) if at_c is not None
            ],
            cooling=cooling,
        )
        pipes = [{"name": pipe.name, "verdict": pipe.verdict.value} for pipe in frozen.pipes]
        self.record(Event("gap", now_s, {**gap.fields(state.look.coldest_cold_c), "pipes": pipes}))
        for fact in alarms(gap, state.look.coldest_cold_c, state.settings.unit):
            self._inbox.post(fact)
        if frozen.verdict is Verdict.MAY_HAVE:
            self._fear(frozen.text, now_s)

    def _fear(self, text: str, now_s: float) -> None:
        """Pipes may have frozen: so it is, over restarts, until somebody has acknowledged it."""
        self.may_have_frozen = text
        self._inbox.post(Fact(code=Code.MAY_HAVE_FROZEN, present=True, text=text))
        self.save(now_s)

    def _calm(self, now_s: float) -> None:
        self.may_have_frozen = None
        self._inbox.post(Fact(code=Code.MAY_HAVE_FROZEN, present=False, text=""))
        self.save(now_s)

    def _come_back(self, way_back: Return, now_s: float) -> None:
        """Out of mode observe again, when its time is over."""
        way_back.left_s -= now_s - self._counted_s
        self._counted_s = now_s
        if way_back.left_s > 0.0 and self._clock.utc_s() < way_back.utc_s:
            return
        if self.state.settings.mode is not Mode.OBSERVE:
            self.way_back = None
        elif now_s >= self._come_back_s:
            # Kept until it is stored, and tried again: a disk that fails once must not leave the pipes alone.
            self._come_back_s = now_s + COME_BACK_EVERY_S
            # It was so before; what was once accepted with a warning is not refused on the way back.
            self._port.set({"mode": way_back.mode.value}, anyway=True, until=None, caller=own_caller())

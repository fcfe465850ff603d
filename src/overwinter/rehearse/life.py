"""One life of the guard in simulated time, from a start to a kill, a power cut or the end of the rehearsal.

The wheel, the keeper, the port and what a start reads are the guard's own. What is left out is what a
rehearsal has no use for: threads, socket, signals, service manager, lamp and buzzer.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from overwinter import __version__
from overwinter.core.nouns import Arrival, Code, Event, Fact, Reading, Remark, Settings, Site
from overwinter.daemon.service import Service
from overwinter.guard.begin import begin, disk_told
from overwinter.guard.board import Board
from overwinter.guard.files import load_settings
from overwinter.guard.memory import BlindClock
from overwinter.guard.port import GuardPort
from overwinter.guard.seams import Relay
from overwinter.guard.way_back import Return
from overwinter.guard.wheel import INBOX_AT_MOST, Inbox, Wheel
from overwinter.rehearse.clock import CountedClock
from overwinter.settings.site import sense_s_min
from overwinter.store.keeper import STATE_NAME, Keeper
from overwinter.store.lines import is_plainly_sample
from overwinter.store.small import save_state

WORK_EVERY_S = 300.0
"""Samples wait so long for the disk, as they wait for its sync in the pump house; events do not wait, and
what a kill or a cut finds waiting is written before it."""

Memory = dict[str, tuple[float, float | None]]
"""The runtime folder: by boot id, what the blind clock keeps. It outlives a process, not a power cut."""


class Life:
    """A guard that turns when it is told to."""

    def __init__(
        self,
        state_dir: Path,
        logs_dir: Path,
        *,
        site: Site,
        clock: CountedClock,
        relay: Relay,
        memory: Memory,
        hear: Callable[[bytes], None],
    ) -> None:
        """Start. `hear` gets every line of the logbook."""
        self._clock = clock
        self._has_news = True  # an event, or a job for the disk
        self._work_s = 0.0
        self._slow_s = 0.0  # each job for the disk takes so long
        self._done_s = math.inf  # when the present one is
        self._inbox = _Inbox(hidden=f"{state_dir.parent}/")
        self._state_dir = state_dir
        self.keeper = Keeper(
            state_dir=state_dir,
            logs_dir=logs_dir,
            max_bytes=site.max_bytes,
            tell=self._told_by_keeper,
            clock=clock.now_s,
        )
        loaded = load_settings(state_dir, sense_s_min=sense_s_min(site))
        blind_clock = _BlindClock(memory, clock.boot_id)
        begun = begin(
            state_dir,
            logs_dir,
            site=site,
            settings=loaded.settings,
            clock=clock,
            blind_clock=blind_clock,
        )
        self.port = GuardPort(
            clock=clock,
            post=self._inbox.post,
            keeper=self.keeper,
            state_dir=state_dir,
            logs_dir=logs_dir,
            settings=loaded.settings,
            sense_s_min=sense_s_min(site),
            stored=self._mode_stored,
            keep_proof=_no_proof,
            wake=_never,
        )
        self.wheel = Wheel(
            state=begun.state,
            inbox=self._inbox,
            clock=clock,
            relay=relay,
            contacts=(),
            sensors=(),
            keeper=self.keeper,
            port=self.port,
            service=_Unsupervised(),
            board=Board(),
            blind_clock=blind_clock,
            way_back=begun.way_back,
            proof=begun.proof,
            log=_Silent(),
            reload=_never,
            on_ready=_never,
            gap=begun.gap,
            learned=begun.learned,
            fear=begun.fear,
            is_seen=False,
        )
        self.port.subscribe(hear)
        self.port.subscribe(self._note_news)
        if loaded.repair is not None:
            self.keeper.ask(loaded.repair)
        if loaded.recovered is not None:
            self._inbox.post(Fact(code=Code.SETTINGS_RECOVERED, present=True, text=loaded.recovered))
        self.wheel.record(
            Event("start", clock.now_s(), {"version": __version__, "synchronised": clock.is_right})
        )

    @property
    def settings(self) -> Settings:
        """Those that it goes by."""
        return self.wheel.state.settings

    def turn(self, readings: list[Arrival], now_s: float, *, disk_answers: bool) -> None:
        """One turn of the wheel, and then the disk's work."""
        arrivals = self._inbox.waiting
        if arrivals:
            self._inbox.waiting = []
            arrivals.extend(readings)
        else:
            arrivals = readings
        self.wheel.turn_once(arrivals)
        if disk_answers and (self._has_news or now_s >= self._work_s):
            self.work(now_s)

    def work(self, now_s: float) -> None:
        """Let the disk do what is due; a slow one has done it some turns later, and the wheel goes on."""
        if self._slow_s and not self._is_done(now_s):
            return
        self._has_news = False
        self._work_s = now_s + WORK_EVERY_S
        self.keeper.work()

    def be_slow(self, slow_s: float) -> None:
        """From now on each job for the disk takes so long; 0: no time at all."""
        self._slow_s, self._done_s = slow_s, math.inf

    def _is_done(self, now_s: float) -> bool:
        """Whether a slow disk is through with the job that it has, or has just been given.

        Nothing of it is written before: what a kill or a power cut finds under way was not answered either.
        """
        if self._done_s == math.inf:
            self._done_s = now_s + self._slow_s
        if now_s < self._done_s:
            self._has_news = True  # asked again in the next turn
            return False
        self._done_s = math.inf
        return True

    def stop(self, now_s: float) -> bool:
        """Leave in order; whether everything is kept."""
        self.wheel.record(Event("stop", now_s, {"cause": "SIGTERM"}))
        self.port.close()
        self.wheel.save(now_s)
        return self.keeper.stop(0.0)

    def be_killed(self, *, disk_answers: bool) -> None:
        """End at once: the keeper's thread has written what came before, and nothing more is."""
        if disk_answers and not self._slow_s:
            self.keeper.work()
        self.port.close()
        self.keeper.let_go()

    def _told_by_keeper(self, code: str, present: bool, text: str) -> None:
        disk_told(
            code,
            present,
            text,
            post=self._inbox.post,
            put_back=lambda: self.keeper.ask(self.port.put_back),
            repaired=lambda _: None,
        )

    def _note_news(self, line: bytes) -> None:
        self._has_news = self._has_news or not is_plainly_sample(line)

    def _mode_stored(self, _settings: object, way_back: Return | None) -> None:
        save_state(self._state_dir / STATE_NAME, self.wheel.counters(way_back))
        self.wheel.way_back = way_back


class _Inbox(Inbox):
    """Where arrivals wait; there is only one thread to post them.

    Where the rehearsal's files happen to lie is left out of what is recorded: it is no part of the winter.
    """

    def __init__(self, *, hidden: str) -> None:
        self.waiting: list[Arrival] = []
        self._hidden = hidden

    def post(self, arrival: Arrival) -> None:
        if isinstance(arrival, Fact):
            arrival = replace(arrival, text=arrival.text.replace(self._hidden, ""))
        elif isinstance(arrival, Remark):
            text = str(arrival.fields.get("text", "")).replace(self._hidden, "")
            arrival = replace(arrival, fields={**arrival.fields, "text": text} if text else arrival.fields)
        if len(self.waiting) < INBOX_AT_MOST or not isinstance(arrival, Reading):
            self.waiting.append(arrival)


class _BlindClock(BlindClock):
    """Keeps in memory what the guard keeps in the runtime folder, which is memory as well."""

    def __init__(self, memory: Memory, boot_id: str) -> None:
        self._memory = memory
        self._boot_id = boot_id

    def recall(self, now_s: float) -> tuple[float, float | None] | None:
        kept = self._memory.get(self._boot_id)
        return kept if kept is not None and 0.0 <= kept[0] <= now_s else None

    def keep(self, believed_s: float, believed_c: float | None) -> None:
        self._memory[self._boot_id] = believed_s, believed_c


class _Unsupervised(Service):
    """There is no service manager, and if this process has one it must not hear of a rehearsal."""

    def __init__(self) -> None:
        super().__init__(lambda _: None)
        self._listens = False
        self.watchdog_s = None

    def _send(self, _text: str) -> bool:
        return True


class _Silent:
    """A journal that nobody reads."""

    def info(self, _event: str, **_fields: object) -> None:
        pass

    warning = error = info


def _never() -> None:
    """Nothing: no signal comes, no start is counted, and nobody waits for a turn."""


def _no_proof(_proof: Mapping[str, object]) -> None:
    """Nothing: no proof test is rehearsed."""

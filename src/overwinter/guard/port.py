"""What the socket may ask of the guard: quick snapshots, and commands that wait for their turn.

Called from the socket's thread. Nothing here touches the relay or the core's state: a command becomes an
arrival in the wheel's inbox, and its answer comes back with the turn that took it. A change of settings goes
to the keeper first and to the wheel only once it lies on the disk.
"""

import contextlib
import itertools
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from overwinter.core.nouns import (
    Adopt,
    Arrival,
    Caller,
    GiveBack,
    Mode,
    NotStored,
    Problem,
    Quiet,
    Refused,
    Release,
    Remark,
    SetHand,
    Settings,
    TakeAway,
)
from overwinter.guard.clock import Clock, moment, rfc3339, rfc3339_s
from overwinter.guard.files import SETTINGS, SETTINGS_COPY, read_bounded
from overwinter.guard.forecasts import STOPPING, Answer, Forecasts
from overwinter.guard.refusals import Refusals
from overwinter.guard.way_back import Return
from overwinter.settings.change import Change, plan_change
from overwinter.settings.values import settings_facts, text_of
from overwinter.store.atomic import replace_durably, write_copy
from overwinter.store.keeper import Keeper
from overwinter.store.timeline import read_placed

RECORDS_AT_MOST = 10_001
"""Lines that are read for one answer: one more than the socket gives, so that it can say there are more."""

UNTIL_AT_MOST = timedelta(days=366)


class GuardPort:
    """The guard as the socket sees it."""

    def __init__(
        self,
        *,
        clock: Clock,
        post: Callable[[Arrival], None],
        keeper: Keeper,
        state_dir: Path,
        logs_dir: Path,
        settings: Settings,
        sense_s_min: float,
        stored: Callable[[Settings, Return | None], None],
        keep_proof: Callable[[dict[str, object]], None],
        wake: Callable[[], None],
    ) -> None:
        """Two of them are called in the keeper's thread.

        `stored(settings, back)` is told of settings that now lie on the disk; `keep_proof(proof)` stores what
        a proof test came to, or raises OSError. `wake` makes the wheel turn now.
        """
        self._clock = clock
        self._post = post
        self._keeper = keeper
        self._state_dir = state_dir
        self._logs_dir = logs_dir
        self._stored_settings = settings
        self._sense_s_min = sense_s_min
        self._stored = stored
        self._keep_proof = keep_proof
        self._tickets = itertools.count(1)
        self._waiting: dict[int, tuple[Answer, Callable[[Mapping[str, object]], dict[str, object]]]] = {}
        self._refusals = Refusals()
        self._lock = threading.Lock()  # of _waiting and _listeners
        self._listeners: list[Callable[[bytes], None]] = []
        self._readers = ThreadPoolExecutor(1, thread_name_prefix="logbook reader")
        self.forecasts = Forecasts(self._readers, wake=wake)
        self.snapshot: dict[str, object] = {}

    # What reads.

    def status(self) -> dict[str, object]:
        """As of the last turn."""
        return self.snapshot

    def settings(self) -> dict[str, object]:
        """As stored."""
        return settings_facts(self._stored_settings)

    def records(
        self, *, events: bool, since: str | None, until: str | None, limit: int | None
    ) -> "Future[list[dict[str, object]]]":
        """The newest lines of the logbook within a span, oldest first."""
        span = [moment(name, text) for name, text in (("since", since), ("until", until))]
        at_most = min(RECORDS_AT_MOST if limit is None else limit, RECORDS_AT_MOST)
        return self._readers.submit(self._read, events=events, since=span[0], until=span[1], limit=at_most)

    def forecast(self, outdoor_c: float | None) -> Answer:
        """From what is known of the house after the next turn."""
        return self.forecasts.ask(outdoor_c)

    def subscribe(self, callback: Callable[[bytes], None]) -> Callable[[], None]:
        """Call back with every new line; the answer ends that."""
        with self._lock:
            self._listeners.append(callback)
        return lambda: self._unsubscribe(callback)

    # What changes.

    def set(
        self, changes: Mapping[str, object], *, anyway: bool, until: str | None, caller: Caller
    ) -> Answer:
        """Store new settings, then go on with them."""
        answer: Answer = Future()
        job = self._keeper.ask(lambda: self._store(changes, anyway=anyway, until=until))

        def stored(done: "Future[tuple[Change, Settings]]") -> None:
            error = done.exception()
            if error is not None:
                self.refused("set", caller, str(error))
                answer.set_exception(error)
                return
            change, _ = done.result()
            if change.by_hand:
                fields = {
                    "changes": {key: list(pair) for key, pair in change.by_hand.items()},
                    "how": "by-hand",
                }
                self._post(Remark(ticket=self._next(None), event="settings", fields=fields))
            self._post(
                Adopt(
                    ticket=self._next(answer),
                    caller=caller,
                    settings=change.settings,
                    changes=change.changes,
                    how="command",
                )
            )

        job.add_done_callback(stored)
        return answer

    def hand(self, *, heat: bool, for_s: float, caller: Caller) -> Answer:
        """Heat by hand."""
        answer: Answer = Future()

        def dated(result: Mapping[str, object]) -> dict[str, object]:
            return {"hand_until": self._date_of(result["until_s"])}

        self._tell_refusals(answer, "hand", caller)
        self._post(SetHand(ticket=self._next(answer, dated), caller=caller, heat=heat, for_s=for_s))
        return answer

    def release(self, caller: Caller) -> Answer:
        """End what was set by hand."""
        answer: Answer = Future()
        self._post(Release(ticket=self._next(answer), caller=caller))
        return answer

    def quiet(self, caller: Caller) -> Answer:
        """Acknowledge the present alarms."""
        answer: Answer = Future()
        self._post(Quiet(ticket=self._next(answer), caller=caller))
        return answer

    def note(self, text: str, caller: Caller) -> Answer:
        """A remark for the logbook."""
        return self._remark("note", {"text": text, **caller.facts()})

    def drop_samples(self, caller: Caller) -> Answer:
        """Forget the samples, keep the events."""
        answer: Answer = Future()

        def dropped(done: "Future[None]") -> None:
            error = done.exception()
            if error is not None:
                self.refused("drop_samples", caller, str(error))
                answer.set_exception(NotStored(str(error)) if isinstance(error, OSError) else error)
                return
            ticket = self._next(answer)
            self._post(Remark(ticket=ticket, event="drop", fields=caller.facts()))

        self._keeper.drop_samples().add_done_callback(dropped)
        return answer

    def take_away(self, *, for_s: float, caller: Caller) -> Answer:
        """The control sensors, for a proof test."""
        answer: Answer = Future()

        def dated(result: Mapping[str, object]) -> dict[str, object]:
            return {"until": self._date_of(result["until_s"])}

        self._tell_refusals(answer, "prove", caller)
        self._post(TakeAway(ticket=self._next(answer, dated), caller=caller, for_s=for_s))
        return answer

    def give_back(self, caller: Caller) -> Answer:
        """The control sensors."""
        answer: Answer = Future()
        self._post(GiveBack(ticket=self._next(answer), caller=caller))
        return answer

    def prove(self, verdict: str, steps: list[dict[str, Any]], caller: Caller) -> Answer:
        """Keep what a proof test came to, then record it."""
        answer: Answer = Future()
        proof: dict[str, object] = {
            "t": rfc3339(self._clock.utc_s()),
            "boot": self._clock.boot_id,
            "verdict": verdict,
            "steps": steps,
        }

        def kept(done: "Future[None]") -> None:
            error = done.exception()
            if error is not None:
                self.refused("prove", caller, str(error))
                answer.set_exception(NotStored(str(error)) if isinstance(error, OSError) else error)
                return
            fields = {"step": "record", "verdict": verdict, "steps": steps, **caller.facts()}
            ticket = self._next(answer, lambda _: proof)
            self._post(Remark(ticket=ticket, event="proof", fields=fields))

        self._keeper.ask(lambda: self._keep_proof(proof)).add_done_callback(kept)
        return answer

    def refused(self, method: str, caller: Caller, text: str) -> None:
        """Record that somebody was refused, if he was not so a moment ago already."""
        if not self._refusals.may_tell(caller.uid, self._clock.now_s()):
            return
        fields = {"method": method, "text": text[:1000], **caller.facts()}
        self._post(Remark(ticket=self._next(None), event="refused", fields=fields))

    # What the wheel tells.

    def answer(self, answers: Mapping[int, Mapping[str, object] | Refused]) -> None:
        """Give each caller the answer of the turn that took the command."""
        for ticket, result in answers.items():
            with self._lock:
                waiting = self._waiting.pop(ticket, None)
            if waiting is None:
                continue
            future, shape = waiting
            if isinstance(result, Refused):
                future.set_exception(result)
            else:
                future.set_result(shape(result))

    def spread(self, line: bytes) -> None:
        """Give a new logbook line to everybody who watches."""
        with self._lock:
            listeners = tuple(self._listeners)
        for listener in listeners:
            listener(line)

    def close(self) -> None:
        """Answer nobody any more."""
        self.forecasts.close()
        self._readers.shutdown(wait=False, cancel_futures=True)
        with self._lock:
            waiting, self._waiting = self._waiting, {}
        for future, _ in waiting.values():
            future.set_exception(NotStored(STOPPING))

    def take_reloaded(self, settings: Settings) -> None:
        """A reload found these in the file."""
        self._stored_settings = settings

    def put_back(self) -> None:
        """In the keeper's thread: write the settings again where their file has gone, for the next start."""
        path = self._state_dir / SETTINGS
        if not path.exists():
            data = text_of(self._stored_settings).encode()
            replace_durably(path, data)
            write_copy(self._state_dir / SETTINGS_COPY, data)

    @property
    def stored_settings(self) -> Settings:
        """What lies on the disk as far as the guard knows."""
        return self._stored_settings

    def _store(
        self, changes: Mapping[str, object], *, anyway: bool, until: str | None
    ) -> tuple[Change, Settings]:
        """In the keeper's thread: plan, write, and only then believe."""
        before = self._stored_settings
        back = None if until is None else self._return(until, changes, before)
        path, copy_path = self._state_dir / SETTINGS, self._state_dir / SETTINGS_COPY
        try:
            text = read_bounded(path)
        except FileNotFoundError:
            text = text_of(before).encode()  # what runs is what the owner had set
        except OSError as error:
            raise NotStored(f"{path} cannot be read, so it is not changed: {error}") from error
        change = plan_change(text, changes, running=before, anyway=anyway, sense_s_min=self._sense_s_min)
        data = change.text.encode()
        try:
            if back is not None:
                self._stored(before, back)  # the way back lies on the disk before the way out
            # The copy first: should one of the two fail, the file, which a start believes, says what runs.
            write_copy(copy_path, data)
            if data != text:
                try:
                    replace_durably(path, data)
                except OSError:
                    with contextlib.suppress(OSError):
                        write_copy(copy_path, text)
                    raise
        except OSError as error:
            raise NotStored(
                f"could not be stored in {self._state_dir}: {error}. Nothing was changed"
            ) from error
        self._stored_settings = change.settings
        if "mode" in change.changes and back is None:
            # The settings lie on the disk, so it is done. A way back that could not be forgotten ends a later
            # mode observe too early, which protects pipes; the next save of the state forgets it.
            with contextlib.suppress(OSError):
                self._stored(change.settings, None)
        return change, before

    def _return(self, until: str, changes: Mapping[str, object], before: Settings) -> Return:
        end = moment("until", until)
        assert end is not None
        left = end.timestamp() - self._clock.utc_s()
        text = ""
        if changes.get("mode") != Mode.OBSERVE.value or before.mode is Mode.OBSERVE:
            text = "until goes with a change to mode observe, to come back to the mode before"
        elif not 0.0 < left <= UNTIL_AT_MOST.total_seconds():
            text = f"until {until}: a time to come, within a year"
        if text:
            raise Refused([Problem("until", until, "a time to come, with a change to mode observe", text)])
        return Return(mode=before.mode, utc_s=end.timestamp(), left_s=left)

    def _date_of(self, until_s: object) -> str:
        assert isinstance(until_s, float)
        return rfc3339_s(self._clock.utc_s() + until_s - self._clock.now_s())

    def _tell_refusals(self, answer: Answer, method: str, caller: Caller) -> None:
        def told(done: Answer) -> None:
            error = done.exception()
            if isinstance(error, Refused):
                self.refused(method, caller, str(error))

        answer.add_done_callback(told)

    def _remark(self, event: str, fields: Mapping[str, object]) -> Answer:
        answer: Answer = Future()
        self._post(Remark(ticket=self._next(answer), event=event, fields=fields))
        return answer

    def _next(
        self,
        answer: Answer | None,
        shape: Callable[[Mapping[str, object]], dict[str, object]] = dict,
    ) -> int:
        ticket = next(self._tickets)
        if answer is not None:
            with self._lock:
                self._waiting[ticket] = (answer, shape)
        return ticket

    def _unsubscribe(self, callback: Callable[[bytes], None]) -> None:
        with self._lock:
            if callback in self._listeners:
                self._listeners.remove(callback)

    def _read(
        self, *, events: bool, since: datetime | None, until: datetime | None, limit: int
    ) -> list[dict[str, object]]:
        from collections import deque

        kept: deque[dict[str, object]] = deque(maxlen=limit)
        for line in read_placed(self._logs_dir, since=since, until=until):
            if (line.get("event") != "sample") == events:
                kept.append(line)
        return list(kept)

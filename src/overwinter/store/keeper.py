"""The only thread that touches the disk while the guard runs.

Rule 1: nothing here makes the wheel wait. A disk that is full, read-only, gone, or takes half a minute for
        a write costs lines, counted, and never a turn.
Rule 2: lines are written in the order in which they came. While the logbook can't be written they wait in
        a bounded ring.
Rule 3: a failure is told at once. Then a small durable write in both folders, every ten seconds, finds out
        when they work again; what waits is written before that is told.
Rule 4: what is worth recording is decided elsewhere.
"""

import os
import threading
import traceback
from collections import deque
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from itertools import islice
from math import inf
from pathlib import Path
from typing import Any, TypeVar

from overwinter.core.nouns import NotStored
from overwinter.store.atomic import replace_durably, write_copy
from overwinter.store.lines import encode
from overwinter.store.logbook import FOLDER_MODE, Logbook
from overwinter.store.ring import Ring, Waiting

STATE_NAME = "state"
URGENT_S = 0.25  # an event is durable within a second; a burst of them shares one fsync
SAMPLE_S = 300.0  # what a power cut may cost of samples; sparing the card
PROBE_S = 10.0
STUCK_S = 60.0  # a pass of the thread that takes longer is shown: a dead card may answer never
LINES_A_WRITE = 8  # a card writes four thousand bytes at once; a nearly full disk still takes as many
JOBS_MOST = 64  # as many as there may be clients
SETTINGS = "settings"
LOGBOOK = "logbook"

T = TypeVar("T")


class Keeper:
    """Keeps lines, settings and the state file.

    Every method may be called from any thread, returns at once and does not raise.

    Parameters
    ----------
    state_dir, logs_dir : Path
        Are made when they are missing.
    max_bytes : int
        The bound of the logbook [bytes].
    tell : callable
        Told `("disk", True, text)` when a write failed, again when the text changes, and
        `("disk", False, text)` when everything works again; that text is empty, or says how many lines
        were lost. Also told so when lines were lost without a failure (a slow disk). It is called from
        the keeper's thread.
    clock : callable
        Monotonic seconds.
    """

    def __init__(
        self,
        *,
        state_dir: Path,
        logs_dir: Path,
        max_bytes: int,
        tell: Callable[[str, bool, str], None],
        clock: Callable[[], float],
    ) -> None:
        self._folders = {SETTINGS: state_dir, LOGBOOK: logs_dir}
        self._logbook = Logbook(logs_dir, max_bytes)
        self._tell = tell
        self._clock = clock
        self._thread = threading.Thread(target=self._run, name="keeper", daemon=True)
        self._wake = threading.Condition(threading.Lock())  # never held while the disk is touched
        # Guarded by _wake:
        self._ring = Ring()
        self._writing: deque[Waiting] = deque()  # taken from the ring, not yet written
        self._jobs: deque[tuple[Callable[[], Any], Future[Any]]] = deque()
        self._state: bytes | None = None
        self._is_stopping = False
        self._busy_since_s = inf
        self._wrong: dict[str, str] = {}  # folder's role: what is wrong with it
        # The thread's own:
        self._has_begun = False  # without a thread
        self._sync_at_s = inf
        self._probe_at_s = inf
        self._lost = 0  # lines that the logbook refused
        self._lost_told = 0

    @property
    def state_path(self) -> Path:
        """Where `save_state` keeps the state; `small.load_state` reads it."""
        return self._folders[SETTINGS] / STATE_NAME

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def work(self) -> None:
        """Do what is due now in the caller's thread: in place of `start`, where time is only counted.

        Whoever calls this is the keeper's thread, and calls it often.
        """
        if not self._has_begun:
            self._has_begun = True
            self._shielded(self._begin)
        while self._has_work() and not self._is_stopping:
            self._shielded(self._do_what_is_due)

    def record(self, line: bytes, *, urgent: bool) -> None:
        """Append a line to the logbook; an urgent one (an event) is durable within a second."""
        with self._wake:
            self._ring.push(line, urgent=urgent, now_s=self._clock())
            self._wake.notify()

    def ask(self, job: Callable[[], T]) -> Future[T]:
        """Run a job in the keeper's thread, after all that was recorded before.

        Its result or exception goes into the future; `NotStored` when too many wait, or after `stop`.
        An OSError of a job counts as a failed write.
        """
        future: Future[T] = Future()
        with self._wake:
            if not self._is_stopping and len(self._jobs) < JOBS_MOST:
                self._jobs.append((job, future))
                self._wake.notify()
                return future
        future.set_exception(NotStored("not stored: the disk does not keep up"))
        return future

    def save_state(self, data: Mapping[str, object]) -> None:
        """Store the state file durably, as the data is now. Of several that wait only the newest is."""
        encoded = encode(data)
        with self._wake:
            self._state = encoded
            self._wake.notify()

    def resize(self, max_bytes: int) -> Future[None]:
        """Change the bound of the logbook."""
        return self.ask(lambda: self._logbook.resize(max_bytes))

    def drop_samples(self) -> Future[None]:
        """Forget the samples recorded so far, not the events."""
        return self.ask(self._drop_samples)

    def health(self) -> dict[str, str]:
        """`ok`, or what is wrong, for `settings` and `logbook`."""
        with self._wake:
            busy_s = self._clock() - self._busy_since_s
            usual = "ok" if busy_s < STUCK_S else f"no answer from the disk for {busy_s:.0f} s"
            return {role: self._wrong.get(role, usual) for role in self._folders}

    def ring(self) -> list[bytes]:
        """Lines that are not in the logbook yet, oldest first."""
        with self._wake:
            return [waiting.line for waiting in (*self._writing, *self._ring)]

    def stop(self, timeout_s: float) -> bool:
        """Write, sync, close; give up after the timeout. Says whether everything is kept."""
        with self._wake:
            self._is_stopping = True
            self._wake.notify()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        elif self._has_begun:
            self._shielded(self._finish)
        with self._wake:
            unanswered = [future for _, future in self._jobs]
            self._jobs.clear()
            is_kept = not (
                self._thread.is_alive() or self._wrong or self._writing or len(self._ring) or self._state
            )
        for future in unanswered:
            if future.set_running_or_notify_cancel():
                future.set_exception(NotStored("not stored: the guard stopped"))
        return is_kept

    def let_go(self) -> None:
        """Forget everything that is not written, as a process that was killed does; only without a thread."""
        self._logbook.close()

    # The thread

    def _run(self) -> None:
        self._shielded(self._begin)
        is_last = False
        while not is_last:
            with self._wake:
                while not self._has_work():
                    self._busy_since_s = inf
                    self._wake.wait(self._wait_s())
                self._busy_since_s = self._clock()
                is_last = self._is_stopping and not self._jobs
            self._shielded(self._finish if is_last else self._do_what_is_due)

    def _shielded(self, act: Callable[[], None]) -> None:
        """A mistake of ours in here must not end all keeping; it waits for the next probe, not to spin."""
        try:
            act()
        except Exception as error:  # noqa: BLE001
            traceback.print_exc()
            for role in self._folders:
                self._fail(role, error)

    def _has_work(self) -> bool:
        now_s = self._clock()
        return bool(
            self._is_stopping
            or self._jobs
            or (LOGBOOK not in self._wrong and (len(self._ring) or self._sync_at_s <= now_s))
            or (SETTINGS not in self._wrong and self._state is not None)
            or (self._wrong and self._probe_at_s <= now_s)
        )

    def _wait_s(self) -> float | None:
        """Until something is due, which a clock that ran on in a sleep may have brought nearer."""
        due_s = min(
            inf if LOGBOOK in self._wrong else self._sync_at_s, self._probe_at_s if self._wrong else inf
        )
        return None if due_s == inf else min(max(due_s - self._clock(), 0.0), PROBE_S)

    def _begin(self) -> None:
        try:
            self._folders[SETTINGS].mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
        except OSError as error:
            self._fail(SETTINGS, error)
        try:
            self._logbook.open()
        except OSError as error:
            self._fail(LOGBOOK, error)

    def _do_what_is_due(self) -> None:
        if LOGBOOK not in self._wrong:
            self._try(LOGBOOK, self._write_lines)
        self._do_job()
        if SETTINGS not in self._wrong:
            self._try(SETTINGS, self._write_state)
        if LOGBOOK not in self._wrong and self._sync_at_s <= self._clock():
            self._try(LOGBOOK, self._sync)
        if self._wrong and self._probe_at_s <= self._clock():
            self._probe()
        if not self._wrong:
            self._tell_lost()

    def _finish(self) -> None:
        """One last try, also of what failed before."""
        self._try(LOGBOOK, self._write_lines)
        self._try(LOGBOOK, self._sync)
        self._try(SETTINGS, self._write_state)
        self._logbook.close()

    def _try(self, role: str, act: Callable[[], None]) -> bool:
        try:
            act()
        except OSError as error:
            self._fail(role, error)
            return False
        return True

    def _write_lines(self) -> None:
        """Write what waits; what the disk did not take waits on."""
        with self._wake:
            taken = self._ring.take()
            self._writing = deque(waiting for waiting in taken if self._logbook.takes(waiting.line))
        self._lost += len(taken) - len(self._writing)  # too long for so low a bound
        try:
            while self._writing:
                self._write_some()
        finally:
            with self._wake:
                self._ring.put_back(self._writing)
                self._writing = deque()

    def _write_some(self) -> None:
        appended = self._logbook.appended
        try:
            self._logbook.append([waiting.line for waiting in islice(self._writing, LINES_A_WRITE)])
        finally:
            with self._wake:
                for _ in range(self._logbook.appended - appended):
                    written = self._writing.popleft()
                    due_s = written.since_s + (URGENT_S if written.urgent else SAMPLE_S)
                    self._sync_at_s = min(self._sync_at_s, due_s)

    def _sync(self) -> None:
        self._logbook.sync()
        self._sync_at_s = inf

    def _write_state(self) -> None:
        with self._wake:
            data, self._state = self._state, None
        if data is None:
            return
        try:
            write_copy(self.state_path, data)
        except OSError:
            with self._wake:
                if self._state is None:  # a newer one may have come meanwhile
                    self._state = data
            raise

    def _drop_samples(self) -> None:
        self._write_lines()
        self._logbook.drop_samples()
        self._sync_at_s = inf

    def _do_job(self) -> None:
        with self._wake:
            if not self._jobs or (len(self._ring) and LOGBOOK not in self._wrong):
                return  # lines that came before it, while others were written, go first
            job, future = self._jobs.popleft()
        if not future.set_running_or_notify_cancel():
            return
        try:
            result = job()
        except Exception as error:  # noqa: BLE001  it belongs to the one who asked
            failed = _disk_error(error)
            if failed is not None:
                self._fail(self._role_of(failed), failed)
            future.set_exception(error)
        else:
            future.set_result(result)

    # Failing and recovering

    def _role_of(self, error: OSError) -> str:
        named = isinstance(error.filename, str) and Path(error.filename).is_relative_to(
            self._folders[LOGBOOK]
        )
        return LOGBOOK if named else SETTINGS

    def _fail(self, role: str, error: Exception) -> None:
        words = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else str(error)
        text = f"{self._folders[role]}: {words}"
        with self._wake:
            is_news = self._wrong.get(role) != text
            self._wrong[role] = text
            everything = "; ".join(self._wrong.values())
        self._probe_at_s = self._clock() + PROBE_S
        if is_news:
            self._say(True, everything)

    def _probe(self) -> None:
        self._probe_at_s = self._clock() + PROBE_S
        for role, recover in ((LOGBOOK, self._recover_logbook), (SETTINGS, self._write_state)):
            works = self._try(role, self._write_small(self._folders[role]))
            if works and role in self._wrong and self._try(role, recover):
                with self._wake:
                    del self._wrong[role]
        if not self._wrong and not self._tell_lost():
            self._say(False, "")

    @staticmethod
    def _write_small(folder: Path) -> Callable[[], None]:
        """A durable write that leaves nothing."""

        def write() -> None:
            folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
            probe = folder / ".probe"
            replace_durably(probe, b"probe\n")
            probe.unlink()

        return write

    def _recover_logbook(self) -> None:
        self._logbook.append([])  # opens it, where it is closed
        self._write_lines()
        self._sync()

    def _tell_lost(self) -> bool:
        with self._wake:
            lost = self._lost + self._ring.dropped
        new = lost - self._lost_told
        if not new:
            return False
        self._lost_told = lost
        self._say(False, f"{new} lines of the logbook were lost while the disk did not take them")
        return True

    def _say(self, present: bool, text: str) -> None:
        try:
            self._tell("disk", present, text)
        except Exception:  # noqa: BLE001  who is told may fail; the lines are still to be kept
            traceback.print_exc()


def _disk_error(error: BaseException) -> OSError | None:
    """The failure of a disk that an exception stands for, if it does."""
    if isinstance(error, NotStored) and isinstance(error.__cause__, OSError):
        error = error.__cause__
    if isinstance(error, ConnectionError | TimeoutError) or not isinstance(error, OSError):
        return None
    return error if error.errno is not None else None

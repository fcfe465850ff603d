"""A guard's life: read the two files, claim the relay, start the threads, turn, and leave things in order.

The order of a start is the order of need: first what is wired and how warm it must be, then the relay in its
released state, then eyes, then ears. Nothing here waits for a disk, a clock or a network.
"""

import os
import signal
import socket
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, TextIO

from overwinter import __version__
from overwinter.core.nouns import Code, Event, Fact, OverwinterError, Site, TakeSite
from overwinter.daemon.service import Service
from overwinter.devices.contact import open_contacts
from overwinter.devices.dht import Dht
from overwinter.devices.kinds import Driver, driver_for
from overwinter.devices.reader import Reader
from overwinter.devices.relay import open_relay
from overwinter.guard.begin import begin, disk_told
from overwinter.guard.board import open_board
from overwinter.guard.clock import Clock
from overwinter.guard.files import (
    SETTINGS,
    SETTINGS_COPY,
    SITE_COPY,
    LoadedSettings,
    LoadedSite,
    load_settings,
    load_site,
)
from overwinter.guard.memory import BlindClock, hold
from overwinter.guard.paths import Paths
from overwinter.guard.port import GuardPort
from overwinter.guard.reread import reread
from overwinter.guard.seams import Relay
from overwinter.guard.starts import Starts
from overwinter.guard.way_back import Return, own_caller
from overwinter.guard.wheel import Inbox, Wheel
from overwinter.settings.site import sense_s_min
from overwinter.settings.values import differences
from overwinter.store.atomic import write_copy
from overwinter.store.keeper import STATE_NAME, Keeper
from overwinter.store.lines import NAME as LOGBOOK_NAME
from overwinter.store.small import save_state
from overwinter.wire.server import Server

if TYPE_CHECKING:
    from concurrent.futures import Future

    from overwinter.twin.play import Play

KEEPER_STOP_S = 5.0
"""A disk that hangs may cost the last samples, not the stop: the supervisor would kill us instead."""

SIMULATION_SEED = 1
"""A simulated house in site.toml is always the same one, so that two runs can be compared."""

FIRST_FD = 3  # systemd's first passed descriptor, sd_listen_fds(3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """What stands in for the world where site.toml says `simulated`."""

    clock: Clock
    play: "Play"
    commentary: TextIO | None = None


def guard(paths: Paths, *, simulation: Simulation | None = None) -> int:
    """Guard until a signal ends it; the exit code.

    Raises
    ------
    OverwinterError
        It cannot start: another guard has the state folder, nothing says what is wired, no relay.
    """
    runtime = paths.socket.parent
    folders_missing = [
        f"{folder}: {error}" for folder in (paths.state, paths.logs, runtime) if (error := _make(folder))
    ]
    held = hold(paths.state)
    clock = Clock() if simulation is None else simulation.clock
    starts = Starts(runtime, clock.boot_id)
    relay: Relay | None = None
    try:
        aside = starts.set_suspects_aside(_suspects(paths))
        site = load_site(paths.site, paths.state)
        settings = load_settings(paths.state, sense_s_min=sense_s_min(site.site))
        if simulation is None and _is_simulated(site.site):
            from overwinter.twin.play import Play

            simulation = Simulation(clock=clock, play=Play(site.site, clock, SIMULATION_SEED))
        if simulation is not None and site.site.relay.kind == "simulated":
            relay = simulation.play.relay
        else:
            relay = open_relay(site.site.relay, runtime_dir=runtime)
        life = _Life(
            paths,
            site=site,
            settings=settings,
            clock=clock,
            relay=relay,
            simulation=simulation,
            starts=starts,
            troubles=[text for text in (aside,) if text is not None],
            folders_missing=folders_missing,
        )
        return life.live()
    except OverwinterError:
        raise
    except Exception:
        if not starts.are_over:
            starts.another_failed()
        raise
    finally:
        if relay is not None:
            relay.close()
        if held is not None:
            os.close(held)


def _suspects(paths: Paths) -> tuple[Path, ...]:
    """What a start reads and could choke on; site.toml is the owner's, and last-good copies are checked."""
    return (
        paths.state / SETTINGS,
        paths.state / SETTINGS_COPY,
        paths.state / STATE_NAME,
        paths.logs / LOGBOOK_NAME,
    )


class _Life:
    """Everything that is alive while the guard runs."""

    def __init__(
        self,
        paths: Paths,
        *,
        site: LoadedSite,
        settings: LoadedSettings,
        clock: Clock,
        relay: Relay,
        simulation: Simulation | None,
        starts: Starts,
        troubles: list[str],
        folders_missing: list[str],
    ) -> None:
        # Not earlier: the relay is safe in its released state while this heavy import runs.
        from overwinter.daemon import commentary

        commentary.configure(None if simulation is None else simulation.commentary)
        self.log: Any = commentary.get()
        self.paths = paths
        self.site = site.site
        self.clock = clock
        self.inbox = Inbox()
        self.keeper = Keeper(
            state_dir=paths.state,
            logs_dir=paths.logs,
            max_bytes=self.site.max_bytes,
            tell=self._told_by_keeper,
            clock=clock.now_s,
        )
        blind_clock = BlindClock(paths.socket.parent, clock.boot_id)
        begun = begin(
            paths.state,
            paths.logs,
            site=self.site,
            settings=settings.settings,
            clock=clock,
            blind_clock=blind_clock,
        )
        self.state = begun.state
        self.port = GuardPort(
            clock=clock,
            post=self.inbox.post,
            keeper=self.keeper,
            state_dir=paths.state,
            logs_dir=paths.logs,
            settings=settings.settings,
            sense_s_min=sense_s_min(self.site),
            stored=self._mode_stored,
            keep_proof=self._keep_proof,
            wake=self.inbox.wake,
        )
        self.readers = self._readers(simulation)
        self.service = Service(lambda text: self.log.warning("systemd was not told", why=text))
        self.contacts = open_contacts(self.site.contacts, runtime_dir=paths.socket.parent)
        self.board = open_board(
            self.site.notices,
            runtime_dir=paths.socket.parent,
            tell=lambda text: self.log.warning("lamp or buzzer fails", why=text),
        )
        self.wheel = Wheel(
            state=self.state,
            inbox=self.inbox,
            clock=clock,
            relay=relay,
            contacts=self.contacts,
            sensors=self.readers,
            keeper=self.keeper,
            port=self.port,
            service=self.service,
            board=self.board,
            blind_clock=blind_clock,
            way_back=begun.way_back,
            proof=begun.proof,
            log=self.log,
            reload=self._reload,
            on_ready=starts.one_succeeded,
            gap=begun.gap,
            learned=begun.learned,
            fear=begun.fear,
        )
        self.server = Server(
            self.port,
            path=paths.socket,
            listening=_passed_socket(),
        )
        self._repairs = [job for job in (site.repair, settings.repair) if job is not None]
        self._by_hand = settings.by_hand
        recovered = (site.recovered, settings.recovered)
        self._recovered = [*troubles, *(text for text in recovered if text is not None)]
        for text in folders_missing:  # of disks the keeper raises the alarm itself
            self.log.warning("cannot make a folder", why=text)

    def live(self) -> int:
        """Start the threads, turn until a signal, and leave in order."""
        self._catch_signals()
        self.keeper.start()
        for job in self._repairs:
            self.keeper.ask(job).add_done_callback(self._repaired)
        if self._recovered:
            text = "; ".join(self._recovered)
            self.inbox.post(Fact(code=Code.SETTINGS_RECOVERED, present=True, text=text))
        self.port.snapshot = self.wheel.snapshot(self.clock.now_s())  # whoever asks before the first turn
        try:
            self.server.start()
        except (OSError, OverwinterError) as error:
            # Deaf is bad, cold is worse: whoever asks finds no answer, and the journal says why.
            self.log.error("no control socket", path=str(self.paths.socket), why=str(error))
        for reader in self.readers:
            reader.start()
        fields = {"version": __version__, "synchronised": self.clock.is_synchronised()}
        self.wheel.record(Event("start", self.clock.now_s(), fields))
        if self._by_hand:
            changes = {key: list(pair) for key, pair in self._by_hand.items()}
            self.wheel.record(Event("settings", self.clock.now_s(), {"changes": changes, "how": "by-hand"}))
        try:
            self.wheel.run()
        finally:
            self._leave()
        return 0

    def _leave(self) -> None:
        self.service.stopping()
        reason = self.wheel.stop_reason or "error"
        now_s = self.clock.now_s()
        self.wheel.record(Event("stop", now_s, {"cause": reason}))
        if self.site.relay.contact == "NC":
            self.log.warning("NOT ISOLATED: the stop releases the relay, and with contact NC heat STARTS")
        self.server.stop(1.0)
        self.port.close()
        for reader in self.readers:
            reader.stop()
        for contact in self.contacts:
            contact.close()
        self.board.close()
        self.wheel.save(now_s)
        self.keeper.stop(KEEPER_STOP_S)
        self.service.close()

    def _told_by_keeper(self, code: str, present: bool, text: str) -> None:
        disk_told(
            code,
            present,
            text,
            post=self.inbox.post,
            put_back=lambda: self.keeper.ask(self.port.put_back),
            repaired=self._repaired,
        )

    def _readers(self, simulation: Simulation | None) -> list[Reader]:
        if any(spec.kind.startswith("dht") for spec in self.site.sensors):
            # Here, in the main thread and before our own handlers: the library installs its own on import.
            Dht.prepare()
        readers = []
        for spec in self.site.sensors:
            driver: Driver
            if spec.kind == "simulated":
                assert simulation is not None
                driver = simulation.play.drivers[spec.name]
            else:
                driver = driver_for(spec, root=self.paths.root)
            readers.append(
                Reader(
                    driver,
                    sensor=spec.name,
                    clock=self.clock.now_s,
                    post=self.inbox.post,
                    period_s=lambda: self.state.settings.sense_s,
                    wait=lambda event, s: event.wait(self.clock.real_s(s)),
                )
            )
        return readers

    def _catch_signals(self) -> None:
        def stop(number: int, _frame: FrameType | None) -> None:
            self.wheel.stop_reason = signal.Signals(number).name
            self.inbox.wake()

        def reload(_number: int, _frame: FrameType | None) -> None:
            self.wheel.reload_asked = True
            self.inbox.wake()

        signal.signal(signal.SIGTERM, stop)
        signal.signal(signal.SIGINT, stop)
        signal.signal(signal.SIGHUP, reload)

    # Reloading: both files are read in the keeper's thread; a bad one is refused, and the running one stays.

    def _reload(self) -> None:
        self.service.reloading()
        job = self.keeper.ask(self._reread)
        job.add_done_callback(self._reread_done)

    def _reread(self) -> list[str]:
        found = reread(self.paths, self.site)
        if found.site is not None:
            write_copy(self.paths.state / SITE_COPY, found.site_bytes)
            self.site = found.site
            self.keeper.resize(self.site.max_bytes)
            self.inbox.post(TakeSite(site=self.site))
        if found.settings is not None:
            write_copy(self.paths.state / SETTINGS_COPY, found.settings_bytes)
            changes = differences(self.port.stored_settings, found.settings)
            self.port.take_reloaded(found.settings)
            if changes:
                self.wheel.adopt(found.settings, changes, "reload")
        if not found.refused:
            self.inbox.post(Fact(code=Code.SETTINGS_RECOVERED, present=False, text=""))
        return found.refused

    def _reread_done(self, done: "Future[list[str]]") -> None:
        error = done.exception()
        refused = [str(error)] if error is not None else done.result()
        for text in refused:
            self.log.error("reload refused, the running values stay", why=text)
            self.port.refused("reload", own_caller(), text)
        if not refused:
            self.log.info("reloaded")
        self.service.ready()

    def _mode_stored(self, _settings: object, way_back: Return | None) -> None:
        """In the keeper's thread: the way back from observe must be as durable as the mode itself."""
        if way_back is None:
            self.wheel.way_back = None  # should this save fail, the next one forgets it
        save_state(self.paths.state / STATE_NAME, self.wheel.counters(way_back))
        self.wheel.way_back = way_back

    def _keep_proof(self, proof: dict[str, object]) -> None:
        """In the keeper's thread: it lies on the disk before anybody is told."""
        save_state(self.paths.state / STATE_NAME, self.wheel.counters(proof=proof))
        self.wheel.proof = proof

    def _repaired(self, done: "Future[None]") -> None:
        error = done.exception()
        if error is not None:  # a disk that fails has told so itself
            self.log.error("a file could not be put right", why=str(error))


def _is_simulated(site: Site) -> bool:
    return site.relay.kind == "simulated" or any(spec.kind == "simulated" for spec in site.sensors)


def _make(folder: Path) -> str | None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        return error.strerror or str(error)
    return None


def _passed_socket() -> socket.socket | None:
    """The listening socket that systemd made (sd_listen_fds(3)), if any."""
    if os.environ.get("LISTEN_PID") != str(os.getpid()) or os.environ.get("LISTEN_FDS", "0") == "0":
        return None
    return socket.socket(fileno=FIRST_FD)

"""Who is told, and by what: `[notices]`, `[mqtt]` and `[web]` of site.toml. None of it steers heat."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """An output of the board that somebody in the pump house can see or hear."""

    pin: int
    active_high: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Notices:
    """`[notices]` of site.toml: on the board, and by the owner's own commands."""

    led: Signal | None = None
    buzzer: Signal | None = None
    remind_every_h: float = 6.0  # an alarm that nobody acknowledged is told again; 0: never
    command: tuple[str, ...] = ()
    command_timeout_s: float = 60.0
    heartbeat_command: tuple[str, ...] = ()
    heartbeat_url: str | None = None
    heartbeat_every_s: float = 300.0
    metrics_file: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Mqtt:
    """`[mqtt]` of site.toml. The password is never here: it comes as a credential."""

    host: str
    port: int
    topic: str
    tls: bool = True
    ca_file: str | None = None
    user: str | None = None
    expiry_s: float = 300.0  # nobody reads a state older than this
    will_delay_s: float = 60.0
    keepalive_s: float = 30.0
    queue: int = 1000  # messages that wait while the broker is away
    change: bool = False  # whether commands are taken too


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """`[web]` of site.toml."""

    bind: str = "127.0.0.1"
    port: int = 8420
    change: bool = False  # whether mode, band and pace may be changed after signing in

"""An owner who types whatever comes to mind; what was answered must be kept, whatever happens next."""

from random import Random

from overwinter.core.nouns import Caller, NotStored, Refused, Settings
from overwinter.guard.forecasts import Answer
from overwinter.rehearse.life import Life
from overwinter.rehearse.nouns import NotAsPromised

OWNER = Caller(uid=1000, user="owner", pid=1)

EVERY_S = 600.0

NONSENSE: tuple[dict[str, object], ...] = (
    {"band.low": "banana"},
    {"band.low": 99.0},
    {"band.low": "-40F"},
    {"band.high": "35F"},
    {"bnad.low": "36F"},
    {"sampling.sense_s": 0},
    {"sampling.sense_s": float("nan")},
    {"relay.min_on_s": "soon"},
    {"filter.window": 4.5},
    {"limits.ceiling": "20F"},
    {"limits.alarm_low": "60F"},
    {"": ""},
)
SENSE: tuple[dict[str, object], ...] = (
    {"band.low": "36F", "band.high": "40F"},
    {"band.low": "37F", "band.high": "41F"},
    {"band.low": "38F", "band.high": "42F"},
    {"sampling.sense_s": 10},
    {"sampling.sense_s": 15},
    {"sampling.record_s": 60},
    {"sampling.record_s": 120},
    {"relay.min_on_s": 60},
    {"relay.min_on_s": 120},
)
"""Changes that protect pipes as well as before."""


class Owner:
    """Asks, and remembers which settings were answered as stored."""

    every_s = EVERY_S

    def __init__(self, chance: Random) -> None:
        self._chance = chance
        self._guard: Life | None = None
        self._kept: Settings | None = None

    def guard_starts(self, guard: Life) -> None:
        """A guard has started; it must go by what was answered last.

        Raises
        ------
        NotAsPromised
            It does not.
        """
        self._guard = guard
        if self._kept is not None and guard.settings != self._kept:
            raise NotAsPromised("a change that was answered as stored is gone after a restart")

    def guard_ends(self) -> None:
        """It has gone, and with it whatever it had not answered."""
        self._guard = None

    def act(self, guard: Life) -> None:
        """Do one thing."""
        chance, port = self._chance, guard.port
        what = chance.randrange(8)
        try:
            if what < 3:
                self._see(port.set(chance.choice(NONSENSE), anyway=False, until=None, caller=OWNER))
            elif what < 5:
                self._see(port.set(chance.choice(SENSE), anyway=False, until=None, caller=OWNER))
            elif what == 5:
                for_s = chance.choice((-1.0, 0.0, 1e9, float("nan"), 600.0, 7200.0))
                port.hand(heat=chance.random() < 0.5, for_s=for_s, caller=OWNER)
            elif what == 6:
                port.release(OWNER)
            else:
                port.quiet(OWNER)
        except Refused:
            return  # told at once

    def _see(self, answer: Answer) -> None:
        guard = self._guard

        def done(answered: Answer) -> None:
            error = answered.exception()
            if error is None and guard is not None:
                self._kept = guard.port.stored_settings
            elif error is not None and not isinstance(error, Refused | NotStored):
                raise NotAsPromised(f"an owner's words ended in {error!r}")

        answer.add_done_callback(done)

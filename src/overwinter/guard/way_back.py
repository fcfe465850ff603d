"""What the guard does by itself: the way back from mode observe, and under whose name."""

import os

from overwinter.core.nouns import Caller, Mode
from overwinter.guard.clock import rfc3339_s


class Return:
    """The way back from mode observe: whichever comes first, the date or as many seconds of running.

    A board without a battery clock may not know the date for weeks; pipes must not wait for it.
    """

    __slots__ = ("left_s", "mode", "utc_s")

    def __init__(self, *, mode: Mode, utc_s: float, left_s: float) -> None:
        self.mode = mode
        self.utc_s = utc_s
        self.left_s = left_s

    def facts(self) -> dict[str, object]:
        """For the state file."""
        return {"mode": self.mode.value, "utc_s": self.utc_s, "left_s": round(self.left_s, 1)}

    def text(self) -> str:
        """For people."""
        return f"mode observe until {rfc3339_s(self.utc_s)[:16]}Z, then {self.mode} again"

    @classmethod
    def recall(cls, stored: object) -> "Return | None":
        """From the state file; anything odd is no way back."""
        if not isinstance(stored, dict):
            return None
        try:
            return cls(
                mode=Mode(stored["mode"]), utc_s=float(stored["utc_s"]), left_s=float(stored["left_s"])
            )
        except (KeyError, TypeError, ValueError):
            return None


def own_caller() -> Caller:
    """The guard itself, where it acts by itself."""
    import pwd

    uid = os.geteuid()
    try:
        user = pwd.getpwuid(uid).pw_name
    except KeyError:
        user = str(uid)
    return Caller(uid=uid, user=user, pid=os.getpid())

"""What the guided proof test wants of the guard and of the owner; each is answered before it goes on."""

from collections.abc import Generator
from dataclasses import dataclass
from typing import TypeAlias

from overwinter.core.evidence import Seen, Step
from overwinter.core.nouns import OverwinterError


@dataclass(frozen=True, slots=True)
class Look:
    """See what is; with `what` a moment later, waiting for that, `left_s` at most. Reply: Seen."""

    what: str = ""
    left_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Ask:
    """Ask the owner. Reply: True, False, or None: nobody is there, or it is not known."""

    question: str


@dataclass(frozen=True, slots=True)
class Tell:
    """Say something. Reply: None."""

    text: str


@dataclass(frozen=True, slots=True)
class Work:
    """Heat on or off by hand. Reply: None, or why it was refused."""

    heat: bool
    for_s: float


@dataclass(frozen=True, slots=True)
class Rest:
    """Give heat back to the usual control. Reply: None."""


@dataclass(frozen=True, slots=True)
class Away:
    """Take the control sensors away. Reply: None, or why it was refused."""

    for_s: float


@dataclass(frozen=True, slots=True)
class Back:
    """Give them back. Reply: None."""


@dataclass(frozen=True, slots=True)
class Done:
    """A step is over. Reply: None."""

    step: Step


Wish: TypeAlias = Look | Ask | Tell | Work | Rest | Away | Back | Done
Reply: TypeAlias = Seen | bool | str | None
Talk: TypeAlias = Generator[Wish, Reply, None]
Finding: TypeAlias = Generator[Wish, Reply, Step]


class Broken(OverwinterError):
    """The proof cannot go on; the text says why."""

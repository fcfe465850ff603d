"""What the wheel does with what is learned: a span in once a minute, alarms out; nothing in it may cost heat.

Rule 1: learning only tells. Whatever it stumbles over ends it until the next start, and nothing else.
Rule 2: a start does not wait for it. What learns is imported once the guard is ready, and made with the first
        span, a minute later.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from overwinter.core.nouns import Code, Fact, HeaterSpec
from overwinter.core.state import State
from overwinter.guard.spans import Spans

if TYPE_CHECKING:
    from overwinter.know.frozen import Cooling
    from overwinter.know.knowledge import Knowledge
    from overwinter.know.nouns import Span


def cooling_before(learned: object, heater: HeaterSpec, air_c: float | None) -> "Cooling | None":
    """How the air goes without heat from so warm on, by what was known before a silence; None: not known.

    Rule 1 holds here too: what it stumbles over is taken for not known.
    """
    kept = learned.get("house") if isinstance(learned, Mapping) else None
    if air_c is None or not isinstance(kept, Mapping):
        return None
    from overwinter.know.forecast import air_without_heat  # only after a silence
    from overwinter.know.learned import Learned
    from overwinter.physics.ranges import Range

    air = air_without_heat(Learned.recalled(heater, kept), air_c)

    def shielded(hours: float, outdoor_c: float) -> Range:
        try:
            return air(hours, outdoor_c)
        except Exception:  # noqa: BLE001 (as above)
            return Range(best=outdoor_c, low=outdoor_c, high=outdoor_c)

    return shielded


class Learning:
    """Learns from one state while it turns."""

    def __init__(
        self,
        learned: object,
        state: State,
        now_s: float,
        *,
        gap_s: float,
        post: Callable[[Fact], None],
        log: Any,
    ) -> None:
        """Go on from `learned`, as the state file had it.

        `gap_s`: as `Spans` has it; `post`: takes alarms.
        """
        self._knowledge: Knowledge | None = None  # until the first span
        self._has_failed = False
        self._state = state
        self._site = state.site  # that what learns was made for
        self._spans = Spans(state, now_s, gap_s=gap_s)
        self._found: dict[tuple[Code, str], str] = {}
        self._post = post
        self._log = log
        # A copy, for other threads and the state file; at first what that file had. To make one takes longer
        # than to learn from a span, so it is made when it is asked for.
        self.facts: Mapping[str, object] = learned if isinstance(learned, Mapping) else {}
        self.last: Span | None = None  # the span before now

    @staticmethod
    def prepare() -> None:
        """Import what learns, in a thread that may wait for the disk: the first span then finds it there."""
        import overwinter.know.knowledge  # noqa: F401

    def turned(self, now_s: float, *, flows: bool | None, utc_s: Callable[[float], float | None]) -> None:
        """After each turn; `flows`: whether current does; `utc_s`: the wall time then, if it is right."""
        if not self._spans.see(self._state.decision, flows, now_s) or self._has_failed:
            return
        span = self.last = self._spans.end(now_s, utc_s(now_s))
        found: dict[tuple[Code, str], str] = {}
        try:
            if self._knowledge is None or self._site is not self._state.site:
                self._begin()
                assert self._knowledge is not None
            found = {(one.code, one.subject): one.text for one in self._knowledge.take(span)}
        except Exception as error:  # noqa: BLE001 (it only tells: the heat goes on whatever it stumbles over)
            self._fail(error)
        for (code, subject), text in found.items():
            if self._found.get((code, subject)) != text:
                self._post(Fact(code=code, subject=subject, present=True, text=text))
        for code, subject in self._found.keys() - found.keys():
            self._post(Fact(code=code, subject=subject, present=False, text=""))
        self._found = found

    def _begin(self) -> None:
        """With the first span, and anew whenever site.toml was read anew: a door more, another heater."""
        from overwinter.know.knowledge import Knowledge

        self.refresh()
        self._site = self._state.site
        self._knowledge = Knowledge(self._site, self.facts)

    def refresh(self) -> None:
        """Bring `facts` up to date."""
        if self._knowledge is None or self._has_failed:
            return
        try:
            self.facts = self._knowledge.facts()
        except Exception as error:  # noqa: BLE001 (as above)
            self._fail(error)

    def _fail(self, error: Exception) -> None:
        self._log.error("learning failed and is off until the next start", why=repr(error))
        self._has_failed = True

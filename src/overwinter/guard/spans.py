"""The minutes that the guard learns from, cut out of what the core counts while it turns."""

from overwinter.core.look import coldest_track, outdoor_temperature_c
from overwinter.core.nouns import Decision, Flag, Reason
from overwinter.core.state import State
from overwinter.know.nouns import THE_BANDS, Seen, Span

SPAN_S = 60.0
"""How long a span is; the same whatever the logbook is told to record."""


class Spans:
    """Watches one state turn, and says once a minute what that minute was like."""

    __slots__ = (
        "_active_s",
        "_began_s",
        "_flowing",
        "_gap_s",
        "_is_forced",
        "_is_the_bands",
        "_looks",
        "_on_s",
        "_reason",
        "_state",
    )

    def __init__(self, state: State, now_s: float, *, gap_s: float) -> None:
        """`gap_s`: the silence before this start [s], 0 if none is known of."""
        self._state = state
        self._gap_s = gap_s
        self._reason: Reason | None = None  # the last one seen
        self._is_the_bands = True
        self._begin(now_s)

    def _begin(self, now_s: float) -> None:
        self._began_s = now_s
        self._on_s = self._state.on_s
        self._active_s = dict(self._state.active_s)
        self._is_forced = False
        self._flowing = self._looks = 0

    def see(self, decision: Decision, flows: bool | None, now_s: float) -> bool:
        """One turn's decision, and whether current flows then (None: no such input); is a minute over?"""
        if decision.reason is not self._reason:
            self._reason = decision.reason
            self._is_the_bands = decision.reason in THE_BANDS
        if not self._is_the_bands:
            self._is_forced = True
        if flows is not None:
            self._looks += 1
            self._flowing += flows
        return now_s - self._began_s >= SPAN_S

    def end(self, now_s: float, utc_s: float | None) -> Span:
        """The span that ends at `now_s`, and begin the next; `utc_s` only if it can be trusted."""
        lasts_s, state = now_s - self._began_s, self._state
        coldest, is_blind = coldest_track(state, now_s), state.is_blind
        cold_c = state.look.coldest_cold_c
        span = Span(
            ends_s=now_s,
            lasts_s=lasts_s,
            gap_s=self._gap_s,
            utc_s=utc_s,
            temperature_c=None if is_blind or cold_c is None else round(cold_c, 3),
            humidity_pct=None if is_blind or coldest is None else coldest.humidity_pct,
            outdoor_c=outdoor_temperature_c(state, now_s),
            flag=int(Flag.MISSING if coldest is None else coldest.flag),
            heat=min((state.on_s - self._on_s) / lasts_s, 1.0),
            mode=state.settings.mode,
            low_c=state.settings.low_c,
            high_c=state.settings.high_c,
            is_forced=self._is_forced,
            current=self._flowing / self._looks if self._looks else None,
            sensors={
                name: Seen(
                    temperature_c=track.temperature_c, humidity_pct=track.humidity_pct, flag=int(track.flag)
                )
                for name, track in state.tracks.items()
            },
            contacts={
                name: min((state.active_s.get(name, 0.0) - self._active_s.get(name, 0.0)) / lasts_s, 1.0)
                for name in state.contacts
            },
        )
        self._gap_s = 0.0
        self._begin(now_s)
        return span

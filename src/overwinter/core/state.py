"""Everything that a turn remembers: one State, belonging to one caller."""

from dataclasses import dataclass

from overwinter.core.decide import Look
from overwinter.core.judge import Track, lost_after_s
from overwinter.core.nouns import Code, Decision, Reason, Role, Settings, Site
from overwinter.core.watch import Watch


@dataclass(slots=True)
class Hot:
    """What one control sensor has said about the ceiling."""

    since_s: float | None = None  # the last time it said so
    suspects: int = 0  # how many suspect readings in a row said so


@dataclass(slots=True)
class Hand:
    """Heat as a person wants it, until an end."""

    heat: bool
    until_s: float


class State:
    """Everything a turn remembers. The shell makes one at a start and gives it to each turn."""

    def __init__(
        self,
        site: Site,
        settings: Settings,
        now_s: float,
        *,
        believed_s: float | None = None,
        believed_c: float | None = None,
        cycles: int = 0,
        on_s: float = 0.0,
        unused_s: float = 0.0,
    ) -> None:
        """Begin at `now_s`.

        `believed_s`, `believed_c`: the last believed control reading of an earlier run within this boot, so
        that restarts do not wind the blind clock back; from the future it counts as unknown, since it would
        put blindness off. `cycles`, `on_s`: the relay's and heater's counters;
        `unused_s`: for how long heat has not been used.
        """
        if believed_s is None or not believed_s <= now_s:
            believed_s = believed_c = None
        self.site = site
        self.adopt(settings)
        self.tracks = {spec.name: Track(spec) for spec in site.sensors}
        self.control = [track for track in self.tracks.values() if track.spec.role is Role.CONTROL]
        self.others = [track for track in self.tracks.values() if track.spec.role is not Role.CONTROL]
        self.outdoor = [track for track in self.others if track.spec.role is Role.OUTDOOR]
        self.hot = {track.spec.name: Hot() for track in self.control}
        self.moved_on_s: dict[str, float] = {}  # the heater's counter when a sensor was last not flat
        self.started_s = self.turned_s = self.changed_s = now_s
        self.believed_s = now_s if believed_s is None else believed_s
        self.believed_c = believed_c
        self.heard_control = believed_s is not None  # whether a control reading was ever believed
        self.decision = Decision(False, Reason.STARTING)
        self.hand: Hand | None = None
        self.away_until_s: float | None = None  # the control sensors are away for a proof test
        self.away_blind_s = now_s  # until when being blind is that test's doing
        self.exercise_since_s: float | None = None
        self.disagree_since_s: float | None = None
        self.speak_cold: set[str] = set()  # the sensors that say cold against another's too hot
        self.disagree_on_s = 0.0  # the heater's counter then
        self.disagree_from_c: dict[str, float] = {}  # what each control sensor said then
        self.warm_elsewhere = False
        self.cycles = cycles
        self.on_s = on_s
        self.unused_s = unused_s
        self.heated_s: float | None = None  # when heat was last on
        self.watch = Watch()
        self.facts: dict[tuple[Code, str], str] = {}
        self.contacts: dict[str, bool] = {}
        self.active_s: dict[str, float] = {}  # for how long each input was active in all
        self.look = Look()
        self.wet_contacts = [contact.name for contact in site.contacts if contact.kind == "wet"]
        self.beat_s = now_s  # samples fall due at beats, each record_s after the one before
        # Of the record period that is running:
        self.period_since_s = now_s
        self.period_on_s = 0.0
        self.active_before_s: dict[str, float] = {}  # what `active_s` was when it began

    def adopt(self, settings: Settings) -> None:
        """Go by these from now on."""
        self.settings = settings
        self.lost_s = lost_after_s(settings)

    def take_site(self, site: Site) -> None:
        """Go on with a site file that was read again; what is wired must be the same."""
        self.site = site
        for spec in site.sensors:
            self.tracks[spec.name].spec = spec

    @property
    def is_blind(self) -> bool:
        """Whether the last look found no believable control reading."""
        return self.look.blind_s is not None
